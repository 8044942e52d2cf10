"""What is known of a bed: last level, setting, reading, each with its age; and the order."""

from __future__ import annotations

from datetime import datetime

import streamlit as st

from app.orders import LIMITS
from app.records import Entry, Moment
from app.rounds import due_words, lasting, minutes, next_due
from app.ui import blocks
from app.ui.number import show_number
from app.ui.recent import age
from app.ui.round.view import View
from app.ui.shift.write import now_here
from vision.hydrostatics.units import WORDS, exact_text
from vision.output import collecting_since, content_now, is_open
from vision.output.limits import PLAUSIBLE_ML_PER_HOUR, RATE_FROM_MINUTES
from vision.output.model import hm

#: The clock is drawn anew so often (our choice).
_CLOCK_S = 30


def last_known(view: View) -> None:
    """Three cards: the last confirmed level and setting, and what is in the chamber."""
    blocks.cards(_level(view), _setting(view), _chamber(view))


def order_lines(view: View) -> None:
    """The order that stands, or that there is none."""
    if view.order is None:
        blocks.notice("No order is on record for this bed", [
            "Type it on the page Orders, as the written order says it. The round goes on without: "
            "then nothing is compared with it."])
        return
    blocks.notice(f"Order on record, {age(view.order.happened, view.now)}, "
                  f"confirmed by {view.order.initials}", order_points(view.order))


def order_points(order: Entry) -> list[str]:
    """An order on record in words."""
    said = order.payload
    points = []
    if order.confirmed_value is not None and order.unit is not None:
        number = exact_text(order.confirmed_value)
        points.append(f"Threshold: {number} {WORDS[order.unit]}, as ordered")
    for name, words in (("landmark", "Landmark"), ("drain", "Drain"),
                        ("tell_whom", "Tell")):
        if said.get(name):
            points.append(f"{words}: {said[name]}")
    limits = said.get("limits", {})
    return points + [f"{words.label}: {limits[name]} {words.unit}"
                     for name, words in LIMITS.items() if name in limits]


#: What holds where the order does not name it; shown in the field, our choice.
SHOWN_DEFAULTS = {"rate_from_minutes": f"{RATE_FROM_MINUTES} unless named",
                  "plausible_ml_per_hour": f"{PLAUSIBLE_ML_PER_HOUR} unless named"}


@st.fragment(run_every=_CLOCK_S)
def due_clock(view: View) -> None:
    """A running clock: how long the chamber has been collecting, and when to read it."""
    blocks.status_line(due_line(view, now_here()), "timer")


def due_line(view: View, now: datetime) -> str:
    """When the next reading is due, and since when the chamber has been collecting."""
    if view.ended is not None:
        return (f"The drainage at this bed ended at {hm(view.ended.happened.local, now)}, entered "
                f"by {view.ended.initials.removesuffix('.')}. What is put on record here begins "
                "another one.")
    if view.last_reading is None:
        return "No reading is on record for this bed yet."
    due, why = next_due(view.last_reading.happened, view.account.limits.reading_due_minutes,
                        view.account.due_from)
    said = f"Next reading {', '.join(due_words(due, now))} ({why})."
    account = view.account.account
    since = collecting_since(account)
    if since is None or is_open(account.events, now) is False:
        return said
    return f"{said} Collecting since {hm(since, now)}: {lasting(minutes(now - since))} so far."


def _when(entry: Entry, view: View) -> str:
    return f"{age(entry.happened, view.now)}, by {entry.initials}"


def _level(view: View) -> str:
    e = view.last_level
    if e is None:
        return blocks.card("Level", "none", "", ["No level check is on record"])
    notes = [_when(e, view)] + ([view.level.sentence] if view.level.stale else [])
    if e.confirmed_value is None:
        return blocks.card("Level", "checked", "", ["by the usual method", *notes])
    value = float(e.confirmed_value)
    side = "level" if value == 0 else "hangs too high" if value > 0 else "hangs too low"
    return blocks.card("Level", show_number(abs(value), 1.0), "cm", [side, *notes])


def _setting(view: View) -> str:
    e = view.last_setting
    if e is None or e.confirmed_value is None:
        return blocks.card("Setting", "none", "", ["No setting check is on record"])
    return blocks.card("Setting", exact_text(e.confirmed_value),
                       WORDS.get(e.unit or "", ""), [_when(e, view)])


def _chamber(view: View) -> str:
    e = view.last_reading
    read = "No reading is on record" if e is None else \
        f"last reading {e.confirmed_value} {e.unit}, {_when(e, view)}"
    known = content_now(view.account.account)
    if known is None:
        return blocks.card("In the chamber", "not known", "", [read])
    at, content = Moment.of(known[0]), f"{known[1]:f}"
    if e is not None and at.utc == e.happened.utc:
        return blocks.card("In the chamber", content, "mL", [_when(e, view)])
    return blocks.card("In the chamber", content, "mL", [f"since {age(at, view.now)}", read])
