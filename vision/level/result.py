"""What a level check is: one frozen value, its sentence and its decision."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from vision.budget import BudgetTerm
from vision.reading import Agreement

LevelMode = Literal["cards", "tap", "horizon"]


def hangs_words(offset_cm: float) -> str:
    """An offset with its side in words: a bare sign is easily read the wrong way round."""
    return f"{abs(offset_cm):.1f} cm too {'low' if offset_cm < 0 else 'high'}"


@dataclass(frozen=True)
class LevelScene:
    """What was seen and concluded, for drawing: pixels of the upright photo.

    ``zero_px`` and ``landmark_px`` are (2,); ``cards_px`` the (4, 2) outlines of
    the cards; ``cues`` pairs of a cue's name and a (2, 2) line; ``horizon_px``
    (2, 2) the eye level across the photo; ``level_px`` (2, 2) from the zero
    reference along the horizontal to straight above or below the landmark;
    ``camera_above_zero_mm`` how high the phone was held over the zero reference.
    """

    cards_px: tuple[np.ndarray, ...] = ()
    cues: tuple[tuple[str, np.ndarray], ...] = ()
    zero_px: np.ndarray | None = None
    landmark_px: np.ndarray | None = None
    horizon_px: np.ndarray | None = None
    level_px: np.ndarray | None = None
    camera_above_zero_mm: float | None = None
    horizontal_distance_mm: float | None = None


@dataclass(frozen=True)
class LevelPhoto:
    """What one photo of several says by itself; ``name`` is that of its file."""

    name: str
    reading: LevelReading


@dataclass(frozen=True)
class LevelReading:
    """Height of the zero reference minus height of the landmark, from one photo or several.

    Lengths in cm, positive = the system hangs too high; None unless ``status``
    is "read".  ``interval_cm`` covers ``coverage`` of the values that could
    reasonably be meant (JCGM 101:2008, 7.7).  ``coach`` says how to take a
    better photo, empty when this one is as good as it gets.  ``strategy`` names the
    picture in which the cards were found.  ``photos`` holds what each of several photos says
    alone (empty for one), ``agreement`` whether they show the cards in the same places; the
    scene is then that of the photo ``drawn_on`` (its place, from 0).
    """

    status: Literal["read", "refused"]
    mode: LevelMode
    offset_cm: float | None = None
    interval_cm: tuple[float, float] | None = None
    standard_uncertainty_cm: float | None = None
    coverage: float = 0.95
    tolerance_cm: float | None = None
    gravity_from: tuple[str, ...] = ()
    flags: tuple[str, ...] = ()
    reasons: tuple[str, ...] = ()
    budget: tuple[BudgetTerm, ...] = ()
    coach: str = ""
    scene: LevelScene = field(default_factory=LevelScene, repr=False)
    strategy: str = ""
    photos: tuple[LevelPhoto, ...] = ()
    agreement: Agreement | None = None
    drawn_on: int = 0

    @property
    def decision(self) -> Literal["raise", "lower", "level", "cannot tell"]:
        """What the interval allows to say (JCGM 106:2012, guarded acceptance).

        With a tolerance the whole interval has to lie inside or outside it;
        without one only a side that is beyond doubt is named.
        """
        if self.interval_cm is None:
            return "cannot tell"
        low, high = self.interval_cm
        limit = self.tolerance_cm or 0.0
        if self.tolerance_cm is not None and -limit <= low and high <= limit:
            return "level"
        if high < -limit:
            return "raise"
        if low > limit:
            return "lower"
        return "cannot tell"

    @property
    def rests_on(self) -> int:
        """How many photos the level rests on: of several, some may tell nothing of it."""
        # Three coordinates of the landmark for each photo beyond the first.
        return 1 if self.agreement is None else self.agreement.degrees_of_freedom // 3 + 1

    @property
    def interval_words(self) -> str:
        """The interval without signs: "2.7 to 4.1", or with its sides where it holds both."""
        if self.interval_cm is None:
            return ""
        low, high = self.interval_cm
        if low * high > 0:
            near, far = sorted((abs(low), abs(high)))
            return f"{near:.1f} to {far:.1f}"
        return f"{abs(low):.1f} too low to {abs(high):.1f} too high"

    @property
    def action(self) -> str:
        """The contract's words: "raise 3.4 cm", "lower 2.0 cm", "level", "cannot tell"."""
        decision = self.decision
        if decision in ("raise", "lower") and self.offset_cm is not None:
            return f"{decision} {abs(self.offset_cm):.1f} cm"
        return decision

    @property
    def sentence(self) -> str:
        """The result in one sentence for the bedside."""
        if self.offset_cm is None or self.interval_cm is None:
            why = self.reasons[0] if self.reasons else "the photo does not settle it."
            return f"Cannot tell: {why} Level it by your usual method."
        size, hangs = f"{abs(self.offset_cm):.1f} cm", hangs_words(self.offset_cm)
        span, decision = f"({self.interval_words})", self.decision
        if decision == "level":
            return (f"Level within the ward's tolerance of {self.tolerance_cm:.1f} cm:"
                    f" {hangs} {span}.")
        if decision in ("raise", "lower"):
            return f"The system hangs {hangs} {span}: {decision} it {size}."
        return (f"Cannot tell: {hangs} {span} does not settle whether it is level;"
                " level it by your usual method.")

    def as_json(self) -> dict[str, object]:
        """The object that ``countersight level --json`` prints."""
        found: dict[str, object] = {
            "kind": "level",
            "status": self.status,
            "offset_cm": None if self.offset_cm is None else round(self.offset_cm, 3),
            "interval_cm": None if self.interval_cm is None
            else [round(self.interval_cm[0], 3), round(self.interval_cm[1], 3)],
            "coverage": self.coverage,
            "gravity_from": list(self.gravity_from),
            "action": self.action,
            "flags": list(self.flags),
            "reasons": list(self.reasons) + ([self.coach] if self.coach else []),
            "budget": [t.as_json() for t in self.budget],
            "strategy": self.strategy,
        }
        if self.photos:
            found["photos"] = [
                {"file": p.name, **{key: value for key, value in p.reading.as_json().items()
                                    if key in ("status", "offset_cm", "interval_cm", "flags",
                                               "reasons")}} for p in self.photos]
            a = self.agreement
            found["agreement"] = None if a is None else {
                "statistic": round(a.statistic, 3), "degrees_of_freedom": a.degrees_of_freedom,
                "p_value": a.p_value}
        return found
