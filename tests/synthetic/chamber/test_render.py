"""The rendered picture against optics worked out on paper, and the promises of the renderer."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from scipy.optimize import brentq

from vision.scale_file.scale import load_scale
from vision.synthetic.chamber.camera import view_of
from vision.synthetic.chamber.model import (
    AreaLight,
    Camera,
    Capture,
    ChamberScene,
    Fluid,
    Panel,
    Print,
    Room,
    Tube,
)
from vision.synthetic.chamber.render import TUBE, render_light, render_scene
from vision.synthetic.chamber.room import RoomShader
from vision.synthetic.chamber.sample import sample_scene
from vision.synthetic.chamber.truth import facing_point, scene_truth

QUAY = load_scale("quay-60")
PLAIN = Capture(blur_px=0.0, read_noise=0.0, shot_noise=0.0, vignette=0.0, exposure=0.8)
NO_PRINT = Print(opacity=0.0)
#: Rows (pixels of 30 per mm) by which an edge found in a picture may miss its place.
EDGE_PX = 2.0


def bare_scene(elevation: float, fluid: Fluid, room: Room, value: float = 30.0) -> ChamberScene:
    """A flat surface (90 degrees) in a plumb tube, seen from afar through a long lens."""
    return ChamberScene(
        QUAY, value, Tube(-5, 110, index=1.53, stem_length_mm=1, collar_height_mm=1),
        fluid=fluid, contact_angle_deg=90.0, print=NO_PRINT, room=room, capture=PLAIN,
        camera=Camera(900.0, elevation, 0.0, 0.0, 300.0, 900, 3600))


def front_height(scene: ChamberScene, depth_from_front_mm: float, height_mm: float,
                 inside_index: float) -> float:
    """Where on the front of the wall the sight line to a point in the middle plane crosses.

    Worked out with Snell's law in the plane alone: air, a pane of the wall, the
    inside; found by a root finder.
    """
    c = view_of(scene).centre
    r, wall, n = QUAY.outer_radius_mm, QUAY.wall_mm, scene.tube.index
    distance = math.hypot(c[0], c[1]) - r

    def miss(front: float) -> float:
        sine = math.sin(math.atan2(c[2] - front, distance))
        in_wall = math.tan(math.asin(sine / n))
        inside = math.tan(math.asin(sine / inside_index))
        return front - wall * in_wall - (depth_from_front_mm - wall) * inside - height_mm

    return brentq(miss, height_mm - 60, height_mm + 60)


def column(scene: ChamberScene) -> np.ndarray:
    """Linear light (rows, 3) down the middle of the tube."""
    x = round(view_of(scene).project(np.array([[0.0, 0.0, scene.level_mm]]))[0, 0])
    light, _ = render_light(scene, window=(x, 0, x + 1, scene.camera.height), samples=1)
    return light[:, 0]


def edges(values: np.ndarray, least: float) -> np.ndarray:
    """Rows between which a value jumps by at least so much."""
    return np.nonzero(np.abs(np.diff(values)) > least)[0] + 0.5


def row_of(scene: ChamberScene, height_mm: float) -> float:
    """Picture row of a height on the front of the wall."""
    return float(view_of(scene).project(facing_point(scene, height_mm))[0, 1])


@pytest.mark.parametrize("elevation", [6.0, 15.0, 28.0])
def test_surface_seen_from_above_stands_where_parallax_puts_it(elevation):
    ink_like = Fluid("red", (0.001, 50.0, 50.0), 0.5, (0.5, 0.0, 0.0))
    scene = bare_scene(elevation, ink_like, Room(panel=None, wall_y_mm=900.0))
    green = column(scene)[:, 1]
    r, inner = QUAY.outer_radius_mm, QUAY.inner_radius_mm(0)
    back = row_of(scene, front_height(scene, r + inner, scene.level_mm, 1.0))
    front = row_of(scene, front_height(scene, r - inner, scene.level_mm, 1.0))
    found = edges(green, 0.05)
    assert np.abs(found - back).min() < EDGE_PX
    assert np.abs(found - front).min() < EDGE_PX
    # The axis point, in the closed form: h + r tan a + wall tan a_wall, local elevation.
    axis = front_height(scene, r, scene.level_mm, 1.0)
    a = math.atan2(view_of(scene).centre[2] - axis, 900 * math.cos(math.radians(elevation)) - r)
    wall = QUAY.wall_mm * math.tan(math.asin(math.sin(a) / 1.53))
    assert axis == pytest.approx(scene.level_mm + inner * math.tan(a) + wall, abs=1e-6)
    # ... and the design's short form h + R tan a, good to the shift in the wall.
    shift = QUAY.wall_mm * (math.tan(a) - math.tan(math.asin(math.sin(a) / 1.53)))
    assert axis == pytest.approx(scene.level_mm + r * math.tan(a) - shift, abs=1e-6)


@pytest.mark.parametrize("elevation", [-6.0, -15.0, -28.0])
def test_surface_seen_from_below_is_refracted_by_the_liquid(elevation):
    # The panel ends at the level: straight sight lines and those mirrored under the
    # surface part at the back contact line, seen through the liquid.
    room = Room(panel=Panel(-200, 200, -400, 0.0, 40.0, rgb=(0.05, 0.05, 0.05)),
                wall_y_mm=60.0, wall_rgb=(0.9, 0.9, 0.9), shadow=0.0)
    scene = bare_scene(elevation, Fluid(), room)
    scene = replace(scene, room=replace(room, panel=replace(
        room.panel, high_mm=scene.level_mm - scene.middle_mm)))
    green = column(scene)[:, 1]
    r, inner = QUAY.outer_radius_mm, QUAY.inner_radius_mm(0)
    water = scene.fluid.index
    back = row_of(scene, front_height(scene, r + inner, scene.level_mm, water))
    assert np.abs(edges(green, 0.1) - back).min() < EDGE_PX
    # Without refraction in the liquid the line would be elsewhere: the test can tell.
    straight = row_of(scene, front_height(scene, r + inner, scene.level_mm, 1.0))
    assert abs(straight - back) > 3 * EDGE_PX


@pytest.mark.slow
def test_marks_are_drawn_where_an_independent_projection_puts_them():
    scene = replace(
        bare_scene(9.0, Fluid(), Room(panel=None)), print=Print(numerals="left", opacity=1.0),
        camera=Camera(400.0, 9.0, 0.0, 4.0, 60.0, 900, 1200, 0.45, 0.55))
    view = view_of(scene)
    k = np.array([[view.focal_px, 0, view.cx], [0, view.focal_px, view.cy], [0, 0, 1]])
    rotation, _ = cv2.Rodrigues(view.axes)
    heights = [m.height_mm for m in QUAY.marks if m.length == "long"]
    points = np.array([[0.0, -QUAY.outer_radius_mm, h] for h in heights])
    expected, _ = cv2.projectPoints(points, rotation, -view.axes @ view.centre, k, None)
    light, _ = render_light(scene, samples=4)
    grey = light.mean(2)
    for x, y in expected.reshape(-1, 2):
        c, r = round(x), round(y)
        strip = 1.0 - grey[r - 3:r + 4, c] / grey[r - 3:r + 4, c].max()
        strip[strip < 0.2] = 0.0
        assert (strip * np.arange(r - 3, r + 4)).sum() / strip.sum() == pytest.approx(y, abs=0.4)


def test_truth_agrees_with_an_independent_projection():
    rng = np.random.default_rng(51)
    for _ in range(10):
        scene = sample_scene(rng, "typical", QUAY)
        truth, view, cam = scene_truth(scene), view_of(scene), scene.camera
        focal = cam.f35 / math.hypot(36, 24) * math.hypot(cam.width, cam.height)
        k = np.array([[focal, 0, (cam.width - 1) / 2], [0, focal, (cam.height - 1) / 2],
                      [0, 0, 1]])
        assert np.allclose(view.axes @ view.axes.T, np.eye(3), atol=1e-9)
        rotation, _ = cv2.Rodrigues(view.axes)
        p, _ = cv2.projectPoints(np.array([[0.0, 0.0, scene.level_mm]]), rotation,
                                 -view.axes @ view.centre, k, None)
        assert np.allclose(p.ravel(), truth["surface_px"], atol=0.06)
        back = view.centre - [0, 0, scene.level_mm]
        assert np.linalg.norm(back) == pytest.approx(cam.distance_mm)
        assert math.degrees(math.asin(back[2] / cam.distance_mm)) == pytest.approx(
            truth["elevation_deg"], abs=1e-3)
        assert truth["true_value"] == pytest.approx(QUAY.value_at(scene.level_mm), abs=1e-4)
        assert truth["rim_value"] >= truth["true_value"]


def test_nothing_is_lost_or_gained_in_evenly_lit_surroundings():
    # A white room of one brightness (a "white furnace"): whatever the path, a ray must come
    # back with that brightness, but for the little that dropped rays carried.
    room = Room(panel=None, wall_rgb=(1.0, 1.0, 1.0), ambient=(1.0, 1.0, 1.0), floor_ambient=1.0,
                wall_y_mm=300.0)
    for angle, elevation in ((30.0, 12.0), (60.0, -9.0), (90.0, 2.0)):
        scene = replace(bare_scene(elevation, Fluid(), room), contact_angle_deg=angle,
                        camera=Camera(400.0, elevation, 0.0, 0.0, 60.0, 300, 400),
                        tube=Tube(-200, 300, lid_height_mm=1, collar_height_mm=1))
        light, kind = render_light(scene, samples=1)
        seen = light[kind == TUBE]
        assert seen.max() < 1.0 + 1e-3
        assert np.median(seen) > 0.97
        assert np.quantile(seen, 0.02) > 0.85


def test_liquid_dims_light_after_beer_and_lambert():
    # One lamp lights the wall behind; nothing else shines, so nothing is mirrored.
    lamp = AreaLight(50.0, 45.0, 10.0, 10.0, (5.0, 5.0, 5.0))
    room = Room(panel=None, wall_rgb=(0.8, 0.8, 0.8), shadow=0.0, ambient=(0.0, 0.0, 0.0),
                lights=(lamp,))
    absorbing = bare_scene(0.0, Fluid("pink", (0.0, 0.02, 0.05)), room, value=50.0)
    rows = slice(round(row_of(absorbing, 40.0)), round(row_of(absorbing, 30.0)))
    ratio = column(absorbing)[rows] / column(replace(absorbing, fluid=Fluid()))[rows]
    path = 2 * QUAY.inner_radius_mm(0)
    assert ratio[:, 0].mean() == pytest.approx(1.0, abs=1e-3)
    assert ratio[:, 1].mean() == pytest.approx(math.exp(-0.02 * path), abs=0.005)
    assert ratio[:, 2].mean() == pytest.approx(math.exp(-0.05 * path), abs=0.005)


def test_a_leaning_chamber_shows_a_tilted_surface():
    fluid = Fluid("red", (0.001, 50.0, 50.0), 0.5, (0.5, 0.0, 0.0))
    scene = replace(bare_scene(0.0, fluid, Room(panel=None)), lean_deg=(2.0, 0.0),
                    camera=Camera(900.0, 0.0, 0.0, 0.0, 200.0, 1200, 1600))
    view = view_of(scene)
    left, right = (view.project(np.array([[x, -10.0, scene.level_mm]]))[0] for x in (-6.0, 6.0))
    rows = []
    for x, _ in (left, right):
        c = round(x)
        light, _ = render_light(scene, window=(c, 0, c + 1, 1600), samples=1)
        found = edges(light[:, 0, 1], 0.05)
        rows.append(found[np.abs(found - (left[1] + right[1]) / 2).argmin()])
    # In the picture the camera is upright, so the surface is level and the marks tilt.
    assert rows[0] == pytest.approx(rows[1], abs=1.5)
    assert abs(left[1] - right[1]) > 3


@pytest.mark.slow
def test_same_scene_same_picture_and_a_window_is_a_part_of_it():
    rng = np.random.default_rng(52)
    scene = sample_scene(rng, "typical", width=300, height=400)
    first, second = render_scene(scene), render_scene(scene)
    assert first.dtype == np.uint8
    assert first.shape == (400, 300, 3)
    assert np.array_equal(first, second)
    still = replace(scene, capture=replace(scene.capture, read_noise=0.0, shot_noise=0.0))
    whole, part = render_scene(still), render_scene(still, window=(100, 150, 200, 260))
    assert part.shape == (110, 100, 3)
    gap = np.abs(part.astype(int) - whole[150:260, 100:200].astype(int))
    assert np.quantile(gap, 0.999) <= 1


def test_rays_stay_in_single_precision(monkeypatch):
    """Those that met the liquid's surface did not, and saw another pattern of blocks behind."""
    scene = sample_scene(np.random.default_rng(53), "hard", width=120, height=160)
    seen, shade = set(), RoomShader.shade

    def noted(self, origin, direction, *more):
        seen.update(a.dtype for a in (*origin, *direction))
        return shade(self, origin, direction, *more)

    monkeypatch.setattr(RoomShader, "shade", noted)
    light, _ = render_light(scene)
    assert light.dtype == np.float32 and seen == {np.dtype(np.float32)}
    assert np.isfinite(light).all()


class SharedArrays:
    """Numpy under another name, that offers only what CuPy offers too."""

    #: From CuPy's reference of numpy-like routines (from memory).
    SHARED = frozenset([
        "abs", "arange", "arcsin", "arctan2", "asarray", "bincount", "clip", "concatenate",
        "copysign", "exp",
        "float32", "float64", "floor", "full", "int32", "int8", "maximum", "minimum", "nonzero",
        "ones", "ones_like", "pad", "random", "repeat", "searchsorted", "sign", "sin", "sqrt",
        "stack", "tile", "uint8", "where", "zeros", "zeros_like"])

    def __getattr__(self, name: str):
        if name not in self.SHARED:
            raise AttributeError(name)
        return getattr(np, name)


@pytest.mark.slow
def test_any_array_module_with_the_shared_interface_will_do():
    scene = sample_scene(np.random.default_rng(54), "hard", width=150, height=200)
    scene = replace(scene, capture=replace(scene.capture, motion_px=3.0, halo=0.3,
                                           noise_grain_px=0.5))
    gap = np.abs(render_scene(scene, xp=SharedArrays()).astype(int) - render_scene(scene))
    assert np.quantile(gap, 0.99) <= 1  # the two blur by different routines


EXAMPLES = Path(__file__).parents[4] / "shared" / "examples" / "volume" / "labels.jsonl"


@pytest.mark.skipif(not EXAMPLES.exists(), reason="the path-traced example pictures are not here")
def test_camera_agrees_with_pictures_made_by_other_means():
    # Path-traced pictures of plumb chambers whose labels give camera and mark positions; there
    # the distance is counted horizontally.  Aiming is free, so it is solved for first.
    labels = [json.loads(line) for line in EXAMPLES.read_text().splitlines()]
    plumb = [t for t in labels if t["lean_deg"] == 0.0]
    assert len(plumb) >= 4
    for t in plumb:
        scale = load_scale(EXAMPLES.parent / t["scale"])
        heights = [m.height_mm for m in scale.marks]
        scene = ChamberScene(
            scale, t["true_value"], Tube(min(heights) - 5, max(heights) + 12),
            camera=Camera(t["distance_mm"] / math.cos(math.radians(t["elevation_deg"])),
                          t["elevation_deg"], t["azimuth_deg"], t["roll_deg"], t["f35"]))
        for _ in range(15):
            off = np.array(t["surface_px"]) - scene_truth(scene)["surface_px"]
            cam = scene.camera
            scene = replace(scene, camera=replace(
                cam, aim_x=cam.aim_x + off[0] / cam.width, aim_y=cam.aim_y + off[1] / cam.height))
        truth = scene_truth(scene)
        for key in ("surface_px", "lowest_mark_px", "highest_mark_px"):
            assert np.abs(np.subtract(truth[key], t[key])).max() < 3.0, (t["file"], key)
