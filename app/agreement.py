"""Do a person's reading and the tool's say the same?  Like is compared with like.

A person reads a scale to about half a division, the tool to its interval; both doubts
together say how far the two may lie apart (root of the sum of squares, JCGM 100:2008,
5.1.2).  Pure: no page, no record.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from vision.output.model import K95
from vision.reading import VolumeReading
from vision.scale_file.scale import Scale

#: Half-width, in divisions, of what an eye without help may be off (common practice, no
#: source; a third of a division is realistic at a liquid-in-glass scale: Batagelj, Bojkovski,
#: Drnovsek, Pusnik, Elektroteh. vestnik 2001;68:225).  Rectangular (JCGM 100:2008, 4.3.7).
READ_TO_DIVISIONS = 0.5
#: Readings further apart than this ask for a second look, whatever the tool's interval
#: (common practice, no source).
SECOND_LOOK_DIVISIONS = 1.0

Verdict = Literal["agree", "differ", "second-look"]
_OFF_SCALE = {"below-scale": "below the lowest mark", "above-scale": "above the highest mark"}


@dataclass(frozen=True)
class Agreement:
    """How two readings stand to each other, in words for a card and a notice."""

    verdict: Verdict
    sentence: str

    @property
    def second_look(self) -> bool:
        """Neither may go on record before the chamber was looked at again."""
        return self.verdict == "second-look"


def largest_difference(value: float, own: float, interval: tuple[float, float] | None,
                       division: float) -> float:
    """How far an own reading may lie from the tool's value while both are right (95 %)."""
    side = 0.0
    if interval is not None:
        side = interval[1] - value if own > value else value - interval[0]
    return K95 * math.hypot(READ_TO_DIVISIONS * division / math.sqrt(3), side / K95)


def verdict_of(own: float, value: float, interval: tuple[float, float] | None,
               division: float) -> Verdict:
    """Agree, differ by more than both doubts allow, or by more than a division."""
    apart = abs(own - value)
    if apart > SECOND_LOOK_DIVISIONS * division * (1 + 1e-9) + 1e-9:
        return "second-look"
    return "agree" if apart <= largest_difference(value, own, interval, division) else "differ"


def compare_readings(own: float, reading: VolumeReading, scale: Scale) -> Agreement | None:
    """The person's reading (mL) against the tool's; None where the tool says nothing."""
    if reading.status in _OFF_SCALE:
        return _off_scale(own, reading.status, scale)
    if reading.value is None:
        return None
    side = "higher" if own > reading.value else "lower"
    beyond = max(scale.lowest_mark.value - own, own - scale.highest_mark.value)
    if beyond > READ_TO_DIVISIONS * reading.division + 1e-9:
        return Agreement("second-look", "You read it off the scale, the tool sees it on the scale. "
                                        "Look at the chamber again before you confirm either.")
    verdict = verdict_of(own, reading.value, reading.interval, reading.division)
    if verdict == "agree":
        return Agreement(verdict, "The two readings agree.")
    if verdict == "differ":
        return Agreement(verdict, f"Yours is {side}, by more than an eye and the tool should "
                                  "differ. Look once more.")
    apart = abs(own - reading.value) / reading.division
    return Agreement(verdict, f"Yours is {side} by {apart:.1f} divisions. Look at the chamber "
                              "again before you confirm either.")


def _off_scale(own: float, status: str, scale: Scale) -> Agreement:
    """At the very end of the scale an eye cannot tell on from off."""
    below = status == "below-scale"
    end = scale.lowest_mark.value if below else scale.highest_mark.value
    inside = own - end if below else end - own
    if inside > READ_TO_DIVISIONS * scale.division_at(end) + 1e-9:
        return Agreement("second-look",
                         f"You read {own:g} {scale.unit}, the tool sees the liquid "
                         f"{_OFF_SCALE[status]}. Look at the chamber again before you confirm "
                         "either.")
    return Agreement("agree", f"You and the tool see it at the end of the scale or "
                              f"{_OFF_SCALE[status]}.")
