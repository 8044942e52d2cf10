"""Several photos of the same cards on the page "Level": put together, shown, named on record."""

from __future__ import annotations

import io
from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest
from level_page import READ, SCRIPT, press, sign, words
from PIL import Image
from streamlit.testing.v1 import AppTest

from app.exports.entry_words import remarks
from app.records import Moment, Store
from app.ui.level import steps
from app.ui.level.state import LevelState
from app.ui.photos_in_hand import MOST_IN_HAND
from vision.imaging.photo import Photo, photo_from_array
from vision.level.result import LevelPhoto, LevelReading
from vision.reading import Agreement

ALONE = replace(READ, offset_cm=-1.0, interval_cm=(-2.4, 0.4), flags=())
OTHER = replace(READ, offset_cm=-1.6, interval_cm=(-2.5, -0.7), flags=())
BOTH = replace(READ, offset_cm=-1.4, interval_cm=(-1.9, -0.9), flags=(), drawn_on=1,
               photos=(LevelPhoto("", ALONE), LevelPhoto("", OTHER)),
               agreement=Agreement(1.2, 3, 0.75))
APART = LevelReading("refused", "cards", flags=("photos-disagree",), photos=BOTH.photos,
                     agreement=Agreement(80.0, 3, 1e-9),
                     reasons=("The photos do not show the cards in the same places.",))
REFUSED = LevelReading("refused", "cards", flags=("landmark-missing",))
ONE_TOLD = replace(ALONE, photos=(LevelPhoto("", ALONE), LevelPhoto("", REFUSED)))

pytestmark = pytest.mark.slow


def picture(shade: int) -> Photo:
    return photo_from_array(np.full((120, 160, 3), shade, np.uint8), 26)


def file_of(shade: int) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (160, 120), (shade,) * 3).save(out, "PNG")
    return out.getvalue()


@pytest.fixture
def store(tmp_path, monkeypatch):
    monkeypatch.setenv("COUNTERSIGHT_DATA", str(tmp_path / "ward"))
    return lambda: Store.open(str(tmp_path / "ward"))


def opened(monkeypatch, *readings: LevelReading) -> tuple[AppTest, list[int]]:
    """The page with a photo in hand; measuring gives one reading after the other."""
    asked: list[int] = []

    def measured(photos, **options):
        asked.append(1 if isinstance(photos, Photo) else len(photos))
        return readings[min(len(asked), len(readings)) - 1]

    monkeypatch.setattr(steps, "read_level", measured)
    at = AppTest.from_string(SCRIPT, default_timeout=60)
    state = LevelState()
    state.take(picture(130))
    at.session_state["level_state"] = state
    return at.run(), asked


def add(at: AppTest, data: bytes) -> AppTest:
    field = next(u for u in at.file_uploader if u.key.startswith("photo-more-"))
    field.upload("b.png", data, "image/png")
    at.run()
    assert not at.exception
    return at


def test_two_photos_are_put_together_and_the_record_names_both(monkeypatch, store):
    at, asked = opened(monkeypatch, ALONE, BOTH)
    assert "does not settle whether it is level" in words(at)
    assert "One more photo, from beside the first" in words(at), "open, since it is needed"
    add(at, file_of(60))
    assert asked == [1, 2]
    said = words(at)
    for part in ("The system hangs 1.4 cm too low (0.9 to 1.9): raise it 1.4 cm.",
                 "From 2 photos together.", "Photo 1: hangs 1.0 cm too low (2.4 too low to 0.4",
                 "Photo 2: hangs 1.6 cm too low (0.7 to 2.5 cm)"):
        assert part in said, part
    assert "How is the landmark shown?" not in said, "no point is tapped in several"
    sign(at, "QUAY-3", "AB")
    press(at, "Confirm the level check")
    (standing,) = store().current("QUAY-3", kind="level-check")
    entry = standing.entry
    assert entry.confirmed_value == Decimal("-1.4") and entry.payload["rests_on"] == 2
    assert [p["value"] for p in entry.payload["photos"]] == ["-1.000", "-1.600"]
    assert len({p["sha256"] for p in entry.payload["photos"]}) == 2
    assert "read from 2 photos together" in remarks(standing) and store().verify().ok


def test_photos_that_disagree_offer_nothing_to_confirm_and_one_can_be_taken_out(
        monkeypatch, store):
    at, asked = opened(monkeypatch, READ, APART, READ)
    add(at, file_of(60))
    said = words(at)
    assert "do not show the cards in the same places" in said
    assert "fluid" not in said.split("Remember")[0], "of a chamber's photos, not of the cards'"
    assert not [b for b in at.button if b.label.startswith("Confirm the level check")]
    assert "One more photo" not in said
    press(at, "Take out photo 2")
    assert asked == [1, 2, 1]
    sign(at, "QUAY-3", "AB")
    press(at, "Confirm the level check")
    (standing,) = store().current("QUAY-3", kind="level-check")
    assert "a photo was taken out again (it alone: 1.600 cm too low)" in remarks(standing)


def test_a_photo_that_told_nothing_has_checked_nothing(monkeypatch, store):
    at, _ = opened(monkeypatch, ALONE, ONE_TOLD)
    add(at, file_of(60))
    assert "From photo 1 alone; nothing could be had from the other." in words(at)
    assert "photos together" not in words(at)


def test_a_file_that_is_none_or_the_same_again_leaves_the_first_in_hand(monkeypatch, store):
    at, asked = opened(monkeypatch, READ)
    add(at, b"no photo")
    assert "This photo cannot be added" in words(at) and "raise it 3.4 cm" in words(at)
    state = at.session_state["level_state"]
    state.add(state.photo)
    assert "in hand already" in state.another_problem
    assert asked == [1]


def test_photos_long_after_each_other_are_not_put_together():
    """What hangs may have been hung anew in between."""
    state = LevelState()
    state.take(picture(10))
    state.came_in = (Moment.of(state.came_in[0].local.replace(year=2020)),)
    state.add(picture(20))
    assert "minutes lie between" in state.another_problem and len(state.photos) == 1


def test_no_more_than_four_are_taken():
    state = LevelState()
    state.take(picture(10))
    for shade in (20, 30, 40, 50):
        state.add(picture(shade))
    assert len(state.photos) == MOST_IN_HAND


def test_a_photo_on_record_is_named_and_never_counts_twice_at_a_bed(monkeypatch, store):
    at, _ = opened(monkeypatch, READ)
    sign(at, "QUAY-3", "AB")
    press(at, "Confirm the level check")
    at.session_state["level_state"].take(picture(130))
    at.run()
    assert "This photo is on record already" in words(at) and "3.4 cm too low" in words(at)
    sign(at, "QUAY-3", "AB")
    press(at, "Confirm the level check")
    assert "was confirmed already as entry 1" in words(at)
    assert len(list(store().entries(kind="level-check"))) == 1
