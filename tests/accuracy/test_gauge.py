"""Repeatability and reproducibility against a published gauge study."""

from __future__ import annotations

import math

import numpy as np
import pytest

from vision.accuracy.gauge import gauge_study

# 10 parts, appraisers A, B, C, three trials each.  Source: Measurement Systems Analysis
# reference manual, 4th ed., AIAG, 2010, the manual's gauge study; sums of squares, F and
# components as printed for these data in several public test suites.
PARTS = np.array([
    [0.29, 0.41, 0.64, 0.08, 0.25, 0.07, 0.04, -0.11, -0.15],
    [-0.56, -0.68, -0.58, -0.47, -1.22, -0.68, -1.38, -1.13, -0.96],
    [1.34, 1.17, 1.27, 1.19, 0.94, 1.34, 0.88, 1.09, 0.67],
    [0.47, 0.50, 0.64, 0.01, 1.03, 0.20, 0.14, 0.20, 0.11],
    [-0.80, -0.92, -0.84, -0.56, -1.20, -1.28, -1.46, -1.07, -1.45],
    [0.02, -0.11, -0.21, -0.20, 0.22, 0.06, -0.29, -0.67, -0.49],
    [0.59, 0.75, 0.66, 0.47, 0.55, 0.83, 0.02, 0.01, 0.21],
    [-0.31, -0.20, -0.17, -0.63, 0.08, -0.34, -0.46, -0.56, -0.49],
    [2.26, 1.99, 2.01, 1.80, 2.12, 2.19, 1.77, 1.45, 1.87],
    [-1.36, -1.25, -1.31, -1.68, -1.62, -1.50, -1.49, -1.77, -2.16],
]).reshape(10, 3, 3)


class TestPublishedStudy:
    def test_table_of_variance(self):
        s = gauge_study(PARTS)
        assert s.image.sum_of_squares == pytest.approx(88.3619, abs=5e-5)
        assert s.reader.sum_of_squares == pytest.approx(3.1673, abs=5e-5)
        assert s.interaction.sum_of_squares == pytest.approx(0.3590, abs=5e-5)
        assert s.within.sum_of_squares == pytest.approx(2.7589, abs=5e-5)
        assert [x.degrees for x in (s.image, s.reader, s.interaction, s.within)] == [9, 2, 18, 60]
        assert s.interaction_p == pytest.approx(0.974, abs=5e-4)

    def test_components(self):
        s = gauge_study(PARTS)
        assert s.pooled
        assert s.repeatability**2 == pytest.approx(0.03997, abs=5e-6)
        assert s.reproducibility**2 == pytest.approx(0.05146, abs=5e-6)
        assert s.combined**2 == pytest.approx(0.09143, abs=5e-6)
        assert s.images**2 == pytest.approx(1.08645, abs=5e-5)
        share = s.combined / math.hypot(s.combined, s.images)
        assert 100 * share == pytest.approx(27.86, abs=0.005)

    @pytest.mark.slow
    def test_statsmodels_finds_the_same_table(self):
        api = pytest.importorskip("statsmodels.formula.api",
                                  reason="statsmodels is a development extra")
        import pandas as pd
        from statsmodels.stats.anova import anova_lm

        i, j, _ = np.indices(PARTS.shape)
        frame = pd.DataFrame({"y": PARTS.ravel(), "i": i.ravel(), "j": j.ravel()})
        theirs = anova_lm(api.ols("y ~ C(i) * C(j)", frame).fit())["sum_sq"].to_list()
        s = gauge_study(PARTS)
        ours = [x.sum_of_squares for x in (s.image, s.reader, s.interaction, s.within)]
        assert ours == pytest.approx(theirs, abs=1e-9)


def test_known_components_are_found_again():
    """60 images, 12 readers, 4 repeats made with SD 0.2 within, 0.3 between readers and
    0.15 that differs from image to image."""
    rng = np.random.default_rng(77)
    y = (rng.normal(0, 5, (60, 1, 1)) + rng.normal(0, 0.3, (1, 12, 1))
         + rng.normal(0, 0.15, (60, 12, 1)) + rng.normal(0, 0.2, (60, 12, 4)))
    s = gauge_study(y)
    assert not s.pooled
    assert s.repeatability == pytest.approx(0.2, rel=0.05)
    assert s.reproducibility == pytest.approx(math.hypot(0.3, 0.15), rel=0.35)


def test_readers_without_any_spread():
    y = np.broadcast_to(np.arange(3.0)[:, None, None], (3, 2, 2))
    s = gauge_study(y)
    assert s.repeatability == s.reproducibility == 0


@pytest.mark.parametrize("shape", [(1, 2, 2), (3, 1, 2), (3, 2, 1), (3, 2)])
def test_too_few_for_a_study(shape):
    with pytest.raises(ValueError, match="2 or more"):
        gauge_study(np.zeros(shape))
