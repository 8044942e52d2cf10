"""The bedside of a level task, drawn: as it was levelled, and as it hangs now."""

from __future__ import annotations

from vision.drawing.bedside import Bedside, bedside_drawing, hanging_words
from vision.drawing.svg import Drawing
from vision.hydrostatics.threshold import Threshold
from vision.hydrostatics.units import both_units
from vision.lesson.level import BedView, level_threshold

#: Heights that the sliders reach, over the hinge of the bed: the drawing does not jump.
REACH_CM = (-42.0, 112.0)


def now_drawing(view: BedView, now: Threshold, reach_cm: tuple[float, float] | None = None
                ) -> Drawing:
    """The bedside as it stands now; ``reach_cm`` are heights that are always drawn."""
    return _drawn(view, now, f"Now: {hanging_words(now.offset_cm)}",
                  (f"opens at {both_units(now.value_cm_h2o)}", _moved_words(view)),
                  f"Side view to scale. {now.sentence}", reach_cm)


def asking_drawing(view: BedView, now: Threshold, reach_cm: tuple[float, float] | None = None
                   ) -> Drawing:
    """The bedside as it stands now, with nothing said about what follows."""
    return _drawn(view, now, "How does it hang now?", ("opens at ?", _moved_words(view)),
                  "Side view to scale. How does the system hang, and when does it open?", reach_cm)


def before_drawing(view: BedView) -> Drawing:
    """The bedside as it was levelled, before anything moved."""
    before = BedView(view.setting, view.unit, bed_from_deg=view.bed_from_deg,
                     bed_to_deg=view.bed_from_deg, along_cm=view.along_cm, above_cm=view.above_cm)
    now = level_threshold(before)
    return _drawn(before, now, "As it was levelled, before anything moved",
                  (f"opened at {both_units(now.value_cm_h2o)}", _moved_words(before)),
                  "Side view to scale, as it was levelled, before anything moved.")


def _drawn(view: BedView, now: Threshold, head: str, captions: tuple[str, ...], title: str,
           reach_cm: tuple[float, float] | None = None) -> Drawing:
    return bedside_drawing(Bedside(
        offset_cm=now.offset_cm, setting_cm=now.setting_cm_h2o, head=head, captions=captions,
        title=title, head_angle_deg=view.bed_to_deg, along_cm=view.along_cm,
        above_cm=view.above_cm, slid_cm=view.slid_cm, bed_cm=view.bed_cm, reach_cm=reach_cm))


def _moved_words(view: BedView) -> str:
    said = [f"head of the bed at {view.bed_to_deg:g} degrees"]
    said += [f"slid {view.slid_cm:g} cm"] * bool(view.slid_cm)
    return ", ".join(said)
