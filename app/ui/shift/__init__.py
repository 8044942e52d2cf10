"""The parts of the page "Shift": what stands, plots, events, corrections, papers."""
