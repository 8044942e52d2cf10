"""The scale: values and heights fit together, marks are what the file says."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vision.errors import ScaleFileError
from vision.scale_file.scale import Scale, load_scale, parse_scale, parse_scale_text, shipped_scales
from vision.scale_file.units import OTHER, PRESSURE, VOLUME_ML, suggested_unit, unit_kind

SHARED = Path(__file__).resolve().parents[3] / "shared" / "scales"
ROUND_TRIP = 1e-9
"""Relative to the range: only floating-point rounding may be left."""

CONTRACT_EXAMPLE = """
{ "name": "quay-60", "unit": "mL", "direction": "up",
  "inner_diameter_mm": 30.0, "wall_mm": 1.5, "capacity": 60,
  "height_mm": [[0, 0.0], [60, 84.883]],
  "marks": [ {"from": 0, "to": 60, "step": 1, "length": "short"},
             {"from": 0, "to": 60, "step": 5, "length": "long", "label": true} ] }
"""


def tube(diameter_mm: float, capacity_ml: float, step_ml: float, **more: object) -> Scale:
    """A straight tube graduated from 0 to its capacity."""
    height = capacity_ml * 1000 / (math.pi / 4 * diameter_mm**2)
    return parse_scale({
        "name": "tube", "unit": "mL", "inner_diameter_mm": diameter_mm, "capacity": capacity_ml,
        "height_mm": [[0, 0], [capacity_ml, height]],
        "marks": [{"from": 0, "to": capacity_ml, "step": step_ml, "length": "short"}], **more})


@st.composite
def scales(draw: st.DrawFn) -> Scale:
    """Scales of any kind: stepped bores, either direction, any harmless unit."""
    count = draw(st.integers(2, 8))
    steps = draw(st.lists(st.floats(0.5, 50), min_size=count, max_size=count))
    rises = draw(st.lists(st.floats(1.0, 60), min_size=count, max_size=count))
    down = draw(st.booleans())
    values = [0.0, *np.cumsum(steps).tolist()]
    heights = np.array([0.0, *np.cumsum(rises).tolist()]) + draw(st.floats(-500, 500))
    capacity = values[-1]
    return parse_scale({
        "name": "drawn", "unit": draw(st.sampled_from(["Cel", "cm[H2O]", "mm", "%"])),
        "direction": "down" if down else "up", "capacity": capacity,
        "height_mm": [[v, -h if down else h] for v, h in zip(values, heights, strict=True)],
        "marks": [{"from": 0, "to": capacity, "step": capacity / draw(st.integers(1, 15)),
                   "length": "long"}],
    })


# --- values and heights

@settings(deadline=None, derandomize=True)
@given(scale=scales(), share=st.floats(-0.5, 1.5))
def test_a_value_comes_back_from_its_height(scale: Scale, share: float) -> None:
    value = share * scale.capacity
    back = scale.value_at(scale.height_mm(value))
    assert back == pytest.approx(value, abs=ROUND_TRIP * max(1.0, scale.capacity) * 1000)


@pytest.mark.slow
@settings(deadline=None, derandomize=True)
@given(scale=scales())
def test_heights_run_one_way_and_arrays_agree_with_numbers(scale: Scale) -> None:
    values = np.linspace(-0.2, 1.2, 29) * scale.capacity
    heights = scale.height_mm(values)
    sign = 1 if scale.direction == "up" else -1
    assert (np.diff(heights) * sign > 0).all()
    assert [scale.height_mm(float(v)) for v in values] == pytest.approx(heights.tolist())
    assert scale.value_at(heights) == pytest.approx(values, abs=1e-6 * scale.capacity)


@settings(deadline=None, derandomize=True)
@given(scale=scales())
def test_marks_are_sorted_and_stand_at_their_heights(scale: Scale) -> None:
    values = [m.value for m in scale.marks]
    assert values == sorted(set(values))
    for mark in scale.marks:
        assert mark.height_mm == pytest.approx(scale.height_mm(mark.value))
    assert scale.lowest_mark.value == values[0] and scale.highest_mark.value == values[-1]


def test_a_stepped_bore_keeps_each_piece() -> None:
    scale = load_scale("slate-50")
    for value, height in scale.height_knots:
        assert scale.height_mm(value) == pytest.approx(height)
    assert scale.inner_radius_mm(5) == 10.0
    assert scale.inner_radius_mm(40) == 15.5
    assert scale.outer_radius_mm == pytest.approx(15.5 + 1.6)


# --- outside checks

def test_a_division_of_a_100_ml_cylinder_is_as_high_as_the_standard_makes_it() -> None:
    """ASTM E1272-02 (2012), Table 1: a 100 mL glass cylinder has a bore of at most 29.6 mm and
    divisions of 1.0 mL.  Geometry then gives 1.45 mm per division; 10 mL: 0.2 mL in 15.2 mm
    gives 1.1 mm; 500 mL: 5 mL in 50.8 mm gives 2.5 mm."""
    for bore, capacity, division, height in ((29.6, 100, 1.0, 1.45), (15.2, 10, 0.2, 1.1),
                                             (50.8, 500, 5.0, 2.5)):
        scale = tube(bore, capacity, division)
        found = scale.height_mm(division) - scale.height_mm(0.0)
        assert found == pytest.approx(height, abs=0.05)
        assert scale.division_at(capacity / 2) == pytest.approx(division)


@pytest.mark.parametrize("name", ["quay-60", "heron-100"])
def test_a_straight_shipped_chamber_holds_what_its_marks_say(name: str) -> None:
    """Volume of a cylinder, pi/4 d^2 h, from the file's own bore and heights."""
    scale = load_scale(name)
    (low, at_low), (high, at_high) = scale.height_knots[0], scale.height_knots[-1]
    held_ml = math.pi * scale.inner_radius_mm(low) ** 2 * (at_high - at_low) / 1000
    assert held_ml == pytest.approx(high - low, rel=1e-3)


@pytest.mark.skipif(not SHARED.is_dir(), reason="no folder shared/scales beside the checkout")
def test_scale_files_made_elsewhere_are_understood() -> None:
    there = {path.stem: load_scale(path) for path in sorted(SHARED.glob("*.json"))}
    both = there.keys() & shipped_scales().keys()
    assert {"quay-60", "heron-100", "slate-50"} <= both
    assert all(there[name] == load_scale(name) for name in both)


# --- marks

def test_the_example_of_the_contract() -> None:
    scale = parse_scale_text(CONTRACT_EXAMPLE)
    assert (scale.name, scale.unit, scale.capacity) == ("quay-60", "mL", 60)
    assert len(scale.marks) == 61
    assert [m.value for m in scale.marks if m.label] == list(range(0, 61, 5))
    assert all((m.length == "long") == (m.value % 5 == 0) for m in scale.marks)
    assert scale.marks[25].text == "25"
    assert scale == load_scale("quay-60")


def test_later_runs_override_earlier_ones() -> None:
    first = {"from": 0, "to": 10, "step": 1, "length": "long", "label": True}
    then = {"from": 0, "to": 10, "step": 2, "length": "short"}
    scale = tube(20, 10, 1, marks=[first, then])
    assert [(m.length, m.label) for m in scale.marks[:3]] == [
        ("short", False), ("long", True), ("short", False)]


def test_fine_steps_meet_their_numbers_exactly() -> None:
    scale = tube(15.2, 10, 0.1)
    assert [m.value for m in scale.marks] == [round(k * 0.1, 9) for k in range(101)]
    assert scale.marks[3].text == "0.3"


def test_the_division_follows_the_marks_around_a_value() -> None:
    scale = load_scale("slate-50")
    assert scale.division_at(4.2) == 0.5
    assert scale.division_at(30.0) == 1.0
    assert scale.division_at(-5) == 0.5 and scale.division_at(99) == 1.0
    assert scale.division_at(11.0) <= 1.0, "in the gap without marks the finer neighbour counts"


def test_a_burette_counts_downward() -> None:
    scale = parse_scale({
        "name": "burette", "unit": "mL", "direction": "down", "inner_diameter_mm": 10.9,
        "capacity": 50, "height_mm": [[0, 535.8], [50, 0.0]],
        "marks": [{"from": 0, "to": 50, "step": 0.1, "length": "short"},
                  {"from": 0, "to": 50, "step": 1, "length": "long", "label": True}]})
    assert scale.height_mm(0.0) > scale.height_mm(50.0)
    assert scale.value_at(scale.height_mm(12.34)) == pytest.approx(12.34)


# --- units and files

def test_units_and_what_they_ask_for() -> None:
    assert {unit_kind(u) for u in VOLUME_ML} == {"volume"}
    assert {unit_kind(u) for u in PRESSURE} == {"pressure"}
    assert {unit_kind(u) for u in OTHER} == {"other"}
    assert suggested_unit("mmHg") == "mm[Hg]" and suggested_unit("CMH2O") == "cm[H2O]"
    assert suggested_unit("furlong") is None
    for unit in ("cL", "L"):
        factor = VOLUME_ML[unit]
        scale = parse_scale({
            "name": "other", "unit": unit, "inner_diameter_mm": 30.0, "capacity": 60 / factor,
            "height_mm": [[0, 0], [60 / factor, 84.883]],
            "marks": [{"from": 0, "to": 60 / factor, "step": 5 / factor, "length": "long"}]})
        assert scale.unit == unit and not scale.flat


def test_a_thermometer_may_be_described_too() -> None:
    scale = parse_scale({
        "name": "thermometer", "unit": "Cel", "capacity": 50,
        "height_mm": [[-10, 0], [50, 120]],
        "marks": [{"from": -10, "to": 50, "step": 1, "length": "short"}]})
    assert scale.flat and scale.lowest_mark.value == -10


def test_shipped_scales_are_good_and_named_like_their_files() -> None:
    assert {"quay-60", "heron-100", "slate-50"} <= set(shipped_scales())
    for name in shipped_scales():
        assert load_scale(name).name == name


@pytest.mark.slow
@settings(deadline=None, derandomize=True, max_examples=300)
@given(content=st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3)
    | st.dictionaries(st.sampled_from(["name", "unit", "marks", "height_mm", "capacity", "from"]),
                      inner, max_size=4), max_leaves=12))
def test_any_json_is_a_scale_or_a_refusal(content: object) -> None:
    try:
        parse_scale(content)
    except ScaleFileError as error:
        assert str(error).endswith(".")


@pytest.mark.slow
@settings(deadline=None, derandomize=True, max_examples=300)
@given(field=st.sampled_from(sorted(json.loads(CONTRACT_EXAMPLE))),
       value=st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5)
       | st.lists(st.floats() | st.lists(st.floats(), max_size=2), max_size=3))
def test_any_single_wrong_field_is_taken_well_or_refused(field: str, value: object) -> None:
    content = json.loads(CONTRACT_EXAMPLE)
    content[field] = value
    try:
        scale = parse_scale(content)
    except ScaleFileError as error:
        assert str(error).endswith(".")
    else:
        assert all(math.isfinite(m.height_mm) for m in scale.marks)


class TestContradiction:
    """Heights and bore are two ways to tell one volume: V = pi/4 d^2 h."""

    @staticmethod
    def content(bore_mm: float, **more: object) -> dict[str, object]:
        # 60 mL over 84.883 mm asks for a bore of 30.000 mm
        return {"name": "q", "unit": "mL", "inner_diameter_mm": bore_mm, "wall_mm": 1.5,
                "capacity": 60, "height_mm": [[0, 0.0], [60, 84.883]],
                "marks": [{"from": 0, "to": 60, "step": 1, "length": "short"}], **more}

    @pytest.mark.parametrize(("bore_mm", "fits"), [
        (30.0, True), (30.8, True), (29.3, True), (31.1, False), (28.9, False)])
    def test_a_bore_that_the_heights_do_not_ask_for(self, bore_mm, fits):
        if fits:
            assert parse_scale(self.content(bore_mm)).inner_radius_mm(20.0) == bore_mm / 2
        else:
            with pytest.raises(ScaleFileError, match="between 0 and 60 .* bore of 30.0"):
                parse_scale(self.content(bore_mm))

    def test_the_stretch_is_named(self):
        path = SHARED / "contradictory" / "sluice-40.json"
        if not path.exists():
            pytest.skip("no shared scale files here")
        with pytest.raises(ScaleFileError, match="bore of 23.0 mm, but .* 26.0 mm"):
            load_scale(path)

    @pytest.mark.parametrize("name", ["colour", "inner_diametre_mm", "Tolerance", "notes"])
    def test_a_field_that_the_format_does_not_know(self, name):
        with pytest.raises(ScaleFileError, match=name):
            parse_scale(self.content(30.0, **{name: 1.0}))

    def test_an_outside_that_follows_its_steps(self):
        scale = parse_scale(self.content(30.0, outer_diameter_mm=[[0, 33.0], [60, 35.0]]))
        assert scale.outer_radius_mm == 17.5
        assert scale.wall_at_mm(0.0) == pytest.approx(1.5)
        assert scale.wall_at_mm(60.0) == pytest.approx(2.5)
        assert parse_scale(self.content(30.0)).wall_at_mm(7.0) == pytest.approx(1.5)
        with pytest.raises(ScaleFileError, match="outer_diameter_mm"):
            parse_scale(self.content(30.0, outer_diameter_mm=29.0))
