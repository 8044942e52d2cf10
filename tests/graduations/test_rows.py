"""Rows of strokes: counted along the row, over gaps, among clutter."""

from __future__ import annotations

import numpy as np
import pytest
from drawn_ladders import draw_ladder, even_scale, paper, projective, stroke
from hypothesis import given, settings
from hypothesis import strategies as st

from vision.graduations.ridges import Strokes, find_strokes
from vision.graduations.rows import find_chains

SCALE = even_scale()
LAST = SCALE.marks[-1].height_mm


def straight(z: np.ndarray) -> np.ndarray:
    return projective(z, 40.0, 560.0, LAST, 0.0)


def accept_by_count(picture: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Places of the longest chain's strokes from top to bottom, and their count from 0."""
    strokes = find_strokes(picture, 1.3)
    chains = find_chains(strokes)
    assert chains
    y = strokes.centre_px[chains[0].index, 1]
    return y, chains[0].count - chains[0].count[0]


def by_hand(centre: np.ndarray, length: np.ndarray) -> Strokes:
    half = np.stack([length / 2, np.zeros_like(length)], 1)
    return Strokes(centre, centre - half, centre + half, length, np.ones(len(length)))


class TestNothingThere:
    def test_no_strokes(self):
        assert find_chains(find_strokes(paper(), 1.3)) == []

    def test_five_are_not_enough(self):
        picture = paper()
        for y in range(100, 200, 20):
            stroke(picture, 100, 140, float(y))
        assert find_chains(find_strokes(picture, 1.3)) == []

    def test_scattered_strokes_make_no_long_row(self):
        rng = np.random.default_rng(5)
        n = 40
        strokes = by_hand(rng.uniform([20, 20], [280, 580], (n, 2)), rng.uniform(12, 40, n))
        assert all(len(c) < 10 for c in find_chains(strokes))


class TestCount:
    def test_a_whole_ladder(self):
        picture = paper()
        t = draw_ladder(picture, SCALE, straight)
        y, count = accept_by_count(picture)
        assert y == pytest.approx(np.sort(t), abs=0.15)
        assert count.tolist() == list(range(31))

    @settings(max_examples=25, deadline=None)
    @given(start=st.integers(4, 20), gap=st.integers(1, 4), bend=st.floats(-0.003, 0.004))
    def test_missing_marks_are_counted_over(self, start, gap, bend):
        # A bend of 0.003 per mm is roughly a sight line 25 degrees off level from 150 mm.
        picture = paper()
        hidden = range(start, start + gap)
        t = draw_ladder(picture, SCALE, lambda z: projective(z, 40, 560, LAST, bend),
                        hidden=hidden)
        y, count = accept_by_count(picture)
        expected = [k for k in range(31) if 30 - k not in hidden]
        assert count.tolist() == expected
        assert y == pytest.approx(np.sort(np.delete(t, list(hidden))), abs=0.15)

    def test_more_than_a_hand_covers_ends_the_row(self):
        picture = paper()
        draw_ladder(picture, SCALE, straight, hidden=range(10, 19))
        strokes = find_strokes(picture, 1.3)
        sizes = sorted((len(c) for c in find_chains(strokes)), reverse=True)
        assert sizes[:2] == [12, 10]

    @pytest.mark.slow
    @settings(max_examples=15, deadline=None)
    @given(seed=st.integers(0, 10_000))
    def test_clutter_changes_no_count(self, seed):
        rng = np.random.default_rng(seed)
        picture = paper(600, 420)
        t = np.sort(draw_ladder(picture, SCALE, straight, x=120))
        for _ in range(25):  # strokes beside the ladder, of all lengths
            x = rng.uniform(200, 330)
            stroke(picture, x, x + rng.uniform(10, 80), rng.uniform(20, 580),
                   slope=rng.uniform(-0.4, 0.4))
        y, count = accept_by_count(picture)
        place = np.abs(t[:, None] - y[None]).argmin(axis=0)
        on = np.abs(t[place] - y) < 1.0
        assert on.sum() >= 29
        assert len(set((place[on] - count[on]).tolist())) == 1

    def test_a_leaning_ladder(self):
        strokes = by_hand(np.array([[100 + 0.15 * y, y] for y in np.arange(40.0, 560, 17)]),
                          np.full(31, 30.0))
        chain = find_chains(strokes)[0]
        assert (np.diff(chain.count) == 1).all() and len(chain) == 31
        assert chain.pitch_px == pytest.approx(17.0, rel=0.02)

    def test_two_ladders_side_by_side_stay_apart(self):
        picture = paper(600, 500)
        draw_ladder(picture, SCALE, straight, x=60)
        draw_ladder(picture, SCALE, lambda z: straight(z) + 6, x=320)
        strokes = find_strokes(picture, 1.3)
        first, second = find_chains(strokes)[:2]
        assert len(first) == len(second) == 31
        assert not set(first.index.tolist()) & set(second.index.tolist())
        for chain in (first, second):
            assert np.ptp(strokes.left_px[chain.index, 0]) < 5

    def test_marks_nearer_than_the_least_pitch_are_no_row(self):
        strokes = by_hand(np.array([[100, 100 + 3.0 * k] for k in range(30)]), np.full(30, 30.0))
        assert all(c.pitch_px >= 5.0 for c in find_chains(strokes, min_pitch_px=5.0))
