"""What an eye of the lesson sees: a small ray-traced picture, as JPEG."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image

from vision.lesson.parallax import EyeView, eye_reading
from vision.synthetic.chamber.lesson import close_up, lesson_scene
from vision.synthetic.chamber.render import render_scene

#: Small enough to be traced in a fraction of a second, large enough to tell a tenth of a mark.
SIZE = (330, 440)
#: While a slider is dragged: a ninth of the rays, there before the hand has gone on.
QUICK = (110, 147)


def framing_mm(look: int) -> float:
    """How far a task's picture is moved along the chamber, so that its middle does not give the
    level away: up to 6 mm."""
    return (look % 121) / 10.0 - 6.0


def trace(view: EyeView, fluid: str, look: int = 0, framing: float | None = None,
          size: tuple[int, int] = SIZE, samples: int = 1) -> bytes:
    """Trace the picture; ``framing`` as in :func:`framing_mm`, None frames the level."""
    shift = eye_reading(view).shift_mm / 2 if framing is None else framing
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
