"""The outside of a chamber: stated, followed along its steps, or taken as one cylinder."""

from __future__ import annotations

import numpy as np
import pytest

from vision.scale_file.outline import Outline
from vision.scale_file.scale import load_scale, parse_scale


def scale(**more: object):
    """A tube that widens from 20 to 30 mm between 10 and 20 mm of height."""
    return parse_scale({
        "name": "outside", "unit": "mL", "capacity": 10, "wall_mm": 1.5,
        "inner_diameter_mm": [[0, 20.0], [3.1416, 20.0], [8.116, 30.0], [10, 30.0]],
        "height_mm": [[0, 0.0], [3.1416, 10.0], [8.116, 20.0], [10, 22.665]],
        "marks": [{"from": 0, "to": 3, "step": 0.5, "length": "short"},
                  {"from": 8.5, "to": 10, "step": 0.5, "length": "short"}], **more})


def test_outline_between_and_beyond_its_heights():
    outline = Outline((10.0, 20.0), (11.5, 16.5))
    heights, radii = [0.0, 10.0, 14.0, 20.0, 50.0], [11.5, 11.5, 13.5, 16.5, 16.5]
    assert outline.at(heights) == pytest.approx(radii)
    assert outline.widest_mm == 16.5
    assert outline.behind_mm(np.array([0.0, 50.0])) == pytest.approx([5.0, 0.0])


def test_an_outside_that_follows_the_bore():
    s = scale(outer_diameter_mm=[[0, 23.0], [3.1416, 23.0], [8.116, 33.0], [10, 33.0]])
    assert s.outline is not None and not s.outside_assumed
    assert s.outline.at([0.0, 15.0, 22.0]) == pytest.approx([11.5, 14.0, 16.5])
    assert s.wall_at_mm(1.0) == pytest.approx(1.5) and s.wall_at_mm(9.0) == pytest.approx(1.5)


def test_one_cylinder_stated_or_meant():
    stated = scale(outer_diameter_mm=33.0)
    meant = scale()
    assert stated.outline is None and meant.outline is None
    assert meant.outside_assumed and not stated.outside_assumed
    assert stated.outer_radius_mm == meant.outer_radius_mm == pytest.approx(16.5)
    assert not load_scale("quay-60").outside_assumed


def test_a_scale_that_counts_downwards():
    s = parse_scale({
        "name": "down", "unit": "mL", "capacity": 4, "wall_mm": 1.0, "direction": "down",
        "inner_diameter_mm": [[0, 30.0], [1.9, 30.0], [2.1, 20.0], [4, 20.0]],
        "outer_diameter_mm": [[0, 32.0], [1.9, 32.0], [2.1, 22.0], [4, 22.0]],
        "height_mm": [[0, 9.2], [1.9, 6.512], [2.1, 6.1], [4, 0.05]],
        "marks": [{"from": 0, "to": 1.8, "step": 0.2, "length": "short"},
                  {"from": 2.2, "to": 4, "step": 0.2, "length": "short"}]})
    assert s.outline is not None
    assert s.outline.at([9.0, 0.0]) == pytest.approx([16.0, 11.0])
