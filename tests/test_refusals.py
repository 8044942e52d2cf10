"""When the doubt about the meniscus is too large to be read."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from vision.contact_line import ContactLine
from vision.refusals import LARGEST_SD_DIVISIONS, surface_refusal
from vision.scale import load_scale
from vision.surface import Surface
from vision.surface_places import Candidate

SCALE = load_scale("slate-50")


def refused(sd_divisions: float, elevation_deg: float, value: float) -> str | None:
    """What is said of a surface at ``value`` with so much doubt, seen at an elevation."""
    level = float(SCALE.height_mm(value))
    per_mm = float(SCALE.value_at(level + 0.5)) - float(SCALE.value_at(level - 0.5))
    sd = sd_divisions * SCALE.division_at(value) / per_mm
    radius = SCALE.inner_radius_mm(value)
    surface = Surface(ContactLine(level, 0.0, 4.0, 3.0, 0.05), level, np.array([-sd, sd]),
                      np.array([0.5, 0.5]), 0.0, radius, SCALE.outer_radius_mm - radius,
                      (Candidate(level, 0.99),), 0.0)
    pose = SimpleNamespace(elevation_rad=lambda _: np.radians(elevation_deg), residual_px=0.2)
    ladder = SimpleNamespace(pose=pose, scale=SCALE, pitch_px=12.0, height_mm=np.array([level]))
    found = surface_refusal(surface, ladder, SimpleNamespace(blur_px=0.5))
    return None if found is None else found.flag


@pytest.mark.parametrize("elevation_deg", [0.0, 20.0, -20.0])
def test_much_doubt_is_refused_and_little_is_read(elevation_deg):
    assert refused(LARGEST_SD_DIVISIONS * 1.05, elevation_deg, 30.0) == "meniscus-uncertain"
    assert refused(LARGEST_SD_DIVISIONS * 0.95, elevation_deg, 30.0) is None


@pytest.mark.parametrize(("elevation_deg", "flag"), [
    (2.0, None), (-4.0, None), (20.0, "meniscus-uncertain"), (-20.0, "meniscus-uncertain")])
def test_behind_a_thick_wall_seen_obliquely_half_of_it_is_too_much(elevation_deg, flag):
    assert refused(LARGEST_SD_DIVISIONS * 0.7, elevation_deg, 5.0) == flag
    assert refused(LARGEST_SD_DIVISIONS * 0.4, elevation_deg, 5.0) is None
