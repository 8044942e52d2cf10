"""The third kind of scene: geometry, labels and photo files against closed forms and OpenCV."""

from __future__ import annotations

import ast
import dataclasses
import math
from pathlib import Path

import cv2
import numpy as np
import pytest
from scipy.optimize import brentq

import vision.training.third
from vision.imaging.photo import load_photo
from vision.scale_file.scale import parse_scale
from vision.training.third.draws import Print, ThirdScene, Wetness, bore_at, draw
from vision.training.third.meniscus import surface_profile
from vision.training.third.meshes import Mesh, dry_wall_and_water, liquid, outer_wall
from vision.training.third.photo import developed, store
from vision.training.third.printing import PX_PER_MM, wrapped_print
from vision.training.third.truth import label_of
from vision.training.third.view import camera_at

SIZE = (750, 1000)
SCENES = [draw(4, i, SIZE)[0] for i in range(12)]
FULL = [s for s in SCENES if s.level_mm is not None]


def test_in_a_wide_bore_the_rise_is_that_at_a_plane_and_the_first_term_of_roundness() -> None:
    # at a plane z = 2 a sin(psi / 2) (L. D. Landau, E. M. Lifshitz, Fluid Mechanics, 2nd ed. 1987,
    # section 61); put into z^2 = 2 a^2 (1 - cos psi + integral of sin psi dz / R), by hand
    a, psi = 2.5, math.radians(60)
    for radius, off in ((25.0, 0.006), (50.0, 0.0015)):
        round_ = 4 * a / (3 * radius) * (1 - math.cos(psi / 2) ** 3)
        rise = a * math.sqrt(2 * (1 - math.cos(psi) + round_))
        assert surface_profile(30.0, radius, a)[1][-1] == pytest.approx(rise, rel=off)


def test_in_a_narrow_bore_the_surface_is_a_cap_of_a_sphere() -> None:
    # R. Finn, Equilibrium Capillary Surfaces, 1986: bores much narrower than the capillary length
    r, z, _ = surface_profile(40.0, 0.05, 2.7)
    ball = 0.05 / math.cos(math.radians(40))
    assert z == pytest.approx(ball - np.sqrt(ball**2 - r**2), abs=1e-5)


@pytest.mark.parametrize(("angle", "radius", "capillary"), [(20.0, 6.0, 2.2), (75.0, 18.0, 2.7)])
def test_the_wall_carries_the_weight_of_the_raised_liquid(
        angle: float, radius: float, capillary: float) -> None:
    # vertical balance of forces: 2 pi R sigma cos(theta) = the weight over the lowest plane plus
    # the apex pressure on it (J. W. Gibbs); divided by rho g pi, with sigma / (rho g) = a^2
    r, z, psi = surface_profile(angle, radius, capillary, points=4000)
    assert math.degrees(psi[-1]) == pytest.approx(90 - angle, abs=1e-3)
    apex = 2 * capillary**2 * float(psi[1] / r[1])
    held = float(np.trapezoid(2 * z * r, r)) + apex * radius**2
    assert 2 * radius * capillary**2 * math.cos(math.radians(angle)) == pytest.approx(
        held, rel=2e-3)


def test_the_camera_projects_as_opencv_does() -> None:
    size = (480, 640)
    camera = camera_at(np.array([0, 0, 30.0]), 300.0, 14.0, np.array([4.0, 0, 42.0]), 7.0,
                       52.0, size)
    points = np.random.default_rng(1).uniform(-1, 1, (40, 3)) * [20, 20, 40] + [0, 0, 40]
    pose = np.stack([camera.right, -camera.up, camera.ahead])  # OpenCV: x right, y down, z ahead
    f = 52.0 * 800 / math.hypot(36, 24)
    k = np.array([[f, 0, 239.5], [0, f, 319.5], [0, 0, 1]])
    theirs, _ = cv2.projectPoints(points, cv2.Rodrigues(pose)[0], -pose @ camera.place, k, None)
    assert camera.project(points) == pytest.approx(theirs[:, 0], abs=1e-6)
    sight = (np.array([0, 0, 30.0]) - camera.place) / np.linalg.norm(camera.place - [0, 0, 30.0])
    assert math.degrees(math.asin(-sight[2])) == pytest.approx(14.0)
    foot, head = camera.project(np.array([[0, 0, 20.0], [0, 0, 60.0]]))
    lean = math.degrees(math.atan2(foot[0] - head[0], foot[1] - head[1]))
    assert lean == pytest.approx(7.0, abs=1.0)  # the top goes to the left: against the clock


def enclosed(mesh: Mesh) -> float:
    """Volume in mm3 within a closed surface, by Gauss's theorem; inward counts as less."""
    p = mesh.points[mesh.quads]
    six = sum(np.einsum("ij,ij->i", p[:, 0], np.cross(p[:, k], p[:, k + 1])) for k in (1, 2))
    return float(six.sum()) / 6


@pytest.mark.parametrize("scene", FULL[:4], ids=lambda s: s.scale.name)
def test_the_traced_liquid_is_the_labelled_volume(scene: ThirdScene) -> None:
    # liquid over the scale's zero, less the meniscus over the plane of its lowest point
    upright = dataclasses.replace(scene, slope=(0.0, 0.0))
    z0 = max(float(scale_zero(scene)), scene.floor_mm)
    assert scene.level_mm is not None
    z = np.linspace(scene.floor_mm, scene.level_mm, 20001)
    below = float(np.trapezoid(math.pi * bore_at(scene.scale, z) ** 2, z))
    r, rise, _ = surface_profile(
        scene.contact_deg, float(bore_at(scene.scale, scene.level_mm)), scene.capillary_mm)
    over = float(np.trapezoid(2 * math.pi * r * rise, r))
    assert enclosed(liquid(upright)) == pytest.approx(below + over, rel=3e-3)
    z = np.linspace(z0, scene.level_mm, 20001)
    held = float(np.trapezoid(math.pi * bore_at(scene.scale, z) ** 2, z)) / 1000
    assert held == pytest.approx(label_of(scene)["true_value"], rel=4e-3,
                                 abs=0.03 * label_of(scene)["division"])


def scale_zero(scene: ThirdScene) -> float:
    return float(scene.scale.height_mm(0.0))


def test_the_lowest_point_on_the_axis_is_the_labelled_height() -> None:
    for scene in FULL[:4]:
        points = liquid(scene).points
        on_axis = points[(np.hypot(points[:, 0], points[:, 1]) < 1e-3)
                         & (points[:, 2] > scene.floor_mm + 1)]
        assert on_axis[:, 2] == pytest.approx(scene.level_mm, abs=1e-3)
        label = label_of(scene)
        assert scene.scale.height_mm(label["true_value"]) == pytest.approx(scene.level_mm, abs=0.01)
        assert 0 <= label["meniscus_rise_mm"] < 3.9


def test_every_boundary_has_the_index_of_its_two_media() -> None:
    wet = dataclasses.replace(FULL[0], wet=Wetness(((0.0, FULL[0].lid_mm - 6, 2.0, 0.5),), None,
                                                   None, 0.0))
    w, n = wet.wall_index, wet.liquid_index
    body = liquid(wet)
    up = body.normals[body.quads].mean(1)[:, 2] > 0.5
    assert set(body.index[up].round(9)) == {round(n, 9)}  # air before, liquid behind
    assert set(body.index[~up].round(9)) <= {round(n, 9), round(n / w, 9)}
    assert set(outer_wall(wet).index) == {w}
    wall, drop = dry_wall_and_water(wet)
    assert drop is not None and set(drop.index) == {n}
    assert set(wall.index) == {w, w / n} and len(drop.quads) == int((wall.index == w / n).sum())
    for mesh in (wall, drop):  # towards the axis
        at, normal = mesh.points[mesh.quads].mean(1), mesh.normals[mesh.quads].mean(1)
        assert (at[:, 0] * normal[:, 0] + at[:, 1] * normal[:, 1] < 0).mean() > 0.99


def test_marks_are_printed_at_their_heights() -> None:
    for scene in SCENES[:6]:
        scale, low, high = scene.scale, scene.floor_mm - 2, scene.lid_mm + 2
        bare = dataclasses.replace(scene, print=dataclasses.replace(
            scene.print, align=0, sticker=False))
        cover = wrapped_print(bare, low, high)[..., 3]
        column = cover[:, cover.shape[1] // 2]
        for mark in scale.marks:
            row = (high - mark.height_mm) * PX_PER_MM - 0.5
            rows = np.arange(max(round(row) - 4, 0), round(row) + 5)
            middle = float((column[rows] * rows).sum() / column[rows].sum())
            assert middle == pytest.approx(row, abs=0.25)


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_a_photo_held_any_way_is_read_upright(tmp_path: Path, orientation: int) -> None:
    light = np.full((120, 90, 3), 0.2, np.float32)
    light[:40, :30] = 0.02
    how = dataclasses.replace(SCENES[0].capture, orientation=orientation, jpeg=95, noise=0.0,
                              shake_px=0.0, veil=0.0)
    upright = developed(light, how, 1)
    store(upright, tmp_path / "a.jpg", 51.6, how)
    photo = load_photo(tmp_path / "a.jpg")
    assert np.abs(photo.rgb.astype(int) - upright).mean() < 3
    assert photo.camera.focal_35mm == 52


def test_draws_keep_to_their_tier_and_to_their_seed() -> None:
    assert [label_of(draw(4, i, SIZE)[0]) for i in range(4)] == [label_of(s) for s in SCENES[:4]]
    for s in SCENES:
        steepest, angles = {"easy": (5, (60, 90)), "typical": (14, (45, 90)),
                            "hard": (30, (20, 85))}[s.tier]
        assert abs(s.elevation_deg) <= steepest and abs(s.turn_deg) <= 30
        assert angles[0] <= s.contact_deg <= angles[1]
        assert 250 <= s.distance_mm <= 700 and 24 <= s.f35_mm <= 70
        if s.tier != "hard":
            assert abs(s.turn_deg) <= 25 and abs(s.roll_deg) <= 6
        if s.level_mm is not None:
            assert 100 < s.camera.project(np.array([0, 0, s.level_mm]))[0, 1] < SIZE[1] - 100


def test_nothing_is_shared_with_the_other_two_kinds() -> None:
    for file in Path(vision.training.third.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(file.read_text("utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("vision"):
                assert node.module.startswith(("vision.training.third", "vision.scale_file"))


def bare_tube(elevation_deg: float, liquid_name: str = "clear") -> ThirdScene:
    """A small picture of an even tube with rings all round, 15 mm apart, and a flat surface."""
    scale = parse_scale({
        "name": "rings", "unit": "mL", "direction": "up", "inner_diameter_mm": 30.0,
        "wall_mm": 2.0, "capacity": 45, "height_mm": [[0, 0.0], [45, 63.662]],
        "marks": [{"from": 10, "to": 40, "step": 30, "length": "short"}]})
    seen = np.array([0.0, 0.0, 42.0])
    camera = camera_at(seen, 300.0, elevation_deg, np.array([0, 0, 32.0]), 0.0, 60.0, (150, 300))
    how = Print(4, 8, 0.9, 3, "", (.01, .01, .01), "all", 1, 0, False)
    return dataclasses.replace(
        FULL[0], scale=scale, level_mm=42.0, contact_deg=90.0, slope=(0.0, 0.0), floor_mm=-8.0,
        lid_mm=72.0, print=how, wet=Wetness((), None, None, 0.0), liquid=liquid_name,
        strength=1.0, wall_index=1.5, liquid_index=1.334, camera=camera, turn_deg=0.0,
        elevation_deg=elevation_deg, roll_deg=0.0, distance_mm=300.0, aperture_mm=0.0,
        caustics=True)


@pytest.fixture
def even_light(monkeypatch: pytest.MonkeyPatch):  # type: ignore[no-untyped-def]
    """The renderer in a room that is equally white all round."""
    pytest.importorskip("bpy")
    from vision.training.third import render

    def white(_: ThirdScene) -> None:
        world = render.bpy.data.worlds.new("white")
        world.use_nodes = True
        world.node_tree.nodes["Background"].inputs["Color"].default_value = (1, 1, 1, 1)
        render.bpy.context.scene.world = world

    monkeypatch.setattr(render, "build_room", white)
    return render.rendered


@pytest.mark.slow
@pytest.mark.parametrize("elevation", [-20.0, 12.0])
def test_the_ring_behind_appears_where_snell_puts_it(even_light, elevation: float) -> None:  # type: ignore[no-untyped-def]
    # in the plane through camera and axis the walls and the liquid are parallel slabs
    scene = bare_tube(elevation)
    light = even_light(scene, 12)
    column = light[:, 70:80].mean(axis=(1, 2))
    inner, outer, ring_mm = 15.0, 17.0, float(scene.scale.height_mm(10.0))
    away, eye = -scene.camera.place[1], scene.camera.place[2]

    def at_back(a: float) -> float:
        def sideways(n: float) -> float:
            return math.tan(math.asin(math.sin(a) / n))

        return float(eye + (away - outer) * math.tan(a) + 4 * sideways(1.5)
                     + 2 * inner * sideways(1.334))

    a = brentq(lambda a: at_back(a) - ring_mm, -1.0, 1.0)
    entered = eye + (away - outer) * math.tan(a)
    row = scene.camera.project(np.array([0.0, -outer, entered]))[0, 1]
    straight = scene.camera.project(np.array([0.0, outer, ring_mm]))[0, 1]
    near = np.arange(round(row) - 4, round(row) + 5)
    dark = np.clip(column[near].max() - column[near], 0, None)
    found = float((dark * near).sum() / dark.sum())
    assert dark.max() > 0.3
    assert abs(found - row) < 0.4 < abs(straight - row)


@pytest.mark.slow
def test_light_through_the_bore_is_absorbed_as_beer_and_lambert_say(even_light) -> None:  # type: ignore[no-untyped-def]
    from vision.training.third.chamber import ABSORBED

    scene = bare_tube(0.0, "pink")
    light = even_light(scene, 12)
    x, y = (round(float(v)) for v in scene.camera.project(np.array([0.0, 0.0, 32.0]))[0])
    seen = light[y - 3:y + 4, x - 2:x + 3].mean(axis=(0, 1))
    assert seen == pytest.approx(np.exp(-30.0 * np.array(ABSORBED["pink"])), abs=0.02)
    above = scene.camera.project(np.array([0.0, 0.0, 50.0]))[0].round().astype(int)
    clear = light[above[1] - 3:above[1] + 4, above[0] - 2:above[0] + 3].mean()
    assert clear == pytest.approx(1.0, abs=0.02)  # a white room stays white
