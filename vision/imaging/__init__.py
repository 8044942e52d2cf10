"""A file in, upright pixels with the camera facts that matter out."""
