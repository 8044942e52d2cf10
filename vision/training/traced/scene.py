"""A traced picture's light: from its facts to linear pixels, by Mitsuba 3."""

from __future__ import annotations

import math
from typing import Any

import cv2
import mitsuba as mi
import numpy as np

if mi.variant() is None:
    mi.set_variant("llvm_ad_rgb")

import drjit as dr

import vision.training.traced.light  # noqa: F401  (registers the integrator)
from vision.training.traced.draws import LIQUIDS, TracedScene
from vision.training.traced.fittings import caps, picture, printed
from vision.training.traced.room import backdrop, environment
from vision.training.traced.tube import walls_of

#: So many times as many paths where liquid scatters: its grain is of the renderer, not of liquids.
_CLOUDY_PATHS = 3


def world_of(scene: TracedScene) -> tuple[dict[str, Any], list[Any]]:
    """Mitsuba's dictionary of the scene without a sensor, and the meshes that bound the liquid."""
    rng = np.random.default_rng(scene.seed + 2)
    walls, wet = walls_of(scene)
    world: dict[str, Any] = {"type": "scene"}
    for k, mesh in enumerate([*walls, *printed(scene), *caps(scene)]):
        world[f"part{k}"] = mesh
    turn = mi.ScalarTransform4f().rotate(
        [0, 0, 1], float(rng.uniform(-8, 8) - scene.azimuth_deg / 2))
    world["far"] = {"type": "envmap", "bitmap": mi.Bitmap(environment(rng, scene.light)),
                    "to_world": turn @ mi.ScalarTransform4f().rotate([1, 0, 0], 90)}
    middle = 0.5 * (scene.floor_mm + scene.lid_mm)
    wide, tall = float(rng.uniform(80, 220)), float(rng.uniform(180, 320))
    away = scene.scale.outer_radius_mm + float(rng.uniform(4, 60))
    if scene.background in ("curtain", "shelf", "bars"):
        wide, tall, away = 900.0, 900.0, float(rng.uniform(80, 400))
    if scene.light != "back":
        world["panel"] = {
            "type": "rectangle", "to_world": turn @ mi.ScalarTransform4f().translate(
                [float(rng.uniform(-20, 20)), away, middle]) @ mi.ScalarTransform4f().rotate(
                [1, 0, 0], 90) @ mi.ScalarTransform4f().scale([wide / 2, tall / 2, 1]),
            "bsdf": {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": picture(
                scene.behind * backdrop(rng, scene.background, (wide, tall))[::-1])}}}
    if scene.light == "flash":
        p = scene.pose
        at = p.centre + p.axes[0] * 9 - p.axes[1] * 4 - p.axes[2] * 2
        world["flash"] = {
            "type": "disk", "emitter": {"type": "area", "radiance": {
                "type": "rgb", "value": float(0.02 * scene.distance_mm**2)}},
            "to_world": mi.ScalarTransform4f().look_at(
                at.tolist(), (at + p.axes[2]).tolist(), p.axes[0].tolist())
            @ mi.ScalarTransform4f().scale(3.0)}
    return world, wet


class Tracer:
    """A chamber in its room, built once and seen by any number of cameras."""

    def __init__(self, scene: TracedScene) -> None:
        world, wet = world_of(scene)
        self._world = mi.load_dict(world)
        absorb, scatter, colour = scene.mixed or LIQUIDS[scene.liquid]
        # light wanders far in what scatters and hardly absorbs
        self._tracer = mi.load_dict({"type": "liquid_tracer", "depth": 48 if scatter else 16})
        self._more = _CLOUDY_PATHS if scatter else 1
        self._tracer.set_liquid(np.array(absorb) * scene.strength, scatter * scene.strength,
                                colour, wet, scene.forward)

    def light(self, scene: TracedScene, spp: int = 48, spp_far: int = 8) -> np.ndarray:
        """(H, W, 3) float32 linear light of the pinhole picture as ``scene.pose`` has it, the part
        with the tube traced ``spp`` times a pixel, the rest ``spp_far`` times."""
        w, h = scene.pose.size
        out = cv2.medianBlur(self.part(scene, (0, 0, w, h), spp_far), 3)  # grain of few paths
        left, top, right, bottom = tube_box(scene)
        if right > left and bottom > top:
            out = out.copy()
            out[top:bottom, left:right] = self.part(scene, (left, top, right, bottom), spp)
        return np.asarray(out)

    def part(self, scene: TracedScene, box: tuple[int, int, int, int], spp: int, wide: int = 1
             ) -> np.ndarray:
        """Light of the pixels from left, top to right, bottom, each ``wide`` times as wide as the
        photo's and counted in such pixels."""
        (w, h), p = scene.pose.size, scene.pose
        left, top, right, bottom = box
        film = {"type": "hdrfilm", "width": w // wide, "height": h // wide,
                "rfilter": {"type": "box"}, "pixel_format": "rgb", "component_format": "float32",
                "crop_offset_x": left, "crop_offset_y": top, "crop_width": right - left,
                "crop_height": bottom - top}
        sensor = mi.load_dict({
            "type": "perspective", "fov_axis": "x", "near_clip": 1.0, "far_clip": 1e5,
            "fov": math.degrees(2 * math.atan(0.5 * w / p.focal_px)), "film": film,
            "to_world": mi.ScalarTransform4f().look_at(
                p.centre.tolist(), (p.centre + p.axes[2]).tolist(), (-p.axes[1]).tolist()),
            "sampler": {"type": "independent", "sample_count": spp}})
        spp *= self._more
        image = mi.render(self._world, sensor=sensor, integrator=self._tracer, spp=spp,
                          seed=mi.UInt32(scene.seed))
        out = np.ascontiguousarray(np.asarray(image)[..., :3])
        dr.flush_malloc_cache()
        return out


def traced(scene: TracedScene, spp: int = 48, spp_far: int = 8) -> np.ndarray:
    """(H, W, 3) float32 linear light of a scene's own picture."""
    return Tracer(scene).light(scene, spp, spp_far)


def tube_box(scene: TracedScene, below_mm: float = 6.0, above_mm: float = 6.0, wide: float = 1.03
             ) -> tuple[int, int, int, int]:
    """Left, top, right, bottom of the pixels in which the tube between the marks is seen, with so
    much below and above them and ``wide`` times its radius."""
    s, phi = scene.scale, np.linspace(0, 2 * np.pi, 24)
    r = s.outer_radius_mm * wide
    z = np.array([s.lowest_mark.height_mm - below_mm, s.highest_mark.height_mm + above_mm])
    ring = np.stack([np.tile(r * np.sin(phi), 2), np.tile(r * np.cos(phi), 2), np.repeat(z, 24)], 1)
    xy = scene.pose.project(ring)
    (x0, y0), (x1, y1) = np.floor(xy.min(0)), np.ceil(xy.max(0)) + 1
    w, h = scene.pose.size
    return (int(max(x0, 0)), int(max(y0, 0)), int(min(x1, w)), int(min(y1, h)))
