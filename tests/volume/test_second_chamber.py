"""When another row of marks in the photo is a second chamber, and when only a rule."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from vision.graduations.numeral_evidence import NumeralCheck
from vision.imaging.photo import load_photo
from vision.synthetic.chamber import render_scene, scene_for
from vision.synthetic.chamber.dataset import save_photo
from vision.volume import number as stage
from vision.volume.locate import Hints
from vision.volume.read import read_volume


def check(verdict: str) -> NumeralCheck:
    return NumeralCheck(verdict, 0, 20.0, 5, True, 0, "")  # type: ignore[arg-type]


@pytest.mark.parametrize(("own", "there", "clear", "counted", "second"), [
    ("agree", "agree", False, False, True),
    ("agree", "unread", False, False, False),   # a rule on the panel has marks as well
    ("agree", "unread", True, False, False),
    ("agree", "unread", False, True, False),
    ("agree", "unread", True, True, True),      # as many marks as the scale, all in place
    ("agree", "other", False, False, True),     # its numbers are of this scale
    ("agree", "disagree", True, True, False),
    ("unread", "unread", False, False, True),   # neither has numbers: both may be it
])
def test_a_second_row_of_marks(monkeypatch, own, there, clear, counted, second):
    fit = SimpleNamespace(rival=0.95, rival_px=(5.0, 5.0), beside_px=(), picture="any", scale=None)
    monkeypatch.setattr(stage, "row_in",
                        lambda *_, near, effort: SimpleNamespace(is_clear=clear)
                        if near == (5.0, 5.0) else pytest.fail("where?"))
    monkeypatch.setattr(stage, "apart", lambda a, b: True)
    monkeypatch.setattr(stage, "places_beside", lambda fit: [])
    monkeypatch.setattr(stage, "accept_by_count", lambda row, complete: counted)
    monkeypatch.setattr(stage, "check_numerals", lambda _: check(there))
    assert stage.second_chamber(fit, check(own), Hints()) is second


@pytest.mark.slow
def test_two_chambers_are_told_where_the_numbers_move_the_first_row(tmp_path):
    """The row that is found first is moved to where its numbers have it, and then it is looked for
    another beside it: two chambers hang side by side, seen from 22 degrees below."""
    scene = scene_for(30118001, 240, size=(900, 1200))
    assert scene.notes == "two chambers"
    save_photo(render_scene(scene), tmp_path / "two.jpg", scene.camera.f35, 90)
    r = read_volume(load_photo(tmp_path / "two.jpg"), scene.scale)
    assert (r.status, r.flags[-1], r.value) == ("refused", "several-chambers", None)
