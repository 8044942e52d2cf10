"""The last line of defence: no traceback on a screen, and no silence in the log."""

from __future__ import annotations

import logging
from collections.abc import Callable
from typing import TypeVar

from app.ui import quiet
from vision.errors import CountersightError

T = TypeVar("T")
_log = logging.getLogger("countersight")

#: Shown when something failed that has no sentence of its own.
UNFORESEEN = ("Something went wrong that was not foreseen; nothing was recorded. "
              "Try another photo, and tell the people who run this program.")


def in_words(action: Callable[[], T]) -> tuple[T | None, str]:
    """The result of ``action`` and "", or None and the sentence why there is none.

    An error of our own brings its sentence; of any other the log says where it
    happened, for the people who run the program, and not what was typed.
    """
    try:
        return action(), ""
    except CountersightError as problem:
        return None, str(problem)
    except Exception as problem:
        _log.error("unforeseen failure: %s", quiet.where(problem))
        return None, UNFORESEEN
