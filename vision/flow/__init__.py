"""Positions of the handles in, what communicates and what that makes possible out."""
