"""The path tracer's own parts, where Mitsuba is installed."""

from __future__ import annotations

import numpy as np
import pytest

mi = pytest.importorskip("mitsuba")  # of the extra for teaching


@pytest.mark.parametrize("g", [0.001, 0.5, 0.9])
def test_light_is_scattered_with_its_mean_cosine(g):
    """The mean cosine of Henyey and Greenstein's law is its parameter (Astrophys J
    1941;93:70-83)."""
    if mi.variant() is None:
        mi.set_variant("llvm_ad_rgb")
    from vision.training.traced.light import _scattered

    lots = np.random.default_rng(3).random((2, 100_000)).astype(np.float32)
    out = np.array(_scattered(mi.Vector3f(0.0, 0.6, 0.8), mi.Float(g), mi.Point2f(lots)))
    assert out.shape == (3, 100_000)
    np.testing.assert_allclose(np.linalg.norm(out, axis=0), 1.0, atol=1e-4)
    assert (out.T @ [0.0, 0.6, 0.8]).mean() == pytest.approx(g, abs=0.01)
