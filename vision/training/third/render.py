"""From a scene to light: the whole picture coarsely, the chamber's part of it finely."""

from __future__ import annotations

import math
import tempfile
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from vision.training.third.blender import UNIT, Matrix, bpy, empty_scene
from vision.training.third.chamber import build_chamber
from vision.training.third.draws import ThirdScene
from vision.training.third.room import build_room
from vision.training.third.view import Camera

#: Pixels over which the fine part and the coarse one pass into each other.
_MARGIN_PX = 10
#: Light paths a pixel for the room.
_ROOM_PATHS = 2
#: Brightest light that a path may bring after its first bounce, in shares of white: without a
#: bound single paths leave white specks.
_BRIGHTEST = 6.0


def rendered(scene: ThirdScene, paths: int, threads: int = 1) -> np.ndarray:
    """(H, W, 3) float32 linear light: up to ``paths`` light paths a pixel round the surface,
    two fifths of that at the rest of the tube, the room at half the resolution."""
    stage = empty_scene()
    build_chamber(scene)
    build_room(scene)
    _aim(stage, scene)
    _settings(stage, threads)
    stage.cycles.diffuse_bounces = int(scene.caustics)
    stage.cycles.seed = scene.seed % 2**31
    try:
        return _picture(stage, scene, paths)
    finally:
        # While it keeps a scene for another picture, a thread of Blender 5.0 turns round and
        # round on a whole core, after the last picture, too.
        stage.render.use_persistent_data = False


def _picture(stage: Any, scene: ThirdScene, paths: int) -> np.ndarray:
    """The whole picture, and the finer parts laid over it."""
    w, h = scene.camera.size
    image = _light(stage, (0, 0, w, h), _ROOM_PATHS, 50)
    tube = _box_of(scene, scene.floor_mm, scene.lid_mm)
    image = _laid_over(image, _light(stage, tube, max(2 * paths // 5, 4)), tube)
    if scene.level_mm is not None:
        rng = np.random.default_rng(scene.seed + 6)
        below, above = rng.uniform(11, 22, 2)
        near = _box_of(scene, max(scene.level_mm - below, scene.floor_mm),
                       min(scene.level_mm + above, scene.lid_mm))
        image = _laid_over(image, _light(stage, near, paths), near)
    return image


def _laid_over(image: np.ndarray, part: np.ndarray, at: tuple[int, int, int, int]) -> np.ndarray:
    """The finer part in its place, without a seam."""
    left, top, right, bottom = at
    x, y = np.arange(right - left), np.arange(bottom - top)
    near_edge = np.minimum(np.minimum(x, x[::-1])[None], np.minimum(y, y[::-1])[:, None])
    share = np.clip((near_edge + 0.5) / _MARGIN_PX, 0, 1)[..., None].astype(np.float32)
    there = image[top:bottom, left:right]
    image[top:bottom, left:right] = share * part + (1 - share) * there
    return image


def _settings(stage: Any, threads: int) -> None:
    stage.render.engine = "CYCLES"
    stage.render.threads_mode, stage.render.threads = "FIXED", threads
    stage.render.use_persistent_data = True
    stage.render.image_settings.file_format = "OPEN_EXR"
    stage.render.image_settings.color_depth = "32"
    cycles = stage.cycles
    cycles.device = "CPU"
    cycles.use_denoising, cycles.denoiser = True, "OPENIMAGEDENOISE"
    cycles.denoising_input_passes = "RGB"
    cycles.denoising_quality, cycles.denoising_prefilter = "FAST", "NONE"
    cycles.use_adaptive_sampling, cycles.adaptive_threshold = True, 0.04
    cycles.max_bounces = cycles.transmission_bounces = 18
    cycles.transparent_max_bounces = 24
    cycles.glossy_bounces, cycles.volume_bounces = 8, 16
    cycles.sample_clamp_indirect = _BRIGHTEST
    cycles.blur_glossy = 0.0
    cycles.caustics_reflective = cycles.caustics_refractive = True
    cycles.pixel_filter_type, cycles.filter_width = "BLACKMAN_HARRIS", 1.5


def _aim(stage: Any, scene: ThirdScene) -> None:
    """Blender's camera as ``Camera`` has it: it looks along its own -z, with y up."""
    c: Camera = scene.camera
    data = bpy.data.cameras.new("camera")
    data.sensor_fit, data.sensor_width = "HORIZONTAL", 36.0
    data.lens = c.focal_px * 36.0 / c.size[0]
    data.clip_start, data.clip_end = 0.1, 1e4
    if scene.aperture_mm:
        data.dof.use_dof = True
        near = scene.scale.outer_radius_mm
        data.dof.focus_distance = (scene.distance_mm - near) * UNIT
        # Cycles: the radius of the aperture is lens / (2 f-number), the lens in thousandths
        data.dof.aperture_fstop = data.lens * 1e-3 / (2 * scene.aperture_mm * UNIT)
    camera = bpy.data.objects.new("camera", data)
    pose = np.eye(4)
    pose[:3, 0], pose[:3, 1], pose[:3, 2], pose[:3, 3] = c.right, c.up, -c.ahead, c.place * UNIT
    camera.matrix_world = Matrix(pose.tolist())
    stage.collection.objects.link(camera)
    stage.camera = camera
    stage.render.resolution_x, stage.render.resolution_y = c.size
    stage.render.resolution_percentage = 100


def _box_of(scene: ThirdScene, low_mm: float, high_mm: float) -> tuple[int, int, int, int]:
    """Left, top, right, bottom of the part that shows the tube between two heights."""
    r = scene.scale.outer_radius_mm + 1
    a = np.linspace(0, 2 * math.pi, 32)
    rim = np.stack([r * np.cos(a), r * np.sin(a)], 1)
    points = np.concatenate([np.c_[rim, np.full(32, z)] for z in (low_mm, high_mm)])
    px = scene.camera.project(points)
    low = np.floor(px.min(0)).astype(int) - _MARGIN_PX
    high = np.ceil(px.max(0)).astype(int) + _MARGIN_PX
    w, h = scene.camera.size
    return (max(int(low[0]), 0), max(int(low[1]), 0), min(int(high[0]), w), min(int(high[1]), h))


def _light(stage: Any, box: tuple[int, int, int, int], paths: int, percent: int = 100
           ) -> np.ndarray:
    """Linear light of a part of the picture (left, top, right, bottom)."""
    left, top, right, bottom = box
    render = stage.render
    w, h = render.resolution_x, render.resolution_y
    render.resolution_percentage = percent
    render.use_border = render.use_crop_to_border = True
    # a quarter of a pixel more, since Blender rounds down
    render.border_min_x, render.border_max_x = (left + 0.25) / w, (right + 0.25) / w
    render.border_min_y, render.border_max_y = (h - bottom + 0.25) / h, (h - top + 0.25) / h
    stage.cycles.samples = paths
    with tempfile.TemporaryDirectory() as folder:
        render.filepath = str(Path(folder) / "light.exr")
        bpy.ops.render.render(write_still=True)
        picture = bpy.data.images.load(render.filepath)
        wide, tall = picture.size
        values = np.empty(wide * tall * 4, np.float32)
        picture.pixels.foreach_get(values)
        bpy.data.images.remove(picture)
    image = np.minimum(values.reshape(tall, wide, 4)[::-1, :, :3], _BRIGHTEST)
    if percent == 100 and (wide, tall) != (right - left, bottom - top):
        raise RuntimeError(f"Blender rendered {wide}x{tall} of a part of {right - left}x"
                           f"{bottom - top} pixels.")
    return image if percent == 100 else cv2.resize(
        image, (right - left, bottom - top), interpolation=cv2.INTER_CUBIC)
