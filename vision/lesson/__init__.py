"""A camera's place in, what an eye there reads and why it errs out."""
