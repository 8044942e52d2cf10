"""Head-of-bed geometry against drawings done by hand."""

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from vision.errors import InputError
from vision.hydrostatics.torso import head_of_bed_change, landmark_height_cm


@pytest.mark.parametrize("angle_deg, along_cm, above_cm, height_cm", [
    (0, 60, 10, 10.0),        # lying flat: only the height off the mattress
    (30, 60, 0, 30.0),        # sin 30 = 1/2
    (90, 60, 10, 60.0),       # upright: the whole length
    (45, 60, 10, 49.497),     # 70 / sqrt 2
])
def test_height_by_hand(angle_deg, along_cm, above_cm, height_cm):
    assert landmark_height_cm(angle_deg, along_cm, above_cm) == pytest.approx(height_cm, abs=1e-3)


@pytest.mark.parametrize("angle_deg", [-10, 0, 17, 45, 80])
def test_height_against_a_rotation_matrix(angle_deg):
    point = Rotation.from_euler("y", -angle_deg, degrees=True).apply([55.0, 0.0, 12.0])
    assert landmark_height_cm(angle_deg, 55, 12) == pytest.approx(point[2])


def test_raising_the_head_lowers_the_threshold():
    change = head_of_bed_change(0, 30, 60, 12)
    assert change.landmark_rise_cm == pytest.approx(30 + 12 * (math.cos(math.radians(30)) - 1))
    assert change.threshold_change_cm_h2o == pytest.approx(-change.landmark_rise_cm, rel=1e-3)
    assert "drains more" in change.sentence and "Close the drain" in change.sentence
    assert "drains less" in head_of_bed_change(30, 0, 60, 12).sentence


def test_there_and_back_cancels_and_a_lift_adds():
    there, back = head_of_bed_change(10, 40, 60, 12), head_of_bed_change(40, 10, 60, 12)
    assert there.landmark_rise_cm == pytest.approx(-back.landmark_rise_cm)
    assert head_of_bed_change(20, 20, 60, 12, bed_raised_cm=7).landmark_rise_cm == 7


def test_interval_against_a_monte_carlo():
    rng = np.random.default_rng(77)
    n = 200_000
    a, b = (np.radians(rng.normal(x, 2.0, n)) for x in (0, 30))
    along, above = rng.normal(60, 2, n), rng.normal(12, 2, n)
    rise = along * (np.sin(b) - np.sin(a)) + above * (np.cos(b) - np.cos(a))
    change = head_of_bed_change(0, 30, 60, 12)
    assert change.interval_cm == pytest.approx(np.percentile(rise, [2.5, 97.5]), abs=0.1)


@pytest.mark.parametrize("numbers", [(0, 120, 60, 10), (0, 30, -5, 10), (0, 30, 60, 99),
                                     (math.nan, 30, 60, 10)])
def test_impossible_numbers_are_refused(numbers):
    with pytest.raises(InputError, match="check the number"):
        head_of_bed_change(*numbers)
