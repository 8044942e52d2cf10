"""The account: from confirmed readings and events to outputs, exact and with uncertainty.

Output of an interval = content now - content before + what was emptied in between
(+ samples drawn from the chamber).  Samples from the patient's port never reach
the chamber and are told beside it.  Common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal

import numpy as np

from vision.output.covariance import Source, combined, covariance_matrix
from vision.output.drain import open_hours
from vision.output.limits import RATE_FROM_MINUTES
from vision.output.model import (
    K95,
    ChamberEvent,
    ChamberReading,
    Interval,
    Question,
    Term,
    hm,
)
from vision.output.questions import difference_question

#: Half-width, in divisions, of what an eye without help may be off when the content is
#: read while emptying (rectangular; our choice, wider than the third of a division that
#: careful readers reach: Batagelj et al., Elektroteh. vestnik 2001;68:225).
EYE_DIVISIONS = 1.0
#: Standard uncertainty of a volume drawn into a syringe, as a share (our choice).
SAMPLE_SHARE = 0.05
#: Standard uncertainty of the time of a reading in hours: half a minute (our choice).
TIME_U_HOURS = 0.5 / 60


@dataclass(frozen=True)
class Account:
    """All intervals of one bed in order of time, and the joint uncertainty behind them.

    ``covariance`` is the (N, N) covariance in mL^2 of the values that the terms of
    the intervals name.
    """

    readings: tuple[ChamberReading, ...]
    events: tuple[ChamberEvent, ...]
    intervals: tuple[Interval, ...]
    covariance: np.ndarray
    rate_from_minutes: Decimal = RATE_FROM_MINUTES

    @property
    def result(self) -> Interval | None:
        """The hour's result: what came up to the last reading.

        It begins at the reading before, or, where that is too close for a rate, at the
        last one that is not.  An emptying after the last reading does not end it: what
        came up to an emptying belongs to the next result.  None before two readings.
        """
        read = [i for i in self.intervals if i.last is not None]
        for k in range(len(read) - 1, -1, -1):
            if not all(i.counted for i in read[k:]):
                break
            joined = self._joined(read[k:])
            if joined.ml_per_hour is not None:
                return joined
        return read[-1] if read else None

    def _joined(self, parts: Sequence[Interval]) -> Interval:
        """Neighbouring counted intervals as one."""
        if len(parts) == 1:
            return parts[0]
        a, b = parts[0], parts[-1]
        output = sum((i.output_ml for i in parts if i.output_ml is not None), Decimal(0))
        u = self.uncertainty((i, 1.0) for i in parts)
        return replace(
            b, start=a.start, first=a.first, events=tuple(e for i in parts for e in i.events),
            output_ml=output, u_ml=u, open_hours=sum(i.open_hours for i in parts),
            samples_ml=sum((i.samples_ml for i in parts), Decimal(0)),
            questions=tuple(q for i in parts for q in i.questions), terms=(),
            u_ml_per_hour=_rate_uncertainty(output, u, (b.end - a.start).total_seconds() / 3600))

    @property
    def questions(self) -> tuple[Question, ...]:
        """Everything that does not add up."""
        return tuple(q for i in self.intervals for q in i.questions)

    @property
    def total_ml(self) -> Decimal:
        """Sum of the counted intervals: exact."""
        return sum((i.output_ml for i in self.intervals
                    if i.counted and i.output_ml is not None), Decimal(0))

    def uncertainty(self, shares: Iterable[tuple[Interval, float]]) -> float:
        """Standard uncertainty (mL) of a sum of shares of intervals, correlations included."""
        c = np.zeros(len(self.covariance))
        for interval, share in shares:
            for term in interval.terms:
                c[term.source] += share * term.coefficient
        return combined(c, self.covariance)


@dataclass(frozen=True)
class _Level:
    """The content of the chamber at a moment, as a value and an index of its source."""

    value: Decimal
    source: int


class _Sources:
    """Every value read or drawn, once: neighbouring intervals share a reading, whose
    error enters one with plus and the other with minus and cancels in their sum."""

    def __init__(self) -> None:
        self.all: list[Source] = []
        self._of_reading: dict[int, int] = {}

    def reading(self, r: ChamberReading) -> _Level:
        if id(r) not in self._of_reading:
            self._of_reading[id(r)] = self.add(Source(
                float(r.value_ml), r.u_reading_ml, r.scale_error_ml, r.scale, r.division_ml))
        return _Level(r.value_ml, self._of_reading[id(r)])

    def add(self, source: Source) -> int:
        self.all.append(source)
        return len(self.all) - 1


def make_account(readings: Iterable[ChamberReading], events: Iterable[ChamberEvent] = (), *,
                 rate_from_minutes: Decimal | None = None) -> Account:
    """The account of one bed, whatever order the entries come in.

    ``rate_from_minutes``: the ward's own limit below which no rate is told, else ours.
    """
    rate_from = RATE_FROM_MINUTES if rate_from_minutes is None else rate_from_minutes
    rs = tuple(sorted(readings, key=lambda r: (r.at, r.number)))
    es = tuple(sorted(events, key=lambda e: (e.at, e.number)))
    sources = _Sources()
    drafts = [_Piece(first, last, between, sources).work()
              for first, last, between in _pieces(rs, es)]
    matrix = covariance_matrix(sources.all)
    return Account(rs, es, tuple(_finish(d, matrix, es, float(rate_from) / 60) for d in drafts),
                   matrix, rate_from)


def _pieces(rs: Sequence[ChamberReading], es: Sequence[ChamberEvent]
            ) -> Iterable[tuple[ChamberReading, ChamberReading | None, list[ChamberEvent]]]:
    """Each reading with the next one and the events between; at the end, the emptyings
    after the last reading (what came up to an emptying is known without another reading)."""
    for k, first in enumerate(rs):
        last = rs[k + 1] if k + 1 < len(rs) else None
        between = [e for e in es if (first.at, first.number) < (e.at, e.number)
                   and (last is None or (e.at, e.number) < (last.at, last.number))]
        if any(e.name == "drainage-ended" for e in between):
            last = None  # what came then is of another drainage
            until = next(k for k, e in enumerate(between) if e.name == "drainage-ended")
            between = between[:until]
        if last is not None:
            yield first, last, between
        elif any(e.name == "chamber-emptied" and e.before_ml is not None for e in between):
            until = max(k for k, e in enumerate(between)
                        if e.name == "chamber-emptied" and e.before_ml is not None)
            yield first, None, between[: until + 1]


@dataclass(frozen=True)
class _Draft:
    first: ChamberReading
    last: ChamberReading | None
    end: datetime
    events: tuple[ChamberEvent, ...]
    output: Decimal | None
    at_least: Decimal | None
    terms: dict[int, float]
    questions: tuple[Question, ...]
    counted: bool


class _Piece:
    """One interval while it is worked out, event by event."""

    def __init__(self, first: ChamberReading, last: ChamberReading | None,
                 events: list[ChamberEvent], sources: _Sources) -> None:
        self.first, self.last, self.events, self.sources = first, last, events, sources
        self.output, self.at_least, self.drawn = Decimal(0), Decimal(0), Decimal(0)
        self.terms: dict[int, float] = {}
        self.questions: list[Question] = []
        self.known, self.fits = True, True
        self.level: _Level | None = sources.reading(first)

    def work(self) -> _Draft:
        for event in self.events:
            if event.name == "chamber-emptied":
                self._emptied(event)
            elif event.name == "sample-taken" and event.source == "chamber":
                self._sampled(event)
        if self.last is not None:
            self._came_to(self.sources.reading(self.last), self.last.number)
            self._ask_about_readings(self.last)
        end = self.events[-1].at if self.last is None else self.last.at
        return _Draft(self.first, self.last, end, tuple(self.events),
                      self.output if self.known else None,
                      None if self.known else self.at_least,
                      self.terms if self.known else {}, tuple(self.questions),
                      self.known and self.fits)

    def _emptied(self, event: ChamberEvent) -> None:
        if event.before_ml is None:
            self._unknown(event, "How much stood in the chamber when it was emptied")
        else:
            self._came_to(self._by_eye(event.before_ml), event.number)
        if event.after_ml is None:
            self._unknown(event, "How much was left in the chamber after it was emptied")
            self.level = None
        else:
            self.level = self._by_eye(event.after_ml)

    def _sampled(self, event: ChamberEvent) -> None:
        if event.volume_ml is None:
            self._unknown(event, "How much was drawn from the chamber")
            return
        self.output += event.volume_ml
        self.drawn += event.volume_ml
        self.terms[self.sources.add(Source(
            float(event.volume_ml), SAMPLE_SHARE * float(event.volume_ml), 0.0,
            f"sample {event.number}", 1.0))] = 1.0

    def _came_to(self, now: _Level, number: int) -> None:
        """The content is known again: what came since it was known last."""
        before, self.level = self.level, now
        if before is None:
            return
        difference = now.value - before.value
        self.output += difference
        self.at_least += max(Decimal(0), difference + self.drawn)
        for level, sign in ((now, 1.0), (before, -1.0)):
            self.terms[level.source] = self.terms.get(level.source, 0.0) + sign
        asked = difference_question(difference + self.drawn, self.first, self.last, self.events,
                                    number)
        self.drawn = Decimal(0)
        if asked:
            self.questions.append(asked)
            self.fits = False

    def _by_eye(self, value: Decimal) -> _Level:
        f = self.first
        return _Level(value, self.sources.add(Source(
            float(value), EYE_DIVISIONS * f.division_ml / math.sqrt(3), f.scale_error_ml, f.scale,
            f.division_ml)))

    def _unknown(self, event: ChamberEvent, question: str) -> None:
        self.known = False
        self.questions.append(Question(
            "unknown-volume", f"{question} at {hm(event.at)}? Without it the output cannot be "
            "computed; correct that entry if the volume was read.", (event.number,)))

    def _ask_about_readings(self, last: ChamberReading) -> None:
        if not last.outlet_closed:
            self.fits = False
            self.questions.append(Question(
                "outlet-open",
                f"The outlet was not closed while collecting (reading of {hm(last.at)}): what ran "
                "through is not in the chamber. How much is in the bag?", (last.number,)))
        if last.scale != self.first.scale:
            self.fits = False
            self.questions.append(Question(
                "scale-changed",
                f"The scale changed from {self.first.scale} to {last.scale} at {hm(last.at)}. Was "
                "the chamber exchanged, or was one of the two chosen wrongly?",
                (self.first.number, last.number)))


def _rate_uncertainty(output: Decimal, u: float, hours: float) -> float:
    return math.hypot(u, abs(float(output)) / hours * math.sqrt(2) * TIME_U_HOURS) / hours


def _finish(d: _Draft, matrix: np.ndarray, events: Sequence[ChamberEvent],
            rate_from_hours: float) -> Interval:
    hours = (d.end - d.first.at).total_seconds() / 3600
    opened = open_hours(events, d.first.at, d.end)
    u = None
    if d.output is not None:
        c = np.zeros(len(matrix))
        for source, coefficient in d.terms.items():
            c[source] = coefficient
        u = combined(c, matrix)
    questions = list(d.questions)
    if d.output is not None and u is not None and opened == 0 and hours > 0 \
            and float(d.output) > K95 * u:
        questions.append(Question(
            "came-while-closed",
            f"{d.output:f} mL came although the drain is on record as closed the whole time "
            f"({hm(d.first.at)} to {hm(d.end, d.first.at)}). Is the drain really closed?",
            (d.first.number,) + ((d.last.number,) if d.last else ())))
    rate_u = None
    if u is not None and d.output is not None and hours > 0:
        rate_u = _rate_uncertainty(d.output, u, hours)
    samples = sum((e.volume_ml for e in d.events if e.name == "sample-taken"
                   and e.source == "port" and e.volume_ml is not None), Decimal(0))
    return Interval(
        start=d.first.at, end=d.end, first=d.first, last=d.last, events=d.events,
        output_ml=d.output, u_ml=u, counted=d.counted,
        open_hours=opened, samples_ml=samples, questions=tuple(questions),
        at_least_ml=d.at_least, u_ml_per_hour=rate_u, rate_from_hours=rate_from_hours,
        terms=tuple(Term(c, s) for s, c in d.terms.items()))
