"""The chamber of a bed as a drawing: filled to what was last confirmed, with the order's limits."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from app.records.shift import BedAccount
from app.ui import blocks
from app.ui.drawing import show_drawing
from app.ui.scale_picker import scale_of_bed
from vision.drawing.chamber import ChamberFace, chamber_drawing
from vision.drawing.svg import Drawing
from vision.output import content_now
from vision.output.model import hm
from vision.scale_file.scale import Scale


def chamber_of(bed: BedAccount, now: datetime, scale: Scale | None) -> Drawing | None:
    """The drawing; None where no ``scale`` tells what the chamber looks like."""
    if scale is None or scale.flat:
        return None
    known = content_now(bed.account)
    within = None if known is None or float(known[1]) > scale.highest_mark.value else known
    words = ("not known", "look at the chamber") if known is None else (
        f"{known[1]:f} {scale.unit}", *_confirmed(hm(known[0], now)))
    limits = _limits(bed, None if known is None else known[1], scale)
    title = (f"The chamber {scale.name}, drawn to scale: {', '.join(words)}. "
             + "; ".join(said for _, said in limits))
    return chamber_drawing(ChamberFace(
        marks=[(m.height_mm, m.length == "long", m.text if m.label else "") for m in scale.marks],
        bore=[(float(scale.height_mm(value)), scale.inner_radius_mm(value))
              for value in _values(scale)],
        wall_mm=scale.wall_mm, level_words=words, title=title.strip(),
        level_mm=None if within is None else float(scale.height_mm(float(within[1]))),
        limits=[(float(scale.height_mm(float(value))), said) for value, said in limits]))


def _confirmed(when: str) -> tuple[str, ...]:
    """When it was confirmed, in lines that fit beside the chamber: a date needs one of its own."""
    return (f"confirmed {when}",) if len(when) <= len("23:59") else ("confirmed", when)


def show_chamber(bed: BedAccount, now: datetime) -> None:
    """Draw it on the page, or say why there is no drawing."""
    readings = bed.account.readings
    drawn = chamber_of(bed, now, scale_of_bed(bed.bed, readings[-1].scale if readings else None))
    if drawn is None:
        blocks.say("No drawing of the chamber: which scale it has is not on record yet."
                   if not readings else
                   f"No drawing of the chamber: the file of its scale '{readings[-1].scale}' is "
                   "not kept here.")
    else:
        show_drawing(drawn)


def _values(scale: Scale) -> list[float]:
    knots = [value for value, _ in scale.diameter_knots]
    return sorted({scale.lowest_mark.value, scale.highest_mark.value, *knots})


def _limits(bed: BedAccount, content: Decimal | None, scale: Scale
            ) -> list[tuple[Decimal, str]]:
    """The order's fill limit, and the hour's limit counted from what stands in it."""
    found = []
    full, hour = bed.limits.chamber_full_ml, bed.limits.ml_per_hour
    if full is not None:
        found.append((full, f"empty at {full:f}, as ordered"))
    if hour is not None and content is not None:
        found.append((content + hour, f"{hour:f} more: the hour's limit"))
    top = Decimal(repr(scale.highest_mark.value))
    return [(value, said) for value, said in found if value <= top]
