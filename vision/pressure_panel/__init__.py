"""A photo of the flat pressure scale in, the pressure at the pointer out."""
