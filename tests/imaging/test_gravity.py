"""Down as a phone says it: what is taken, and what is no direction of an upright photo."""

from __future__ import annotations

import math

import numpy as np
import pytest

from vision.errors import InputError
from vision.imaging.gravity import phone_gravity
from vision.imaging.photo import photo_from_array, with_gravity

PHOTO = photo_from_array(np.zeros((60, 80, 3), np.uint8), 26.0)


def test_only_the_direction_counts():
    g = phone_gravity((0.3, 9.6, 1.5), source="command")
    assert math.hypot(*g.down) == pytest.approx(1.0)
    assert g.down == phone_gravity((0.03, 0.96, 0.15)).down
    assert (g.sd_deg, g.source) == (0.7, "command")


@pytest.mark.parametrize("vector", [
    (0, 0, 0), (math.nan, 1, 0), (math.inf, 1, 0), (1, 2), (0, 1, 0, 0)])
def test_what_is_no_direction_is_told(vector):
    with pytest.raises(InputError, match="three numbers"):
        phone_gravity(vector)


@pytest.mark.parametrize("vector", [
    (0, -1, 0), (1, 0.2, 0), (-1, 0.1, 0.1), (0, 0.1, 1), (0, 0, -1)])
def test_a_photo_that_is_not_upright_has_no_such_gravity(vector):
    with pytest.raises(InputError, match="lower edge"):
        phone_gravity(vector)


@pytest.mark.parametrize("sd", [0.0, -1, math.nan, 40])
def test_a_doubt_that_cannot_be_is_told(sd):
    with pytest.raises(InputError, match="doubt"):
        phone_gravity((0, 1, 0), sd)


def test_each_photo_takes_its_own():
    g, h = phone_gravity((0, 1, 0.1)), phone_gravity((0, 1, -0.1))
    assert with_gravity([PHOTO], g)[0].camera.gravity is g
    assert with_gravity([PHOTO], None)[0] is PHOTO
    both = with_gravity([PHOTO, PHOTO, PHOTO], [g, None, h])
    assert [p.camera.gravity for p in both] == [g, None, h]
    assert both[0].camera.focal_35mm == 26.0
    for wrong in ([g], g):
        with pytest.raises(InputError, match="one for each photo"):
            with_gravity([PHOTO, PHOTO], wrong)
