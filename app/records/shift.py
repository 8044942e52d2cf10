"""From the record to the account of a bed: what stands, turned into readings and events."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from app.records.check import CheckedRead
from app.records.content import Content, Entry
from app.records.errors import DamagedError
from app.records.kinds import TRANSPORT, event_text
from app.records.standing import Standing
from app.records.store import Store
from vision.output import (
    Account,
    ChamberEvent,
    ChamberReading,
    Finding,
    ShiftPlan,
    findings,
    make_account,
)
from vision.output.account import EYE_DIVISIONS
from vision.output.limits import Limits, limits_from
from vision.output.model import K95, hm

#: The names that the measuring side gives to the scale's own error in a budget.
_SCALE_TERMS = ("scale tolerance", "print of the marks")


@dataclass(frozen=True)
class LevelState:
    """How old the last level check is, whether something moved since, and how it hung."""

    last: Entry | None
    stale: bool
    sentence: str

    @property
    def hangs(self) -> str:
        """That it hangs too high or too low, by a check that is not stale: no level that holds."""
        return "" if self.last is None or self.stale else hangs_words(self.last)


@dataclass(frozen=True)
class BedAccount:
    """Everything that the shift of one bed rests on, from standing entries only.

    ``due_from`` is since when the time between readings that holds now is ordered; None where
    it has always held.
    """

    bed: str
    account: Account
    standings: tuple[Standing, ...]
    order: Entry | None
    limits: Limits
    tell_whom: str
    due_from: datetime | None = None

    def findings(self, now: datetime, plan: ShiftPlan | None) -> tuple[Finding, ...]:
        """Everything that the bed's own limits say at ``now``."""
        return findings(self.account, self.limits, now, plan=plan, tell_whom=self.tell_whom,
                        due_from=self.due_from)


def bed_account(store: Store | CheckedRead, bed: str, *, since: datetime | None = None
                ) -> BedAccount:
    """The account of one bed.

    ``since`` leaves out what happened before, except what still held then: the state
    of the drain, the setting, the last level check, the last change of position, the last
    look of the fluid.
    """
    with store.at_one_moment() as record:
        standings = record.current(bed, since=since)
        if since is not None:
            standings = (*_held_at(record, bed, since), *standings)
        order, ended = record.last(bed, "order"), record.last(bed, "drainage-ended")
        orders = record.current(bed, kind="order")
    if order is not None and ended is not None and _order_of(ended) > _order_of(order):
        order = None  # an order ends with the drainage
    payload = order.entry.payload if order else {}
    try:
        readings, events = chamber_inputs(standings)
        limits = limits_from(payload.get("limits", {}))
    except (ValueError, ArithmeticError, TypeError, KeyError):
        raise DamagedError(f"An entry of bed {bed} cannot be used; it was changed by hand. "
                           "'countersight verify' says where the record is broken.") from None
    account = make_account(readings, events, rate_from_minutes=limits.rate_from_minutes)
    return BedAccount(bed, account, standings, order.entry if order else None, limits,
                      payload.get("tell_whom", ""), _due_from(orders, ended, order is not None))


def _due_from(orders: Sequence[Standing], ended: Standing | None, standing: bool
              ) -> datetime | None:
    """Since when the time between readings that holds now is ordered: by the first of the newest
    orders that name the same.  An order that leaves it as it was forgives no delay."""
    orders = [o for o in orders if ended is None or _order_of(o) > _order_of(ended)]
    first: datetime | None = None
    holds = None
    for order in reversed(orders if standing else ()):
        named = (order.entry.payload.get("limits") or {}).get("reading_due_minutes")
        if first is None:
            holds = named
        if named != holds:
            return first
        first = order.entry.happened.local
    # Before the first order the usual time held, which is what no order names, too.
    return first if holds is not None else None


#: What holds until another of the same group is confirmed.
_HOLDING = (("drain-closed", "drain-opened"), ("setting-check",), ("level-check",),
            ("position-changed",), ("fluid-seen",), ("drainage-ended",))


def _held_at(store: Store | CheckedRead, bed: str, since: datetime) -> tuple[Standing, ...]:
    """What was said before ``since`` and held at that moment, in the order it happened."""
    held: list[Standing] = []
    for group in _HOLDING:
        # Most beds have few of these; the newest alone is asked for where that will do.
        newest = [s for name in group if (s := store.last(bed, name)) is not None]
        if any(s.entry.happened.utc >= since for s in newest) and group != ("level-check",):
            newest = [s for name in group for s in store.current(bed, kind=name)]
        before = [s for s in newest if s.entry.happened.utc < since]
        held += sorted(before, key=_order_of)[-1:]
    return tuple(sorted(held, key=_order_of))


def _order_of(standing: Standing) -> tuple[datetime, int]:
    return standing.entry.happened.utc, standing.original.number


def chamber_inputs(standings: Iterable[Standing]
                   ) -> tuple[list[ChamberReading], list[ChamberEvent]]:
    """Readings and events as the measuring side takes them; times keep the ward's clock."""
    readings: list[ChamberReading] = []
    events: list[ChamberEvent] = []
    for standing in standings:
        entry = standing.entry
        if standing.withdrawn:
            continue
        if entry.subject == "volume-reading":
            readings.append(reading_input(entry, standing.original.number))
        elif entry.subject == "event":
            events.append(event_input(entry, standing.original.number))
    return readings, events


def reading_input(entry: Content, number: int) -> ChamberReading:
    """A reading as the measuring side takes it, with its place on the record."""
    assert entry.confirmed_value is not None and entry.scale is not None
    said, payload = entry.attestations, entry.payload
    division = float(payload.get("division") or 1)
    tolerance = payload.get("tolerance")
    doubts = []
    if said is not None and not said.hanging_plumb:
        doubts.append("the chamber did not hang plumb")
    if said is not None and not said.patient_undisturbed:
        doubts.append("the patient was not undisturbed")
    return ChamberReading(
        at=entry.happened.local, value_ml=entry.confirmed_value,
        u_reading_ml=reading_uncertainty(entry), scale=entry.scale, division_ml=division,
        tolerance_ml=None if tolerance is None else float(tolerance), number=number,
        outlet_closed=said is None or said.outlet_closed, doubts=tuple(doubts))


def event_input(entry: Content, number: int) -> ChamberEvent:
    """An event as the measuring side takes it, with its place on the record."""
    def volume(name: str) -> Decimal | None:
        text = entry.payload.get(name)
        return None if text is None else Decimal(text)

    return ChamberEvent(
        at=entry.happened.local, name=entry.event,  # type: ignore[arg-type]
        before_ml=volume("before_ml"), after_ml=volume("after_ml"), volume_ml=volume("volume_ml"),
        source=entry.payload.get("source"), number=number,
        detail=str(entry.payload.get("detail", "")), seen=bool(entry.payload.get("seen")),
        said=event_text(entry.act or "event", entry.payload))


def reading_uncertainty(entry: Content) -> float:
    """Standard uncertainty (mL) of the act of reading, without the scale's own error.

    When the person confirmed a value inside the machine's interval, the machine's; else
    what an eye without help may be off.  The scale's share of the machine's budget is
    taken out, since :mod:`vision.output` carries it for all readings of the scale.
    """
    division = float(entry.payload.get("division") or 1)
    eye = EYE_DIVISIONS * division / math.sqrt(3)
    m, value = entry.machine, entry.confirmed_value
    if m is None or m.low is None or m.high is None or value is None \
            or not m.low <= value <= m.high:
        return eye
    seen = entry.payload.get("seen", {})
    whole = float(m.high - m.low) / 2 / K95
    scale = math.sqrt(sum(float(t["standard_uncertainty"])**2 for t in seen.get("budget", ())
                          if t.get("term") in _SCALE_TERMS))
    return math.sqrt(max(whole**2 - scale**2, (whole / 10)**2))


def of_this_drain(standings: Sequence[Standing]) -> Sequence[Standing]:
    """What was said since the last drainage at this bed ended, that end included."""
    ends = [k for k, s in enumerate(standings)
            if s.entry.event == "drainage-ended" and not s.withdrawn]
    return standings[ends[-1]:] if ends else standings


def level_state(standings: Sequence[Standing], now: datetime, *,
                due_minutes: Decimal | None = None, order: Entry | None = None) -> LevelState:
    """Whether the last level check still holds: not after a change of position, not longer
    than the ward's own due time, not at another landmark than that of the ``order`` that stands,
    and not where it found the system to hang off."""
    known = [s.entry for s in of_this_drain(standings)
             if not s.withdrawn and s.entry.happened.utc <= now]
    checks = [e for e in known if e.subject == "level-check"]
    if not checks:
        return LevelState(None, True, "No level check is on record.")
    last = checks[-1]
    moved = [e for e in known if e.event == "position-changed"
             and e.happened.utc >= last.happened.utc]
    at = hm(last.happened.local, now)
    if moved:
        return LevelState(last, True, f"The last level check is of {at}; the position changed at "
                          f"{hm(moved[-1].happened.local, now)}. Check the level again.")
    if order is not None and _other_landmark(last, order, known):
        return LevelState(last, True, f"The last level check is of {at}; the order of "
                          f"{hm(order.happened.local, now)} names another landmark. Check the "
                          "level again.")
    age = now - last.happened.utc
    if due_minutes is not None and age > timedelta(minutes=float(due_minutes)):
        return LevelState(last, True, f"The last level check is of {at}; your limit is "
                          f"{due_minutes} min. Check the level again.")
    hangs = hangs_words(last)
    return LevelState(last, False, f"The last level check is of {at}" + (
        f"; it {hangs}. Hang it anew, then check the level again." if hangs else "."))


def _other_landmark(check: Entry, order: Entry, known: Sequence[Entry]) -> bool:
    """Whether an order that came after a level check names another landmark than the check's: its
    own, or that of the order that stood then."""
    if order.happened.utc <= check.happened.utc:
        return False
    stood = [e for e in known if e.subject == "order" and e.happened.utc <= check.happened.utc]
    before = check.payload.get("landmark") or (stood[-1].payload.get("landmark") if stood else "")
    named = order.payload.get("landmark")
    return bool(before and named) and _plain(before) != _plain(named)


def _plain(landmark: object) -> str:
    return " ".join(str(landmark).casefold().split())


def hangs_words(level: Entry) -> str:
    """How a level check on record found it to hang, where that was too high or too low."""
    action = str(level.payload.get("seen", {}).get("action") or "")
    if not level.confirmed_value or not action.startswith(("raise", "lower")):
        return ""
    side = "too high" if level.confirmed_value > 0 else "too low"
    return f"hangs {abs(level.confirmed_value):f} cm {side}"


def has_ended(bed: BedAccount) -> bool:
    """Whether the drainage has ended, and no reading came after."""
    return ended(bed) is not None


def ended(bed: BedAccount) -> Entry | None:
    """The entry that ended the drainage, where no order and no reading came after."""
    last, readings = _last_event(bed.standings, "drainage-ended"), bed.account.readings
    over = last is not None and bed.order is None and (
        not readings or last.happened.utc >= readings[-1].at)
    return last if over else None


def told(finding: Finding, standings: Iterable[Standing]) -> Entry | None:
    """The entry that says who was told about what a limit says, and the answer; None while
    nobody was, since it was passed."""
    return next((s.entry for s in standings if not s.withdrawn and s.entry.event == "person-told"
                 and s.entry.payload.get("about") == finding.limit
                 and s.entry.happened.utc >= finding.at), None)


def last_look(standings: Iterable[Standing]) -> Entry | None:
    """The entry that says how the fluid looked last."""
    return _last_event(standings, "fluid-seen")


def clamped(standings: Iterable[Standing]) -> Entry | None:
    """The entry that closed the drain for transport, while nothing says that it was opened."""
    last = _last_event(standings, "drain-closed", "drain-opened", "drainage-ended")
    return last if last is not None and last.payload.get("closed_for") == TRANSPORT else None


def _last_event(standings: Iterable[Standing], *names: str) -> Entry | None:
    return next((s.entry for s in reversed(tuple(standings))
                 if not s.withdrawn and s.entry.event in names), None)
