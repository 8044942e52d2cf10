"""A drawn tube whose marks run right round, with numbers in them or across them."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from importlib.resources import files

import numpy as np
from drawn_ladders import camera_towards, paint_tube, printed
from PIL import Image, ImageDraw, ImageFont

from vision.graduations.fit import GraduationFit, fit_graduations
from vision.scale_file.scale import parse_scale

SIZE, FOCAL, PX_MM = (480, 900), 1100.0, 12.0
SCALE = parse_scale({
    "name": "rings", "unit": "mL", "inner_diameter_mm": 30.0, "wall_mm": 1.5, "capacity": 60,
    "height_mm": [[0, 0.0], [60, 84.883]],
    "marks": [{"from": 0, "to": 60, "step": 2, "length": "short"},
              {"from": 0, "to": 60, "step": 10, "length": "long", "label": True}]})
LABELLED = [i for i, m in enumerate(SCALE.marks) if m.label]
FONT = str(files("reportlab") / "fonts" / "Vera.ttf")


def lettered(text: str, tall_mm: float) -> np.ndarray:
    """(h, w) cover of a number, PX_MM pixels a millimetre."""
    face = ImageFont.truetype(FONT, 100)
    left, top, right, bottom = face.getbbox(text)
    plate = Image.new("L", (int(right - left), int(bottom - top)), 0)
    ImageDraw.Draw(plate).text((-left, -top), text, fill=255, font=face)
    tall = round(tall_mm * PX_MM)
    return np.asarray(plate.resize((round(tall * plate.width / plate.height), tall)), float) / 255


@lru_cache(maxsize=4)
def fitted(at_deg: float, reach_deg: float = 80.0, tall_mm: float = 3.0,
           free_mm: float | None = 0.5) -> GraduationFit:
    """The row of a tube with all marks right round and numbers from ``at_deg`` on, for which the
    rings are broken with so much room on either side; None: the rings run on through them."""
    reach = np.radians(reach_deg)
    rings = printed(SCALE, short=(-reach, reach), long=(-reach, reach))
    numbers = {round(SCALE.marks[i].height_mm, 3): lettered(SCALE.marks[i].text, tall_mm)
               for i in LABELLED}

    def colour(azimuth: np.ndarray, height: np.ndarray) -> np.ndarray:
        out = rings(azimuth, height)
        for z, cover in numbers.items():
            across = (azimuth - np.radians(at_deg)) * SCALE.outer_radius_mm
            wide, tall = cover.shape[1] / PX_MM, cover.shape[0] / PX_MM
            up = height - z
            room = free_mm or 0.0
            box = (across > -room) & (across < wide + room) & (np.abs(up) < tall / 2)
            if free_mm is not None:
                out[box] = 205.0
            inside = box & (across >= 0) & (across < wide)
            row = np.clip(((tall / 2 - up[inside]) * PX_MM).astype(int), 0, cover.shape[0] - 1)
            column = np.clip((across[inside] * PX_MM).astype(int), 0, cover.shape[1] - 1)
            out[inside] = np.minimum(out[inside], 205.0 - 155.0 * cover[row, column])
        return out

    camera = camera_towards(4.0, 230.0, (0, 0, 42.0), focal_px=FOCAL, size=SIZE)
    grey = paint_tube(camera, SIZE, SCALE.outer_radius_mm, colour)
    grey = (grey + np.random.default_rng(3).normal(0, 2.0, grey.shape)).astype(np.float32)
    fit = fit_graduations(grey, SCALE, focal=(FOCAL, 0.02))
    assert fit is not None
    return fit


def ten_marks_too_far(fit: GraduationFit) -> GraduationFit:
    """The same row, numbered ten marks too far, its lowest ones not seen."""
    params = fit.pose.params.copy()
    params[1] += 10 * fit.evidence.step_mm
    seen = fit.seen.copy()
    seen[:2] = False
    return replace(fit, pose=fit.pose.with_params(params), seen=seen)


def unnumbered(**reach: tuple[float, float]) -> GraduationFit:
    """The row of a tube without numbers, its marks as long as said, or as usual."""
    camera = camera_towards(4.0, 230.0, (0, 0, 42.0), focal_px=FOCAL, size=SIZE)
    grey = paint_tube(camera, SIZE, SCALE.outer_radius_mm, printed(SCALE, **reach))
    fit = fit_graduations(grey, SCALE, focal=(FOCAL, 0.02))
    assert fit is not None
    return fit


#: Azimuths of marks that run right round, as far as a camera sees them.
ALL_ROUND = {"short": (-np.radians(80.0), np.radians(80.0)),
             "long": (-np.radians(80.0), np.radians(80.0))}
