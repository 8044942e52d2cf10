"""The fourth kind of scene: facts, labels and photo files; rendered light in test_fourth_light."""

from __future__ import annotations

import ast
import dataclasses
import math
from pathlib import Path

import cv2
import numpy as np
import pytest
from scipy.special import i0, i1

import vision.training.fourth
from vision.imaging.photo import load_photo
from vision.training.fourth.capillary import surface
from vision.training.fourth.chance import drawn
from vision.training.fourth.contents import body_of_liquid, cloudy_core, drops, film, tube
from vision.training.fourth.facts import Facts
from vision.training.fourth.ink import FINE, unrolled
from vision.training.fourth.lens import PAD_PX, lens_before
from vision.training.fourth.phone import photographed, store
from vision.training.fourth.scales import bore_at
from vision.training.fourth.solids import Solid
from vision.training.fourth.truth import label_of, surface_of

SIZE = (750, 1000)
FACTS = [drawn(4, i, SIZE)[0] for i in range(12)]
FULL = [f for f in FACTS if f.level_mm is not None]


def test_nearly_flat_surfaces_are_those_of_the_linear_equation() -> None:
    # small slopes: u'' + u'/r = u/a^2 + p, so u + a^2 p = A I0(r/a) (Bessel; in Princen 1969)
    a, radius, edge = 2.6, 9.0, math.radians(3)
    r, u = surface(87.0, radius, a)
    scale = math.tan(edge) * a / i1(radius / a)
    assert u == pytest.approx(scale * (i0(r / a) - 1), abs=3e-4)


def test_in_a_very_narrow_bore_the_surface_is_part_of_a_sphere() -> None:
    # the weight no longer counts (Jurin's limit)
    r, u = surface(35.0, 0.08, 2.6)
    ball = 0.08 / math.cos(math.radians(35))
    assert u == pytest.approx(ball - np.sqrt(ball**2 - r**2), abs=3e-5)


@pytest.mark.parametrize(("angle", "radius"), [(20.0, 7.0), (50.0, 12.0), (80.0, 22.0)])
def test_the_surface_carries_its_own_weight(angle: float, radius: float) -> None:
    # the profile's equation times r, integrated: R sin(slope) = p R^2 / 2 + int u r dr / a^2,
    # with p twice the curvature at the lowest point (vertical balance of forces)
    a = 2.5
    r, u = surface(angle, radius, a)
    fine = np.linspace(0, radius, 40001)
    weight = float(np.trapezoid(np.interp(fine, r, u) * fine, fine)) / a**2
    apex = 4 * float(u[3] / r[3] ** 2) - u[3] / (2 * a**2)  # u = p r^2 / 4 + ..., near the axis
    held = apex * radius**2 / 2 + weight
    assert radius * math.cos(math.radians(angle)) == pytest.approx(held, rel=5e-3)


def test_the_camera_projects_and_bends_as_opencv_does() -> None:
    lens = lens_before(30.0, 320.0, -13.0, (5.0, 41.0, 0.0), 6.0, 48.0, 0.012, SIZE)
    points = np.random.default_rng(2).uniform(-1, 1, (50, 3)) * [25, 60, 25] + [0, 35, 0]
    f = 48.0 * math.hypot(*SIZE) / math.hypot(24, 36)
    cx, cy = (SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2
    k1 = 0.012 * f**2 / (cx**2 + cy**2)  # OpenCV counts the radius in focal lengths
    camera = np.array([[f, 0, cx], [0, f, cy], [0, 0, 1]])
    pose = lens.axes
    theirs, _ = cv2.projectPoints(points, cv2.Rodrigues(pose)[0], -pose @ np.array(lens.eye),
                                  camera, np.array([k1, 0, 0, 0, 0]))
    assert lens.appears(points) == pytest.approx(theirs[:, 0], abs=1e-6)
    assert np.linalg.det(pose) == pytest.approx(1.0)
    sight = np.array([0, 30.0, 0]) - np.array(lens.eye)
    assert math.degrees(math.asin(sight[1] / np.linalg.norm(sight))) == pytest.approx(13.0)
    foot, head = lens.appears(np.array([[0, 20.0, 0], [0, 60.0, 0]]))
    assert math.degrees(math.atan2(foot[0] - head[0], foot[1] - head[1])) == pytest.approx(6, abs=1)


def test_light_of_a_point_is_fetched_from_where_the_straight_picture_has_it() -> None:
    lens = dataclasses.replace(FACTS[0].lens, bend=-0.014)
    point = np.array([[8.0, 55.0, 12.0]])
    x, y = lens.appears(point)[0]
    columns, rows = lens.sources()
    there = np.array([cv2.remap(m, np.float32([[x]]), np.float32([[y]]), cv2.INTER_LINEAR)[0, 0]
                      for m in (columns, rows)])
    assert there == pytest.approx(lens.straight(point)[0] + PAD_PX, abs=0.01)


def enclosed(solid: Solid) -> float:
    """Volume (mm3) by the divergence theorem; right only if all triangles look outward."""
    a, b, c = (solid.points[solid.triangles[:, k]] for k in range(3))
    return float(np.einsum("ij,ij->", a, np.cross(b, c))) / 6


@pytest.mark.parametrize("facts", FULL[:5], ids=lambda f: f.scale.name)
def test_the_liquid_in_the_wall_is_the_labelled_volume(facts: Facts) -> None:
    # the wall wins where it overlaps the liquid: what is left is bore up to the surface
    assert facts.level_mm is not None
    bare = dataclasses.replace(facts, tilt=(0.0, 0.0))
    r, u = surface_of(facts)
    y = np.linspace(facts.floor_mm, facts.level_mm, 30001)
    bore = float(np.trapezoid(math.pi * bore_at(facts.scale, y) ** 2, y))
    over = float(np.trapezoid(2 * math.pi * r * u, r))
    # all that keeps the cloudy core from it is its skin of 0.03 mm
    skin = 0.03 * 2 * math.pi * float(bore_at(facts.scale, y).mean()) * np.ptp(y)
    assert enclosed(cloudy_core(bare)) == pytest.approx(bore + over - skin, rel=4e-3)
    assert enclosed(body_of_liquid(bare)) > bore + over
    zero = float(facts.scale.height_mm(0.0))
    y = np.linspace(zero, facts.level_mm, 30001)
    held = float(np.trapezoid(math.pi * bore_at(facts.scale, y) ** 2, y)) / 1000
    row = label_of(facts)
    assert held == pytest.approx(row["true_value"], rel=5e-3, abs=0.03 * row["division"])


def test_bodies_reach_into_the_wall_and_not_through_it() -> None:
    for facts in FULL:
        wall = tube(facts)
        assert enclosed(wall) > 0
        for solid in (body_of_liquid(facts), film(facts), drops(facts)):
            if solid is None:
                continue
            assert enclosed(solid) > 0
            out = np.hypot(solid.points[:, 0], solid.points[:, 2])
            deep = out - bore_at(facts.scale, solid.points[:, 1])
            assert deep.max() < 0.6 * facts.scale.wall_mm
            assert deep.max() > 0.2 * facts.scale.wall_mm


def test_marks_are_printed_at_their_heights_and_once() -> None:
    for facts in FACTS[:5]:
        plain = dataclasses.replace(facts, ink=dataclasses.replace(
            facts.ink, label=False, cover=1.0, ragged="middle"))
        high = facts.rim_mm
        _, cover = unrolled(plain, facts.floor_mm, high)
        column = cover[:, cover.shape[1] // 2]
        for mark in facts.scale.marks:
            row = (high - mark.height_mm) * FINE - 0.5
            rows = np.arange(max(round(row) - 6, 0), round(row) + 7)
            assert float((column[rows] * rows).sum() / column[rows].sum()) == pytest.approx(
                row, abs=0.3)


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_a_stored_photo_opens_upright(tmp_path: Path, orientation: int) -> None:
    light = np.full((160, 120, 3), 0.2, np.float32)
    light[:50, :40] = [0.2, 0.02, 0.02]  # red at the upper left
    how = dataclasses.replace(FACTS[0].phone, orientation=orientation, jpeg=95, well=1e5,
                              read_noise=0.0, smear=(0.0, 0.0), glow=0.0, falloff=0.0, ev=0.0)
    upright = photographed(light, how, 1)
    assert upright[20, 15, 0] > 2 * upright[20, 15, 2]  # the mosaic was undone as it was made
    store(upright, tmp_path / "a.jpg", 26.4, how)
    photo = load_photo(tmp_path / "a.jpg")
    assert np.abs(photo.rgb.astype(int) - upright).mean() < 4
    assert photo.camera.focal_35mm == 26


def test_facts_keep_to_their_tier_and_to_their_seed() -> None:
    assert [label_of(drawn(4, i, SIZE)[0]) for i in range(4)] == [label_of(f) for f in FACTS[:4]]
    bounds = {"easy": (5, 60, 90), "typical": (14, 45, 90), "hard": (30, 20, 85)}
    for facts in FACTS:
        steep, low, high = bounds[facts.tier]
        assert abs(facts.elevation_deg) <= steep and low <= facts.wall_angle_deg <= high
        assert 250 <= facts.distance_mm <= 700.5 and 24 <= facts.f35_mm <= 70
        most = (30, 10) if facts.tier == "hard" else (25, 6)
        assert abs(facts.turn_deg) <= most[0] and abs(facts.roll_deg) <= most[1]
        if facts.level_mm is not None:
            x, y = label_of(facts)["surface_px"]
            assert 0 < x < SIZE[0] and 80 < y < SIZE[1] - 80


def test_nothing_is_shared_with_the_other_kinds() -> None:
    for file in Path(vision.training.fourth.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(file.read_text("utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("vision"):
                assert node.module.startswith(("vision.training.fourth", "vision.scale_file"))


def test_labels_have_the_keys_of_the_third_kind() -> None:
    from vision.training.third.draws import draw
    from vision.training.third.truth import label_of as third

    theirs = next(s for s in (draw(4, i, SIZE)[0] for i in range(9)) if s.level_mm is not None)
    assert set(label_of(FULL[0])) == set(third(theirs))
