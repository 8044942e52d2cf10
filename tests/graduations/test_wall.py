"""Which samples on the unrolled wall are print."""

from __future__ import annotations

import numpy as np
import pytest

from vision.graduations.unrolled_samples import MarkSamples
from vision.graduations.wall import select_print


def test_a_bright_strip_behind_half_of_the_marks_does_not_shorten_them():
    """Ink takes a share of the light: the marks reach as far before a shade as before a strip."""
    degrees, marks = np.arange(-66.0, 66.1, 3.0), 21
    behind = np.where(degrees <= -18, 240.0, 70.0)
    ink = np.where((degrees >= -33) & (degrees <= -3), 0.55, 0.01)
    shape = (marks, len(degrees))
    samples = MarkSamples(np.radians(degrees), np.broadcast_to(ink * behind, shape),
                          np.zeros(shape), np.broadcast_to(behind, shape), np.ones(shape),
                          np.full(marks, 2.0))
    _, core, _ = select_print(samples, np.arange(marks) % 5 == 0)
    assert np.degrees(core) == pytest.approx((-33.0, -3.0))
