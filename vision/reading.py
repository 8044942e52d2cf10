"""What a reading of the chamber is: one frozen value, drawable and printable."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from vision.budget import BudgetTerm

VolumeStatus = Literal["read", "refused", "below-scale", "above-scale"]

#: Roles a trace on the overlay can have.
AnnotationRole = Literal[
    "mark-long", "mark-short", "mark-hidden", "numeral", "rim-front", "reading", "interval",
    "candidate",
]


@dataclass(frozen=True)
class Annotation:
    """A line on the photo that shows what was seen or concluded.

    ``points_px`` is an (N, 2) float array of (x, y) in pixels of the upright
    photo, origin at the centre of the top-left pixel.
    """

    role: AnnotationRole
    points_px: np.ndarray
    text: str = ""


@dataclass(frozen=True)
class Question:
    """What the tool needs from the person before it can read.

    kind "number": tap a mark and type its value.  kind "which-chamber": tap the
    chamber that is meant.  kind "which-surface": tap near the true surface.  kind
    "what-happened": say what happened between photos that disagree.
    """

    kind: Literal["number", "which-chamber", "which-surface", "what-happened"]
    sentence: str


@dataclass(frozen=True)
class Agreement:
    """Whether photos of one chamber tell the same level.

    ``statistic`` against chi-squared with ``degrees_of_freedom``; ``odd`` is the place
    (from 0) of the photo that stands apart from the others, None where none does.
    """

    statistic: float
    degrees_of_freedom: int
    p_value: float
    odd: int | None = None


@dataclass(frozen=True)
class PhotoReading:
    """What one photo of several says by itself; ``name`` is that of its file."""

    name: str
    reading: VolumeReading

    @property
    def status(self) -> VolumeStatus:
        """Whether it is read alone."""
        return self.reading.status

    @property
    def value(self) -> float | None:
        """Its own value, in the unit of the scale."""
        return self.reading.value

    @property
    def interval(self) -> tuple[float, float] | None:
        """Its own interval."""
        return self.reading.interval

    @property
    def elevation_deg(self) -> float | None:
        """Elevation from which it was taken."""
        return self.reading.elevation_deg

    @property
    def flags(self) -> tuple[str, ...]:
        """Its own flags."""
        return self.reading.flags

    @property
    def reasons(self) -> tuple[str, ...]:
        """The sentences that go with them."""
        return self.reading.reasons


@dataclass(frozen=True)
class VolumeReading:
    """One reading of one photo, or of several of one chamber, against one scale.

    ``value``, ``interval`` and ``naive_value`` are in ``unit``; they are None
    unless ``status`` is "read" (a naive value may be given with a refusal).
    ``interval`` covers ``coverage`` of the values that could reasonably be
    meant.  ``elevation_deg`` is the elevation of the sight line at the surface
    against the plane square to the chamber axis, positive when the camera looks
    down.  ``strategy`` names how the row of marks was come by.  ``surface_px`` is
    (x, y) of the corrected reading line where it crosses the ladder.  ``photos`` holds what
    each of several photos says alone (empty for one photo), ``agreement`` whether they tell
    the same level; view and points are then those of the photo that tells most, ``drawn_on``
    its place (from 0) among them.
    """

    status: VolumeStatus
    unit: str
    division: float
    scale: str
    value: float | None = None
    interval: tuple[float, float] | None = None
    coverage: float = 0.95
    naive_value: float | None = None
    elevation_deg: float | None = None
    elevation_sd_deg: float | None = None
    surface_px: tuple[float, float] | None = None
    flags: tuple[str, ...] = ()
    reasons: tuple[str, ...] = ()
    budget: tuple[BudgetTerm, ...] = ()
    question: Question | None = None
    candidates: tuple[float, ...] = ()
    annotations: tuple[Annotation, ...] = field(default=(), repr=False)
    strategy: str = ""
    photos: tuple[PhotoReading, ...] = ()
    agreement: Agreement | None = None
    drawn_on: int = 0

    @property
    def rests_on(self) -> int:
        """How many photos the value rests on: of several, some may tell nothing of the level."""
        if not self.photos:
            return 1
        return 1 if self.agreement is None else self.agreement.degrees_of_freedom + 1

    def as_json(self) -> dict[str, object]:
        """The object that ``countersight read --json`` prints."""

        def number(x: float | None, digits: int) -> float | None:
            return None if x is None else round(float(x), digits)

        found: dict[str, object] = {
            "kind": "volume",
            "status": self.status,
            "value": number(self.value, 3),
            "unit": self.unit,
            "interval": None if self.interval is None
            else [number(self.interval[0], 3), number(self.interval[1], 3)],
            "coverage": self.coverage,
            "division": self.division,
            "naive_value": number(self.naive_value, 3),
            "elevation_deg": number(self.elevation_deg, 2),
            "elevation_sd_deg": number(self.elevation_sd_deg, 2),
            "surface_px": None if self.surface_px is None
            else [number(self.surface_px[0], 1), number(self.surface_px[1], 1)],
            "scale": self.scale,
            "strategy": self.strategy,
            "flags": list(self.flags),
            "reasons": list(self.reasons),
            "candidates": [number(c, 2) for c in self.candidates],
            "budget": [t.as_json() for t in self.budget],
        }
        if self.photos:
            found["photos"] = [
                {"file": p.name, **{key: value for key, value in p.reading.as_json().items()
                                    if key in ("status", "value", "interval", "elevation_deg",
                                               "flags", "reasons")}} for p in self.photos]
            a = self.agreement
            found["agreement"] = None if a is None else {
                "statistic": number(a.statistic, 3), "degrees_of_freedom": a.degrees_of_freedom,
                "p_value": a.p_value}
        return found
