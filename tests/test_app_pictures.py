"""Screen copies: small, free of camera data, and with an exact way back."""

import io

import numpy as np
import pytest
from PIL import Image

from app.ui.pictures import LONGEST_PX, close_up_box, screen_copy, surface_box, to_photo, with_cross
from vision.reading import Trace, VolumeReading

RNG = np.random.default_rng(20260307)


def reading_with(points):
    return VolumeReading("read", "mL", 1.0, "quay-60", traces=(Trace("surface", points),))


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


def test_the_close_up_holds_everything_traced_and_stays_inside():
    points = np.array([[100.0, 5.0], [300.0, 890.0]])
    left, top, right, bottom = close_up_box(reading_with(points), 640, 900)
    assert 0 <= left < 100 and 300 < right <= 640
    assert top == 0 and bottom == 900


def test_the_cross_shows_the_place_and_leaves_it_free():
    plain = np.full((300, 240, 3), 90, np.uint8)
    drawn = with_cross(plain, (100.0, 150.0))
    assert (drawn[147:154, 97:104] == 90).all()
    assert (drawn[150, 115] == 0).all() and (drawn[165, 100] == 0).all()
    assert (plain == 90).all()


@pytest.mark.parametrize("corner", [(0.0, 0.0), (239.0, 0.0), (0.0, 299.0), (239.0, 299.0)])
def test_a_cross_at_the_edge_stays_in_the_picture(corner):
    assert with_cross(np.zeros((300, 240, 3), np.uint8), corner).shape == (300, 240, 3)


def test_the_nearest_view_is_around_the_reading_line():
    points = np.array([[200.0, 100.0], [300.0, 900.0]])
    near = VolumeReading("read", "mL", 1.0, "quay-60", surface_px=(250.0, 700.0),
                         traces=(Trace("axis", points),))
    left, top, right, bottom = surface_box(near, 640, 1000)
    assert top < 700 < bottom and bottom - top < 400
    half = surface_box(near, 320, 500, reduced=2)
    assert np.allclose(np.multiply(half, 2), (left, top, right, bottom), atol=14)


def test_without_traces_there_is_no_close_up():
    assert close_up_box(VolumeReading("refused", "mL", 1.0, "quay-60"), 640, 900) is None
