"""What the eye sees: a small ray-traced picture, made once for each place of the eye."""

from __future__ import annotations

from app.ui.lesson.state import LessonState
from vision.lesson.parallax import EyeView
from vision.synthetic.chamber.lesson_picture import trace


def eye_picture(state: LessonState, view: EyeView, fluid: str, look: int = 0,
                framing: float | None = None, fine: bool = False) -> bytes:
    """JPEG of the chamber from the eye of ``view``.

    ``framing`` moves the middle of the picture along the chamber, away from the
    level, so that the frame does not tell where the level is; None frames the level.
    ``fine`` casts two rays a pixel: for a picture that is looked at for long.
    """
    key = (view.scale.name, view.true_value, view.eye_height_mm, view.distance_mm,
           view.contact_angle_deg, view.lean_deg, fluid, look, framing, fine)
    samples = 2 if fine else 1
    return state.pictures.get(
        key, lambda: trace(view, fluid, look, framing, samples=samples))
