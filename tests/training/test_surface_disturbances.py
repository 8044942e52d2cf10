"""What is done to views while the networks are taught."""

from __future__ import annotations

import math

import numpy as np
import pytest


def test_colours_turned_about_grey_keep_how_light_a_pixel_is():
    torch = pytest.importorskip("torch")  # of the extra for teaching
    from vision.training.surface_disturbances import hue_turned

    x = torch.rand(3, 3, 4, 5, generator=torch.Generator().manual_seed(1))
    turned = hue_turned(x, torch.tensor([0.0, 2 * math.pi / 3, 1.0]))
    np.testing.assert_allclose(turned[0], x[0], atol=1e-6)
    # a third of a turn makes red green, green blue and blue red
    np.testing.assert_allclose(turned[1], x[1][[2, 0, 1]], atol=1e-6)
    np.testing.assert_allclose(turned.mean(dim=1), x.mean(dim=1), atol=1e-6)
    grey = torch.full((1, 3, 2, 2), 0.4)
    np.testing.assert_allclose(hue_turned(grey, torch.tensor([0.7])), grey, atol=1e-6)
