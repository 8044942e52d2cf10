"""The errors of the measuring side.

Every message is one clear sentence for the person at the bedside: what is
wrong, and what to do next.  An error means "bad input"; an honest "no reading"
is not an error but a result whose status is not ``read``.
"""

from __future__ import annotations


class CountersightError(Exception):
    """Base of all errors whose message may be shown to a person as it stands."""


class PhotoError(CountersightError):
    """The file is not a photo that can be used."""


class ScaleFileError(CountersightError):
    """A scale file with impossible content; the message names the field."""

    def __init__(self, message: str, field: str | None = None) -> None:
        super().__init__(message)
        self.field = field


class InputError(CountersightError):
    """A number, a unit or an option that makes no sense."""


class LabelFileError(CountersightError):
    """A label file of an image set that cannot be used."""


class ReadingLostError(CountersightError):
    """A reading that came to no end: it took too long, or its process was ended."""
