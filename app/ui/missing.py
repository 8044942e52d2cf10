"""What kept the last press from the record: said until anything on the page is changed.

A list that stays while its points are being done one after the other is soon untrue, and what
is missing can be found only by a press (some of it is asked once and accepted with the next).
So the list speaks of the last press, and goes with the first change.
"""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from app.ui import blocks

HEAD = "At the last press, not recorded:"
#: In the session: each list with what the fields held at its press, None after a change.  A
#: list that is held here shares its id with no other.
_SEEN = "missing-seen"


def last_press(problems: Sequence[str], button: str) -> None:
    """Draw the list of ``problems`` of the last press, if nothing was changed since.

    Each press hands over a list of its own, by which it is known: the form may be another one
    after a change.  ``button`` is the key of what was pressed: that it is no longer held down
    is no change.
    """
    if not problems:
        return
    seen, now = st.session_state.setdefault(_SEEN, {}), _filled(button)
    _, then = seen.setdefault(id(problems), (problems, now))
    if then != now:
        seen[id(problems)] = problems, None
    else:
        blocks.notice(HEAD, problems, stop=True)


def _filled(button: str) -> dict[str, str | float | bool]:
    """Every field that holds something, and what: one that appears empty is no change."""
    return {str(name): value for name, value in st.session_state.items()
            if name != button and value and isinstance(value, str | int | float | bool)}
