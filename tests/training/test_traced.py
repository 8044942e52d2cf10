"""Geometry and labels of traced pictures, against closed forms and OpenCV; without a renderer."""

from __future__ import annotations

import ast
import math
from pathlib import Path

import cv2
import numpy as np
import pytest

import vision.training.traced
from vision.imaging.photo import load_photo
from vision.optics.young_laplace import meniscus_rise_mm
from vision.training.traced.bore import bore_knots, profile_of
from vision.training.traced.capture import photographed, save
from vision.training.traced.draws import TracedScene, draw
from vision.training.traced.printed import PX_PER_MM, Ink, opacity_map
from vision.training.traced.sets import MOVED_DIVISIONS, views_of
from vision.training.traced.shapes import Shape, liquid_surface, meniscus, revolved
from vision.training.traced.truth import label_of
from vision.training.traced.view import look

SCENES = [draw(5, i)[0] for i in range(14)]
FULL = [s for s in SCENES if s.level_mm is not None]
STEPPED = next(s for s in (draw(5, i)[0] for i in range(200))
               if s.scale.name.startswith("trace") and len(s.scale.diameter_knots) > 2
               and s.expect == "read")


@pytest.mark.parametrize("angle", [20.0, 45.0, 70.0])
@pytest.mark.parametrize("radius", [6.0, 15.0])
def test_the_surface_rises_as_the_readers_own_integrator_says(angle: float, radius: float) -> None:
    rise = meniscus(angle, radius, 2.7)[1][-1]
    assert rise == pytest.approx(meniscus_rise_mm(angle, radius, 2.7), abs=0.005)


def test_in_a_narrow_tube_the_surface_is_part_of_a_sphere() -> None:
    # R. Finn, Equilibrium Capillary Surfaces, 1986: bores much narrower than the capillary length
    r, z = meniscus(40.0, 0.1, 2.7)
    ball = 0.1 / math.cos(math.radians(40))
    assert z == pytest.approx(ball - np.sqrt(ball**2 - r**2), abs=2e-4)


def enclosed(*shapes: Shape) -> float:
    """Volume within closed triangles, by Gauss's theorem; outward by the normals given."""
    total = 0.0
    for s in shapes:
        a, b, c = (s.vertices[s.faces[:, k]] for k in range(3))
        area = np.cross(b - a, c - a) / 2
        area *= np.sign((area * s.normals[s.faces].mean(axis=1)).sum(axis=1))[:, None]
        total += float((area * (a + b + c) / 3).sum()) / 3
    return total


def test_walls_and_surface_enclose_the_liquid_with_their_normals_outward() -> None:
    r, rise = meniscus(40.0, 10.0, 2.7)
    liquid = enclosed(revolved(np.array([(1e-6, 0), (10, 0), (10, 20 + rise[-1])]), rows_mm=5),
                      liquid_surface(20.0, (0.0, 0.0), (r, rise)))
    under = math.pi * 100 * 20 + np.trapezoid(2 * math.pi * r * rise, r)
    assert liquid == pytest.approx(under, rel=2e-4)


def test_the_plane_through_the_lowest_point_is_what_the_label_says() -> None:
    for scene in FULL:
        label = label_of(scene)
        assert scene.scale.height_mm(label["true_value"]) == pytest.approx(scene.level_mm, abs=0.02)
        rise = scene.scale.height_mm(label["rim_value"]) - scene.level_mm
        assert 0 <= rise < 4.2
        surface = liquid_surface(scene.level_mm, (0.0, 0.0), profile_of(scene))
        assert surface.vertices[:, 2].min() == pytest.approx(scene.level_mm, abs=1e-6)


def test_a_label_is_the_volume_that_the_traced_bore_holds() -> None:
    # cones between the knots of the bore that is traced, from the scale's zero up to the level
    z = np.linspace(0.0, STEPPED.level_mm, 40001)
    knots = bore_knots(STEPPED)
    area = math.pi * np.interp(z, knots[:, 1], knots[:, 0]) ** 2
    assert np.trapezoid(area, z) / 1000 == pytest.approx(
        label_of(STEPPED)["true_value"], rel=2e-3)


@pytest.mark.parametrize("k1", [0.0, 0.02])
def test_the_camera_projects_as_opencv_does(k1: float) -> None:
    up = np.array([0.02, -0.01, 1.0]) / np.linalg.norm([0.02, -0.01, 1.0])
    pose = look(30.0, 40.0, up, 250.0, 12.0, -20.0, 4.0, 26.0, (900, 1200), (0.1, -0.05), k1)
    points = np.random.default_rng(3).uniform(-40, 90, (50, 3)) * [0.4, 0.4, 1]
    k = np.array([[pose.focal_px, 0, 449.5], [0, pose.focal_px, 599.5], [0, 0, 1]])
    theirs, _ = cv2.projectPoints(points, cv2.Rodrigues(pose.axes)[0],
                                  -pose.axes @ pose.centre, k, np.array([k1, 0, 0, 0, 0]))
    assert pose.project(points) == pytest.approx(theirs[:, 0], abs=1e-6)
    level = np.array([0, 0, 30.0])
    ahead = (level - pose.centre) / np.linalg.norm(level - pose.centre)
    assert math.degrees(math.asin(-ahead[2])) == pytest.approx(12.0)


def test_marks_are_printed_at_their_heights() -> None:
    scale = FULL[0].scale
    low, high = scale.lowest_mark.height_mm - 4, scale.highest_mark.height_mm + 4
    inked = opacity_map(scale, Ink(align=0.0), scale.outer_radius_mm, low, high)
    column = inked[:, inked.shape[1] // 2]
    edges = np.flatnonzero(np.diff((column > 0.4).astype(int)))
    middles = high - (edges.reshape(-1, 2).mean(axis=1) + 1) / PX_PER_MM
    assert middles[::-1] == pytest.approx([m.height_mm for m in scale.marks], abs=0.08)


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_a_photo_stored_any_way_round_is_read_upright(tmp_path: Path, orientation: int) -> None:
    upright = np.zeros((120, 90, 3), np.uint8)
    upright[:30, :45] = 200
    save(upright, tmp_path / "a.jpg", 26.0, 95, orientation)
    photo = load_photo(tmp_path / "a.jpg")
    assert np.abs(photo.rgb.astype(int) - upright).mean() < 3


def test_a_straight_line_bends_as_the_pose_says() -> None:
    pose = look(0.0, 0.0, np.array([0, 0, 1.0]), 200.0, 0.0, 0.0, 0.0, 26.0, (300, 400), k1=0.05)
    at = np.array([[30.0, 0.0, 60.0]])
    flat = look(0.0, 0.0, np.array([0, 0, 1.0]), 200.0, 0.0, 0.0, 0.0, 26.0, (300, 400))
    light = np.full((400, 300, 3), 0.1, np.float32)
    x, y = flat.project(at)[0].round().astype(int)
    light[y - 1:y + 2, x - 1:x + 2] = 1.0
    seen = photographed(light, pose, {
        "blur_px": 0.5, "exposure": 0.1, "cast": (1, 1, 1), "veil": 0, "grain": 0.0,
        "smooth": False, "sharpen": 0.0}, 1).mean(axis=2)
    row, column = np.unravel_index(int(seen.argmax()), seen.shape)
    assert np.hypot(*(pose.project(at)[0] - [column, row])) < 1.5


def test_draws_keep_to_their_tier_and_to_their_seed() -> None:
    def facts(scene: TracedScene) -> dict:
        return label_of(scene)

    assert [facts(draw(5, i)[0]) for i in range(14)] == [facts(s) for s in SCENES]
    for s in SCENES:
        steepest = {"easy": 5, "typical": 14, "hard": 30}[s.tier]
        assert abs(s.elevation_deg) <= steepest and s.expect in ("read", "refuse", "off-scale")


def test_marks_may_run_right_round() -> None:
    scale = FULL[0].scale
    low, high = scale.lowest_mark.height_mm - 4, scale.highest_mark.height_mm + 4
    for rings, kinds in (("long", {"long"}), ("all", {"long", "short"})):
        ink = Ink(round=rings, opacity=1.0)
        rows = opacity_map(scale, ink, scale.outer_radius_mm, low, high)
        assert rows.shape[1] == int(2 * math.pi * scale.outer_radius_mm * PX_PER_MM)
        whole = {m.length for m in scale.marks
                 if rows[int((high - m.height_mm) * PX_PER_MM)].min() > 0.9}
        assert whole == kinds


@pytest.mark.slow
def test_strange_chambers_are_the_same_chambers_with_more_in_them() -> None:
    plain = [draw(5, i)[0] for i in range(60)]
    strange = [draw(5, i, strange=1.0)[0] for i in range(60)]
    share = [draw(5, i, strange=0.4)[0] for i in range(60)]
    assert 0.2 < np.mean([(a.ink, a.foam, a.fog, a.mixed) != (b.ink, b.foam, b.fog, b.mixed)
                          for a, b in zip(plain, share, strict=True)]) < 0.6
    for a, b in zip(plain, strange, strict=True):
        assert (a.level_mm, a.scale, a.contact_deg) == (b.level_mm, b.scale, b.contact_deg)
        assert np.array_equal(a.pose.centre, b.pose.centre)
    assert any(s.fog for s in strange) and any(s.ink.round != "none" for s in strange)
    mixed = [s.mixed for s in strange if s.mixed]
    assert mixed and all(min(m[0]) >= 0 and 0 <= m[1] <= 0.25 and max(m[2]) <= 1 for m in mixed)
    foamy = [s for s in strange if s.foam]
    assert foamy
    for s in foamy:  # bubbles keep off the wall
        assert s.level_mm is not None
        bore = s.scale.inner_radius_mm(float(s.scale.value_at(s.level_mm)))
        assert all(b.aside_mm + b.radius_mm <= bore for b in s.foam)
        assert label_of(s)["foam"]


def test_nothing_is_shared_with_the_other_physics() -> None:
    folder = Path(vision.training.traced.__file__).parent
    for file in folder.glob("*.py"):
        for node in ast.walk(ast.parse(file.read_text("utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("vision"):
                assert node.module.startswith(("vision.training.traced", "vision.scale_file"))


def test_a_set_is_one_chamber_from_several_places_and_a_moved_photo_another_level() -> None:
    first = next(s for s in FULL if s.expect == "read")
    scenes, moved = views_of(first, 5, 0, 3, (900, 1200))
    assert moved is None and scenes[0] is first
    assert all((s.level_mm, s.contact_deg, s.ink, s.drops) == (
        first.level_mm, first.contact_deg, first.ink, first.drops) for s in scenes)
    assert len({s.elevation_deg for s in scenes}) == 3
    for seed in range(20):
        scenes, moved = views_of(first, seed, 0, 3, (900, 1200), moved_share=1.0)
        assert moved is not None
        values = [float(s.scale.value_at(s.level_mm)) for s in scenes if s.level_mm is not None]
        others = [v for k, v in enumerate(values) if k != moved]
        division = max(float(first.scale.division_at(v)) for v in (values[moved], others[0]))
        assert others[0] == others[1]
        assert MOVED_DIVISIONS[0] <= abs(values[moved] - others[0]) / division
        assert all(d.height_mm > scenes[moved].level_mm for d in scenes[moved].drops)
