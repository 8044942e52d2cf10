"""The parts of the page "Level"."""
