"""Strokes: thin dark lines are found where they are drawn, and nothing else is."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import cv2
import numpy as np
import pytest
from drawn_ladders import paper, stroke
from hypothesis import given, settings
from hypothesis import strategies as st

from vision.graduations import ridges
from vision.graduations.ridges import find_strokes, ridge_response

#: A clean drawn stroke must be placed to a tenth of the thinnest line drawn here.
PLACE_PX = 0.16
#: Smoothing by 1.3 px lengthens a stroke by about one such width at each end.
LENGTHENED_PX = 5.0


class TestNothingThere:
    @pytest.mark.parametrize("level", [0.0, 128.0, 255.0])
    def test_blank(self, level):
        assert len(find_strokes(paper(level=level), 1.3)) == 0

    def test_a_plain_step_is_no_stroke(self):
        picture = paper()
        picture[300:] = 60.0
        assert len(find_strokes(picture, 1.3)) == 0

    def test_a_smooth_slope_is_no_stroke(self):
        assert len(find_strokes(np.tile(np.linspace(0, 255, 600, dtype=np.float32)[:, None],
                                        (1, 300)), 1.3)) == 0

    def test_noise_gives_hardly_any(self):
        rng = np.random.default_rng(11)
        picture = paper() + rng.normal(0, 12, (600, 300)).astype(np.float32)
        assert len(find_strokes(picture, 1.3)) <= 3

    def test_an_upright_line_is_left_out(self):
        picture = paper()
        picture[50:500, 100:103] = 40.0
        assert len(find_strokes(picture, 1.3)) == 0


class TestPlace:
    @settings(max_examples=40, deadline=None)
    @given(y=st.floats(60, 120), x=st.floats(30, 60), length=st.floats(15, 120),
           slope=st.floats(-0.3, 0.3), thick=st.floats(1.6, 3.5))
    def test_a_single_stroke(self, y, x, length, slope, thick):
        picture = paper(200, 220)
        stroke(picture, x, x + length, y, slope=slope, thick=thick)
        found = find_strokes(picture, 1.3)
        assert len(found) == 1
        # The centre weighs columns by their response.  Along a stroke that is all but level,
        # that response runs once through the places a line may have among the pixels; if it
        # changes by a share c from end to end, the centre moves along by c / 12 of the length.
        cx, cy = found.centre_px[0]
        assert cy - slope * (cx - (x + length / 2)) == pytest.approx(y, abs=PLACE_PX)
        assert cx == pytest.approx(x + length / 2, abs=0.6 + 0.25 / 12 * length)
        assert found.length_px[0] == pytest.approx(np.hypot(length, slope * length),
                                                   abs=LENGTHENED_PX)
        (x0, y0), (x1, y1) = found.left_px[0], found.right_px[0]
        assert x0 < x1
        assert (y1 - y0) / (x1 - x0) == pytest.approx(slope, abs=2.0 / length)

    def test_a_ladder_gives_one_stroke_a_mark(self):
        picture = paper()
        places = np.linspace(40.3, 560.8, 41)
        for y in places:
            stroke(picture, 120, 150, float(y))
        found = find_strokes(picture, 1.3)
        assert np.sort(found.centre_px[:, 1]) == pytest.approx(places, abs=PLACE_PX)

    def test_faint_print_in_a_dark_picture(self):
        picture = paper(level=30.0)
        stroke(picture, 60, 110, 200.0, ink=20.0)
        assert len(find_strokes(picture, 1.3)) == 1

    def test_too_short_or_too_steep(self):
        picture = paper()
        stroke(picture, 60, 61.5, 100.0)
        stroke(picture, 60, 120, 300.0, slope=1.4)
        assert len(find_strokes(picture, 1.3)) == 0
        assert len(find_strokes(picture, 1.3, max_slope=2.0)) == 1

    def test_take_keeps_rows_together(self):
        picture = paper()
        stroke(picture, 40, 80, 100.0)
        stroke(picture, 40, 140, 200.0)
        found = find_strokes(picture, 1.3)
        one = found.take(np.array([1]))
        assert len(one) == 1
        assert one.centre_px[0] == pytest.approx(found.centre_px[1])
        assert one.length_px[0] == found.length_px[1]


def test_response_of_a_line_by_hand():
    # A line much thicker than the smoothing keeps its full depth in its middle; a
    # step gives exactly nothing because the smaller of both differences counts.
    picture = np.full((100, 20), 200.0, np.float32)
    picture[50] = 100.0
    r = ridge_response(picture, 1.0)
    # Gaussian of sigma 1 sampled at whole pixels: 0.3989 at 0, 0.0540 at 2 (d = 2).
    assert r[50, 10] == pytest.approx(100 * (0.3989 - 0.0540), rel=0.03)
    assert abs(r[20, 10]) < 1e-3


class TestFaint:
    def picture(self) -> tuple[np.ndarray, np.ndarray]:
        """Twelve strokes so faint that the grain breaks them, and where they are."""
        at = np.arange(40.0, 280.0, 20.0)
        picture = paper(300, 260, level=120.0)
        for y in at:
            stroke(picture, 60, 200, y, thick=2.4)
        drawn = 120.0 - picture
        rng = np.random.default_rng(5)
        return 120.0 - 0.3 * drawn + rng.normal(0, 6.0, picture.shape).astype(np.float32), at

    def whole(self, faint: bool) -> int:
        picture, at = self.picture()
        found = find_strokes(picture, 2.0, faint=faint)
        long = found.length_px > 90
        return sum(bool((np.abs(found.centre_px[long, 1] - y) < 3).any()) for y in at)

    def test_broken_strokes_are_mended(self):
        assert self.whole(False) < 3 and self.whole(True) > 9

    def test_grain_alone_stays_grain(self):
        rng = np.random.default_rng(11)
        picture = paper() + rng.normal(0, 12, (600, 300)).astype(np.float32)
        found = find_strokes(picture, 2.0, faint=True)
        assert (found.length_px > 60).sum() == 0


def test_an_even_picture_is_not_searched(monkeypatch):
    """A black photo of 50 megapixels cost as much as one full of marks."""
    monkeypatch.setattr(ridges, "_proportioned_response", lambda *_: pytest.fail("searched"))
    assert len(find_strokes(np.full((60, 80), 3.0, np.float32), 1.3)) == 0


@pytest.mark.parametrize("smear_px, faint", [(0, False), (9, False), (0, True)])
def test_components_are_those_of_opencvs_own_figures(monkeypatch, smear_px, faint):
    """Boxes and areas of cv2.connectedComponentsWithStats; middles weighed by hand."""
    rng = np.random.default_rng(8)
    picture = paper()
    for y in range(40, 560, 26):
        stroke(picture, 60 + y / 20, 180 + y / 20, y, slope=0.03)
    picture += rng.normal(0, 8.0, picture.shape).astype(np.float32)
    masks, ours = [], cv2.connectedComponents

    def components(mask, labels, connectivity):
        masks.append(mask.copy())
        return ours(mask, labels, connectivity=connectivity)

    monkeypatch.setattr(ridges.cv2, "connectedComponents", components)
    found = find_strokes(picture, 1.3, smear_px=smear_px, faint=faint, max_slope=99.0)
    _, labels, boxes, _ = cv2.connectedComponentsWithStats(masks[0], connectivity=8)
    response = ridges._proportioned_response(picture, 1.3, smear_px)
    long = [k for k in range(1, len(boxes))
            if boxes[k, 2] >= 7 and boxes[k, 4] < 0.5 * boxes[k, 2]**2]
    expected = {}
    for k in long:
        y, x = np.nonzero(labels == k)
        weight = response[y, x].astype(float)
        ends = boxes[k, 0], boxes[k, 0] + boxes[k, 2] - 1
        expected[round((x * weight).sum() / weight.sum(), 3), ends] = k
    seen = [(round(c, 3), (left, right)) for c, left, right in zip(
        found.centre_px[:, 0], found.left_px[:, 0], found.right_px[:, 0], strict=True)]
    assert len(seen) > 15 and set(seen) <= expected.keys()
    assert faint or len(seen) == len(long)


def by_whole_picture(picture: np.ndarray, sigma_px: float, smear_px: int) -> np.ndarray:
    """The response as it is defined, from whole arrays, without strips and without room kept."""
    small = cv2.resize(picture, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    around = cv2.resize(cv2.blur(small, (5, 5)), picture.shape[::-1],
                        interpolation=cv2.INTER_LINEAR)
    smooth = cv2.GaussianBlur(cv2.blur(picture, (smear_px, 1)) if smear_px else picture,
                              (0, 0), sigma_px)
    d = max(1, round(1.7 * sigma_px))
    ridge = np.zeros_like(smooth)
    ridge[d:-d] = np.minimum(smooth[:-2 * d], smooth[2 * d:]) - smooth[d:-d]
    return ridge * (140.0 / (around + ridges.DARKEST_LEVEL))


@pytest.mark.parametrize("sigma_px, smear_px", [(1.2, 0), (2.0, 0), (1.3, 9), (1.6, 13)])
def test_strips_and_kept_room_leave_no_trace(sigma_px, smear_px):
    """Pictures of several sizes one after the other, with strips that do not fill them."""
    rng = np.random.default_rng(5)
    for shape in ((700, 600), (60, 80), (1300, 333), (5, 40), (700, 600)):
        picture = rng.uniform(0, 255, shape).astype(np.float32)
        found = ridges._proportioned_response(picture, sigma_px, smear_px)
        if shape[0] > 2 * max(1, round(1.7 * sigma_px)):
            np.testing.assert_array_equal(found, by_whole_picture(picture, sigma_px, smear_px))
        else:
            assert not found.any()


def test_two_threads_look_at_once():
    pictures = [paper() for _ in range(2)]
    for k, picture in enumerate(pictures):
        for y in range(40, 560, 26 + 10 * k):
            stroke(picture, 60, 180, y)
    alone = [find_strokes(p, 1.3) for p in pictures]
    with ThreadPoolExecutor(2) as pool:
        looks = pool.map(lambda k: find_strokes(pictures[k % 2], 1.3), range(40))
        for k, found in enumerate(looks):
            np.testing.assert_array_equal(found.centre_px, alone[k % 2].centre_px)


@pytest.mark.parametrize("few", [0.0, 2.0], ids=["opencv's", "from stretches"])
def test_components_are_those_of_opencv_in_its_order(monkeypatch, few):
    monkeypatch.setattr(ridges, "_FEW", few)
    rng = np.random.default_rng(3)
    for share in (0.02, 0.2, 0.5):
        for _ in range(40):
            mask = (rng.random(rng.integers(1, 50, 2)) < share).astype(np.uint8)
            mask[0, 0] = 1
            mask = np.asarray(cv2.dilate(mask, np.ones((1, rng.integers(1, 7)), np.uint8)))
            y, x, part, count = ridges._components(mask)
            _, labels = cv2.connectedComponents(mask, connectivity=8)
            assert np.array_equal((y, x), np.nonzero(mask))
            assert np.array_equal(np.unique(part, return_inverse=True)[1], labels[y, x] - 1)
            assert part.max() < count


@pytest.mark.parametrize("grain, quiet", [(1.0, True), (12.0, False)])
def test_grain_is_told_from_some_rows(grain, quiet):
    rng = np.random.default_rng(5)
    picture = paper() + rng.normal(0, grain, (600, 300)).astype(np.float32)
    stroke(picture, 80, 120, 200.0)
    assert ridges.is_quiet(picture, 1.5) is quiet
    if quiet:  # then a part of it shows the strokes that the whole of it does
        part, whole = find_strokes(picture[:, 60:160], 1.5, quiet=True), find_strokes(picture, 1.5)
        assert part.centre_px + [60, 0] == pytest.approx(whole.centre_px, abs=1e-3)
