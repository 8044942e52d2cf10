"""Several photos of one chamber on the page "Chamber": offered, read together, named on record."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from chamber_page import REFUSED, Page, Reader, install, photo_file, reading
from PIL import Image

from app.exports.entry_words import remarks
from app.records import Store
from vision.reading import Agreement, PhotoReading, Question

pytestmark = pytest.mark.slow

ONE, TWO, THREE = photo_file(1), photo_file(2), photo_file(3)
ALONE = reading(value=30.2, interval=(29.4, 31.0), elevation_deg=3.0)


def together(*alone, **changes):  # type: ignore[no-untyped-def]
    """A reading of several photos: each with its own, and 31.7 mL for all."""
    return reading(photos=tuple(PhotoReading("", a) for a in alone), **changes)


#: The first is refused alone, and still says something of the level.
BOTH = together(REFUSED, ALONE, interval=(31.4, 32.0), flags=(), drawn_on=1,
                agreement=Agreement(0.4, 1, 0.53))
#: It says nothing of it: the second is read alone.
SECOND = together(REFUSED, ALONE, interval=(31.4, 32.0), flags=(), drawn_on=1)
APART = together(
    reading(value=23.0), ALONE, status="refused", value=None, interval=None, naive_value=None,
    budget=(), flags=("photos-disagree",), agreement=Agreement(40.0, 1, 1e-9),
    reasons=("The photos show different levels. (photo 1 shows 23.0 mL; photo 2 shows 30.2 mL)",),
    question=Question("what-happened", "What happened between the photos?"))


@pytest.fixture
def store(tmp_path, monkeypatch):
    monkeypatch.setenv("COUNTERSIGHT_DATA", str(tmp_path / "ward"))
    return lambda: Store.open(str(tmp_path / "ward"))


def add(page: Page, data: bytes) -> Page:
    uploader = next(u for u in page.at.file_uploader if u.key.startswith("photo-more-"))
    uploader.upload("b.jpg", data, "image/jpeg")
    return page.run()


def press(page: Page, label: str) -> Page:
    next(b for b in page.at.button if b.label == label).click()
    return page.run()


@pytest.mark.parametrize(("first", "offer"), [
    (REFUSED, "One more photo, from lower down"),
    (reading(elevation_deg=-21.0), "One more photo, from higher up"),
    (reading(interval=(30.9, 32.5)), "One more photo, from lower down")])
def test_after_a_photo_that_leaves_doubt_one_more_is_the_first_thing_offered(
        monkeypatch, store, first, offer):
    install(monkeypatch, Reader(first))
    text = Page().to_the_reading(ONE).text()
    assert text.index(offer) < text.index("Discard this photo")
    assert text.index(offer) < text.index("Confirm")


def test_two_photos_are_read_together_and_the_record_names_both(monkeypatch, store):
    reader = install(monkeypatch, Reader(REFUSED, BOTH))
    page = add(Page().to_the_reading(ONE), TWO)
    assert reader.sets[-1] == [p.sha256 for p in page.state.photos] and len(reader.sets[-1]) == 2
    text = page.text()
    for said in ("From 2 photos together", "31.7", "31.4 to 32.0", "Photo 1: no reading",
                 "Photo 2: 30.2 mL (29.4 to 31.0)", "Typed before the tool's was shown"):
        assert said in text
    page.press("tools").answer().sign().press("confirm")
    (entry,) = store().entries()
    assert [p["sha256"] for p in entry.payload["photos"]] == reader.sets[-1]
    assert [p["value"] for p in entry.payload["photos"]] == [None, "30.200"]
    assert "read from 2 photos together" in remarks(store().current("QUAY-3")[0])
    assert store().verify().ok


def test_a_photo_that_told_nothing_has_checked_nothing(monkeypatch, store):
    """Neither page nor record call one photo beside a blurred one two that agree."""
    install(monkeypatch, Reader(REFUSED, SECOND))
    page = add(Page().to_the_reading(ONE), TWO)
    assert "From photo 2 alone; nothing could be had from the other" in page.text()
    assert "photos together" not in page.text()
    page.press("tools").answer().sign().press("confirm")
    said = remarks(store().current("QUAY-3")[0])
    assert "read from one of 2 photos, nothing could be had from the rest" in said


def test_the_kept_picture_is_of_the_photo_that_the_lines_are_drawn_on(monkeypatch, store):
    white = io.BytesIO()
    Image.new("RGB", (160, 200), "white").save(white, "JPEG")
    install(monkeypatch, Reader(REFUSED, BOTH))
    page = add(Page().to_the_reading(ONE), white.getvalue()).press("tools").answer().sign()
    page.at.checkbox(key=f"keep-{page.key}").check()
    page.run().press("confirm")
    (entry,) = store().entries()
    assert np.asarray(Image.open(io.BytesIO(store().picture(entry)))).min() > 240


def test_a_photo_taken_out_does_not_count_and_stands_on_record_as_taken_out(monkeypatch, store):
    reader = install(monkeypatch, Reader(REFUSED, BOTH, reading()))
    page = press(add(Page().to_the_reading(ONE), TWO), "Take out photo 2")
    assert reader.sets[-1] == [page.state.photo.sha256]
    page.press("tools").answer().sign().press("confirm")
    (entry,) = store().entries()
    assert [t["value"] for t in entry.payload["taken_out"]] == ["30.200"]
    assert "taken out again (it alone: 30.200 mL)" in remarks(store().current("QUAY-3")[0])


def test_photos_that_disagree_stand_side_by_side_and_ask_what_happened(monkeypatch, store):
    install(monkeypatch, Reader(reading(elevation_deg=20.0), APART))
    page = add(Page().to_the_reading(ONE), TWO)
    text = page.text()
    for said in ("Photo 1: 23.0 mL", "Photo 2: 30.2 mL", "What happened between them?",
                 "no value", "Take out photo 1", "Take out photo 2"):
        assert said in text
    page.press("mine").answer().sign().press("confirm")
    assert list(store().entries()) == [] and "Say it below the photos" in page.text()
    next(t for t in page.at.text_input if t.label.startswith("Between the photos")).input(
        "the second one is of the bag")
    page.run().press("confirm")
    (entry,) = store().entries()
    said = remarks(store().current("QUAY-3")[0])
    assert "read from" not in said, "the value is the eye's: none was read from the photos"
    assert "no reading from 2 photos together (each alone: 23.000 mL, 30.200 mL)" in said
    assert entry.payload["between_photos"] == "the second one is of the bag"
    assert entry.machine.value is None and entry.machine.flags == ("photos-disagree",)


def test_what_was_said_of_the_time_between_outlives_one_more_photo(monkeypatch, store):
    three = replace(APART, photos=(*APART.photos, PhotoReading("", ALONE)))
    install(monkeypatch, Reader(reading(elevation_deg=20.0), APART, three, APART))
    page = add(Page().to_the_reading(ONE), TWO)

    def said():
        return next(t for t in page.at.text_input if t.label.startswith("Between the photos"))

    said().input("it ran in")  # typed, and no run before the next photo is chosen
    add(page, THREE)
    assert said().value == "it ran in"
    said().input("it was drained")
    press(page, "Take out photo 3")
    assert said().value == "it was drained"
    page.press("mine").answer().sign().press("confirm")
    (entry,) = store().entries()
    assert entry.payload["between_photos"] == "it was drained"
    assert page.upload(photo_file(4)).state.between == "", "the next chamber is another matter"


def test_of_several_photos_the_page_says_whose_camera_it_speaks_of(monkeypatch, store):
    install(monkeypatch, Reader(reading(elevation_deg=20.0), BOTH))
    page = Page().to_the_reading(ONE)
    assert "The camera looked from 20" in page.text()
    assert "Discard this photo and take another" in page.text()
    text = add(page, TWO).text()
    assert "The camera of photo 2 looked from 12" in text and "The camera looked" not in text
    assert "An eye at the height of the camera of photo 2 would take 33.9" in text
    assert "Discard these photos and take another" in text
    assert "when the first photo came in" in text


def test_a_photo_on_record_is_named_when_it_is_added_and_no_more_once_it_is_out(
        monkeypatch, store):
    install(monkeypatch, Reader(reading(), reading(), BOTH, reading()))
    Page().to_the_reading(TWO).press("tools").answer().sign().press("confirm")
    page = Page().to_the_reading(ONE)
    assert "on record already" not in page.text()
    text = add(page, TWO).text()
    assert "One of these photos is on record already" in text and "Photo 2, entry 1:" in text
    assert "on record already" not in press(page, "Take out photo 2").text()


def test_a_file_that_is_no_photo_leaves_those_in_hand(monkeypatch, store):
    install(monkeypatch, Reader(REFUSED, BOTH))
    page = add(Page().to_the_reading(ONE), b"no photo")
    assert "This photo cannot be added" in page.text() and page.state.photo is not None
    assert len(add(page, TWO).state.photos) == 2


def test_no_more_than_four_are_offered(monkeypatch, store):
    refused = [together(*[REFUSED] * n, status="refused", value=None) for n in (2, 3, 4)]
    install(monkeypatch, Reader(REFUSED, *refused))
    page = Page().to_the_reading(ONE)
    for data in (TWO, THREE, photo_file(4)):
        page = add(page, data)
    assert len(page.state.photos) == 4 and "One more photo" not in page.text()


def test_a_photo_on_record_is_found_at_once_and_never_counts_twice_at_a_bed(monkeypatch, store):
    install(monkeypatch, Reader(REFUSED, BOTH, reading()))
    page = add(Page().to_the_reading(ONE), TWO).press("tools").answer().sign().press("confirm")
    page.upload(TWO)  # the second of the two, alone
    assert "This photo is on record already" in page.text() and "for bed QUAY-3" in page.text()
    page.type("own", "31.5").press("commit").press("tools").answer().sign().press("confirm")
    assert "was confirmed already as entry 1" in page.text()
    page.type("bed", "NORTH-9").press("confirm")  # the first entry was for the wrong bed
    assert [e.bed for e in store().entries()] == ["QUAY-3", "NORTH-9"]


def test_photos_that_came_in_long_after_each_other_are_asked_about(monkeypatch, store):
    install(monkeypatch, Reader(REFUSED, BOTH))
    page = Page().to_the_reading(ONE)
    first = page.state.came_in[0]
    page.state.came_in = (replace(first, utc=first.utc.replace(year=first.utc.year - 1)),)
    add(page, TWO)
    assert "minutes lie between the photos: fluid may have run" in page.text()
