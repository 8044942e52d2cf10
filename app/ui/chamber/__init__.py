"""The parts of the page "Chamber", from the photo to the record."""
