"""Pixels in, the two printed cards and where each stands before the camera out."""
