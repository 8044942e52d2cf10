"""What the overlay shows, as lines on the photo."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from vision.graduations.fit import GraduationFit
from vision.meniscus_image.detect import MeniscusPosterior
from vision.parameters import WORTH_SHOWING
from vision.reading import Annotation, AnnotationRole
from vision.volume.estimate import LevelEstimate


def _in_photo(fit: GraduationFit, points: np.ndarray) -> np.ndarray:
    return points if fit.picture is None else fit.picture.to_photo(points)


def _arc(fit: GraduationFit, height_mm: float, lo: float, hi: float, slope: float = 0.0
         ) -> np.ndarray:
    """A level line on the wall between two azimuths (slope in mm per mm across)."""
    azimuth = np.linspace(lo, hi, 25)
    z = height_mm + slope * fit.pose.radius_at_mm(height_mm) * np.sin(azimuth)
    return _in_photo(fit, fit.pose.project(fit.pose.on_wall(azimuth, z)))


def graduation_annotations(fit: GraduationFit, numerals_side: int = 0) -> list[Annotation]:
    """Every mark (found ones by kind, the others as hidden), and the value of each
    labelled one, placed across from the printed numerals (``numerals_side`` -1 or 1)."""
    out: list[Annotation] = []
    gap = 2.2 / fit.pose.radius_mm
    arcs = {kind: _in_photo(fit, fit.pose.project_wall(np.linspace(*zone, 25), fit.height_mm))
            for kind, zone in (("long", fit.long_rad), ("short", fit.core_rad))}
    for i, (mark, seen) in enumerate(zip(fit.scale.marks, fit.seen, strict=True)):
        zone = fit.long_rad if mark.length == "long" else fit.core_rad
        role: AnnotationRole = "mark-hidden" if not seen else (
            "mark-long" if mark.length == "long" else "mark-short")
        out.append(Annotation(role, arcs["long" if mark.length == "long" else "short"][i]))
        if mark.label:
            start, step = (zone[1], gap) if numerals_side < 0 else (zone[0], -gap)
            at = _arc(fit, mark.height_mm, start, start + step)
            out.append(Annotation("numeral", at[[0, -1]], mark.text))
    return out


def meniscus_annotations(meniscus: MeniscusPosterior, estimate: LevelEstimate, fit: GraduationFit
                         ) -> list[Annotation]:
    """Contact line, corrected level, its interval, and what else was considered."""
    limb = 0.9 * fit.pose.limb_azimuth_rad()
    out: list[Annotation] = []
    if meniscus.line is not None:
        out.append(Annotation("rim-front", _arc(fit, meniscus.reference_mm, -limb, limb,
                                                meniscus.line.slope), "edge of the liquid"))
    for c in meniscus.candidates[1:]:
        if c.weight > WORTH_SHOWING:
            out.append(Annotation("candidate", _arc(fit, c.height_mm, -limb, limb)))
    return [*out, *_level(fit, estimate.level_mm, estimate.interval_mm, estimate.value)]


def level_annotations(annotations: Iterable[Annotation], fit: GraduationFit | None,
                      level_mm: float, interval_mm: tuple[float, float], value: float
                      ) -> tuple[Annotation, ...]:
    """The same with the level and its interval drawn at other heights."""
    kept = [a for a in annotations if a.role not in ("reading", "interval")]
    return (*kept, *([] if fit is None else _level(fit, level_mm, interval_mm, value)))


def _level(fit: GraduationFit, level_mm: float, interval_mm: tuple[float, float], value: float
           ) -> list[Annotation]:
    limb = 0.9 * fit.pose.limb_azimuth_rad()
    low, high = interval_mm
    ring = np.vstack([_arc(fit, low, -limb, limb), _arc(fit, high, -limb, limb)[::-1]])
    return [Annotation("interval", ring),
            Annotation("reading", _arc(fit, level_mm, -limb, limb), f"{value:.1f}")]
