"""The plain teaching room of the lesson: one chamber, one panel, and the eye as a camera.

Made for quick pictures: few lights and few things, so that a small picture takes
a fraction of a second.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from vision.errors import InputError
from vision.scale_file.scale import Scale
from vision.synthetic.chamber.camera import FULL_FRAME_DIAGONAL_MM, view_of
from vision.synthetic.chamber.glyphs import Lettering
from vision.synthetic.chamber.model import (
    AreaLight,
    Camera,
    Capsule,
    Capture,
    ChamberScene,
    Fluid,
    Panel,
    Print,
    Rgb,
    Room,
    Tube,
)
from vision.synthetic.chamber.render import Window
from vision.synthetic.chamber.truth import facing_point

if TYPE_CHECKING:
    from vision.lesson.rounds import ChamberTask

#: Coloured waters of a skills lab, by name.
WATERS: dict[str, Fluid] = {
    "clear": Fluid("clear", (0.0002, 0.0002, 0.0004)),
    "straw": Fluid("straw", (0.0012, 0.006, 0.03), 0.001, (0.7, 0.6, 0.35)),
    "pink": Fluid("pink", (0.0015, 0.022, 0.016), 0.001, (0.7, 0.4, 0.4)),
    "red": Fluid("red", (0.015, 0.16, 0.14), 0.02, (0.5, 0.05, 0.05)),
}
_PANELS: tuple[Rgb, ...] = ((0.74, 0.75, 0.73), (0.66, 0.7, 0.74), (0.72, 0.7, 0.63),
                            (0.68, 0.74, 0.69))
_INKS: tuple[Rgb, ...] = ((0.02, 0.02, 0.03), (0.03, 0.08, 0.32), (0.02, 0.14, 0.09))


def lesson_scene(scale: Scale, true_value: float, *, eye_height_mm: float, distance_mm: float,
                 contact_angle_deg: float = 70.0, lean_deg: float = 0.0, fluid: str = "pink",
                 turn_deg: float = 5.0, wall_index: float = 1.54, look: int = 0,
                 size: tuple[int, int] = (700, 1400)) -> ChamberScene:
    """The scene of one lesson picture: the whole chamber fills a picture of ``size``.

    The eye stands ``distance_mm`` from the axis and ``eye_height_mm`` over the level;
    ``lean_deg`` tips the chamber away from it.  ``look`` chooses panel, ink and
    side of the figures and seeds the noise.
    """
    if fluid not in WATERS:
        raise InputError(f"The liquid must be one of {', '.join(WATERS)}.")
    top, low = scale.highest_mark.height_mm, scale.lowest_mark.height_mm
    radius = scale.outer_radius_mm
    tube = Tube(low - 6.0, top + 16.0, wall_index, drip_tip_mm=6.0, lid_overhang_mm=3.0,
                lid_rgb=(0.62, 0.66, 0.7), collar_rgb=(0.62, 0.66, 0.7))
    away = math.hypot(eye_height_mm, distance_mm)
    width, height = size
    tall, wide = tube.lid_mm - tube.floor_mm + 26.0, 2 * radius + 12.0
    focal = min(0.94 * height / tall, 0.94 * width / wide) * (away - radius)
    pitch = min(b.height_mm - a.height_mm
                for a, b in zip(scale.marks, scale.marks[1:], strict=False))
    return ChamberScene(
        scale=scale, true_value=float(true_value), tube=tube, fluid=WATERS[fluid],
        contact_angle_deg=float(contact_angle_deg), lean_deg=(0.0, float(lean_deg)),
        print=Print(short_mm=0.36 * radius, long_mm=0.7 * radius,
                    stroke_mm=min(0.35, 0.24 * pitch), long_stroke_mm=min(0.4, 0.27 * pitch),
                    numerals="left" if look % 2 == 0 else "right",
                    numeral_height_mm=3.4, lettering=Lettering(),
                    ink_rgb=_INKS[look % len(_INKS)]),
        camera=Camera(
            away, math.degrees(math.atan2(eye_height_mm, distance_mm)) - lean_deg, turn_deg, 0.0,
            focal * FULL_FRAME_DIAGONAL_MM / math.hypot(width, height), width, height),
        room=_room(radius, _PANELS[look % len(_PANELS)]),
        capture=Capture(blur_px=0.5, exposure=0.8, shot_noise=0.004, read_noise=0.001,
                        vignette=0.05, jpeg_quality=90),
        tier="lesson", seed=look)


def scene_of(task: ChamberTask, size: tuple[int, int] = (700, 1400)) -> ChamberScene:
    """The scene of a task's whole picture."""
    view = task.view
    return lesson_scene(
        view.scale, view.true_value, eye_height_mm=view.eye_height_mm,
        distance_mm=view.distance_mm, contact_angle_deg=view.contact_angle_deg,
        lean_deg=view.lean_deg, fluid=task.fluid, look=task.look, wall_index=view.wall_index,
        size=size)


def _room(radius: float, panel: Rgb) -> Room:
    """A pale wall, a panel, a window to the left and a lamp above."""
    return Room(
        panel=Panel(-58, 64, -150, 150, radius + 16.0, 0.0, panel), wall_y_mm=420.0,
        wall_rgb=(0.62, 0.63, 0.6),
        lights=(AreaLight(-62, 14, 13, 24, (2.4, 2.5, 2.6), 0.8, 2),
                AreaLight(40, 62, 22, 8, (1.8, 1.8, 1.7), 1.5)),
        ambient=(0.62, 0.62, 0.62), floor_ambient=0.35, horizon=1.2,
        rods=(Capsule((-78.0, 70.0, -900.0), (-78.0, 70.0, 900.0), 12.5, (0.6, 0.61, 0.62),
                      0.35),))


def close_up(scene: ChamberScene, height_mm: float, size: tuple[int, int] = (360, 480)
             ) -> tuple[ChamberScene, Window]:
    """The same eye, nearer: a scene and a window of ``size`` around a height on the front.

    The whole width of the tube fills 0.86 of the window's width.
    """
    cam = scene.camera
    px_per_mm = 0.86 * size[0] / (2 * scene.scale.outer_radius_mm)
    grow = px_per_mm / (_focal_px(cam) / (cam.distance_mm - scene.scale.outer_radius_mm))
    whole = (round(cam.width * grow), round(cam.height * grow))
    near = replace(scene, camera=replace(cam, width=whole[0], height=whole[1]))
    x, y = view_of(near).project(facing_point(near, height_mm)[None])[0]
    # The tube's middle, not the print's, is to stand in the middle of the window.
    x = view_of(near).project([[0.0, 0.0, height_mm]])[0][0]  # type: ignore[arg-type]
    left, top = round(float(x)) - size[0] // 2, round(float(y)) - size[1] // 2
    return near, (left, top, left + size[0], top + size[1])


def _focal_px(cam: Camera) -> float:
    return cam.f35 * math.hypot(cam.width, cam.height) / FULL_FRAME_DIAGONAL_MM
