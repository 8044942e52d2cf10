"""When one more photo is offered, and where the phone is to be held."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from app.agreement import Agreement
from app.another_photo import another_photo, minutes_apart
from vision.imaging.photo import photo_from_array
from vision.reading import Agreement as Agreed
from vision.reading import PhotoReading, VolumeReading

GOOD = VolumeReading("read", "mL", 1.0, "quay-60", value=23.4, interval=(23.1, 23.7),
                     elevation_deg=2.0)


def test_a_reading_that_needs_no_other_photo_is_not_bothered_with_one():
    assert another_photo(GOOD, Agreement("agree", "")).why == ""


@pytest.mark.parametrize(("change", "verdict", "why"), [
    ({"status": "refused", "value": None, "interval": None}, "agree", "does not"),
    ({"elevation_deg": -16.0}, "agree", "steeply"),
    ({"interval": (22.8, 23.9)}, "agree", "wide"),
    ({"flags": ("surface-unlike",)}, "agree", "unlike"),
    ({}, "differ", "differ"), ({}, "second-look", "differ"),
    ({"status": "refused", "value": None, "flags": ("photos-disagree",)}, "agree", "apart")])
def test_what_is_worth_another_photo(change, verdict, why):
    assert why in another_photo(replace(GOOD, **change), Agreement(verdict, "")).why


@pytest.mark.parametrize("flag", ["wrong-scale", "several-chambers"])
def test_what_another_view_does_not_mend_is_not_sent_for_one(flag):
    refused = replace(GOOD, status="refused", value=None, interval=None, flags=(flag,))
    assert another_photo(refused).why == ""


def test_where_it_is_known_which_photo_stands_apart_no_other_is_asked_for():
    odd = replace(GOOD, status="refused", value=None, flags=("photos-disagree",),
                  agreement=Agreed(40.0, 2, 1e-8, odd=1))
    assert another_photo(odd).why == ""


@pytest.mark.parametrize(("angles", "where"), [
    ((12.0,), "from lower down"), ((-8.0,), "from higher up"),
    ((None,), "from the height of the liquid"), ((12.0, 3.0), "from lower down"),
    ((-20.0, -9.0), "from higher up"), ((12.0, -9.0), "from the height of the liquid"),
    ((12.0, None), "from lower down")])
def test_the_direction_is_away_from_where_the_photos_were_taken(angles, where):
    single = replace(GOOD, elevation_deg=angles[0])
    several = tuple(PhotoReading("", replace(GOOD, elevation_deg=a)) for a in angles)
    assert another_photo(single if len(angles) == 1 else replace(single, photos=several)
                         ).where == where


def photo(gray: int, taken_min: float | None):
    made = photo_from_array(np.full((9, 9, 3), gray, np.uint8))
    return replace(made, taken_min=taken_min)


@pytest.mark.parametrize(("own", "arrived", "apart"), [
    ((0.0, 1.0), [0.0, 60.0], None),     # the cameras' clock knows better
    ((0.0, 20.0), [0.0, 1.0], 20.0), ((None, 20.0), [0.0, 1.0], None),
    ((None, None), [3.0, 63.0], 60.0)])
def test_photos_are_apart_in_time_by_their_own_clock_or_by_when_they_came(own, arrived, apart):
    assert minutes_apart(tuple(photo(n, t) for n, t in enumerate(own)), arrived) == apart
