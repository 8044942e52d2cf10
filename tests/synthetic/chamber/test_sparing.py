"""Rays saved where they would change nothing: against every ray followed, on crops of scenes."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from vision.synthetic.chamber.dataset import scene_for
from vision.synthetic.chamber.render import TUBE, Window, render_light
from vision.synthetic.chamber.tracer import ChamberTracer
from vision.synthetic.chamber.truth import scene_truth

pytestmark = pytest.mark.slow

SEED, SIZE = 70551, (900, 1200)
#: Standard deviation of one pixel's grain in a quiet photo, in shares of white (read and shot noise
#: as ``sample`` draws them: 0.0015 to 0.02); a step of 255 is 0.004.
QUIET = 0.003
#: The mean light may differ by so much of what is there: a quarter of a step of 255 in white.
MEAN_SHARE = 1e-3


#: How many rays were followed for each crop: with every ray, sparingly.
FOLLOWED: dict[int, list[int]] = {}


@lru_cache(maxsize=8)
def crop(index: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Light of the tube round the surface: with every ray, sparingly; and which are tube."""
    scene = scene_for(SEED, index, None, None, SIZE)
    x, y = (round(v) for v in scene_truth(scene)["surface_px"])
    window: Window = (x - 110, y - 150, x + 110, y + 150)
    followed, send = [0], ChamberTracer._send

    def counted(self, where, point, direction, weights, share, pixels):
        before = sum(r.shape[1] for r, _ in self.queue[where])
        send(self, where, point, direction, weights, share, pixels)
        followed[-1] += sum(r.shape[1] for r, _ in self.queue[where]) - before

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(ChamberTracer, "_send", counted)
        every, kind = render_light(scene, window=window)
        followed.append(0)
        sparing, same_kind = render_light(scene, window=window, sparing=True)
    np.testing.assert_array_equal(kind, same_kind)
    FOLLOWED[index] = followed
    return every, sparing, kind == TUBE


@pytest.mark.parametrize("index", range(6))
def test_no_light_is_lost_or_won(index):
    every, sparing, tube = crop(index)
    assert tube.mean() > 0.2
    gap = (sparing - every)[tube].mean(axis=0)
    assert (np.abs(gap) < MEAN_SHARE * every[tube].mean(axis=0)).all()


def test_what_is_lost_here_is_won_there():
    """Over all crops the mean comes nearer to nothing than over each."""
    gap, light = (np.mean([part(*crop(k)) for k in range(6)]) for part in (
        lambda every, sparing, tube: (sparing - every)[tube].mean(),
        lambda every, sparing, tube: every[tube].mean()))
    assert abs(gap) < 0.5 * MEAN_SHARE * light


@pytest.mark.parametrize("index", range(6))
def test_a_pixel_differs_by_no_more_than_grain(index):
    every, sparing, tube = crop(index)
    gap = np.abs(sparing - every)[tube].max(axis=1)
    assert np.median(gap) < QUIET
    assert np.quantile(gap, 0.95) < 2 * QUIET
    assert np.quantile(gap, 0.999) < 10 * QUIET


@pytest.mark.parametrize("index", range(6))
def test_beside_the_tube_every_ray_is_cast(index):
    every, sparing, tube = crop(index)
    assert np.abs(sparing - every)[~tube].max(initial=0.0) < 1e-5  # sums in another order


def test_faint_light_counts(monkeypatch):
    """The bounds above would notice if faint rays were let go of instead."""
    every, _, tube = crop(0)
    trace = ChamberTracer.trace
    scene = scene_for(SEED, 0, None, None, SIZE)
    x, y = (round(v) for v in scene_truth(scene)["surface_px"])

    def strong_only(self, *rays):
        light, faint = trace(self, *rays)
        return light, 0.0 * faint

    monkeypatch.setattr(ChamberTracer, "trace", strong_only)
    poor, _ = render_light(scene, window=(x - 110, y - 150, x + 110, y + 150), sparing=True)
    gap = (poor - every)[tube].mean(axis=0)
    assert (gap < -10 * MEAN_SHARE * every[tube].mean(axis=0)).all()


@pytest.mark.parametrize("index", range(6))
def test_far_fewer_rays_are_followed(index):
    crop(index)
    every, sparing = FOLLOWED[index]
    assert 0 < sparing < 0.7 * every
