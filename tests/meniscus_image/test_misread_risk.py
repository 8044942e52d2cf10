"""Where a level is read when two lines may be its edge."""

from __future__ import annotations

import numpy as np
import pytest

from vision.meniscus_image.misread_risk import (
    LARGEST_CHANCE,
    MIRRORED_CHANCE,
    chance_of_misreading,
    largest_chance,
    least_moved_mm,
)
from vision.scale_file.scale import load_scale

SCALE = load_scale("heron-100")
LEVELS = np.arange(30.0, 49.0, 0.1)
DIVISION_MM = float(SCALE.height_mm(SCALE.value_at(34.0) + SCALE.division_at(40.0))) - 34.0


def humps(*places: tuple[float, float], sd_mm: float = 0.08) -> np.ndarray:
    """Probability of the levels: (height, share) each."""
    p = sum(share * np.exp(-0.5 * ((LEVELS - at) / sd_mm) ** 2) for at, share in places)
    return p / p.sum()


def moved(at_mm: float, p: np.ndarray, limit: float = LARGEST_CHANCE) -> float:
    return least_moved_mm(at_mm, LEVELS, p, SCALE, limit)


@pytest.mark.parametrize("share", [0.5, 0.7, 0.9])
def test_between_two_lines_less_than_two_divisions_apart(share):
    """No further towards the other line than it takes."""
    a, b = 34.0, 34.0 + 1.4 * DIVISION_MM
    p = humps((a, share), (b, 1.0 - share))
    read = moved(a, p)
    assert a + 0.35 * DIVISION_MM < read < (a + b) / 2
    at_line, at_read, nearer = chance_of_misreading(np.array([a, read, read - 0.1]), LEVELS, p,
                                                    SCALE)
    assert at_line == pytest.approx(1.0 - share, abs=0.01)
    assert at_read <= 0.2 * LARGEST_CHANCE < nearer


def test_from_either_line_as_far_as_is_needed():
    a, b = 34.0, 34.0 + 1.4 * DIVISION_MM
    p = humps((a, 0.5), (b, 0.5))
    assert moved(a, p) - a == pytest.approx(b - moved(b, p), abs=0.05)


def test_at_the_likelier_of_two_lines_far_apart():
    p = humps((34.0, 0.8), (34.0 + 2.6 * DIVISION_MM, 0.2))
    read = moved(34.0, p)
    assert abs(read - 34.0) < DIVISION_MM
    chance = chance_of_misreading(np.array([read]), LEVELS, p, SCALE)[0]
    assert chance == pytest.approx(0.2, abs=0.01)


def test_what_is_allowed_stays_where_it_is():
    p = humps((34.0, 1.0), sd_mm=0.2 * DIVISION_MM)
    assert moved(34.1, p) == pytest.approx(34.1, abs=0.02)


def test_the_chance_of_a_normal_law():
    """Against scipy's normal distribution."""
    from scipy.stats import norm

    sd = 0.6 * DIVISION_MM
    p = humps((34.5, 1.0), sd_mm=sd)
    found = chance_of_misreading(np.array([34.5]), LEVELS, p, SCALE)[0]
    assert found == pytest.approx(2.0 * norm.sf(DIVISION_MM / sd), rel=0.03)


def test_less_is_allowed_where_the_floor_is_mirrored():
    assert largest_chance(20.0, 7.0) == MIRRORED_CHANCE
    assert largest_chance(2.0, 7.0) == largest_chance(-20.0, 1.6) == LARGEST_CHANCE
