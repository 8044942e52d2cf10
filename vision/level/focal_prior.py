"""Focal lengths that the photo may have been taken with, each with its weight."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vision.imaging.camera import FILM_DIAGONAL_MM, focal_px
from vision.imaging.exif import CameraFacts

#: Main cameras of phones gather about here (35 mm-equivalent), with a wide spread
#: to longer lenses: the prior of a photo that lost its metadata.  Our assumption.
_USUAL_35MM, _USUAL_SPREAD = 26.0, 0.10
_LONG_35MM, _LONG_SPREAD = 40.0, 0.45
#: So many lengths are tried from 20 to 85 mm, 3.5 % apart.  Cards seen at a slant tell the
#: focal length to a few per cent; steps coarser than that would hide their own doubt.
_GRID = 43


@dataclass(frozen=True)
class FocalGuess:
    """One focal length in pixels and its prior weight."""

    focal_px: float
    weight: float


def focal_guesses(facts: CameraFacts, width: int, height: int, stated_35mm: float | None
                  ) -> tuple[list[FocalGuess], bool]:
    """Guesses whose weights add to 1, and whether the focal length is known.

    ``stated_35mm`` (35 mm-equivalent, by the diagonal) overrules the photo.
    """
    if stated_35mm is not None:
        facts = CameraFacts(stated_35mm)
    known = focal_px(facts, width, height)
    if known is not None:
        focal, spread = known
        # Five points of Gauss-Hermite quadrature: exact for smooth dependence.
        nodes, weights = np.polynomial.hermite_e.hermegauss(5)
        total = float(weights.sum())
        return [FocalGuess(focal * math.exp(spread * x), float(w) / total)
                for x, w in zip(nodes, weights, strict=True)], True
    per_mm = math.hypot(width, height) / FILM_DIAGONAL_MM
    grid = np.exp(np.linspace(math.log(20.0), math.log(85.0), _GRID))
    usual = np.exp(-0.5 * (np.log(grid / _USUAL_35MM) / _USUAL_SPREAD) ** 2) / _USUAL_SPREAD
    long = np.exp(-0.5 * (np.log(grid / _LONG_35MM) / _LONG_SPREAD) ** 2) / _LONG_SPREAD
    weight = 0.7 * usual + 0.3 * long
    weight /= weight.sum()
    return [FocalGuess(float(f * per_mm), float(w))
            for f, w in zip(grid, weight, strict=True)], False
