"""A photo and a scale in, one reading with its interval, budget and reasons out."""
