"""The fields of what is charted: volumes, choices of one tap, lines of text.

Which parts an event has stands in :data:`app.records.kinds.PARTS`; the same fields serve
entering, correcting and a round.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import streamlit as st

from app.records import Moment, Standing
from app.records.kinds import PARTS, Part
from app.records.shift import last_look
from app.ui import blocks
from app.ui.number import decimal_field, parse_decimal
from app.ui.recent import age
from app.ui.text import as_label

_LEAVE_EMPTY = "leave empty if not read"


def part_fields(name: str, key: str, *, was: Mapping[str, Any] | None = None) -> None:
    """A field for each part of an event; ``was`` is what stands, when it is corrected."""
    for part, said in PARTS.get(name, {}).items():
        more = _LEAVE_EMPTY if was is None and said.volume else \
            "" if was is None else f"was {_words(said, was.get(part))}"
        label = said.label + (", mL" if said.volume else "") + (f" ({more})" if more else "")
        field = f"{key}-{part}"
        if said.volume:
            decimal_field(label, field, unit="mL", lowest=0)
        elif said.choices is not None:
            st.segmented_control(as_label(label), tuple(said.choices.values()), key=field,
                                 wrap=True, format_func=as_label)
        else:
            st.text_input(as_label(label), key=field, max_chars=200, autocomplete="off")


def typed_parts(name: str, key: str) -> tuple[dict[str, str], list[str]]:
    """What was typed and tapped in these fields, and what is wrong with it in sentences."""
    found, problems = {}, []
    for part, said in PARTS.get(name, {}).items():
        value = st.session_state.get(f"{key}-{part}") or ""
        if said.volume:
            typed = parse_decimal(value, "mL")
            if typed.problem:
                problems.append(f"{said.label}: {typed.problem}")
            value = typed.text
        elif said.choices is not None:
            value = next((code for code, words in said.choices.items() if words == value), "")
        if value and value.strip():
            found[part] = value
    return found, problems


def look_before(standings: Iterable[Standing], now: Moment, chosen: str = "") -> None:
    """How the fluid looked last, and whether ``chosen`` is something else."""
    last = last_look(standings)
    if last is None:
        blocks.say("How it looked before is not on record.")
        return
    before = str(last.payload["look"])
    if chosen and chosen != before:
        blocks.notice(f"Changed: {chosen}, it was {before}",
                      [f"Seen {age(last.happened, now)} by {last.by}."],
                      stop=True)
    else:
        blocks.say(f"{'As before' if chosen else 'Last time'}: {before}, "
                   f"{age(last.happened, now)}, seen by {last.by}.")


def _words(said: Part, value: object) -> str:
    if value is None:
        return "not read" if said.volume else "not said"
    return (said.choices or {}).get(str(value), str(value))
