"""What is assumed about the lens, and with which weights."""

import math

import numpy as np
import pytest

from vision.imaging.camera import focal_px
from vision.imaging.exif import CameraFacts
from vision.level.focal_prior import focal_guesses


def moments(facts: CameraFacts, stated: float | None = None) -> tuple[float, float, bool]:
    """Mean and standard deviation of the logarithm of the focal length, and whether known."""
    guesses, known = focal_guesses(facts, 3000, 4000, stated)
    weight = np.array([g.weight for g in guesses])
    assert weight.sum() == pytest.approx(1.0) and (weight > 0).all()
    log = np.log([g.focal_px for g in guesses])
    mean = float(weight @ log)
    return mean, math.sqrt(float(weight @ (log - mean) ** 2)), known


def test_a_known_length_keeps_its_value_and_its_doubt() -> None:
    value = focal_px(CameraFacts(26.0), 3000, 4000)
    assert value is not None
    mean, spread, known = moments(CameraFacts(26.0))
    assert known and math.exp(mean) == pytest.approx(value[0], rel=1e-9)
    assert spread == pytest.approx(value[1], rel=1e-9)
    # By hand: 26 mm on a film whose diagonal is 43.27 mm, 5000 px across the corners.
    assert value[0] == pytest.approx(26 * 5000 / 43.267, rel=1e-4)


def test_what_a_person_states_overrules_the_photo() -> None:
    assert moments(CameraFacts(26.0), 52.0)[0] - moments(CameraFacts(26.0))[0] == pytest.approx(
        math.log(2))


def test_an_unknown_length_is_far_more_doubtful_and_not_called_known() -> None:
    mean, spread, known = moments(CameraFacts())
    assert not known
    assert spread > 3 * moments(CameraFacts(26.0))[1]
    assert 24 < math.exp(mean) * 43.267 / 5000 < 36, "main cameras of phones, and longer ones"
