"""Marks numbered by a person in, the value at a tapped point out."""
