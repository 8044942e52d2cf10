"""The page "Reading trial": blind, in random order, timed, and taken up again."""

from __future__ import annotations

import json
import shutil

import numpy as np
import pytest
from PIL import Image
from streamlit.testing.v1 import AppTest

from app.ui.trial_state import TrialState, trial_sets
from vision.accuracy.trial import read_attempts
from vision.errors import CountersightError

TRUTHS = [11.917, 24.683, 37.459]


@pytest.fixture
def trial_set(tmp_path, monkeypatch):
    monkeypatch.setenv("COUNTERSIGHT_DATA", str(tmp_path))
    folder = tmp_path / "trials" / "practice"
    folder.mkdir(parents=True)
    lines = [{"file": f"p{i}.jpg", "scale": "quay-60", "true_value": t, "expect": "read"}
             for i, t in enumerate(TRUTHS)]
    for i, line in enumerate(lines):
        pixels = np.random.default_rng(i).integers(0, 255, (200, 160, 3), dtype=np.uint8)
        Image.fromarray(pixels).save(folder / line["file"])
    (folder / "labels.jsonl").write_text("".join(json.dumps(x) + "\n" for x in lines))
    return folder


class Trial:
    """The page as a reader meets it."""

    def __init__(self):
        self.at = AppTest.from_function(_show, default_timeout=30).run()
        assert not self.at.exception, self.at.exception

    def press(self, start: str):
        next(b for b in self.at.button if b.key and b.key.startswith(start)).click()
        self.at.run()
        assert not self.at.exception, self.at.exception
        return self

    def type(self, start: str, text: str):
        next(t for t in self.at.text_input if t.key and t.key.startswith(start)).input(text)
        self.at.run()
        return self

    def words(self) -> str:
        return "\n".join(str(getattr(n, "proto", "")) for n in _leaves(self.at.main))


def _leaves(node):
    children = getattr(node, "children", None)
    if children:
        for child in children.values():
            yield from _leaves(child)
    else:
        yield node


def _show():
    from app.pages.trial import page

    page()


@pytest.mark.slow
def test_a_whole_trial_is_kept_and_the_truth_never_shown(trial_set):
    assert trial_sets(trial_set.parent) == [trial_set]
    page = Trial()
    page.type("trial-code", "R1").press("trial-begin")
    seen = []
    for value in ("12", "25,5", None):
        seen.append(page.words())
        if value is None:
            page.press("cannot-")
        else:
            page.type("value-", value).press("keep-")
    assert "all 3 pictures are read" in page.words()
    found = list(read_attempts(trial_set / "readings.jsonl"))
    assert sorted(a.file for a in found) == ["p0.jpg", "p1.jpg", "p2.jpg"]
    assert [a.value for a in found] == [12.0, 25.5, None]
    assert all(a.reader == "R1" and a.seconds >= 0 and a.at for a in found)
    assert not any(word in text for text in seen
                   for word in (*map(str, TRUTHS), "p0.jpg", "p1.jpg", "p2.jpg"))


@pytest.mark.slow
def test_nothing_is_kept_without_a_number_and_the_next_field_is_empty(trial_set):
    page = Trial()
    page.type("trial-code", "R1").press("trial-begin").press("keep-")
    assert "Type your reading first" in page.words()
    page.type("value-", "12.3.4").press("keep-")
    assert not (trial_set / "readings.jsonl").exists()
    page.type("value-", "30").press("keep-")
    assert [t.value for t in page.at.text_input if t.key.startswith("value-")] == [""]


def test_a_stopped_trial_goes_on_and_a_second_reader_has_an_order_of_their_own(trial_set):
    page = Trial()
    page.type("trial-code", "R1").press("trial-begin").type("value-", "10").press("keep-")
    page.press("stop-").press("trial-begin")
    assert "Picture 2 of 3" in page.words()
    state = TrialState()
    state.begin(trial_set, "R2", 1)
    assert len(state.left) == 3


@pytest.mark.slow
def test_one_reader_on_two_devices_reads_each_picture_once(trial_set):
    """However the code is typed: a phone begins it with a capital or not."""
    one, other = Trial(), Trial()
    one.type("trial-code", "R7").press("trial-begin")
    other.type("trial-code", "r7").press("trial-begin")
    one.type("value-", "10").press("keep-")
    other.type("value-", "20").press("keep-")
    assert "The last reading is not kept" in other.words() and "Picture 2 of 3" in other.words()
    for value in ("11", "12"):
        other.type("value-", value).press("keep-")
        assert "The last reading is not kept" not in other.words()
    one.type("value-", "30").press("keep-")
    assert "all 3 pictures are read" in one.words() and "the first reading stays" in one.words()
    found = list(read_attempts(trial_set / "readings.jsonl"))
    assert [(a.reader, a.value) for a in found] == [("R7", 10.0), ("R7", 11.0), ("R7", 12.0)]
    assert len({a.file for a in found}) == 3


def test_readings_kept_under_a_small_letter_are_not_asked_for_again(trial_set):
    state = TrialState()
    state.begin(trial_set, "R7", 1)
    state.show()
    state.answer(5.0)
    kept = trial_set / "readings.jsonl"
    kept.write_text(kept.read_text().replace('"R7"', '"r7"'))
    again = TrialState()
    again.begin(trial_set, "R7", 1)
    assert len(again.left) == 2


@pytest.mark.parametrize("code", ["", "Jane Smith", "x" * 17, "R/1"])
def test_a_code_that_is_no_code_is_one_sentence(trial_set, code):
    with pytest.raises(CountersightError, match="reader code"):
        TrialState().begin(trial_set, code, 1)


def test_time_runs_from_showing_to_answering(trial_set):
    now = [100.0]
    state = TrialState(clock=lambda: now[0])
    state.begin(trial_set, "R1", 1)
    state.answer(5.0)  # not shown yet: nothing to keep
    assert len(state.left) == 3
    state.show()
    now[0] = 104.5
    state.show()  # drawn again: the clock is not set back
    now[0] = 107.25
    state.answer(5.0)
    assert [a.seconds for a in read_attempts(trial_set / "readings.jsonl")] == [7.25]


def test_without_a_set_the_page_says_where_to_put_one(trial_set):
    shutil.rmtree(trial_set)
    assert trial_sets(trial_set.parent) == []
    assert "no set of pictures" in Trial().words()
