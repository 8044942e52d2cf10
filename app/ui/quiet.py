"""Logs for the people who run the program: where something failed, and no value of anybody's.

The message of an unforeseen error may hold what was typed: a bed code, a note.  So the
log gets the kind of error and the lines of the program that led to it, no more.
"""

from __future__ import annotations

import logging
import traceback

#: Where the page server writes about an error that no page caught.
_SERVERS_LOGGER = "streamlit.error_util"


def where(problem: BaseException) -> str:
    """The kind of error and the lines that led to it, without its message."""
    lines = "".join(traceback.format_tb(problem.__traceback__))
    return f"{type(problem).__module__}.{type(problem).__qualname__}\n{lines}"


class NoValues(logging.Filter):
    """Takes the message of an error out of a log line and leaves where it happened."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Never drops a line."""
        if record.exc_info and record.exc_info[1] is not None:
            record.exc_text = where(record.exc_info[1])
            record.exc_info = None
        return True


def logs() -> None:
    """Keep the page server's own log free of values too; once is enough."""
    logger = logging.getLogger(_SERVERS_LOGGER)
    if not any(isinstance(f, NoValues) for f in logger.filters):
        logger.addFilter(NoValues())
