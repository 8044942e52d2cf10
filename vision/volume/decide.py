"""When a reading is refused, each reason with its own sentence."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.graduations.fit import Ladder
from vision.imaging.quality import PhotoQuality
from vision.meniscus_image.detect import SURE_BELIEF, Surface
from vision.meniscus_image.misread_risk import largest_chance

#: How far the edge stands above the lines around it (see ``ContactLine``), below which
#: it is too faint to be placed.
_LEAST_CONTRAST = 0.3


@dataclass(frozen=True)
class Refusal:
    """A flag of ``vision.flags`` and the sentence that goes with it."""

    flag: str
    sentence: str | None = None


def ladder_refusal(ladder: Ladder, quality: PhotoQuality, level_mm: float) -> Refusal | None:
    """Reasons that lie in the photo or the ladder; the surface may be at ``level_mm``."""
    elevation = abs(float(np.degrees(ladder.pose.elevation_rad(level_mm))))
    if ladder.pitch_px < 3.2:
        return Refusal("few-pixels", "The marks are too small in the photo to be told apart: "
                                     "go nearer and take another photo.")
    if quality.blur_px is not None and quality.blur_px > 0.55 * ladder.pitch_px:
        return Refusal("blurred", "The photo is too blurred for this scale: hold the phone still, "
                                  "let it focus and take another photo.")
    if elevation > 40.0:
        return Refusal("steep-view", "The chamber was seen too steeply: hold the phone at the "
                                     "height of the liquid surface.")
    if ladder.pose.residual_px > 0.2 * ladder.pitch_px:
        return Refusal("wrong-scale", "The marks in the photo do not fit the chosen scale: "
                                      "choose the scale of this chamber.")
    return None


def surface_refusal(surface: Surface, ladder: Ladder, quality: PhotoQuality) -> Refusal | None:
    """Reasons that lie in the surface; None when it can be read."""
    middle = float(np.median(ladder.height_mm))
    early = ladder_refusal(ladder, quality, surface.level_mm if surface.candidates else middle)
    if early is not None:
        return early
    if not surface.candidates or surface.nothing > 0.5:
        return Refusal("surface-not-found", "No liquid surface was found in the chamber: it may "
                       "be covered, empty or full.  Look yourself, or change the light or the "
                       "background and take another photo.")
    best = surface.candidates[0]
    if best.belief < SURE_BELIEF:
        others = [c for c in surface.candidates[1:] if c.belief > 0.05]
        if others:
            return Refusal("competing-surfaces")
        return Refusal("surface-not-found", "The liquid surface does not stand out: change the "
                       "light or the background and take another photo.")
    if surface.contested:
        return Refusal("competing-surfaces")
    if surface.line is None or surface.line.contrast < _LEAST_CONTRAST:
        return Refusal("surface-not-found", "The edge of the liquid is too faint to be placed: "
                       "change the light or the background and take another photo.")
    if surface.held_before:
        return Refusal("surface-covered", "The edge that was found runs on past the chamber: "
                       "something is before or just behind the surface.  Take it away, or move "
                       "the phone, and take another photo.")
    elevation = float(np.degrees(ladder.pose.elevation_rad(surface.level_mm)))
    if surface.chance_of_misreading(ladder.scale) > largest_chance(elevation, surface.wall_mm):
        return Refusal("meniscus-uncertain")
    return None
