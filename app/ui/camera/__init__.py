"""The page's own camera: live picture, tilt of the phone, photos of one press."""
