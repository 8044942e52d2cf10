"""When one more photo of the chamber is worth it, and from where.  Pure: no page, no record.

One photo seen steeply cannot always tell the front edge of the liquid from the back one, nor
how high the wall is wetted; two sight lines from different heights can.
"""

from __future__ import annotations

from dataclasses import dataclass

from app.agreement import Agreement
from vision.imaging.photo import Photo
from vision.parameters import APART_IN_TIME_MIN, STEEP_FLAG_DEG
from vision.reading import VolumeReading

#: An interval wider than this is worth a second photo (our choice).
WIDE_DIVISIONS = 1.0
#: What another view of the same chamber does not mend.
_NOT_MENDED = {"wrong-scale", "several-chambers"}


@dataclass(frozen=True)
class AnotherPhoto:
    """Why one more photo is worth it ("" where it is not), and where to hold the phone."""

    why: str
    where: str


def another_photo(reading: VolumeReading, agreement: Agreement | None = None) -> AnotherPhoto:
    """What to offer after a reading of one photo or of several."""
    return AnotherPhoto(_why(reading, agreement), _where(reading))


def _why(reading: VolumeReading, agreement: Agreement | None) -> str:
    if _NOT_MENDED & set(reading.flags):
        return ""
    if reading.agreement is not None and reading.agreement.odd is not None:
        return ""  # it is known which one does not belong to the others
    if "photos-disagree" in reading.flags:
        return "One more photo can tell which of them stands apart."
    if reading.status == "refused":
        return "Another view often tells what this one does not."
    if agreement is not None and agreement.verdict != "agree":
        return "You and the tool differ: a look from another height can tell who is right."
    if "surface-unlike" in reading.flags:
        return "The surface looks unlike most that the tool knows: another view can tell."
    if reading.elevation_deg is not None and abs(reading.elevation_deg) > STEEP_FLAG_DEG \
            and len(reading.photos) < 2:
        return "The chamber was seen steeply: a look from another height makes the reading surer."
    if reading.interval is not None \
            and reading.interval[1] - reading.interval[0] > WIDE_DIVISIONS * reading.division:
        return "The interval is wide: a look from another height makes it narrower."
    return ""


def _where(reading: VolumeReading) -> str:
    """Away from where the photos so far were taken, towards the height of the liquid."""
    angles = [p.elevation_deg for p in reading.photos] or [reading.elevation_deg]
    known = [a for a in angles if a is not None]
    if not known or min(known) < 0 < max(known):
        return "from the height of the liquid"
    return "from lower down" if min(known) >= 0 else "from higher up"


def minutes_apart(photos: tuple[Photo, ...], came_in_min: list[float]) -> float | None:
    """Minutes between the first and the last of several photos, where that is too long for
    them to show one level; else None.

    By the cameras' clock where all photos say it, else by when they came in.
    """
    own = [p.taken_min for p in photos if p.taken_min is not None]
    times = own if len(own) == len(photos) else came_in_min
    apart = max(times, default=0.0) - min(times, default=0.0)
    return apart if apart > APART_IN_TIME_MIN else None
