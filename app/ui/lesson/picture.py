"""What the eye sees: a small ray-traced picture, made once for each place of the eye."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image

from app.ui.lesson.state import LessonState
from vision.lesson.parallax import EyeView, eye_reading
from vision.synthetic.chamber.lesson import close_up, lesson_scene
from vision.synthetic.chamber.render import render_scene

#: Small enough to be traced in a fraction of a second, large enough to tell a tenth of a mark.
SIZE = (330, 440)


def eye_picture(state: LessonState, view: EyeView, fluid: str, look: int = 0,
                framing_mm: float | None = None, fine: bool = False) -> bytes:
    """JPEG of the chamber from the eye of ``view``.

    ``framing_mm`` moves the middle of the picture along the chamber, away from the
    level, so that the frame does not tell where the level is; None frames the level.
    ``fine`` casts two rays a pixel: for a picture that is looked at for long.
    """
    key = (view.scale.name, view.true_value, view.eye_height_mm, view.distance_mm,
           view.contact_angle_deg, view.lean_deg, fluid, look, framing_mm, fine)
    samples = 2 if fine else 1
    return state.pictures.get(
        key, lambda: trace(view, fluid, look, framing_mm, samples=samples))


def trace(view: EyeView, fluid: str, look: int = 0, framing_mm: float | None = None,
          size: tuple[int, int] = SIZE, samples: int = 1) -> bytes:
    """Trace the picture anew."""
    shift = eye_reading(view).shift_mm / 2 if framing_mm is None else framing_mm
    whole = lesson_scene(view.scale, view.true_value, eye_height_mm=view.eye_height_mm,
                         distance_mm=view.distance_mm, contact_angle_deg=view.contact_angle_deg,
                         lean_deg=view.lean_deg, fluid=fluid, look=look,
                         wall_index=view.wall_index)
    scene, window = close_up(whole, view.level_mm + shift, size)
    rgb = np.asarray(render_scene(scene, window=window, samples=samples))
    # Shown twice as large: a picture fills a projector's screen, and tracing that many
    # rays would take four times as long.
    shown = Image.fromarray(rgb).resize((2 * size[0], 2 * size[1]), Image.Resampling.BICUBIC)
    out = io.BytesIO()
    shown.save(out, "JPEG", quality=88)
    return out.getvalue()
