"""From facts to linear light: the room coarsely, the tube finely, the surface finest."""

from __future__ import annotations

import math
import time

import cv2
import numpy as np

from vision.training.fourth import contents
from vision.training.fourth.backdrops import furnish
from vision.training.fourth.facts import Facts
from vision.training.fourth.fittings import fit
from vision.training.fourth.lens import PAD_PX
from vision.training.fourth.luxcore import Stage, core, properties
from vision.training.fourth.surround import light_up

#: Pixels over which a finer part passes into the coarser one.
_SEAM_PX = 8
#: No single path counts as more than this many times white.
_BRIGHTEST = 12.0
Box = tuple[int, int, int, int]


def build(facts: Facts) -> Stage:
    """The chamber and all in it; no room and no light yet."""
    stage = Stage()
    stage.medium("wall", facts.wall_index, priority=30)
    stage.put(contents.tube(facts), stage.boundary("wall"))
    liquid = facts.liquid
    stage.medium("liquid", liquid.index, liquid.absorbs, priority=10)
    wet = stage.boundary("liquid")
    if facts.level_mm is not None:
        stage.put(contents.body_of_liquid(facts), wet)
        if liquid.scatters:
            stage.medium("core", liquid.index, liquid.absorbs, liquid.scatters, priority=11)
            stage.put(contents.cloudy_core(facts), stage.boundary("core"))
    over = contents.film(facts)
    if over is not None:
        stage.put(over, wet)
    hanging = contents.drops(facts)
    if hanging is not None:
        stage.put(hanging, wet)
    foam = contents.bubbles(facts)
    if foam is not None:
        stage.medium("bubble", 1.0, priority=20)
        stage.put(foam[0], wet)
        stage.put(foam[1], stage.boundary("bubble"))
    fit(stage, facts)
    return stage


def rendered(facts: Facts, samples: int = 12, threads: int = 1) -> np.ndarray:
    """(H, W, 3) float32 linear light with up to ``samples`` light paths a pixel."""
    stage = build(facts)
    furnish(stage, facts)
    light_up(stage, facts)
    w, h = (n + 2 * PAD_PX for n in facts.lens.size)
    whole = traced(stage, facts, (0, 0, w, h), max(samples // 6, 2), threads, coarse=2)
    image = cv2.resize(whole, (w, h), interpolation=cv2.INTER_CUBIC)
    parts = [(facts.floor_mm - 3, facts.rim_mm, max(samples // 3, 4))]
    if facts.level_mm is not None:
        rng = np.random.default_rng([facts.seed, 41])
        below, above = rng.uniform(9, 18, 2)
        parts.append((max(facts.level_mm - below, facts.floor_mm - 3),
                      min(facts.level_mm + above, facts.rim_mm), samples))
    for low, high, count in parts:
        box = _box(facts, low, high, (w, h))
        if box[2] - box[0] > 4 and box[3] - box[1] > 4:
            image = _laid(image, traced(stage, facts, box, count, threads), box)
    columns, rows = facts.lens.sources()
    return np.asarray(cv2.remap(image, columns, rows, cv2.INTER_CUBIC), np.float32)


def _box(facts: Facts, low_mm: float, high_mm: float, size: tuple[int, int]) -> Box:
    """Left, top, right, bottom in the padded picture of the tube between two heights."""
    a = np.linspace(-math.pi, math.pi, 40)
    r = facts.scale.outer_radius_mm + 1.0
    rims = np.concatenate([np.stack([r * np.sin(a), np.full(40, y), r * np.cos(a)], 1)
                           for y in (low_mm, high_mm)])
    px = facts.lens.straight(rims) + PAD_PX
    left, top = np.floor(px.min(0)).astype(int) - _SEAM_PX
    right, bottom = np.ceil(px.max(0)).astype(int) + _SEAM_PX
    return max(int(left), 0), max(int(top), 0), min(int(right), size[0]), min(int(bottom), size[1])


def _laid(image: np.ndarray, part: np.ndarray, box: Box) -> np.ndarray:
    """A finer part in its place, its edges passing over."""
    left, top, right, bottom = box
    x, y = np.arange(right - left), np.arange(bottom - top)
    edge = np.minimum(np.minimum(x, x[::-1]), np.minimum(y, y[::-1])[:, None]) + 0.5
    share = np.clip(edge / _SEAM_PX, 0, 1)[..., None]
    out = image.copy()
    out[top:bottom, left:right] = share * part + (1 - share) * image[top:bottom, left:right]
    return out


def traced(stage: Stage, facts: Facts, box: Box, samples: int, threads: int = 1, *,
           coarse: int = 1, smooth: bool = True) -> np.ndarray:
    """Linear light, (H, W, 3), of a part of the padded picture: left, top, right, bottom;
    ``coarse`` pixels become one."""
    # LuxCore 2.11 shows everything one row lower than its screen window says: measured with
    # shining balls (test_fourth_light), to 0.03 of a row
    left, right, top, bottom = (box[0] - PAD_PX, box[2] - PAD_PX, box[1] - PAD_PX + coarse,
                                box[3] - PAD_PX + coarse)
    stage.look(facts.lens, facts.aperture_mm, facts.focus_mm, (left, top, right, bottom))
    w, h = (box[2] - box[0]) // coarse, (box[3] - box[1]) // coarse
    settings = {
        "renderengine.type": "PATHCPU", "native.threads.count": threads,
        "sampler.type": "SOBOL", "sampler.sobol.adaptive.strength": 0.0,
        "film.width": w, "film.height": h,
        "film.filter.type": "BLACKMANHARRIS", "film.filter.width": 1.5,
        "film.noiseestimation.warmup": 100000,
        # LuxCore counts being turned aside in a cloudy liquid like a matt surface
        "path.pathdepth.total": 60 if facts.liquid.scatters else 16,
        "path.pathdepth.specular": 60 if facts.liquid.scatters else 16,
        "path.pathdepth.glossy": 3,
        "path.pathdepth.diffuse": 40 if facts.liquid.scatters else 2,
        "path.russianroulette.depth": 3, "path.russianroulette.cap": 0.25,
        "path.clamping.variance.maxvalue": _BRIGHTEST,
        # the smoothing sees the print, but not what glass shows by chance: that is grain to it
        "path.albedospecular.type": "NO_REFLECT_TRANSMIT",
        "batch.haltspp": samples, "batch.halttime": 0,
        "film.outputs.0.type": "RGB_IMAGEPIPELINE", "film.outputs.0.index": 0,
        "film.outputs.0.filename": "unused.exr",
        "film.outputs.1.type": "ALBEDO", "film.outputs.1.filename": "unused1.exr",
        "film.outputs.2.type": "AVG_SHADING_NORMAL", "film.outputs.2.filename": "unused2.exr",
        "film.imagepipelines.0.0.type": "NOP"}
    if smooth:
        settings |= {"film.imagepipelines.0.1.type": "INTEL_OIDN",
                     "film.imagepipelines.0.1.prefilter.enable": False,
                     "film.imagepipelines.0.1.sharpness": 0.0}
    session = core().RenderSession(core().RenderConfig(properties(settings), stage.scene))
    session.Start()
    try:
        while not session.HasDone():
            time.sleep(0.02)
            session.UpdateStats()
    finally:
        session.Stop()
    light = np.zeros((h, w, 3), np.float32)
    session.GetFilm().GetOutputFloat(core().FilmOutputType.RGB_IMAGEPIPELINE, light, 0)
    return light[::-1].copy()
