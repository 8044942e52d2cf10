"""The order and the level check that are on record for a bed."""

from __future__ import annotations

from dataclasses import dataclass

from app.exports.entry_words import level_text
from app.records import Moment
from app.ui import ledger
from app.ui.recent import age
from vision.hydrostatics.units import WORDS, exact_text


@dataclass(frozen=True)
class LastOrder:
    """The order that stands."""

    threshold: float
    unit: str
    sentence: str


@dataclass(frozen=True)
class LastLevel:
    """The last level check; ``offset_cm`` None when it was checked by the usual method.

    ``stale`` is True when the patient or the bed was moved since.
    """

    offset_cm: float | None
    interval_cm: tuple[float, float] | None
    stale: bool
    sentence: str


@dataclass(frozen=True)
class OnRecord:
    """What the record holds for one bed."""

    order: LastOrder | None = None
    level: LastLevel | None = None


def on_record(bed: str) -> OnRecord:
    """Look the bed up.  Raises a RecordError with a sentence where the record cannot be read."""
    store, now = ledger.open_store(), Moment.now()
    orders = [s.entry for s in store.current(bed, kind="order") if s.entry.unit in WORDS]
    levels = [s.entry for s in store.current(bed, kind="level-check")]
    moves = [s.entry for s in store.current(bed, kind="event")
             if s.entry.event == "position-changed"]
    return OnRecord(_order(orders[-1], now) if orders else None,
                    _level(levels[-1], moves, now) if levels else None)


def _order(entry, now: Moment) -> LastOrder | None:  # type: ignore[no-untyped-def]
    if entry.confirmed_value is None:
        return None
    return LastOrder(float(entry.confirmed_value), entry.unit,
                     f"Order on record: {exact_text(entry.confirmed_value)} {WORDS[entry.unit]}, "
                     f"{age(entry.happened, now)}.")


def _level(entry, moves, now: Moment) -> LastLevel:  # type: ignore[no-untyped-def]
    stale = any(m.happened.utc > entry.happened.utc for m in moves)
    when = age(entry.happened, now)
    old = " Something was moved since: it no longer counts, check the level again." if stale else ""
    if entry.confirmed_value is None:
        return LastLevel(None, None, stale,
                         f"Last level check: by the usual method, {when}.{old}")
    offset = float(entry.confirmed_value)
    seen = entry.machine
    interval = None
    if seen is not None and seen.low is not None and seen.high is not None \
            and seen.low <= entry.confirmed_value <= seen.high:
        interval = float(seen.low), float(seen.high)
    return LastLevel(offset, interval, stale,
                     f"Last level check: {level_text(entry)}, {when}.{old}")
