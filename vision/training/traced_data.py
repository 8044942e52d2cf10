"""Training views of the surface from path-traced pictures, in the shards of ``surface_data``.

``python -m vision.training.traced_data OUT.npz --count N --seed S`` traces N chambers, each
seen by several cameras, only the part of the film with the tube.  The views are cut
from the developed photo as the reader cuts them, not traced ray by ray.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
from scipy.optimize import least_squares

from vision.graduations.cylinder_pose import CylinderPose
from vision.meniscus_image.networks import filled, row_probability
from vision.meniscus_image.unroll import view
from vision.meniscus_image.views import (
    SPARE_ROWS,
    WHOLE_ABOVE_MM,
    WHOLE_BELOW_MM,
    WINDOW_STEP_MM,
    Grid,
    whole_grid,
    window_grid,
)
from vision.optics.refraction import apparent_height_shift_mm
from vision.scale_file.scale import Scale
from vision.training.surface_data import NOWHERE_MM, TIERS, decoy_mm, found_mm, write_shard
from vision.training.traced.bore import profile_of
from vision.training.traced.draws import TracedScene, draw, made_bright, made_dark, seen_from
from vision.training.traced.shapes import surface_height
from vision.training.traced.view import Pose

#: Cameras that look at each chamber, and cuts of each photo with other errors of the pose.
CAMERAS, CUTS = 4, 2
#: Share of chambers with rings, foam, condensation or mixed liquids.
STRANGE = 0.4
#: Share of chambers whose liquid swallows a colour: there the meniscus is hardest to judge.
DARK = 0.3
#: Share of chambers with something dark behind, mostly of a bright liquid.
BRIGHT = 0.3
#: Share of chambers whose wall hardly draws the liquid up, and the least angle there, degrees.
DRY, DRY_DEG = 0.3, 70.0
#: Share of chambers without a liquid, beside the few that are drawn so.
EMPTY = 0.1
#: Width and height of the photos, pixels: what share of them is drawn in each size.
SIZES = ((600, 800), (900, 1200), (1200, 1600))
_SIZE_SHARES = (0.25, 0.55, 0.20)


def pose_of(scale: Scale, camera: Pose) -> tuple[CylinderPose, np.ndarray]:
    """The camera as the reader would have it from faultless marks: an undistorted pose that meets
    the seen places of a net on the wall, and the (3, 3) rotation of the chamber's frame."""
    cx, cy, cz = camera.centre
    d = math.hypot(cx, cy)
    turn = np.array([[-cy / d, cx / d, 0], [-cx / d, -cy / d, 0], [0, 0, 1.0]])
    base = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])
    q = camera.axes @ turn.T @ base.T
    start = np.array([d, cz, math.atan2(-q[2, 0], q[2, 2]),
                      math.asin(np.clip(q[2, 1], -1, 1)), math.atan2(-q[0, 1], q[1, 1]),
                      math.log(camera.focal_px)])
    pose = CylinderPose(start, np.zeros((6, 6)), scale.outer_radius_mm, (
        (camera.size[0] - 1) / 2, (camera.size[1] - 1) / 2), 0.0, outline=scale.outline)
    a, h = np.meshgrid(np.radians([-40, 0, 40]), np.linspace(
        scale.lowest_mark.height_mm, scale.highest_mark.height_mm, 12))
    wall = pose.on_wall(a, h)
    seen = camera.project(wall @ turn)
    fit = least_squares(lambda p: (pose.with_params(np.append(p, start[5])).project(wall)
                                   - seen).ravel(), start[:5], x_scale=[10, 10, .01, .01, .01])
    return pose.with_params(np.append(fit.x, start[5])), turn


def front_line_mm(scene: TracedScene, pose: CylinderPose, turn: np.ndarray) -> float:
    """Where the front contact line is seen on the outer wall, straight in front."""
    assert scene.level_mm is not None
    profile = profile_of(scene)
    r = float(profile[0][-1])
    x, y, _ = turn.T @ np.array([0.0, -r, 0.0])
    rim = float(surface_height(np.array(x), np.array(y), scene.level_mm, scene.lean, profile))
    elevation = math.degrees(float(pose.elevation_rad(rim)))
    return rim + float(apparent_height_shift_mm(
        elevation, 0.0, float(pose.radius_at_mm(rim)) - r, scene.wall_index))


def views(scene: TracedScene, photo: np.ndarray, corner: tuple[int, int],
          rng: np.random.Generator) -> dict[str, np.ndarray]:
    """The views of a photo, or of a part of it with ``corner`` left and top, through a pose with
    the reader's errors; and what is true of them."""
    scale = scene.scale
    exact, turn = pose_of(scale, scene.pose)
    low, high = scale.lowest_mark.height_mm, scale.highest_mark.height_mm
    empty = scene.level_mm is None
    # of an empty chamber any place will do to say how it is looked at
    line = 0.5 * (low + high) if empty else front_line_mm(scene, exact, turn)
    p = exact.params.copy()
    steep = abs(math.degrees(float(exact.elevation_rad(line))))
    tilt = rng.normal(0, math.radians(0.2 + 0.035 * steep))
    p[1] += p[0] * math.tan(tilt)
    p[3] += tilt
    p[2] += rng.normal(0, 0.008) * exact.radius_mm / p[0]
    pose = replace(exact.with_params(p), centre_px=(
        exact.centre_px[0] - corner[0], exact.centre_px[1] - corner[1]))
    whole = whole_grid(low, high)
    centre = line + float(rng.uniform(-0.5, 0.5)) * WINDOW_STEP_MM
    px_mm = scene.pose.focal_px / scene.distance_mm

    def picture(g: Grid) -> np.ndarray:
        return np.asarray(np.clip(filled(view(photo, pose, g, px_mm)) + 0.5, 0, 255), np.uint8)

    far = picture(whole)
    bore = float(scale.inner_radius_mm(float(scale.value_at(line)))) if empty else float(
        profile_of(scene)[0][-1])
    middle_deg = math.degrees(float(pose.elevation_rad(0.5 * (low + high))))
    probability, _ = row_probability(far.astype(np.float32), middle_deg, bore, whole.step_mm)
    elevation_deg = math.degrees(float(pose.elevation_rad(line)))
    wall_mm = float(pose.radius_at_mm(line)) - bore
    tilted = float(pose.elevation_rad(line)) - float(exact.elevation_rad(line))
    if empty:
        line = NOWHERE_MM
    decoy = decoy_mm(probability, whole, line, rng)
    found = found_mm(probability, whole, line, rng)
    turn_deg = np.diff([math.degrees(float(pose.elevation_rad(centre + d))) for d in (-1, 1)])[0]
    facts = np.array([
        line, centre, NOWHERE_MM if scene.level_mm is None else scene.level_mm, elevation_deg, bore,
        wall_mm, whole.top_mm, whole.step_mm, px_mm,
        scene.capture["blur_px"], scene.contact_deg, *np.degrees(scene.lean), low, high,
        scene.floor_mm, scene.lid_mm, TIERS.index(scene.tier),
        tilted, scene.wall_index, middle_deg,
        decoy, math.degrees(float(pose.elevation_rad(decoy))),
        scale.inner_radius_mm(float(scale.value_at(decoy - 0.5))), found - centre, turn_deg / 2,
    ], dtype=np.float32)
    return {"whole": far, "window": picture(window_grid(centre, SPARE_ROWS)),
            "decoy": picture(window_grid(decoy)), "facts": facts}


def samples(seed: int, index: int, spp: int) -> Iterator[dict[str, np.ndarray]]:
    """All samples of one traced chamber."""
    from vision.training.traced.capture import compressed, photographed, white_of
    from vision.training.traced.scene import Tracer, tube_box

    rng = np.random.default_rng([seed, index, 5])
    size = SIZES[int(rng.choice(len(SIZES), p=_SIZE_SHARES))]
    scene, _ = draw(seed, index, size, STRANGE)
    kind, dry = rng.random(2)
    if kind < DARK:
        scene = made_dark(scene, rng)
    elif kind < DARK + BRIGHT:
        scene = made_bright(scene, rng)
    if dry < DRY:
        scene = replace(scene, contact_deg=float(rng.uniform(DRY_DEG, 90)))
    if rng.random() < EMPTY:
        scene = replace(scene, level_mm=None)
    tracer = Tracer(scene)
    white = white_of(tracer.part(scene, (0, 0, size[0] // 8, size[1] // 8), 8, wide=8))
    for k in range(CAMERAS):
        one = scene if k == 0 else seen_from(scene, rng, size)
        left, top, right, bottom = tube_box(one, WHOLE_BELOW_MM + 1, WHOLE_ABOVE_MM + 1, 1.08)
        if right - left < 16 or bottom - top < 64:
            continue
        light = tracer.part(one, (left, top, right, bottom), spp)
        photo = compressed(photographed(light, one.pose, one.capture, one.seed + k, white,
                                        (left, top)), one.capture["jpeg"])
        for _ in range(CUTS):
            yield views(one, photo, (left, top), rng)


def main() -> None:
    """Write one shard of training views."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--count", type=int, default=16, help="chambers to trace")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--spp", type=int, default=48)
    parser.add_argument("--seconds", type=float, default=1e9)
    args = parser.parse_args()
    write_shard(args.out, (samples(args.seed, index, args.spp) for index in range(args.count)),
                args.seconds)


if __name__ == "__main__":
    main()
