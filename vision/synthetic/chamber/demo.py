"""The photos in ``sample_images``: a skills lab that trains with coloured water.

``python -m vision.synthetic.chamber.demo DIR`` writes them anew.
"""

from __future__ import annotations

import json
import shutil
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from vision.scale_file.scale import load_scale, shipped_scales
from vision.synthetic.chamber.dataset import LABELS, save_photo
from vision.synthetic.chamber.lesson import WATERS
from vision.synthetic.chamber.model import (
    AreaLight,
    Box,
    Capsule,
    Capture,
    ChamberScene,
    Panel,
    Room,
    Tube,
)
from vision.synthetic.chamber.render import render_scene
from vision.synthetic.chamber.sample import sample_scene
from vision.synthetic.chamber.truth import scene_truth

SIZE = (1200, 1600)


def _lab(panel: tuple[float, float, float], light: str) -> Room:
    """A plain training room: pale wall, a panel on a pole, a box or two on the bench."""
    lights = {
        "window": (AreaLight(-62, 14, 13, 24, (5.0, 5.2, 5.6), 0.8, 2),
                   AreaLight(40, 62, 22, 8, (3.0, 3.0, 2.9), 1.5)),
        "ceiling": (AreaLight(-35, 58, 35, 6, (4.2, 4.2, 4.0), 1.2),
                    AreaLight(60, 50, 30, 5, (4.0, 4.0, 3.8), 1.2)),
    }[light]
    dark = AreaLight(8, -6, 11, 34, (-0.45, -0.45, -0.45), 3.0)  # whoever holds the phone
    return Room(
        panel=Panel(-58, 64, -120, 96, 34.0, 0.4, panel, "plain"),
        wall_y_mm=420.0, wall_rgb=(0.62, 0.63, 0.6), lights=(*lights, dark),
        ambient=(0.62, 0.62, 0.62), floor_ambient=0.35, horizon=1.2, shadow=0.5,
        light_name=light,
        rods=(Capsule((-78.0, 70.0, -900.0), (-74.0, 70.0, 900.0), 12.5, (0.6, 0.61, 0.62), 0.35),
              Capsule((0.0, 0.0, 62.0), (22.0, 6.0, 300.0), 1.9, (0.72, 0.72, 0.72), 0.06)),
        boxes=(Box((70.0, 160.0, -190.0), (170.0, 260.0, -105.0), (0.15, 0.3, 0.42)),
               Box((-60.0, 200.0, -230.0), (30.0, 260.0, -150.0), (0.55, 0.42, 0.2))))


#: File name, scale, seed of the print, and what is fixed.
DEMOS: tuple[tuple[str, str, int, dict[str, Any]], ...] = (
    ("bench-1-pink.jpg", "quay-60", 1, dict(
        tier="easy", true_value=23.4, elevation_deg=2.6, azimuth_deg=5.0, water="pink",
        light="window", panel=(0.7, 0.72, 0.72))),
    ("bench-2-clear.jpg", "heron-100", 2, dict(
        tier="easy", true_value=57.3, elevation_deg=-3.4, azimuth_deg=-7.0, water="clear",
        contact_angle_deg=48.0, light="window", panel=(0.3, 0.45, 0.55))),
    ("bench-3-straw.jpg", "slate-50", 3, dict(
        tier="typical", true_value=6.35, elevation_deg=5.2, azimuth_deg=11.0, water="straw",
        light="window", panel=(0.74, 0.74, 0.7))),
    ("bench-4-from-above.jpg", "quay-60", 4, dict(
        tier="hard", true_value=31.7, elevation_deg=23.0, azimuth_deg=-6.0, water="straw",
        light="ceiling", panel=(0.66, 0.7, 0.74))),
    ("bench-5-from-below.jpg", "heron-100", 5, dict(
        tier="hard", true_value=64.8, elevation_deg=-17.5, azimuth_deg=8.0, water="pink",
        light="window", panel=(0.7, 0.7, 0.66))),
    ("bench-6-red.jpg", "slate-50", 6, dict(
        tier="typical", true_value=33.8, elevation_deg=8.4, azimuth_deg=18.0, water="red",
        light="window", panel=(0.6, 0.64, 0.62))),
    ("bench-7-over-full.jpg", "quay-60", 7, dict(
        tier="offscale", true_value=63.1, elevation_deg=4.0, azimuth_deg=3.0, water="pink",
        light="ceiling", panel=(0.7, 0.72, 0.7))),
    ("bench-8-blurred.jpg", "heron-100", 8, dict(
        tier="unreadable", true_value=41.0, elevation_deg=6.0, azimuth_deg=-4.0, water="straw",
        light="window", panel=(0.66, 0.68, 0.7))),
)


def demo_scene(name: str, scale_name: str, seed: int, fixed: dict[str, Any]) -> ChamberScene:
    """One of the demo scenes."""
    facts = dict(fixed)
    scale = load_scale(scale_name)
    heights = [m.height_mm for m in scale.marks]
    tube = Tube(min(heights) - 5.0, max(heights) + 15.0, 1.53, drip_tip_mm=7.0,
                lid_rgb=(0.62, 0.66, 0.7), collar_rgb=(0.62, 0.66, 0.7))
    tier = facts.pop("tier")
    ladder = max(heights) - min(heights)
    facts.setdefault("distance_mm", 2.9 * ladder)
    facts.setdefault("contact_angle_deg", 64.0)
    scene = sample_scene(
        np.random.default_rng([70, seed]), "offscale" if tier == "offscale" else "typical", scale,
        tube=tube, fluid=WATERS[facts.pop("water")], room=_lab(facts.pop("panel"), facts["light"]),
        capture=Capture(blur_px=0.7, exposure=0.8, shot_noise=0.008, jpeg_quality=88),
        roll_deg=0.8 * (-1) ** seed, f35=52.0, width=SIZE[0],
        height=SIZE[1], drops=(), stickers=(), aim_x=0.5, aim_y=0.5, notes="", **facts)
    scene = replace(scene, print=replace(
        scene.print, ink_rgb=(0.02, 0.02, 0.03), opacity=0.95, spine=False))
    if tier == "unreadable":
        scene = replace(scene, expect="refuse", notes="blurred",
                        capture=replace(scene.capture, blur_px=17.0))
    return replace(scene, tier=tier)


def write_demo(out: str | Path) -> Path:
    """Write the demo photos, their labels and scale files; returns the label file."""
    folder = Path(out)
    (folder / "scales").mkdir(parents=True, exist_ok=True)
    lines = []
    for name, scale_name, seed, fixed in DEMOS:
        scene = demo_scene(name, scale_name, seed, fixed)
        quality = scene.capture.jpeg_quality
        save_photo(render_scene(scene, samples=4), folder / name, scene.camera.f35, quality)
        shutil.copyfile(shipped_scales()[scale_name], folder / "scales" / f"{scale_name}.json")
        lines.append(json.dumps(
            {"file": name, "scale": f"scales/{scale_name}.json", **scene_truth(scene)}))
    labels = folder / LABELS
    labels.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return labels


if __name__ == "__main__":
    write_demo(sys.argv[1] if len(sys.argv) > 1 else "sample_images")
