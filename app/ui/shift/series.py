"""From what stands on record to the rows of a plot: level checks, settings, thresholds."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from app.records import Entry, Standing
from vision.hydrostatics import CM_H2O_CODE, Threshold, convert, effective_threshold


@dataclass(frozen=True)
class LevelPoint:
    """A level check: the offset in cm, positive = hangs too high; None = usual method."""

    at: datetime
    offset_cm: float | None
    interval_cm: tuple[float, float] | None


@dataclass(frozen=True)
class PressurePoint:
    """A pressure in cmH2O at a moment, with its 95 % interval where one is known."""

    at: datetime
    cm_h2o: float
    interval_cm_h2o: tuple[float, float] | None = None


@dataclass(frozen=True)
class Thresholds:
    """What was ordered, what the panel was set to, and what follows with the offset."""

    ordered: tuple[PressurePoint, ...]
    settings: tuple[PressurePoint, ...]
    effective: tuple[PressurePoint, ...]

    @property
    def all(self) -> tuple[PressurePoint, ...]:
        """Every point."""
        return (*self.ordered, *self.settings, *self.effective)


def level_points(standings: Iterable[Standing]) -> tuple[LevelPoint, ...]:
    """The level checks in the order they happened."""
    return tuple(_level(e) for e in _entries(standings) if e.subject == "level-check")


def moves(standings: Iterable[Standing]) -> tuple[datetime, ...]:
    """When the position was changed."""
    return tuple(e.happened.local for e in _entries(standings) if e.event == "position-changed")


def threshold_points(standings: Iterable[Standing], order: Entry | None) -> Thresholds:
    """Ordered, set and effective thresholds.

    An effective threshold needs a setting and a level check with an offset, without
    any change of position after the check; it stands at the later of the two.
    """
    entries = _entries(standings)
    ordered = [e for e in entries if e.subject == "order" and e.confirmed_value is not None]
    if order is not None and order.confirmed_value is not None and order.number not in {
            e.number for e in ordered}:
        ordered.insert(0, order)
    setting: Entry | None = None
    level: LevelPoint | None = None
    effective = []
    for entry in entries:
        if entry.event == "position-changed":
            level = None
        elif entry.subject == "level-check":
            level = _level(entry)
        elif entry.subject == "setting-check":
            setting = entry
        else:
            continue
        if setting is not None and level is not None and level.offset_cm is not None:
            effective.append(_effective(entry.happened.local, setting, level))
    return Thresholds(tuple(map(_pressure, sorted(ordered, key=lambda e: e.happened.utc))),
                      tuple(_pressure(e) for e in entries if e.subject == "setting-check"),
                      tuple(effective))


def _entries(standings: Iterable[Standing]) -> list[Entry]:
    return [s.entry for s in standings if not s.withdrawn]


def _level(e: Entry) -> LevelPoint:
    offset = None if e.confirmed_value is None else float(e.confirmed_value)
    m, interval = e.machine, None
    # The machine's interval belongs to a confirmed value only while it holds it.
    if m is not None and m.low is not None and m.high is not None \
            and e.confirmed_value is not None and m.low <= e.confirmed_value <= m.high:
        interval = float(m.low), float(m.high)
    return LevelPoint(e.happened.local, offset, interval)


def _pressure(e: Entry) -> PressurePoint:
    return PressurePoint(e.happened.local, convert(
        float(e.confirmed_value or 0), e.unit or CM_H2O_CODE, CM_H2O_CODE))


def _effective(at: datetime, setting: Entry, level: LevelPoint) -> PressurePoint:
    found: Threshold = effective_threshold(
        float(setting.confirmed_value or 0), setting.unit or CM_H2O_CODE, level.offset_cm or 0.0,
        offset_interval_cm=level.interval_cm)
    return PressurePoint(at, found.value_cm_h2o, found.interval_cm_h2o)
