"""Strokes against the scale file: the numbering by mark lengths."""

from __future__ import annotations

import numpy as np
import pytest
from drawn_ladders import draw_ladder, even_scale, paper, projective, stroke, tapered_scale
from hypothesis import given, settings
from hypothesis import strategies as st

from vision.graduations.alignment import align
from vision.graduations.ridges import Strokes, find_strokes
from vision.graduations.rows import find_chains
from vision.scale_file.scale import load_scale

SCALE = even_scale(26, long_every=5, label_every=10)  # 0 to 25: no shift looks the same
LAST = SCALE.marks[-1].height_mm


class TestNumbering:
    @pytest.mark.parametrize("bend", [0.0, 0.004, -0.003])
    def test_every_mark_gets_its_own_value(self, bend):
        picture = paper()
        t = draw_ladder(picture, SCALE, lambda z: projective(z, 50, 550, LAST, bend))
        strokes = find_strokes(picture, 1.3)
        best = align(strokes, find_chains(strokes), SCALE, 600)[0]
        assert sorted(best.mark.tolist()) == list(range(26))
        assert strokes.centre_px[best.stroke, 1] == pytest.approx(t[best.mark], abs=0.3)
        assert best.missed == best.unmatched_marks == 0

    @settings(max_examples=12, deadline=None)
    @given(seed=st.integers(0, 1000))
    def test_covered_marks_shift_nothing_while_both_ends_show(self, seed):
        rng = np.random.default_rng(seed)
        picture = paper()
        hidden = rng.choice(np.arange(2, 24), 5, replace=False)
        t = draw_ladder(picture, SCALE, lambda z: projective(z, 50, 550, LAST, 0.002),
                        hidden=hidden.tolist())
        strokes = find_strokes(picture, 1.3)
        best = align(strokes, find_chains(strokes), SCALE, 600)[0]
        assert strokes.centre_px[best.stroke, 1] == pytest.approx(t[best.mark], abs=0.5)
        assert len(best.mark) >= 18

    @pytest.mark.parametrize("bend", [0.0, 0.001, -0.001])  # the strokes are drawn all alike
    def test_short_marks_too_pale_to_be_found_do_not_change_the_others(self, bend):
        """Were the long ones taken for neighbours, most of the scale would lie outside."""
        scale = even_scale(51)
        top = scale.marks[-1].height_mm
        picture = paper()
        short = [i for i, m in enumerate(scale.marks) if m.length != "long"]
        t = draw_ladder(picture, scale, lambda z: projective(z, 50, 550, top, bend),
                        hidden=short)
        strokes = find_strokes(picture, 1.3)
        best = align(strokes, find_chains(strokes), scale, 600)[0]
        assert sorted(best.mark.tolist()) == list(range(0, 51, 5))
        assert strokes.centre_px[best.stroke, 1] == pytest.approx(t[best.mark], abs=0.3)

    @pytest.mark.parametrize("bend", [0.0, 0.001, -0.001])
    def test_a_hand_over_half_the_marks_does_not_make_a_rule_beside_it_the_scale(self, bend):
        """The rule is a whole row of strokes, but more of the scale would be off the photo."""
        scale = even_scale(61)
        top = scale.marks[-1].height_mm
        picture = paper(width=500)
        t = draw_ladder(picture, scale, lambda z: projective(z, 60, 560, top, bend), x=300.0,
                        hidden=range(15, 43))
        for k in range(22):
            stroke(picture, 100.0, 146.0 if k % 5 == 0 else 126.0, 40.0 + 14.0 * k)
        strokes = find_strokes(picture, 1.3)
        best = align(strokes, find_chains(strokes), scale, 600)[0]
        assert sorted(best.mark.tolist()) == [*range(15), *range(43, 61)]
        assert strokes.centre_px[best.stroke, 1] == pytest.approx(t[best.mark], abs=0.3)

    def test_a_row_of_a_tapered_bore_is_laid_against_all_of_its_scale(self):
        """No even part of such a scale is as long as the row, and all of them were left out."""
        scale = tapered_scale()
        top = scale.marks[-1].height_mm
        picture = paper()
        t = draw_ladder(picture, scale, lambda z: projective(z, 50, 550, top, 0.0005))
        strokes = find_strokes(picture, 1.3)
        best = align(strokes, find_chains(strokes), scale, 600)[0]
        assert sorted(best.mark.tolist()) == list(range(len(scale.marks)))
        assert strokes.centre_px[best.stroke, 1] == pytest.approx(t[best.mark], abs=0.3)

    def test_marks_missing_here_and_there_still_count_one_by_one(self):
        picture_of = {}
        for name, hidden in (("together", range(8, 14)), ("scattered", range(2, 24, 4))):
            picture = paper()
            draw_ladder(picture, SCALE, lambda z: projective(z, 50, 550, LAST, 0.0),
                        hidden=hidden)
            strokes = find_strokes(picture, 1.3)
            picture_of[name] = align(strokes, find_chains(strokes), SCALE, 600)[0]
        assert len(picture_of["together"].mark) == len(picture_of["scattered"].mark) == 20
        assert picture_of["together"].score > picture_of["scattered"].score + 3.0

    def test_a_scale_that_counts_downwards(self):
        from vision.scale_file.scale import parse_scale
        down = parse_scale({
            "name": "drawn-down", "unit": "mL", "direction": "down", "inner_diameter_mm": 30.0,
            "capacity": 25, "height_mm": [[0, 37.5], [25, 0.0]],
            "marks": [{"from": 0, "to": 25, "step": 1, "length": "short"},
                      {"from": 0, "to": 25, "step": 5, "length": "long"},
                      {"from": 3, "to": 3, "step": 1, "length": "long"}]})
        picture = paper()
        t = draw_ladder(picture, down, lambda z: projective(z, 50, 550, 37.5, 0.0))
        strokes = find_strokes(picture, 1.3)
        best = align(strokes, find_chains(strokes), down, 600)[0]
        assert strokes.centre_px[best.stroke, 1] == pytest.approx(t[best.mark], abs=0.3)
        top = best.mark[np.argmin(strokes.centre_px[best.stroke, 1])]
        assert down.marks[int(top)].value == 0

    def test_no_chain_no_alignment(self):
        strokes = find_strokes(paper(), 1.3)
        assert align(strokes, find_chains(strokes), SCALE, 600) == []


class TestTwoSpacings:
    """A stepped bore has two rows of marks; a finger leaves pieces of both."""

    @pytest.mark.parametrize("bend", [-0.003, 0.0, 0.003])
    @pytest.mark.parametrize("hidden", [(17, 36), (26, 45)])
    def test_pieces_of_both_rows_are_numbered_together(self, bend, hidden):
        scale = load_scale("slate-50")
        z = np.array([m.height_mm for m in scale.marks])
        y = projective(z, 80.0, 900.0, float(z[-1]), bend)
        shown = np.setdiff1d(np.arange(len(z)), np.arange(*hidden))
        size = np.where([m.length == "long" for m in scale.marks], 60.0, 36.0)[shown]
        left = np.column_stack([np.full(len(shown), 300.0), y[shown]])
        strokes = Strokes(left + np.column_stack([size / 2, np.zeros(len(shown))]), left,
                          left + np.column_stack([size, np.zeros(len(shown))]), size,
                          np.full(len(shown), 20.0))
        best = align(strokes, find_chains(strokes), scale, 1000)[0]
        assert len(best.mark) == len(shown)
        assert dict(zip(best.stroke.tolist(), best.mark.tolist(), strict=True)) == dict(
            enumerate(shown.tolist()))
