"""A scale file in, what is printed on a chamber and what it means out."""
