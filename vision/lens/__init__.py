"""Photos of a printed board in, a calibrated lens and photos without its distortion out."""
