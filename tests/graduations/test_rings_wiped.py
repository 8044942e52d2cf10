"""The picture without its rings, in which the surface is sought as well."""

from __future__ import annotations

import numpy as np
import pytest
from numbered_rings import ALL_ROUND, unnumbered

from vision.graduations.rings_wiped import without_rings
from vision.graduations.unrolled_samples import sample

FACING = np.radians(np.arange(-50.0, 51.0, 5.0))


def as_rgb(fit) -> np.ndarray:
    return np.repeat(np.clip(fit.grey, 0, 255).astype(np.uint8)[:, :, None], 3, axis=2)


def depth(picture: np.ndarray, fit, above_mm: float) -> float:
    """How much darker the marks (or places so far above them) are than the wall between marks."""
    step = abs(fit.evidence.step_mm)

    def level(off_mm: float) -> np.ndarray:
        points = fit.pose.project_wall(FACING, fit.height_mm + off_mm)
        return sample(picture.astype(np.float32), points)

    return float(np.nanmedian(level(0.5 * step) - level(above_mm)))


@pytest.mark.slow
def test_rings_are_gone_and_what_lies_between_them_is_left():
    fit = unnumbered(**ALL_ROUND)
    rgb = as_rgb(fit)
    bare = without_rings(rgb, fit)
    assert bare is not None and bare.shape == rgb.shape and bare.dtype == np.uint8
    before, after = depth(rgb[:, :, 0], fit, 0.0), depth(bare[:, :, 0], fit, 0.0)
    assert before > 60.0 and abs(after) < 0.05 * before
    same = (bare == rgb).all(axis=2)
    assert same.mean() > 0.85  # everything but the rings themselves


@pytest.mark.slow
def test_a_line_that_is_no_mark_stays():
    """The front edge of a liquid half way between two marks is not wiped with them."""
    fit = unnumbered(**ALL_ROUND)
    rgb = as_rgb(fit)
    line_mm = float(fit.height_mm[12] + 0.5 * (fit.height_mm[13] - fit.height_mm[12]))
    points = fit.pose.project_wall(FACING, np.array([line_mm]))[0]
    for x, y in np.round(points).astype(int):
        rgb[y - 1:y + 2, x - 1:x + 2] = 20
    bare = without_rings(rgb, fit)
    assert bare is not None
    left = sample(bare[:, :, 0].astype(np.float32), points[None])
    assert float(np.median(left)) < 40.0


@pytest.mark.slow
def test_a_tube_whose_marks_do_not_run_round_is_looked_at_as_it_is():
    fit = unnumbered()
    assert without_rings(as_rgb(fit), fit) is None
