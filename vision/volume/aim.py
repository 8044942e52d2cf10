"""A light, fast look for the chamber in a live picture: how to hold the phone, never a value.

The same stages as a reading go through, each with the first strategy only: the row of marks,
then the surface.  What it would read is not told: the person reads first.
"""

from __future__ import annotations

import numpy as np

from vision.imaging.aim import DARK, Aim, higher_or_lower, shares, too_dark
from vision.imaging.photo import load_photo
from vision.imaging.quality import FEW_PX_PER_DIVISION
from vision.meniscus_image.detect import find_meniscus
from vision.parameters import ABSENT, AIM_LEVEL_DEG, AIM_SEEN, AIM_STEEP_DEG
from vision.scale_file.scale import Scale
from vision.volume.evidence import quality_of
from vision.volume.locate import STRATEGIES, locate

#: Half of the wall that the outline goes round, rad.
_SIDE_RAD = 1.2
_TOO_NEAR = "Too near: bring the whole scale into the picture."


def aim_at_chamber(frame: bytes, scale: Scale, photo_px_per_px: float = 1.0) -> Aim:
    """Look for the marks of a scale in a live picture.

    Parameters
    ----------
    frame : bytes
        A small picture file, upright.
    scale : Scale
        What is printed on the chamber; it needs a bore.
    photo_px_per_px : float
        How many pixels of the photo that will be taken one pixel of the frame spans.

    Returns
    -------
    Aim
        ``too_high_mm`` is the height of the camera above the liquid's surface, or above the
        middle of the marks where no surface stands out; along the chamber's axis.

    Raises
    ------
    PhotoError
        For a frame that is no picture.
    """
    photo = load_photo(frame)
    if too_dark(photo.working_rgb):
        return Aim(False, False, DARK)
    fit = locate(photo, scale, strategies=STRATEGIES[:1])
    if fit is None or fit.picture is None or fit.seen.mean() < AIM_SEEN:
        return Aim(False, False, f"Looking for the marks of {scale.name}: fill the picture with "
                                 "the chamber.")
    pose, middle = fit.pose, float(np.median(fit.height_mm))
    ends = sorted((scale.lowest_mark.height_mm, scale.highest_mark.height_mm))
    across = np.linspace(-_SIDE_RAD, _SIDE_RAD, 9)
    rim = fit.picture.to_photo(pose.project(pose.on_wall(
        np.concatenate([across, across[::-1]]), np.repeat(ends, across.size))))
    if not np.isfinite(rim).all():
        return Aim(False, False, _TOO_NEAR)
    outline = (shares(rim, photo.width, photo.height),)
    surface = middle
    if abs(np.degrees(pose.elevation_rad(middle))) < AIM_STEEP_DEG:
        meniscus = find_meniscus(fit.picture.rgb, fit, pose.px_per_mm(middle))
        surface = meniscus.level_mm if meniscus.p_absent < ABSENT else middle
    elevation = float(np.degrees(pose.elevation_rad(surface)))
    too_high = float(pose.params[1]) - surface
    words = ""
    if not (np.min(outline) > 0 and np.max(outline) < 1):
        words = _TOO_NEAR
    elif fit.pitch_px * fit.picture.factor * photo_px_per_px < FEW_PX_PER_DIVISION:
        words = "Too far: come nearer."
    elif abs(elevation) > AIM_LEVEL_DEG:
        words = higher_or_lower(too_high)
    else:
        blur = quality_of(fit).blur_px
        if blur is None or blur > fit.pitch_px / 4:
            words = "Blurred: hold still."
    return Aim(True, not words, words or "Good: hold still and take the photos.", outline,
               elevation, too_high)
