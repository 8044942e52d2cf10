"""Light against the standards of sRGB."""

import numpy as np
import pytest
from skimage.color import rgb2xyz

from vision.imaging.radiometry import LINEAR, LUMINANCE, luminance


def test_decoding_of_a_few_code_values() -> None:
    # IEC 61966-2-1: 0 and 1 stay, code 10 lies on the straight part (10/255/12.92), and code
    # 188 is the well-known middle grey of half the light (0.5028).
    assert LINEAR[[0, 255]].tolist() == [0.0, 1.0]
    assert LINEAR[10] == pytest.approx(10 / 255 / 12.92, rel=1e-6)
    assert LINEAR[188] == pytest.approx(0.5028, abs=5e-4)


def test_luminance_against_another_library() -> None:
    """Y of CIE XYZ by scikit-image, whose weights are those of the same primaries."""
    rgb = np.random.default_rng(3).integers(0, 256, (20, 30, 3)).astype(np.uint8)
    assert luminance(rgb) == pytest.approx(rgb2xyz(rgb)[..., 1], abs=2e-4)
    assert LUMINANCE.sum() == pytest.approx(1.0)
