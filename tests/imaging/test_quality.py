"""Photo quality: known blur, noise and light must be found again."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import ndtr

from vision.flags import FLAGS
from vision.imaging.quality import PhotoQuality, measure_quality, quality_flags

BLUR_REL, BLUR_ABS_PX = 0.06, 0.08
"""Step edges, noise up to a sixtieth of the step: 6 % plus the pixel grid's share."""
BLUR_REL_NOISY = 0.12
"""Noise of a fifteenth of the step."""
NOISE_REL = 0.08
SEED = 20251125


def steps(blur_px: float, noise_sd: float = 0.0, *, low: float = 60.0, high: float = 180.0,
          size: tuple[int, int] = (300, 600), tilt_deg: float = 8.0,
          seed: int = SEED) -> np.ndarray:
    """Tilted light and dark bands 45 px wide whose edges are blurred by a Gaussian.

    Closed form: each edge is the normal distribution function, sampled at pixel
    centres, so no image filter of any library has a part in it.
    """
    y, x = np.mgrid[0:size[0], 0:size[1]].astype(float)
    t = np.deg2rad(tilt_deg)
    across = (x * np.cos(t) + y * np.sin(t)) % 90.0
    light = (ndtr((across - 22.5) / blur_px) - ndtr((across - 67.5) / blur_px))
    gray = low + (high - low) * light
    gray += np.random.default_rng(seed).normal(0.0, noise_sd, gray.shape) if noise_sd else 0.0
    return np.clip(np.rint(gray), 0, 255).astype(np.uint8)


def strokes(blur_px: float, width_px: float, pitch_px: float) -> np.ndarray:
    """Dark strokes on a light wall, like graduations."""
    y, x = np.mgrid[0:300, 0:300].astype(float)
    across = (y + 0.07 * x) % pitch_px - pitch_px / 2
    dark = sum(ndtr((across + k * pitch_px + width_px / 2) / blur_px)
               - ndtr((across + k * pitch_px - width_px / 2) / blur_px) for k in (-1, 0, 1))
    return np.rint(200 - 150 * dark).astype(np.uint8)


# --- blur

@pytest.mark.parametrize("tilt_deg", [3.0, 30.0, 45.0, 87.0])
@pytest.mark.parametrize("blur_px", [0.6, 1.0, 1.7, 2.5, 4.0, 7.0])
def test_known_blur_is_found(blur_px: float, tilt_deg: float) -> None:
    quality = measure_quality(steps(blur_px, 2.0, tilt_deg=tilt_deg))
    assert quality.blur_px == pytest.approx(blur_px, rel=BLUR_REL, abs=BLUR_ABS_PX)


@pytest.mark.parametrize("blur_px", [0.8, 1.5, 3.0, 5.0])
def test_known_blur_is_found_in_noise(blur_px: float) -> None:
    quality = measure_quality(steps(blur_px, 8.0))
    assert quality.blur_px == pytest.approx(blur_px, rel=BLUR_REL_NOISY, abs=BLUR_ABS_PX)


def test_blur_does_not_depend_on_contrast_or_type() -> None:
    strong = measure_quality(steps(1.5))
    weak = measure_quality(steps(1.5, low=110, high=150))
    as_float = measure_quality(steps(1.5).astype(np.float32))
    assert weak.blur_px == pytest.approx(strong.blur_px, rel=0.05)
    assert as_float.blur_px == strong.blur_px


@pytest.mark.parametrize("blur_px", [0.7, 1.0, 1.5, 2.0])
def test_narrow_strokes_look_at_most_twice_as_sharp_as_they_are(blur_px: float) -> None:
    """As the docstring says.  Limit of a stroke much narrower than the blur: its flank has
    exp(-1/2) sqrt(2 pi) = 1.52 times the slope of a step of the same height and blur."""
    found = measure_quality(strokes(blur_px, 3.0, 20.0)).blur_px
    assert found is not None
    assert blur_px / 2 <= found <= blur_px * 1.1


def test_the_sharper_edges_count() -> None:
    both = np.hstack([steps(1.0, size=(300, 400)), steps(6.0, size=(300, 400))])
    assert measure_quality(both).blur_px == pytest.approx(1.0, abs=0.15)


# --- noise and light

@pytest.mark.parametrize("noise_sd", [1.0, 3.0, 8.0, 20.0])
@pytest.mark.parametrize("blur_px", [0.8, 3.0])
def test_known_noise_is_found_beside_edges(noise_sd: float, blur_px: float) -> None:
    gray = steps(blur_px, low=90, high=160)
    noise = np.random.default_rng(SEED).normal(0, noise_sd, gray.shape)
    assert measure_quality(gray + noise).noise_sd == pytest.approx(noise_sd, rel=NOISE_REL)


def test_a_slope_of_light_is_not_noise() -> None:
    y, x = np.mgrid[0:200, 0:300].astype(float)
    assert measure_quality(40 + 0.3 * x + 0.002 * y**2).noise_sd < 0.05


def test_light_levels_and_clipping() -> None:
    gray = np.full((100, 100), 100, np.uint8)
    gray[:20], gray[20:30] = 255, 0
    quality = measure_quality(gray)
    assert quality.clipped_fraction == pytest.approx(0.20)
    assert (quality.dark_level, quality.median_level, quality.bright_level) == (0, 100, 255)
    assert quality.contrast == 255


# --- empty and odd

def test_a_plain_wall_has_no_blur_to_speak_of() -> None:
    assert measure_quality(np.full((100, 100), 120, np.uint8)).blur_px is None
    rng = np.random.default_rng(SEED)
    only_noise = np.clip(rng.normal(120, 10, (200, 200)), 0, 255)
    assert measure_quality(only_noise).blur_px is None


@pytest.mark.parametrize("bad", [np.zeros((8, 100)), np.zeros((50, 50, 3)), np.zeros(50)])
def test_a_patch_that_is_none_is_refused(bad: np.ndarray) -> None:
    with pytest.raises(ValueError, match="patch"):
        measure_quality(bad)


# --- flags

GOOD = PhotoQuality(blur_px=1.0, noise_sd=2.0, dark_level=30, median_level=120, bright_level=220,
                    clipped_fraction=0.0)


def changed(**fields: object) -> PhotoQuality:
    return PhotoQuality(**{**GOOD.__dict__, **fields})  # type: ignore[arg-type]


@pytest.mark.parametrize(("quality", "pitch", "names"), [
    (GOOD, 20.0, ()),
    (GOOD, None, ()),
    (changed(blur_px=6.0), 20.0, ("blurred",)),
    (changed(blur_px=6.0), 40.0, ()),
    (changed(blur_px=4.0), None, ("blurred",)),
    (changed(blur_px=None), 20.0, ("blurred",)),
    (GOOD, 5.0, ("few-pixels",)),
    (changed(dark_level=5, bright_level=50), 20.0, ("dark",)),
    (changed(clipped_fraction=0.2), 20.0, ("clipped",)),
    (changed(noise_sd=20.0), 20.0, ("noisy",)),
])
def test_flags_name_what_is_wrong(quality: PhotoQuality, pitch: float | None,
                                  names: tuple[str, ...]) -> None:
    assert quality_flags(quality, pitch) == names
    assert all(name in FLAGS for name in names)


def test_blur_that_merges_marks_is_flagged_end_to_end() -> None:
    """Marks one division apart keep exp(-2 pi^2 (s/p)^2) of their contrast (the transfer
    function of a Gaussian): at s/p = 0.35 that is 9 %, too little to count them."""
    pitch = 20.0
    assert math.exp(-2 * math.pi**2 * 0.35**2) < 0.1
    assert "blurred" in quality_flags(measure_quality(steps(0.35 * pitch)), pitch)
    assert "blurred" not in quality_flags(measure_quality(steps(0.1 * pitch)), pitch)
