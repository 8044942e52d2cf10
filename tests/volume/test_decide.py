"""When the doubt about the meniscus is too large to be read."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from app.another_photo import another_photo
from vision.graduations.cylinder_pose import CylinderPose
from vision.imaging.photo import load_photo
from vision.meniscus_image.candidates import RowPeak
from vision.meniscus_image.contact_line import ContactLine
from vision.meniscus_image.detect import MeniscusPosterior
from vision.meniscus_image.misread_risk import LARGEST_CHANCE, MIRRORED_CHANCE
from vision.scale_file.scale import load_scale
from vision.volume import decide
from vision.volume.decide import refusal_of
from vision.volume.read import read_volume

SAMPLES = Path(__file__).parents[2] / "sample_images"
SCALE = load_scale("slate-50")


def refused(chance: float, elevation_deg: float, value: float, off_divisions: float = 1.2,
            residual: float = 0.02, of_marks: bool = True, **seen: float) -> str | None:
    """What is said of a surface at ``value``, seen at an elevation, that lies so far off
    with this chance."""
    level = float(SCALE.height_mm(value))
    per_mm = float(SCALE.value_at(level + 0.5)) - float(SCALE.value_at(level - 0.5))
    off = off_divisions * SCALE.division_at(value) / per_mm
    radius = SCALE.inner_radius_mm(value)
    meniscus = MeniscusPosterior(
        ContactLine(level, 0.0, 4.0, 3.0), level, np.array([-0.01, 0.0, 0.01, off]),
        np.array([0.25, 0.5, 0.25 - chance, chance]), 0.0, radius,
        SCALE.outer_radius_mm - radius, (RowPeak(level, 0.99),), 0.0,
        **seen)  # type: ignore[arg-type]
    d = 300.0
    pose = CylinderPose(np.array([d, level + d * np.tan(np.radians(elevation_deg)), 0.0,
                                  np.radians(elevation_deg), 0.0, np.log(1500.0)]),
                        np.zeros((6, 6)), SCALE.outer_radius_mm, (449.5, 599.5), 0.2)
    fit = SimpleNamespace(pose=pose, pitch_px=12.0, relative_residual=residual,
                          is_of_marks=of_marks,
                          grey=np.zeros((1200, 900), np.float32))
    found = refusal_of(SimpleNamespace(  # type: ignore[arg-type]
        meniscus=meniscus, fit=fit, scale=SCALE, quality=SimpleNamespace(blur_px=0.5)))
    return None if found is None else found.flag


@pytest.mark.parametrize("elevation_deg", [0.0, 20.0, -20.0])
def test_a_chance_of_being_a_division_off_is_refused(elevation_deg):
    assert refused(LARGEST_CHANCE * 1.1, elevation_deg, 30.0) == "meniscus-uncertain"
    assert refused(LARGEST_CHANCE * 0.9, elevation_deg, 30.0) is None


@pytest.mark.parametrize("off_divisions", [-0.9, 0.9])
def test_less_than_a_division_is_told_by_the_interval(off_divisions):
    assert refused(0.2, 5.0, 30.0, off_divisions) is None
    assert refused(0.2, 5.0, 30.0, 1.3 * off_divisions) == "meniscus-uncertain"


@pytest.mark.parametrize(("elevation_deg", "flag"), [
    (2.0, None), (-4.0, None), (20.0, "meniscus-uncertain"), (-20.0, "meniscus-uncertain")])
def test_behind_a_thick_wall_seen_obliquely_less_is_too_much(elevation_deg, flag):
    assert refused(MIRRORED_CHANCE * 1.5, elevation_deg, 5.0) == flag
    assert refused(MIRRORED_CHANCE * 0.7, elevation_deg, 5.0) is None


def test_of_marks_that_lie_nowhere_nothing_is_believed_nor_shown(monkeypatch):
    photo, scale = load_photo(SAMPLES / "bench-1-pink.jpg"), load_scale("quay-60")
    assert read_volume(photo, scale).status == "read"
    monkeypatch.setattr(decide, "UNSOUND_SEEN_RESIDUAL", 0.0)
    r = read_volume(photo, scale)
    assert (r.status, r.flags[-1]) == ("refused", "marks-out-of-place")
    assert r.value is None and r.elevation_deg is None and not r.budget
    assert r.candidates == () and r.annotations == () and r.surface_px is None
    assert another_photo(r).where == "from the height of the liquid"


@pytest.mark.parametrize(("residual", "of_marks", "odds", "flag"), [
    (0.055, True, 1.0, None),
    (0.065, True, 399.0, "marks-out-of-place"),
    (0.065, True, 401.0, None),                     # the surface looks as it does in that view
    (0.105, True, 90_000.0, "marks-out-of-place"),
    (0.02, False, 90_000.0, "marks-out-of-place"),
    (0.25, True, 90_000.0, "wrong-scale")])
def test_marks_out_of_place_are_told_from_a_wrong_scale(residual, of_marks, odds, flag):
    assert refused(0.0, 5.0, 30.0, residual=residual, of_marks=of_marks, odds=odds) == flag


@pytest.mark.parametrize("what", ["doubted", "of_the_room", "parts_nothing", "ring"])
def test_a_place_that_may_be_something_else_is_no_surface_however_sure_the_rest_is(what):
    assert refused(0.0, 5.0, 30.0) is None
    assert refused(0.0, 5.0, 30.0, **{what: True}) == "surface-not-found"


def test_what_is_wrong_is_said_of_each():
    words = [r.sentence for r in decide.NOT_READ if r.flag == "surface-not-found"]
    assert len(set(words)) == len(words) and all(w.endswith("take another photo.") for w in words)
