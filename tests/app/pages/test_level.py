"""The page "Level", without a browser: measured, shown with its doubt, confirmed by a person."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest
from level_page import READ, SCRIPT, press, sign, words
from streamlit.testing.v1 import AppTest

from app.records import Store
from app.ui.level import steps
from app.ui.level.state import LevelState
from vision.imaging.photo import photo_from_array
from vision.level.result import LevelReading

PHOTO = photo_from_array(np.full((120, 160, 3), 130, np.uint8), 26)
REFUSED = LevelReading("refused", "cards", flags=("landmark-missing",),
                       reasons=("The landmark card was not found.",))


@pytest.fixture
def store(tmp_path, monkeypatch):
    monkeypatch.setenv("COUNTERSIGHT_DATA", str(tmp_path / "ward"))
    return lambda: Store.open(str(tmp_path / "ward"))


def opened(reading: LevelReading | None, monkeypatch) -> AppTest:
    """The page with a photo in hand whose measuring gives ``reading``."""
    monkeypatch.setattr(steps, "read_level", lambda photo, **options: reading)
    at = AppTest.from_string(SCRIPT, default_timeout=60)
    state = LevelState()
    if reading is not None:
        state.take(PHOTO)
    at.session_state["level_state"] = state
    return at.run()


@pytest.mark.slow
def test_a_measured_photo_is_no_record_until_confirmed(store, monkeypatch):
    at = opened(READ, monkeypatch)
    assert not at.exception
    assert "raise it 3.4 cm" in words(at) and "A card is small" in words(at)
    assert not store().current("QUAY-3", kind="level-check")
    press(at, "Confirm the level check")
    assert "At the last press, not recorded:" in words(at)
    assert not store().current("QUAY-3", kind="level-check")
    sign(at, "QUAY-3", "AB")
    press(at, "Confirm the level check")
    (entry,) = [s.entry for s in store().current("QUAY-3", kind="level-check")]
    assert entry.confirmed_value == Decimal("-3.4") and entry.unit == "cm"
    assert entry.photo_sha256 == PHOTO.sha256
    assert entry.machine.low == Decimal("-4.1")
    assert "On record" in words(at)


@pytest.mark.slow
def test_a_refused_photo_offers_the_usual_method_only(store, monkeypatch):
    at = opened(REFUSED, monkeypatch)
    assert "The landmark card was not found." in words(at)
    assert not [b for b in at.button if b.label.startswith("Confirm the level")]
    sign(at, "QUAY-3", "AB")
    press(at, "Level: checked by the usual method")
    (entry,) = [s.entry for s in store().current("QUAY-3", kind="level-check")]
    assert entry.confirmed_value is None and entry.payload["method"] == "usual"


def test_what_the_photo_cannot_settle_cannot_be_confirmed_from_it(store, monkeypatch):
    """1 cm too high, but anything from 0.4 too low to 2.4 too high: no claim to sign."""
    unsettled = replace(READ, offset_cm=1.0, interval_cm=(-0.4, 2.4))
    at = opened(unsettled, monkeypatch)
    assert "Cannot tell:" in words(at) and "does not settle whether it is level" in words(at)
    assert not [b for b in at.button if b.label.startswith("Confirm the level")]
    sign(at, "QUAY-3", "AB")
    press(at, "Level: checked by the usual method")
    (entry,) = [s.entry for s in store().current("QUAY-3", kind="level-check")]
    assert entry.confirmed_value is None and entry.payload["method"] == "usual"


def test_a_level_within_the_tolerance_is_confirmed_as_such(store, monkeypatch):
    at = opened(replace(READ, offset_cm=0.3, interval_cm=(-0.2, 0.8)), monkeypatch)
    at.text_input(key="level-tolerance").set_value("1").run()
    assert "hangs 0.3 cm too high, within your ward's tolerance of 1 cm" in words(at)
    assert [b for b in at.button if b.label.startswith("Confirm the level check")]


@pytest.mark.slow
def test_the_ward_s_tolerance_decides_about_the_words_and_outlives_the_photo(store, monkeypatch):
    at = opened(READ, monkeypatch)
    at.text_input(key="level-tolerance").set_value("5").run()
    assert "Level within the ward's tolerance of 5.0 cm" in words(at)
    at.text_input(key="level-tolerance").set_value("3,5").run()
    assert "Cannot tell:" in words(at), "the interval -4.1 to -2.7 straddles -3.5"
    at.text_input(key="level-tolerance").set_value("1").run()
    assert "raise it 3.4 cm" in words(at)
    at.session_state["level_state"].take(PHOTO)
    at.run()
    assert at.text_input(key="level-tolerance").value == "1"
    assert at.session_state["level_state"].reading.tolerance_cm == 1.0
    sign(at, "QUAY-3", "AB")
    press(at, "Confirm the level check")
    (entry,) = [s.entry for s in store().current("QUAY-3", kind="level-check")]
    assert entry.payload["seen"]["action"] == "raise 3.4 cm"
    assert "Level check of bed QUAY-3: 3.4 cm too low, confirmed by AB" in words(at)
    assert "Hang it anew, then check it again." in words(at)


def test_a_tolerance_that_is_no_number_is_answered_in_words(store, monkeypatch):
    at = opened(READ, monkeypatch)
    at.text_input(key="level-tolerance").set_value("about 1").run()
    assert "Type one plain number" in words(at)
    assert "Level within" not in words(at) and not at.exception


@pytest.mark.slow
def test_both_points_tapped_are_handed_on_with_the_depth(store, monkeypatch):
    at, asked = opened(READ, monkeypatch), []
    monkeypatch.setattr(steps, "read_level",
                        lambda photo, **options: asked.append(options) or READ)
    next(r for r in at.radio if r.key.startswith("way-")).set_value("two-taps").run()
    assert not [b for b in at.button if b.label == "Measure"]
    for key, text in (("across-zero", "75"), ("down-zero", "50"), ("across-landmark", "25"),
                      ("down-landmark", "50"), ("depth-", "-8")):
        next(t for t in at.text_input if t.key.startswith(key)).set_value(text)
    at.run()
    press(at, "Measure")
    (options,) = asked
    assert options["depth_difference_mm"] == -80
    assert options["zero_px"] == pytest.approx((119.25, 59.5))  # of 160 x 120 pixels
    assert options["landmark_px"] == pytest.approx((39.75, 59.5))
    # A press that comes before the page was drawn with another number measures with that one.
    for typed in ("12", "-"):
        at.session_state["level_state"].reading = None
        at.run()
        next(t for t in at.text_input if t.key.startswith("depth-")).set_value(typed)
        press(at, "Measure")
    assert [o["depth_difference_mm"] for o in asked] == [-80, 120], "nor with what is no number"


@pytest.mark.slow
@pytest.mark.parametrize("key, text", [
    ("down-landmark", "70"), ("across-zero", "60"), ("depth-", "12"), ("depth-", "about 8")])
def test_a_cross_that_is_moved_or_another_depth_drops_what_was_measured(
        store, monkeypatch, key, text):
    """The result of one place must not stand, to be confirmed, beside the cross at another."""
    at = opened(READ, monkeypatch)
    next(r for r in at.radio if r.key.startswith("way-")).set_value("two-taps").run()
    for name, typed in (("across-zero", "75"), ("down-zero", "50"), ("across-landmark", "25"),
                        ("down-landmark", "50"), ("depth-", "")):
        next(t for t in at.text_input if t.key.startswith(name)).set_value(typed)
    at.run()
    press(at, "Measure")
    at.run()
    assert "raise it 3.4 cm" in words(at)
    assert [b for b in at.button if b.label.startswith("Confirm the level check")]
    next(t for t in at.text_input if t.key.startswith(key)).set_value(text).run()
    assert "raise it 3.4 cm" not in words(at)
    assert not [b for b in at.button if b.label.startswith("Confirm the level check")]
    assert [b for b in at.button if b.label == "Measure"], "one press away, whatever was typed"


def test_without_a_photo_the_page_says_what_to_do(store, monkeypatch):
    at = opened(None, monkeypatch)
    assert not at.exception
    assert "usual method" in words(at) and "Close the drain" in words(at)


def test_another_photo_drops_the_last_result():
    state = LevelState()
    state.take(PHOTO)
    state.reading, first = READ, state.key
    state.take(PHOTO)
    assert state.reading is None and state.key != first


@pytest.mark.parametrize("offset, interval, said", [
    (-3.4, (-4.1, -2.7), "3.4 cm too low"), (5.0, (4.2, 5.8), "5.0 cm too high")])
def test_the_drawing_says_in_words_what_it_shows(offset, interval, said):
    d = steps._drawn(offset, interval)
    assert said in d.title and said in d.svg and "95 % interval" in d.svg
    assert d.svg.count("<svg") == 1 and "href" not in d.svg
