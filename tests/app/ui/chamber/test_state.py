"""The rules between the steps: blind first, nothing outlives its photo."""

from dataclasses import replace

import numpy as np
import pytest

from app.ui.chamber.state import ChamberState, Recorded
from vision.imaging.photo import photo_from_array
from vision.reading import PhotoReading, VolumeReading
from vision.scale_file.scale import load_scale


def photo(gray=0):
    return photo_from_array(np.full((60, 50, 3), gray, np.uint8))


@pytest.fixture
def read_state():
    state = ChamberState()
    state.take_photo(photo(), "file")
    state.choose_scale(load_scale("quay-60"))
    state.commit_own("23.5")
    state.answer(near=(3.0, 4.0))
    state.reading = VolumeReading("read", "mL", 1.0, "quay-60", value=23.4)
    state.value.set("23.4")
    state.far_accepted, state.missing = "23.4", ("something",)
    return state


def belongs_to_photo(state):
    return (state.photo, state.photos, state.taken_out, state.used, state.own,
            state.skipped, state.near, state.number, state.reading, state.reading_problem,
            state.value.text, state.far_accepted, state.missing, state.copies)


EMPTY = belongs_to_photo(ChamberState())


@pytest.mark.parametrize("let_go", [
    lambda s: s.drop_photo(),
    lambda s: s.refuse_photo("This file is not a photo."),
    lambda s: s.finish(Recorded(1, "23.4 mL", "QUAY-3", False)),
])
def test_nothing_outlives_its_photo(read_state, let_go):
    before = read_state.key, read_state.form_key
    let_go(read_state)
    assert belongs_to_photo(read_state) == EMPTY
    assert read_state.key != before[0] and read_state.form_key != before[1]


def test_a_new_photo_clears_the_old_reading_and_keeps_the_scale(read_state):
    old_key = read_state.key
    read_state.take_photo(photo(9), "file")
    assert belongs_to_photo(read_state)[2:] == EMPTY[2:]
    assert read_state.scale is not None
    assert read_state.key != old_key


def test_the_same_photo_again_is_still_a_new_turn(read_state):
    old_key = read_state.key
    read_state.take_photo(photo(), "file")
    assert read_state.key != old_key
    assert not read_state.committed


def test_the_tool_is_not_asked_before_the_person(read_state):
    state = ChamberState()
    assert not state.may_read
    state.take_photo(photo(), "file")
    state.choose_scale(load_scale("quay-60"))
    assert not state.may_read
    state.skip_own()
    assert state.may_read


def test_ones_own_reading_stands_once_the_tool_may_have_spoken(read_state):
    read_state.commit_own("23.4")
    read_state.skip_own()
    assert (read_state.own, read_state.skipped) == ("23.5", False)


def test_another_scale_voids_the_reading_and_keeps_ones_own(read_state):
    read_state.choose_scale(load_scale("slate-50"))
    assert read_state.reading is None and read_state.value.text == ""
    assert read_state.own == "23.5"


def test_the_same_scale_again_voids_nothing(read_state):
    read_state.choose_scale(load_scale("quay-60"))
    assert read_state.reading is not None


def test_an_answer_voids_the_reading_and_is_remembered(read_state):
    read_state.answer(number=(20.0, (5.0, 6.0)))
    assert read_state.reading is None
    assert read_state.near == (3.0, 4.0) and read_state.number == (20.0, (5.0, 6.0))


@pytest.mark.parametrize("meanwhile", [
    lambda s: s.drop_photo(),
    lambda s: s.take_photo(photo(9), "file"),
    lambda s: s.choose_scale(load_scale("slate-50")),
    lambda s: s.answer(near=(1.0, 1.0)),
])
def test_a_reading_that_comes_late_is_not_taken_for_another_photo(read_state, meanwhile):
    """A page may be left, or its photo changed, while the tool is still reading."""
    turn = read_state.turn
    meanwhile(read_state)
    read_state.accept(turn, VolumeReading("read", "mL", 1.0, "quay-60", value=23.4), "")
    assert read_state.reading is None and read_state.reading_problem == ""


def test_one_more_photo_is_read_together_with_those_in_hand(read_state):
    key, turn = read_state.key, read_state.turn
    read_state.add_photo(photo(9))
    assert len(read_state.photos) == 2 and read_state.reading is None
    assert (read_state.own, read_state.near) == ("23.5", (3.0, 4.0))
    assert read_state.key == key and read_state.turn != turn and read_state.value.text == ""


def test_the_same_photo_twice_and_a_fifth_one_are_not_taken(read_state):
    read_state.add_photo(photo())
    assert len(read_state.photos) == 1 and "already" in read_state.photo_problem
    for gray in (10, 20, 30, 40):
        read_state.add_photo(photo(gray))
    assert len(read_state.photos) == 4


def test_a_photo_taken_out_takes_its_points_along_and_is_remembered(read_state):
    first = read_state.photo
    read_state.add_photo(photo(9))
    alone = [VolumeReading("read", "mL", 1.0, "quay-60", value=v) for v in (23.4, 31.0)]
    read_state.reading = replace(alone[0], photos=tuple(PhotoReading("", r) for r in alone))
    read_state.take_out(0)
    assert len(read_state.photos) == 1 and read_state.photo is not first
    assert read_state.near is None and read_state.reading is None
    (out,) = read_state.taken_out
    assert (out.sha256, out.reading.value) == (first.sha256, 23.4)
    read_state.take_out(0)
    assert len(read_state.photos) == 1


def test_a_point_belongs_to_the_photo_that_was_shown(read_state):
    read_state.add_photo(photo(9))
    second = read_state.photos[1]
    alone = VolumeReading("refused", "mL", 1.0, "quay-60")
    read_state.reading = replace(alone, photos=(PhotoReading("", alone),) * 2, drawn_on=1)
    assert read_state.shown is second
    read_state.answer(surface=(7.0, 8.0))
    assert read_state.photo is second
    assert (read_state.near, read_state.surface) == (None, (7.0, 8.0))


def test_a_photo_in_hand_is_found_by_its_digest_and_one_taken_out_is_not():
    state, photos = ChamberState(), (photo(), photo(1), photo(2))
    state.take_photo(photos[0], "file")
    for more in photos[1:]:
        state.add_photo(more)
    assert [state.place_of(p.sha256) for p in photos] == [0, 1, 2]
    state.take_out(1)
    assert [state.place_of(p.sha256) for p in photos] == [0, None, 1]
