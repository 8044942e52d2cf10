"""What stands in the documents is what is worked out now, or what was measured and kept."""

from __future__ import annotations

import re

import pytest
from figures import blocks, drawings, kept, values
from figures.blocks import ROOT

#: Figures that read photos.
SLOW = {name for name in values.MADE if name.startswith("budget-") and name != "budget-terms"}
STANDS = {path.relative_to(ROOT).as_posix(): blocks.places(path.read_text(encoding="utf-8"))
          for path in blocks.documents()}
PLACES = [(document, name, text) for document, found in STANDS.items() for name, text in found]


def wrong(places: list[tuple[str, str, str]]) -> list[str]:
    made = kept.texts()
    return [f"{document}: {name} says {text.strip()!r}; 'python docs/make.py' puts it right"
            for document, name, text in places
            if text != blocks.laid(text, values.MADE[name]() if name in values.MADE
                                   else made[name])]


@pytest.mark.slow
def test_the_figures_are_those_that_are_computed_now():
    assert wrong([place for place in PLACES if place[1] not in SLOW]) == []


@pytest.mark.slow
def test_the_figures_of_the_sample_photos_are_those_that_are_computed_now():
    assert wrong([place for place in PLACES if place[1] in SLOW]) == []


def test_a_figure_that_is_changed_by_hand_is_told():
    document, name, text = next(p for p in PLACES if p[1] == "mm-hg-in-cm")
    assert wrong([(document, name, text.replace("1.3", "1.4"))])


def test_every_figure_has_its_place_and_every_place_its_figure():
    assert {name for _, name, _ in PLACES} == {*values.MADE, *kept.texts()}


def test_no_line_of_a_text_begins_with_a_mark():
    """It would be taken for HTML up to the end of the line (CommonMark 0.31, section 4.6)."""
    for path in blocks.documents():
        for line in path.read_text(encoding="utf-8").splitlines():
            if line.lstrip().startswith("<!-- figure"):
                assert line.endswith(" -->") and line.count("<!--") == 1, (path.name, line)


@pytest.mark.parametrize("name", kept.MEASUREMENTS)
def test_what_was_measured_says_how(name):
    found = kept.kept(name)
    assert found["command"] == f"python docs/make.py --measure {name}"
    assert "seed" in found and found["count"] > 0
    assert {"python", "numpy", "opencv-python-headless"} <= found["versions"].keys()


@pytest.mark.slow
@pytest.mark.parametrize("name", kept.SAMPLED)
def test_a_sample_of_what_was_measured_tells_the_same_now(name):
    assert kept.module(name).sample(kept.kept(name)) == []


@pytest.mark.slow
def test_the_drawings_are_those_that_are_made_now():
    for make in (drawings.parallax, drawings.two_looks, drawings.level):
        for name, content in make():
            assert (ROOT / "docs" / "figures" / name).read_bytes() == content, name


@pytest.mark.slow
def test_the_drawings_of_the_budgets_are_those_that_are_made_now():
    number = r"-?[0-9]+(?:\.[0-9]+)?"
    for name, content in drawings.budgets():
        stands, made = (ROOT / "docs" / "figures" / name).read_text("utf-8"), content.decode()
        assert re.sub(number, "#", stands) == re.sub(number, "#", made), name
        # The networks' sums differ in their last digits from one kind of processor to another.
        assert [float(x) for x in re.findall(number, stands)] == pytest.approx(
            [float(x) for x in re.findall(number, made)], abs=0.5, rel=0.01), name
