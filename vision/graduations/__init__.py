"""Pixels and a scale in, the graduations found, the camera's place and each mark's value out."""
