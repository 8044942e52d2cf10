"""Numbers in, SVG, HTML or sheets of pixels out: drawings, plots, page templates."""
