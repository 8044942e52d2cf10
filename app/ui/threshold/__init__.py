"""The parts of the page "Threshold": fields, drawing, what-if, confirmation."""
