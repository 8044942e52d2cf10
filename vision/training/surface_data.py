"""Training views of the surface, cut straight from ray-traced scenes.

Only the rays that a strip needs are traced: no whole photo is made.  Lens blur,
exposure, noise and tone are put on in the strip.  ``python -m
vision.training.surface_data OUT.npz --count N --seed S`` writes one shard, about four
samples a second on one processor core.
"""

from __future__ import annotations

import argparse
import math
import time
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from scipy.ndimage import gaussian_filter1d

from vision.errors import InputError
from vision.graduations.cylinder_pose import CylinderPose
from vision.meniscus_image.candidates import peaks
from vision.meniscus_image.networks import row_probability
from vision.meniscus_image.views import (
    NEAR_MM,
    SPARE_ROWS,
    WINDOW_STEP_MM,
    Grid,
    whole_grid,
    window_grid,
)
from vision.optics.refraction import apparent_height_shift_mm
from vision.scale_file.scale import Scale, load_scale, parse_scale
from vision.synthetic.chamber.bore import Bore
from vision.synthetic.chamber.camera import view_of
from vision.synthetic.chamber.compiled import FEWEST_PIXELS
from vision.synthetic.chamber.glyphs import Lettering
from vision.synthetic.chamber.model import ChamberScene, Fluid, Room
from vision.synthetic.chamber.render import Painter
from vision.synthetic.chamber.sample import even_bore, sample_scene, surface_in_sight
from vision.training.strange_rooms import emptied, is_empty, ringed, strange_room

SHIPPED = ("quay-60", "heron-100", "slate-50")
_DICE = np.random.default_rng(11)
#: A few hands of lettering are enough here, and drawing one is slow.
_HANDS = [Lettering(width=float(_DICE.uniform(0.45, 0.7)), stroke=float(_DICE.uniform(0.08, 0.16)),
                    slant=float(_DICE.choice([0.0, 0.0, 0.18])),
                    squareness=float(_DICE.uniform(2.0, 4.5)), gap=float(_DICE.uniform(0.12, 0.3)))
          for _ in range(4)]


def random_scale(rng: np.random.Generator) -> Scale:
    """A straight-bored chamber that nobody makes: any width, length and division."""
    diameter = float(rng.uniform(16, 44))
    wall = float(rng.uniform(0.8, 2.6))
    length = float(rng.uniform(45, 140))
    capacity = length * math.pi * diameter**2 / 4000.0
    step = float(rng.choice([0.5, 1.0, 2.0, 2.5, 5.0]))
    while capacity / step > 110:
        step *= 2
    while capacity / step < 18:
        step /= 2
    n = int(capacity / step)
    per = int(rng.choice([2, 5, 5, 10]))
    first = float(rng.choice([0, 0, step, per * step]))
    return parse_scale({
        "name": "any", "unit": "mL", "direction": "up", "inner_diameter_mm": diameter,
        "wall_mm": wall, "capacity": n * step,
        "height_mm": [[0, 0.0], [n * step, n * step / capacity * length]],
        "marks": [{"from": first, "to": n * step, "step": step, "length": "short"},
                  {"from": math.ceil(first / (per * step)) * per * step, "to": n * step,
                   "step": per * step, "length": "long", "label": True}]})


def pose_of(scene: ChamberScene) -> tuple[CylinderPose, np.ndarray]:
    """The scene's own camera as the reader's pose, and the (3, 3) rotation between frames."""
    view = view_of(scene)
    cx, cy, cz = view.centre
    d = math.hypot(cx, cy)
    turn = np.array([[-cy / d, cx / d, 0], [-cx / d, -cy / d, 0], [0, 0, 1.0]])
    base = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])
    q = view.axes @ turn.T @ base.T
    pitch = math.asin(np.clip(q[2, 1], -1, 1))
    yaw = math.atan2(-q[2, 0], q[2, 2])
    roll = math.atan2(-q[0, 1], q[1, 1])
    params = np.array([d, cz, yaw, pitch, roll, math.log(view.focal_px)])
    pose = CylinderPose(params, np.zeros((6, 6)), scene.scale.outer_radius_mm,
                        (view.cx, view.cy), 0.0)
    return pose, turn


def front_line_mm(scene: ChamberScene, pose: CylinderPose, turn: np.ndarray) -> float:
    """Where the front contact line is seen on the outer wall, straight in front."""
    bore = Bore(scene, np)
    facing = turn.T @ np.array([0.0, -1.0, 0.0])
    r = bore.radius
    one = np.array([1.0])
    x, y = one * facing[0] * r * 0.9999, one * facing[1] * r * 0.9999
    rim = scene.level_mm - float(bore.above(x, y, one * scene.level_mm)[0])
    elevation = math.degrees(float(pose.elevation_rad(rim)))
    return rim + float(apparent_height_shift_mm(
        elevation, 0.0, scene.scale.outer_radius_mm - r, scene.tube.index))


#: A window whose middle is nearer than NEAR_MM to the front line is of it, one farther than
#: this is not; what lies between is not taught.
APART_MM = 2.0


def found_mm(probability: np.ndarray, grid: Grid, line: float, rng: np.random.Generator) -> float:
    """Where the shipped row network would put the front line, else a place near that."""
    near = [c.height_mm for c in peaks(probability, grid) if abs(c.height_mm - line) < NEAR_MM]
    if near:
        return min(near, key=lambda z: abs(z - line))
    return float(line + np.clip(rng.normal(0, 0.5), -NEAR_MM, NEAR_MM))


def decoy_mm(probability: np.ndarray, grid: Grid, line: float, rng: np.random.Generator) -> float:
    """A height where the front contact line is not, by preference one that looks like it.

    Half of them are what the shipped row network, whose ``probability`` this is, would take next;
    of the others, half lie close to the line, where the back edge of the surface is, and
    half anywhere.
    """
    z = grid.height_mm
    kind = rng.random()
    if kind < 0.5:
        p = np.where(np.abs(z - line) > APART_MM + 0.2, probability, 0.0)
        if p.sum() > 1e-9:
            return float(rng.choice(z, p=p / p.sum()) + np.clip(rng.normal(0, 0.1), -0.2, 0.2))
    if kind < 0.75 and line < NOWHERE_MM:
        away = APART_MM + rng.exponential(2.0)
        return float(line + (away if rng.random() < 0.5 else -away))
    far = rng.uniform(z[-1], z[0])
    return float(far if abs(far - line) > APART_MM else line + APART_MM * 2)


def view_light(pose: CylinderPose, grid: Grid, painter: Painter, sub: tuple[int, int],
               rng: np.random.Generator) -> np.ndarray:
    """(rows, columns, 3) linear light of a grid, ``sub`` rays per cell."""
    total: Any = 0.0
    rows, cols = grid.rows, grid.columns
    for i in range(sub[0]):
        for j in range(sub[1]):
            dz = ((i + rng.random()) / sub[0] - 0.5) * grid.step_mm
            du = ((j + rng.random()) / sub[1] - 0.5) * (grid.across[1] - grid.across[0])
            az = np.arcsin(np.clip((grid.across + du) * math.sin(pose.limb_azimuth_rad()),
                                   -0.9999, 0.9999))
            z = grid.height_mm + dz
            p = pose.project(pose.on_wall(np.broadcast_to(az, (rows, cols)),
                                          np.broadcast_to(z[:, None], (rows, cols))))
            x, y = np.asarray(p, dtype=np.float32).T
            total = total + painter(x, y)[0]
    return total.T.reshape(rows, cols, 3) / (sub[0] * sub[1])


def _blur_axis(image: np.ndarray, sigma: float, axis: int) -> np.ndarray:
    if sigma < 0.15:
        return image
    return np.asarray(gaussian_filter1d(image, sigma, axis=axis, mode="nearest",
                                        radius=math.ceil(3 * sigma)))


def developed(light: np.ndarray, scene: ChamberScene, grid: Grid, px_per_mm: float,
              rng: np.random.Generator) -> np.ndarray:
    """Blur, exposure, noise and tone of the scene's capture, in the strip.  uint8."""
    c = scene.capture
    image = np.minimum(light * c.exposure, 4.0)
    blur_mm = math.hypot(c.blur_px, 0.35) / px_per_mm
    motion_v = c.motion_px * abs(math.sin(math.radians(c.motion_deg))) / 3.5 / px_per_mm
    motion_h = c.motion_px * abs(math.cos(math.radians(c.motion_deg))) / 3.5 / px_per_mm
    cell_mm = (grid.across[1] - grid.across[0]) * scene.scale.outer_radius_mm
    image = _blur_axis(image, math.hypot(blur_mm, motion_v) / grid.step_mm, 0)
    image = _blur_axis(image, math.hypot(blur_mm, motion_h) / cell_mm, 1)
    if c.veil:
        image = image * (1 - c.veil) + c.veil * 0.6 * c.exposure
    image = image * np.asarray(c.white_balance, dtype=np.float32)
    pixels = max(cell_mm * px_per_mm, 1.0) * max(grid.step_mm * px_per_mm, 1.0)
    sd = np.sqrt(c.read_noise**2 + c.shot_noise**2 * np.clip(image, 0, 1))
    sd = sd * (1 + c.noise_grain_px) / math.sqrt(pixels)
    image = np.clip(image + sd * rng.standard_normal(image.shape), 0, 1)
    tone = np.where(image <= 0.0031308, 12.92 * image,
                    1.055 * np.maximum(image, 1e-6) ** (1 / 2.4) - 0.055)
    if c.contrast:
        tone = tone + c.contrast * (tone - 0.5) * tone * (1 - tone) * 4
    return np.clip(tone * 255 + 0.5, 0, 255).astype(np.uint8)


def dark_fluid(fluid: Fluid, rng: np.random.Generator) -> Fluid:
    """The liquid with a dye of any hue that swallows one colour at least."""
    strongest = math.exp(rng.uniform(math.log(0.06), math.log(0.5)))
    share = np.append(1.0, rng.uniform(0.02, 1.0, 2) ** 2)
    absorb = strongest * share[rng.permutation(3)]
    return replace(fluid, absorption_per_mm=tuple(map(float, absorb)),  # type: ignore[arg-type]
                   scatter_per_mm=fluid.scatter_per_mm * float(rng.random() < 0.5))


def milky_fluid(fluid: Fluid, rng: np.random.Generator) -> Fluid:
    """A liquid that scatters and hardly takes light."""
    colour = 1 - rng.uniform(0, 0.35) * np.sort(rng.random(3))
    absorb = rng.uniform(0, 0.006) * np.sort(rng.dirichlet([0.6, 0.6, 0.6]))
    return replace(fluid, absorption_per_mm=tuple(map(float, absorb)),  # type: ignore[arg-type]
                   scatter_per_mm=float(np.exp(rng.uniform(np.log(0.008), np.log(0.25)))),
                   scatter_rgb=(float(colour[0]), float(colour[1]), float(colour[2])))


def dark_behind(room: Room, rng: np.random.Generator) -> Room:
    """The room with a darker panel and wall behind the chamber."""
    share = float(rng.uniform(0.03, 0.5))

    def darker(rgb: tuple[float, float, float]) -> tuple[float, float, float]:
        return (rgb[0] * share, rgb[1] * share, rgb[2] * share)

    panel = room.panel and replace(room.panel, rgb=darker(room.panel.rgb),
                                   pattern_rgb=darker(room.panel.pattern_rgb))
    return replace(room, panel=panel, wall_rgb=darker(room.wall_rgb),
                   wall_pattern_rgb=darker(room.wall_pattern_rgb))


TIERS = ("easy", "typical", "hard", "offscale")
#: Shares of them: what is hard to see is shown oftener than it is met.
_SHARES = (0.18, 0.28, 0.48, 0.06)
#: Levels, views and wall angles tried on each drawn room before the next is drawn.
VARIANTS = 4
#: Share of rooms whose liquid swallows a colour, and how steeply it is then looked at, degrees:
#: from near level the meniscus is hardest to judge.
DARK, DARK_WITHIN_DEG = 0.3, 15.0
#: Share of rooms with something dark behind the chamber, and of those with a milky liquid.
BRIGHT, MILKY = 0.3, 0.75
#: Share of views with a wall that hardly draws the liquid up, and the least angle there, degrees.
DRY, DRY_DEG = 0.25, 70.0
#: Shares of rooms with anything at all behind the chamber and of marks right round the tube, and of
#: views of an empty chamber.
STRANGE, RINGED, EMPTY = 0.5, 0.12, 0.12
#: Rooms of a shard from which on rays are compiled (half a minute, the first time).
MANY_ROOMS = 50
#: Where the surface of an empty chamber is: nowhere in sight, mm.
NOWHERE_MM = 1e4


def variants(seed: int) -> Iterator[ChamberScene]:
    """A drawn scene, and the same room and chamber with other levels, angles and views."""
    rng = np.random.default_rng(seed)
    scale = load_scale(str(rng.choice(SHIPPED))) if rng.random() < 0.5 else random_scale(rng)
    tier = str(rng.choice(TIERS, p=_SHARES))
    try:
        scene = sample_scene(rng, tier, scale)
    except InputError:
        return
    scene = replace(scene, print=replace(
        scene.print, lettering=_HANDS[int(rng.integers(len(_HANDS)))]))
    kind = rng.random()
    dark = kind < DARK
    if dark:
        scene = replace(scene, fluid=dark_fluid(scene.fluid, rng))
    elif kind < DARK + BRIGHT:
        scene = replace(scene, room=dark_behind(scene.room, rng))
        if rng.random() < MILKY:
            scene = replace(scene, fluid=milky_fluid(scene.fluid, rng))
    if rng.random() < STRANGE:
        scene = replace(scene, room=strange_room(scene.room, scale.outer_radius_mm, rng))
    if rng.random() < RINGED:
        scene = ringed(scene, rng)
    steep, wettest = {"easy": (6.0, 58), "hard": (31.0, 20)}.get(tier, (15.0, 42))
    heights = [m.height_mm for m in scale.marks]
    for k in range(VARIANTS):
        one = scene
        if k or rng.random() < 0.2:
            # any wall angle at any elevation: how high the liquid climbs must be seen, not guessed
            angle = float(rng.uniform(wettest, 90) if rng.random() < 0.5 else rng.uniform(15, 90))
            if rng.random() < DRY:
                angle = float(rng.uniform(DRY_DEG, 90))
            level = float(rng.uniform(min(heights) - 3, max(heights) + (
                9 if tier == "offscale" else 1)))
            least = 11 if tier == "hard" and rng.random() < 0.75 else 0
            if dark:
                least, steep = 0, DARK_WITHIN_DEG
            elevation = float(rng.choice([-1, 1]) * rng.uniform(least, steep))
            camera = replace(scene.camera, elevation_deg=elevation,
                             azimuth_deg=scene.camera.azimuth_deg + float(rng.normal(0, 5)))
            size = 2.2 if rng.random() < 0.5 else 0.7
            one = replace(
                scene, true_value=float(scale.value_at(level)), contact_angle_deg=angle,
                camera=camera, lean_deg=tuple(rng.uniform(-size, size, 2)), drops=(
                    scene.drops if k < 2 else ()), seed=int(rng.integers(2**31)))
            rise = 3.0 * math.sqrt(2 * (1 - math.sin(math.radians(angle))))
            if not (scene.tube.floor_mm + 0.7 < level < scene.tube.lid_mm - rise - 0.7
                    and even_bore(scale, scene.tube, level, rise) and surface_in_sight(one)):
                continue
        yield emptied(one) if rng.random() < EMPTY else one


def views(scene: ChamberScene, seed: int, many: bool = False) -> dict[str, np.ndarray]:
    """The views of one scene, a window of something else in it, and what is true of them.

    Of an empty chamber that window is all there is: the other is black, and the line nowhere.
    ``many``: so many are to come that compiling the rays is worth its time.
    """
    rng = np.random.default_rng(seed)
    true_pose, turn = pose_of(scene)
    line = front_line_mm(scene, true_pose, turn)
    # the reader's pose is never exact, and less so in a steep view, where tilt and
    # focal length are hard to tell apart
    p = true_pose.params.copy()
    steep = abs(math.degrees(float(true_pose.elevation_rad(line))))
    tilt = rng.normal(0, math.radians(0.2 + 0.035 * steep))
    p[1] += p[0] * math.tan(tilt)
    p[3] += tilt
    p[2] += rng.normal(0, 0.008) * true_pose.radius_mm / p[0]
    pose = true_pose.with_params(p)
    whole = whole_grid(scene.scale.lowest_mark.height_mm, scene.scale.highest_mark.height_mm)
    centre = line + float(rng.uniform(-0.5, 0.5)) * WINDOW_STEP_MM
    window = window_grid(centre, SPARE_ROWS)
    view = view_of(scene)
    painter = Painter(scene, view, np, samples=4, pixels=FEWEST_PIXELS if many else 0)
    px_mm = view.focal_px / scene.camera.distance_mm

    def picture(g: Grid, sub: tuple[int, int]) -> np.ndarray:
        return developed(view_light(pose, g, painter, sub, rng), scene, g, px_mm, rng)

    far = picture(whole, (1, 1))
    near = np.zeros_like(far, shape=(window.rows, window.columns, 3)) if is_empty(scene) else (
        picture(window, (2, 1)))
    r = Bore(scene, np).radius
    marks = scene.scale.lowest_mark.height_mm, scene.scale.highest_mark.height_mm
    middle_deg = math.degrees(float(pose.elevation_rad(0.5 * sum(marks))))
    probability, _ = row_probability(far.astype(np.float32), middle_deg, r, whole.step_mm)
    elevation_deg = math.degrees(float(pose.elevation_rad(line)))
    level = scene.level_mm
    if is_empty(scene):
        line = level = NOWHERE_MM
    decoy = decoy_mm(probability, whole, line, rng)
    found = found_mm(probability, whole, line, rng)
    turn_deg = np.diff([math.degrees(float(pose.elevation_rad(centre + d))) for d in (-1, 1)])[0]
    bore = scene.scale.inner_radius_mm(scene.scale.value_at(decoy - 0.5))
    facts = np.array([
        line, centre, level, elevation_deg, r,
        scene.scale.outer_radius_mm - r, whole.top_mm, whole.step_mm, px_mm,
        scene.capture.blur_px, scene.contact_angle_deg, *scene.lean_deg, *marks,
        scene.tube.floor_mm, scene.tube.lid_mm,
        TIERS.index(scene.tier) if scene.tier in TIERS else 1,
        float(pose.elevation_rad(centre)) - float(true_pose.elevation_rad(centre)),
        scene.tube.index, middle_deg,
        decoy, math.degrees(float(pose.elevation_rad(decoy))), bore, found - centre,
        turn_deg / 2,
    ], dtype=np.float32)
    return {"whole": far, "window": near, "decoy": picture(window_grid(decoy), (2, 1)),
            "facts": facts}


def write_shard(out: Path, rooms: Iterable[Iterable[dict[str, np.ndarray]]], seconds: float
                ) -> None:
    """Write the samples of ``rooms`` as one shard; none is begun after so many seconds."""
    start = time.time()
    kept: list[dict[str, np.ndarray]] = []
    for room in rooms:
        if time.time() - start > seconds:
            break
        kept += room
    np.savez(out, **{key: np.stack([s[key] for s in kept])  # type: ignore[arg-type]
                     for key in kept[0]})
    print(f"{len(kept)} samples in {time.time() - start:.1f} s")


def main() -> None:
    """Write one shard of training views."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--count", type=int, default=16, help="rooms to draw")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=1e9)
    args = parser.parse_args()
    seeds = (args.seed * 1_000_003 + i for i in range(args.count))
    many = args.count >= MANY_ROOMS
    write_shard(args.out, ((views(scene, seed * 8 + k, many)
                            for k, scene in enumerate(variants(seed))) for seed in seeds),
                args.seconds)


if __name__ == "__main__":
    main()
