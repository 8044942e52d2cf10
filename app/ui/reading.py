"""A page asks for a reading: in the line of all sessions, with its place in line shown."""

from __future__ import annotations

import threading
from collections.abc import Callable
from functools import partial
from typing import Any, TypeVar

import streamlit as st
from streamlit import runtime
from streamlit.runtime.scriptrunner import add_script_run_ctx, get_script_run_ctx

from app.readers import pool
from app.readers.job import Job
from app.ui.text import as_label

T = TypeVar("T")
_COUNT = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
#: How often a page looks whether its reading is done, and where it stands in line.
_LOOK_EVERY_S = 0.25


def read(function: Callable[..., T], *args: Any, **options: Any) -> T:
    """``function(*args, **options)``, one of ``vision``, done by the next free worker.

    Without workers (``countersight serve`` starts them) it is done here and now.  A
    session that goes away frees its place, and the worker that reads for it.  Raises
    what the function raises, or ReadingLostError.
    """
    workers, job = pool.running(), Job.of(function, args, options)
    if workers is None or job is None:
        return function(*args, **options)
    place = st.empty()  # before the line: drawing may end this run, waiting may not
    ticket = workers.submit(job)
    said = ""
    try:
        while not ticket.done(_LOOK_EVERY_S):
            if _gone():
                st.stop()
            words = place_in_line(ticket.before())
            if words != said:
                said = words
                _show(partial(place.caption, as_label(words)) if words else place.empty)
        return ticket.result()  # type: ignore[no-any-return]
    finally:
        ticket.give_up()  # does nothing where it is done
        if said:
            _show(place.empty)


def place_in_line(before: int | None) -> str:
    """How many readings come first, in words; "" once this one has begun."""
    if before is None:
        return ""
    if before == 0:
        return "Waiting: yours is the next reading."
    count = _COUNT[before] if before < len(_COUNT) else before
    many = "reading" if before == 1 else "readings"
    return f"Waiting: {count} {many} before yours."


def _gone() -> bool:
    """Whether the session of this run has lost its browser."""
    context = get_script_run_ctx()
    return context is not None and runtime.exists() and not (
        runtime.get_instance().is_active_session(context.session_id))


def _show(draw: Callable[[], object]) -> None:
    """Draw from beside the run: what is drawn from within it may end the run, and the
    reading with it, when the person touches the page meanwhile."""
    beside = threading.Thread(target=draw)
    add_script_run_ctx(beside, get_script_run_ctx())
    beside.start()
    beside.join()
