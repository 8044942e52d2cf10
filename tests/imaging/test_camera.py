"""Focal length in pixels from what the photo says."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vision.imaging.camera import FILM_DIAGONAL_MM, focal_px
from vision.imaging.exif import CameraFacts


def angle_deg(side_px: float, focal: float) -> float:
    return math.degrees(2 * math.atan(side_px / 2 / focal))


def test_a_50_mm_lens_sees_what_lens_tables_say() -> None:
    """Angles of view of a 50 mm lens on 36 mm x 24 mm: 46.8 degrees along the diagonal, 39.6
    across, 27.0 high.  Common practice, no source (printed in any lens table)."""
    found = focal_px(CameraFacts(50.0), 3600, 2400)
    assert found is not None
    focal, _ = found
    assert angle_deg(math.hypot(3600, 2400), focal) == pytest.approx(46.8, abs=0.05)
    assert angle_deg(3600, focal) == pytest.approx(39.6, abs=0.05)
    assert angle_deg(2400, focal) == pytest.approx(27.0, abs=0.05)
    assert pytest.approx(43.27, abs=0.005) == FILM_DIAGONAL_MM


def test_unknown_stays_unknown() -> None:
    assert focal_px(CameraFacts(None), 4000, 3000) is None


@settings(derandomize=True, deadline=None)
@given(f35=st.floats(13, 120), width=st.integers(500, 8000), height=st.integers(500, 8000))
def test_turning_the_phone_changes_nothing(f35: float, width: int, height: int) -> None:
    lying, standing = (focal_px(CameraFacts(f35), *size)
                       for size in ((width, height), (height, width)))
    assert lying == pytest.approx(standing)


@settings(derandomize=True, deadline=None)
@given(f35=st.floats(13, 120), k=st.sampled_from([2, 4]))
def test_the_working_picture_has_the_focal_length_in_its_own_pixels(f35: float, k: int) -> None:
    full, work = (focal_px(CameraFacts(f35), 4032 // s, 3024 // s) for s in (1, k))
    assert full is not None and work is not None
    assert full[0] == pytest.approx(work[0] * k)
    assert full[1] == pytest.approx(work[1])


@pytest.mark.parametrize("size", [(4032, 3024), (3024, 4032), (1350, 1800), (4000, 2250),
                                  (6000, 4000), (3000, 3000), (2016, 1511)])
def test_whole_pictures_have_a_focal_length(size: tuple[int, int]) -> None:
    assert focal_px(CameraFacts(26.0), *size) is not None


@pytest.mark.parametrize("size", [(1400, 1800), (2500, 3024), (700, 2400), (4032, 2800)])
def test_a_cropped_picture_has_none(size: tuple[int, int]) -> None:
    """The Exif data still tell that of the whole picture; a calibrated lens file stays."""
    assert focal_px(CameraFacts(26.0), *size) is None
    assert focal_px(CameraFacts(26.0, focal_relative_sd=0.01), *size) is not None


def test_the_doubt_is_never_small_and_grows_with_what_is_odd() -> None:
    """26 mm as a whole number alone is +-1.9 %; the two conventions differ by 4 % on 4:3."""
    plain = focal_px(CameraFacts(26.0), 4032, 3024)
    zoomed = focal_px(CameraFacts(26.0, 2.0), 4032, 3024)
    cropped = focal_px(CameraFacts(26.0), 3024, 3024)
    assert plain is not None and zoomed is not None and cropped is not None
    assert 0.05 <= plain[1] <= 0.07
    assert zoomed[1] > 0.3, "both ways to understand a zoom of 2 lie within about one sigma"
    assert plain[0] < zoomed[0] < 2 * plain[0]
    assert cropped[1] > plain[1]


def test_the_other_convention_lies_within_two_standard_uncertainties() -> None:
    for width, height in ((4032, 3024), (4000, 2250), (3000, 2000), (3024, 3024)):
        found = focal_px(CameraFacts(26.0), width, height)
        assert found is not None
        by_width = 26.0 / 36.0 * max(width, height)
        assert abs(by_width / found[0] - 1) < 2 * found[1]
