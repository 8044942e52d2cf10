"""The parts of the page "Orders"."""
