"""Does what is about to go on record fit what is on record?  Asked, never refused, never hidden.

A reading can be right and look wrong: somebody emptied the chamber and wrote nothing,
a stopcock is not where it is on record, the patient coughed.  A person knows; so the
question is put before the entry is made, and the answer is kept with it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import timedelta
from decimal import Decimal

from vision.output.account import TIME_U_HOURS, make_account
from vision.output.limits import PLAUSIBLE_ML_PER_HOUR, Limits
from vision.output.model import K95, ChamberEvent, ChamberReading, Interval, Question, hm

#: The kinds of question that are put, in the words in which the record names them.
KINDS: dict[str, str] = {
    "above-capacity": "more than the chamber's scale holds",
    "negative": "less than before, no emptying on record that fits",
    "came-while-closed": "more than before, drain on record as closed",
    "rise": "faster than is plausible",
    "scale-changed": "another scale than before",
}


def change_questions(readings: Sequence[ChamberReading], events: Sequence[ChamberEvent],
                     new: ChamberReading | ChamberEvent, limits: Limits,
                     capacity_ml: Decimal | None = None) -> tuple[Question, ...]:
    """What does not fit when ``new`` joins the readings and events of its bed.

    ``new`` is a reading or an emptying, also one entered late; ``capacity_ml`` is what
    the chosen scale holds.
    """
    read = isinstance(new, ChamberReading)
    account = make_account([*readings, new] if isinstance(new, ChamberReading) else readings,
                           events if isinstance(new, ChamberReading) else [*events, new])
    asked: list[Question] = []
    value = new.value_ml if isinstance(new, ChamberReading) else new.before_ml
    if capacity_ml is not None and value is not None and value > capacity_ml:
        asked.append(Question("above-capacity", f"{value:f} mL is more than the {capacity_ml:f} mL "
                              "of the chosen scale. Is it the right scale, and the right value?"))
    for i in account.intervals:
        if i.first is new or i.last is new or (not read and any(e is new for e in i.events)):
            asked += _of_interval(i, limits)
    return tuple(asked)


def _of_interval(i: Interval, limits: Limits) -> list[Question]:
    changed = [q for q in i.questions if q.kind == "scale-changed"]
    if changed:  # the two values are of two chambers
        return changed
    asked = [q for q in i.questions if q.kind in KINDS]
    return asked or _rise(i, limits)


def _rise(i: Interval, limits: Limits) -> list[Question]:
    if i.output_ml is None or i.u_ml is None:
        return []
    named = limits.plausible_ml_per_hour
    fastest = PLAUSIBLE_ML_PER_HOUR if named is None else named
    hours = i.open_hours + K95 * math.sqrt(2) * TIME_U_HOURS
    if float(i.output_ml) - K95 * i.u_ml <= float(fastest) * hours:
        return []
    whose = "named by your order" if named is not None else "our choice; an order may name another"
    shut = "" if i.hours - i.open_hours < 0.01 else \
        f", {_span(timedelta(hours=i.open_hours))} of it with the drain open"
    return [Question(
        "rise", f"{i.output_ml:f} mL came from {hm(i.start)} to {hm(i.end, i.start)}{shut}: faster "
        f"than {fastest:f} mL/h ({whose}). Is the value right, and is the drain as it should be?")]


def _span(time: timedelta) -> str:
    minutes = round(time.total_seconds() / 60)
    return f"{minutes} min" if minutes < 120 else f"{minutes / 60:.1f} h"
