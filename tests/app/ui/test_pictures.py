"""Screen copies: small, free of camera data, and with an exact way back."""

import io

import numpy as np
import pytest
from PIL import Image

from app.ui.pictures import LONGEST_PX, band_around, screen_copy, to_photo, with_cross

RNG = np.random.default_rng(20260307)


@pytest.mark.slow
def test_a_large_photo_becomes_a_small_jpeg_without_camera_data():
    copy = screen_copy(RNG.integers(0, 255, (3000, 4000, 3), dtype=np.uint8))
    picture = Image.open(io.BytesIO(copy.jpeg))
    assert picture.format == "JPEG"
    assert picture.size == (copy.width, copy.height) == (LONGEST_PX, 1050)
    assert not picture.getexif()


@pytest.mark.parametrize("shown_width", [268.0, 358.0, 1400.0])
@pytest.mark.parametrize("box", [None, (1200, 300, 2200, 2500)])
def test_a_tap_comes_back_to_the_pixel_it_was_meant_for(shown_width, box):
    """Whatever width the browser gives the picture (measured: 358 px upright, 268 px turned)."""
    rgb = np.zeros((3000, 4000, 3), np.uint8)
    spot = (1700, 1100)
    rgb[spot[1] - 8: spot[1] + 9, spot[0] - 8: spot[0] + 9] = 255
    copy = screen_copy(rgb, box)
    gray = np.asarray(Image.open(io.BytesIO(copy.jpeg)).convert("L"), float)
    gray[gray < 60] = 0
    ys, xs = np.mgrid[: gray.shape[0], : gray.shape[1]]
    x, y = (xs * gray).sum() / gray.sum(), (ys * gray).sum() / gray.sum()
    ratio = shown_width / copy.width
    seen = ((x + 0.5) * ratio - 0.5, (y + 0.5) * ratio - 0.5)
    back = to_photo(seen, (shown_width, copy.height * ratio), box or (0, 0, 4000, 3000))
    assert back == pytest.approx(spot, abs=0.6)


def test_a_tap_before_the_picture_has_a_size_is_no_tap():
    assert to_photo((0, 0), (0, 0), (0, 0, 100, 100)) is None


def test_the_cross_shows_the_place_and_leaves_it_free():
    plain = np.full((300, 240, 3), 90, np.uint8)
    drawn = with_cross(plain, (100.0, 150.0))
    assert (drawn[147:154, 97:104] == 90).all()
    assert (drawn[150, 115] == 0).all() and (drawn[165, 100] == 0).all()
    assert (plain == 90).all()


@pytest.mark.parametrize("corner", [(0.0, 0.0), (239.0, 0.0), (0.0, 299.0), (239.0, 299.0)])
def test_a_cross_at_the_edge_stays_in_the_picture(corner):
    assert with_cross(np.zeros((300, 240, 3), np.uint8), corner).shape == (300, 240, 3)


@pytest.mark.parametrize("share", [0.0, 0.03, 0.5, 0.99, 1.0])
def test_the_band_around_a_height_stays_inside_and_holds_it(share):
    left, top, right, bottom = band_around(np.zeros((1400, 600, 3), np.uint8), share)
    assert (left, right, bottom - top) == (0, 600, 420)
    assert 0 <= top <= min(1399, share * 1400) <= bottom <= 1400
