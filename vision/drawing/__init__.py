"""Numbers in, SVG and HTML text out: the elements of a drawing, plots, page templates."""
