"""Whether a mark can be seen at all: the sum in the scenes against a matched filter."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from vision.synthetic.chamber import sample_scene
from vision.synthetic.chamber.camera import view_of
from vision.synthetic.chamber.sample import _LUMA, _USUAL_LIGHT, ROSE_LIMIT, mark_visibility


def scene_with(blur_px: float, seed: int = 3):
    scene = sample_scene(np.random.default_rng(seed), "typical", width=900, height=1200)
    return replace(scene, capture=replace(scene.capture, blur_px=blur_px, veil=0.0,
                                          noise_grain_px=0.0, read_noise=0.01, shot_noise=0.02))


@pytest.mark.parametrize("blur_px", [0.5, 1.5, 3.0])
@pytest.mark.parametrize("seed", [3, 8])
def test_the_sum_is_that_of_a_matched_filter(blur_px, seed):
    """The best linear detector's ratio is sqrt(sum of squares of the signal) / noise
    (D. O. North, An Analysis of the Factors which Determine Signal/Noise Discrimination,
    1943, reprinted in Proc. IEEE 51 (1963) 1016; from memory)."""
    scene = scene_with(blur_px, seed)
    room, ink, c = scene.room, scene.print, scene.capture
    behind = room.panel.rgb if room.panel is not None else room.wall_rgb
    light = _USUAL_LIGHT * c.exposure
    ground, dark = np.dot(_LUMA, behind), np.dot(_LUMA, ink.ink_rgb)
    px_per_mm = view_of(scene).focal_px / scene.camera.distance_mm
    fine = 8  # the mark's edges fall between pixels
    height, width = (int(round(v * px_per_mm * fine)) for v in (ink.stroke_mm, ink.short_mm))
    signal = np.zeros((height + 40 * fine, width + 40 * fine))
    signal[20 * fine:-20 * fine, 20 * fine:-20 * fine] = abs(ground - dark) * ink.opacity * light
    signal = gaussian_filter(signal, blur_px * fine)
    noise = np.sqrt(c.read_noise**2 + c.shot_noise**2 * light * ground)
    detector = np.sqrt((signal**2).sum()) / fine / noise
    assert mark_visibility(scene) == pytest.approx(detector, rel=0.2)


def test_what_nobody_can_see_is_not_called_readable():
    for seed in range(12):
        scene = sample_scene(np.random.default_rng(seed), "hard", width=900, height=1200)
        assert mark_visibility(scene) >= ROSE_LIMIT
        assert mark_visibility(replace(scene, capture=replace(
            scene.capture, read_noise=0.5))) < mark_visibility(scene)
