"""What the overlay shows, as lines on the photo."""

from __future__ import annotations

import numpy as np

from vision.graduations.fit import Ladder
from vision.meniscus_image.detect import Surface
from vision.reading import Trace, TraceRole
from vision.volume.estimate import LevelEstimate


def _full(points: np.ndarray, factor: int) -> np.ndarray:
    return (points + 0.5) * factor - 0.5


def _arc(ladder: Ladder, height_mm: float, lo: float, hi: float, factor: int,
         slope: float = 0.0) -> np.ndarray:
    """A level line on the wall between two azimuths (slope in mm per mm across)."""
    azimuth = np.linspace(lo, hi, 25)
    z = height_mm + slope * ladder.pose.radius_mm * np.sin(azimuth)
    return _full(ladder.pose.project(ladder.pose.on_wall(azimuth, z)), factor)


def ladder_traces(ladder: Ladder, factor: int, numerals_side: int = 0) -> list[Trace]:
    """Every mark (found ones by kind, the others as hidden), and the value of each
    labelled one, placed across from the printed numerals (``numerals_side`` -1 or 1)."""
    out: list[Trace] = []
    gap = 2.2 / ladder.pose.radius_mm
    arcs = {kind: _full(ladder.pose.project_wall(np.linspace(*zone, 25), ladder.height_mm), factor)
            for kind, zone in (("long", ladder.long_rad), ("short", ladder.core_rad))}
    for i, (mark, seen) in enumerate(zip(ladder.scale.marks, ladder.seen, strict=True)):
        zone = ladder.long_rad if mark.length == "long" else ladder.core_rad
        role: TraceRole = "mark-hidden" if not seen else (
            "mark-long" if mark.length == "long" else "mark-short")
        out.append(Trace(role, arcs["long" if mark.length == "long" else "short"][i]))
        if mark.label:
            start, step = (zone[1], gap) if numerals_side < 0 else (zone[0], -gap)
            at = _arc(ladder, mark.height_mm, start, start + step, factor)
            out.append(Trace("numeral", at[[0, -1]], mark.text))
    return out


def surface_traces(surface: Surface, estimate: LevelEstimate, ladder: Ladder, factor: int
                   ) -> list[Trace]:
    """Contact line, corrected level, its interval, and what else was considered."""
    limb = 0.9 * ladder.pose.limb_azimuth_rad()
    out: list[Trace] = []
    if surface.line is not None:
        out.append(Trace("rim-front", _arc(ladder, surface.reference_mm, -limb, limb, factor,
                                           surface.line.slope), "edge of the liquid"))
    for c in surface.candidates[1:]:
        if c.belief > 0.05:
            out.append(Trace("candidate", _arc(ladder, c.height_mm, -limb, limb, factor)))
    low, high = estimate.interval_mm
    ring = np.vstack([_arc(ladder, low, -limb, limb, factor),
                      _arc(ladder, high, -limb, limb, factor)[::-1]])
    out.append(Trace("interval", ring))
    out.append(Trace("reading", _arc(ladder, estimate.level_mm, -limb, limb, factor),
                     f"{estimate.value:.1f}"))
    return out
