"""Pieces of the two lesson pages: sliders, pictures, drawings, rounds of ten.

Nothing here can put anything on record.
"""
