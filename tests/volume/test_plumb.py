"""What the phone's gravity adds to the view of a chamber."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from vision.graduations.cylinder_pose import CylinderPose
from vision.graduations.fit import GraduationFit
from vision.imaging.gravity import phone_gravity
from vision.volume import decide
from vision.volume.plumb import hung

CENTRE = (749.5, 999.5)


def fit(elevation_deg: float, lean_deg: float = 0.0, *, sd_deg: float = 3.0, roll_deg: float = 0.0):
    """A row whose pose sees the chamber from that elevation, aimed at it, its tilt known to
    ``sd_deg``; only what ``hung`` asks for."""
    e = np.radians(elevation_deg)
    params = np.array([400 * np.cos(e), 40 + 400 * np.sin(e), 0.0, e + np.radians(lean_deg),
                       np.radians(roll_deg), np.log(1600.0)])
    # height and pitch go together: the chamber stays in the middle of the picture
    s = np.radians(sd_deg)
    go = np.array([[0, 400 * s, 0, s, 0, 0]])
    covariance = go.T @ go + np.diag([1.0, 0.5, 1e-6, 1e-6, 1e-5, 1e-3]) ** 2
    blank = dict.fromkeys(GraduationFit.__dataclass_fields__)
    pose = CylinderPose(params, covariance, 15.0, CENTRE, 0.2)
    return GraduationFit(**{**blank, "pose": pose, "cut": False})


def down_of(elevation_deg: float, roll_deg: float = 0.0) -> tuple[float, float, float]:
    """Down in the frame of a camera that looks down by that much and is rolled."""
    e, r = np.radians(elevation_deg), np.radians(roll_deg)
    return (np.sin(-r) * np.cos(e), np.cos(r) * np.cos(e), np.sin(e))


def test_the_axis_of_a_plumb_chamber_is_where_up_is():
    for elevation, roll in ((0, 0), (12, 5), (-20, -8)):
        axis = fit(elevation, roll_deg=roll).pose.axis()
        assert axis == pytest.approx(-np.array(down_of(elevation, roll)), abs=1e-9)


def test_gravity_settles_an_elevation_that_the_marks_leave_open():
    # The marks say 14 degrees, give or take 3; the phone says that it looks down by 10.
    found, agrees = hung(fit(14.0), phone_gravity(down_of(10.0)))
    assert agrees
    before, after = fit(14.0).pose, found.pose
    # two Gaussians, 3 deg and hypot(0.7, 1.2) deg: the weighted mean
    prior = 0.7**2 + 1.2**2
    expected = (14.0 * prior + 10.0 * 9.0) / (prior + 9.0)
    at = 40.0
    assert np.degrees(after.elevation_rad(at)) == pytest.approx(expected, abs=0.25)
    assert after.elevation_sd_deg(at) < 0.55 * before.elevation_sd_deg(at)
    # the chamber stays where it is in the picture
    p = np.array([[0.0, -15.0, 40.0]])
    assert after.project(p) == pytest.approx(before.project(p), abs=8.0)


def test_a_pose_that_is_known_hardly_moves():
    found, agrees = hung(fit(14.0, sd_deg=0.3), phone_gravity(down_of(13.0)))
    assert agrees
    assert np.degrees(found.pose.elevation_rad(40.0)) == pytest.approx(14.0, abs=0.1)


@pytest.mark.parametrize(("elevation", "roll"), [(26.0, 0.0), (12.0, 9.0)])
def test_what_contradicts_the_marks_is_left_out(elevation, roll):
    row = fit(12.0, sd_deg=0.5)
    found, agrees = hung(row, phone_gravity(down_of(elevation, roll)))
    assert not agrees and found is row


def test_without_gravity_and_in_a_part_of_a_photo_nothing_changes():
    row = fit(10.0)
    assert hung(row, None) == (row, True)
    part = replace(row, cut=True)
    assert hung(part, phone_gravity(down_of(4.0)))[0] is part


def test_a_reading_names_the_contradiction(monkeypatch):
    monkeypatch.setattr(decide, "quality_flags", lambda *_: ())
    evidence = SimpleNamespace(
        fit=object(), quality=None,
        located=SimpleNamespace(pitch_px=20.0, focal_known=True, cut=False),
        photo=SimpleNamespace(camera=SimpleNamespace(digital_zoom=1.0)), numbering=None)
    said = [dict(decide._said(SimpleNamespace(**vars(evidence), plumb=p))) for p in (True, False)]
    assert "sensor-disagrees" not in said[0]
    assert "plumb" in said[1]["sensor-disagrees"]
