"""Countersight's measuring side: from a photo to a reading with its uncertainty.

Nothing in here knows a page, a database or a person's name.
"""

__version__ = "0.1.0"
