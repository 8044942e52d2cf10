"""Numbers that stand in marks which run round the tube, where those are broken for them."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from importlib.resources import files

import numpy as np
import pytest
from drawn_ladders import camera_towards, paint_tube, printed
from PIL import Image, ImageDraw, ImageFont

from vision.graduations.fit import GraduationFit, fit_graduations
from vision.graduations.numeral_evidence import check_numerals
from vision.graduations.numeral_reader import read_numerals
from vision.graduations.numerals_in_rings import patches_in_rings
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
def fitted(at_deg: float, reach_deg: float = 80.0, tall_mm: float = 3.0, free_mm: float = 0.5
           ) -> GraduationFit:
    """The row of a tube with all marks right round and numbers from ``at_deg`` on."""
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
            box = (across > -free_mm) & (across < wide + free_mm) & (np.abs(up) < tall / 2)
            out[box] = 205.0
            inside = box & (across >= 0) & (across < wide)
            row = np.clip(((tall / 2 - up[inside]) * PX_MM).astype(int), 0, cover.shape[0] - 1)
            column = np.clip((across[inside] * PX_MM).astype(int), 0, cover.shape[1] - 1)
            out[inside] = 205.0 - 155.0 * cover[row, column]
        return out

    camera = camera_towards(4.0, 230.0, (0, 0, 42.0), focal_px=FOCAL, size=SIZE)
    grey = paint_tube(camera, SIZE, SCALE.outer_radius_mm, colour)
    grey = (grey + np.random.default_rng(3).normal(0, 2.0, grey.shape)).astype(np.float32)
    fit = fit_graduations(grey, SCALE, focal=(FOCAL, 0.02))
    assert fit is not None
    return fit


@pytest.mark.slow
@pytest.mark.parametrize("at_deg", [-35.0, -5.0, 18.0])
def test_numbers_are_read_where_the_rings_are_broken(at_deg):
    """Marks that run round have no end beside which a number could stand: none was looked for."""
    fit = fitted(at_deg)
    assert fit.runs_round("long")
    side, patches = patches_in_rings(fit, LABELLED)[0]
    assert side == (-1 if at_deg < -10 else side)
    texts = [SCALE.marks[i].text for i in LABELLED]
    read = [p.text for p in read_numerals(patches, [texts] * len(patches)).patches]
    assert sum(a == b for a, b in zip(read, texts, strict=True)) >= len(texts) - 1
    check = check_numerals(fit)
    assert check.verdict == "agree" and check.readable >= 5


@pytest.mark.slow
def test_numbers_of_another_place_are_found_out():
    """Rows numbered ten marks too far: what stands in the rings says so."""
    fit = fitted(-5.0)
    params = fit.pose.params.copy()
    params[1] += 10 * fit.evidence.step_mm
    seen = fit.seen.copy()
    seen[:2] = False
    wrong = replace(fit, pose=fit.pose.with_params(params), seen=seen)
    assert check_numerals(wrong).verdict != "agree"


@pytest.mark.slow
def test_marks_with_ends_have_no_numbers_in_them():
    camera = camera_towards(4.0, 230.0, (0, 0, 42.0), focal_px=FOCAL, size=SIZE)
    grey = paint_tube(camera, SIZE, SCALE.outer_radius_mm, printed(SCALE))
    fit = fit_graduations(grey, SCALE, focal=(FOCAL, 0.02))
    assert fit is not None and not fit.runs_round("long")
    assert patches_in_rings(fit, LABELLED) == []


@pytest.mark.slow
def test_unbroken_rings_show_no_number():
    reach = np.radians(80.0)
    camera = camera_towards(4.0, 230.0, (0, 0, 42.0), focal_px=FOCAL, size=SIZE)
    grey = paint_tube(camera, SIZE, SCALE.outer_radius_mm,
                      printed(SCALE, short=(-reach, reach), long=(-reach, reach)))
    fit = fit_graduations(grey, SCALE, focal=(FOCAL, 0.02))
    assert fit is not None and fit.runs_round("long")
    for _, patches in patches_in_rings(fit, LABELLED):
        read = read_numerals(patches, [["5", "10"]] * len(patches)).patches
        assert not any(p.text and p.confidence > 0.5 for p in read)
    assert check_numerals(fit).verdict == "unread"
