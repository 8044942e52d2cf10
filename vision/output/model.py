"""What an output is computed from, and what comes out.

Times are aware datetimes; they are compared and subtracted as moments, and
sentences show the wall clock that they carry.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone
from decimal import Decimal
from typing import Literal

from vision.errors import InputError
from vision.output.limits import RATE_FROM_MINUTES

EventName = Literal["chamber-emptied", "bag-changed", "drain-closed", "drain-opened",
                    "sample-taken", "position-changed", "fluid-seen", "little-output",
                    "person-told", "dressing-seen", "drainage-ended"]

#: Coverage factor of a two-sided 95 % interval of a normal distribution.
K95 = 1.959964
#: One-sided 95 %, for comparing with a limit (JCGM 106:2012, guarded acceptance).
K95_ONE_SIDED = 1.644854


@dataclass(frozen=True)
class ChamberReading:
    """A confirmed reading of the chamber.

    ``u_reading_ml`` is the standard uncertainty of the act of reading alone (mL);
    ``tolerance_ml`` the largest error of the scale itself at any mark, which all
    readings of one ``scale`` share.  ``number`` is its number on the record and
    orders readings and events of one moment.  ``doubts`` are reasons why the
    person did not vouch for it.  ``outlet_closed`` is False when the outlet was
    open while collecting: then no output can be computed up to it.
    """

    at: datetime
    value_ml: Decimal
    u_reading_ml: float
    scale: str
    division_ml: float = 1.0
    tolerance_ml: float | None = None
    number: int = 0
    outlet_closed: bool = True
    doubts: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "at", fixed(self.at))
        if not self.value_ml.is_finite() or self.value_ml < 0:
            raise InputError("A chamber reading cannot be negative.")

    @property
    def scale_error_ml(self) -> float:
        """Bound of the scale's error; one division where the scale states none (our choice:
        a drain chamber is no class A ware)."""
        return self.division_ml if self.tolerance_ml is None else self.tolerance_ml


@dataclass(frozen=True)
class ChamberEvent:
    """A confirmed event.  Volumes in mL; None where nobody read them.

    ``seen`` is True for a state of the drain that was seen, not made: it holds from then on,
    and says nothing of when it began.  ``said`` is the whole of it in a few words.
    """

    at: datetime
    name: EventName
    before_ml: Decimal | None = None
    after_ml: Decimal | None = None
    volume_ml: Decimal | None = None
    source: str | None = None
    number: int = 0
    detail: str = ""
    seen: bool = False
    said: str = field(default="", compare=False)

    @property
    def act(self) -> str:
        """The name, or that its state was seen."""
        return f"{self.name}-seen" if self.seen else self.name

    def __post_init__(self) -> None:
        object.__setattr__(self, "at", fixed(self.at))


@dataclass(frozen=True)
class Question:
    """Something that does not add up and only a person can answer; never hidden.

    ``kind``: "negative", "unknown-volume", "outlet-open", "scale-changed" or
    "came-while-closed".  ``numbers`` are the entries it is about.
    """

    kind: str
    sentence: str
    numbers: tuple[int, ...] = ()


@dataclass(frozen=True)
class Term:
    """One reading's share in a sum of volumes: coefficient, value and uncertainties."""

    coefficient: float
    source: int


@dataclass(frozen=True)
class Interval:
    """Output between two moments at which the chamber's content is known.

    ``output_ml`` is exact arithmetic on the confirmed values, None when a volume is
    unknown (then ``at_least_ml`` may say what surely came).  ``counted`` is False when
    a question forbids adding it to a total.  ``open_hours`` is the time the drain
    was not closed; ``samples_ml`` what was drawn at the patient's port meanwhile.
    ``ml_per_hour`` is per hour of clock time, and None for less than
    ``rate_from_hours``: no rate is known from readings so close together.
    """

    start: datetime
    end: datetime
    first: ChamberReading
    last: ChamberReading | None
    events: tuple[ChamberEvent, ...]
    output_ml: Decimal | None
    u_ml: float | None
    counted: bool
    open_hours: float
    samples_ml: Decimal
    questions: tuple[Question, ...] = ()
    at_least_ml: Decimal | None = None
    u_ml_per_hour: float | None = None
    terms: tuple[Term, ...] = field(default=(), repr=False)
    rate_from_hours: float = float(RATE_FROM_MINUTES) / 60

    @property
    def hours(self) -> float:
        """Clock time in hours."""
        return (self.end - self.start).total_seconds() / 3600

    @property
    def ml_per_hour(self) -> float | None:
        """Mean rate over the interval, None when unknown or when too little time passed."""
        if self.output_ml is None or not 0 < self.hours >= self.rate_from_hours:
            return None
        return float(self.output_ml) / self.hours

    @property
    def interval_ml(self) -> tuple[float, float] | None:
        """95 % interval of the output."""
        if self.output_ml is None or self.u_ml is None:
            return None
        value = float(self.output_ml)
        return value - K95 * self.u_ml, value + K95 * self.u_ml

    @property
    def measurable(self) -> bool:
        """True unless what came is known and within the doubt of the readings."""
        return self.output_ml is None or self.u_ml is None \
            or abs(float(self.output_ml)) > K95_ONE_SIDED * self.u_ml


def fixed(at: datetime) -> datetime:
    """The same moment with a fixed offset: two moments of one named zone would be
    subtracted by the wall clock, an hour wrong when the clocks change between them."""
    offset = at.utcoffset()
    if offset is None:
        raise InputError("Times of readings and events need a time zone.")
    return at.astimezone(timezone(offset))


def later(at: datetime, by: timedelta) -> datetime:
    """So much later (or earlier), by the wall clock that shows then: clocks may change between.

    They are known of this machine's own zone only; the offset of a moment of another one stays.
    """
    then = fixed(at) + by
    return fixed(then.astimezone()) if _own(at) else then


def _own(at: datetime) -> bool:
    """Whether this machine's clock showed this time of day at that moment."""
    return at.utcoffset() == at.astimezone().utcoffset()


def hm(at: datetime, now: datetime | None = None) -> str:
    """The wall clock that the moment carries; with its date unless that is today's.

    Where the clocks changed between it and ``now``, an hour or so stands twice or not at all in
    the day: then it says which clock is meant.
    """
    if now is None:
        return at.strftime("%Y-%m-%d %H:%M")
    text = at.strftime("%H:%M" if at.date() == now.date() else "%Y-%m-%d %H:%M")
    changed = (_own(at) and _own(now) and at.utcoffset() != now.utcoffset()
               and abs(at - now) < timedelta(days=1))
    return f"{text} ({'old' if at < now else 'new'} time)" if changed else text


def hm_ahead(at: datetime, now: datetime) -> str:
    """The same of a moment to come: without its date while that is less than a day away,
    since the hour alone then says which day."""
    said = hm(at, now)
    return said.removeprefix(f"{at:%Y-%m-%d} ") if timedelta(0) <= at - now < timedelta(days=1) \
        else said


def tenths(value: float | Decimal) -> str:
    """A volume to a tenth for a sentence: with a true minus sign, and with none before a nought."""
    text = f"{value:.1f}"
    return text.lstrip("-") if float(text) == 0 else text.replace("-", "\N{MINUS SIGN}")


def percent(share: float) -> str:
    """A share in whole percent, with its space (BIPM, The International System of Units, 9th
    edition, 2019, 5.4.7)."""
    return f"{100 * share:.0f} %"
