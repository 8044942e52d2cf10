"""All that the stages found in one photo: what a setting, or a refusal, is decided from."""

from __future__ import annotations

from dataclasses import dataclass

from vision.imaging.photo import Photo
from vision.pressure_panel.estimate import PointerEstimate, estimate_pointer
from vision.pressure_panel.inputs import Point, tap_sd_px
from vision.pressure_panel.locate import RowsFound, find_rows
from vision.pressure_panel.number import FlatNumbering, number_rows
from vision.scale_file.scale import Scale


@dataclass(frozen=True)
class PanelEvidence:
    """What each stage said of one photo; None from the stage on that gave up."""

    photo: Photo
    scale: Scale
    pointer_px: Point
    rows: RowsFound | None = None
    numbering: FlatNumbering | None = None
    estimate: PointerEstimate | None = None


def gather(photo: Photo, scale: Scale, pointer: Point,
           number: tuple[float, Point] | None = None, pointer_sd_px: float | None = None
           ) -> PanelEvidence:
    """Find the marks, number them, map and estimate: everything but the decision."""

    def working(xy: Point) -> Point:
        x, y = photo.to_working(xy)
        return float(x), float(y)

    rows = find_rows(photo, scale, working(pointer))
    if rows is None:
        return PanelEvidence(photo, scale, pointer)
    numbering = number_rows(rows, None if number is None else (number[0], working(number[1])))
    if not numbering.accepted:
        return PanelEvidence(photo, scale, pointer, rows, numbering)
    sd = tap_sd_px(photo) if pointer_sd_px is None else pointer_sd_px
    return PanelEvidence(photo, scale, pointer, rows, numbering, estimate_pointer(
        numbering.ladder, working(pointer), sd / photo.working_scale))
