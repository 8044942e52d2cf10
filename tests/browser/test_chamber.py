"""The main job in a real browser of a phone's size: photo in, confirmed reading on record."""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path

import pytest
from playwright.sync_api import expect
from serving import at_rest, give_file, live

from app.records import Store
from vision.scale_file.scale import load_scale

pytestmark = pytest.mark.browser
expect.set_options(timeout=60_000)  # a busy machine may take its time

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"


def easy_photo() -> dict:
    """The first easy one of the demo photos, with its truth."""
    lines = (SAMPLES / "labels.jsonl").read_text(encoding="utf-8").splitlines()
    labels = [json.loads(line) for line in lines if line.strip()]
    return next(x for x in labels if x.get("tier") == "easy" and x.get("expect") == "read")


def upload(page, label: dict) -> None:
    give_file(page, SAMPLES / label["file"])
    expect(page.get_by_text("Photo in hand. Next: choose the scale.")).to_be_visible()
    at_rest(page)  # a touch while the page is drawn anew can fall on what is left from before
    choices = page.get_by_role("radiogroup", name="Scale of this chamber")
    choices.get_by_text(load_scale_name(label), exact=True).click()
    expect(page.get_by_text("Next: your own reading")).to_be_visible()


def load_scale_name(label: dict) -> str:
    return load_scale(Path(label["scale"]).stem).name


def read_first(page, text: str) -> None:
    live(page).get_by_label("Your reading in mL").fill(text)
    live(page).get_by_role("button", name="This is my reading").click()
    expect(page.get_by_text("Machine reading, not a record").first).to_be_visible()


def answer_all(page) -> None:
    group = live(page).get_by_role("radiogroup", name="Do these four hold")
    group.get_by_text("All four hold").click()
    expect(group.get_by_role("radio", name="All four hold")).to_be_checked()


def confirm(page, bed: str) -> None:
    live(page).get_by_label("Bed code").fill(bed)
    live(page).get_by_label("Your initials").fill("M.K.")
    live(page).get_by_role("button", name="Confirm and record").click()


def test_a_photo_becomes_a_confirmed_reading_on_record(open_page, served):
    label = easy_photo()
    page = open_page("/chamber")
    upload(page, label)
    before = page.content()
    assert "Machine reading" not in before and "What the tool saw" not in before
    expect(live(page).get_by_label("Your reading in mL")).to_have_attribute("inputmode", "decimal")
    own = f"{label['true_value']:.1f}"
    read_first(page, own.replace(".", ","))
    expect(page.get_by_text("Your reading", exact=True)).to_be_in_viewport()
    shown = page.locator(".cs-machine .cs-value").inner_text()
    machine = float(shown.split()[0])
    division = load_scale(Path(label["scale"]).stem).division_at(label["true_value"])
    assert abs(machine - label["true_value"]) <= 0.5 * division
    picture = page.locator("[data-testid=stImage] img")
    expect(picture).to_be_visible()
    assert picture.evaluate("image => image.naturalWidth") > 300

    live(page).get_by_role("button", name="Take the tool's").click()
    expect(live(page).get_by_label("Value to confirm in mL")).to_have_value(shown.split()[0])
    answer_all(page)
    confirm(page, "QUAY-3")
    expect(page.get_by_text("The photo has been dropped.")).to_be_visible()
    expect(page.get_by_text("Last confirmed readings of bed QUAY-3")).to_be_visible()

    (entry,) = Store.open(str(served.data)).entries(bed="QUAY-3")
    assert entry.confirmed_value == Decimal(shown.split()[0])
    assert entry.first.value == Decimal(own)
    assert (entry.initials, entry.unit) == ("M.K.", "mL")
    assert Store.open(str(served.data)).verify().ok


def test_a_reload_leaves_nothing_of_an_unconfirmed_reading(open_page, served):
    label = easy_photo()
    page = open_page("/chamber")
    upload(page, label)
    read_first(page, "20")
    page.reload()
    expect(page.get_by_text("Next: take or choose a photo.")).to_be_visible()
    assert "Machine reading" not in page.content()


def test_a_page_of_text_named_photo_is_answered_in_one_sentence(open_page):
    page = open_page("/chamber")
    give_file(page, {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": b"<html>no photo</html>"})
    expect(page.get_by_text("This photo cannot be used")).to_be_visible()
    expect(page.get_by_text("Next: take or choose a photo.")).to_be_visible()


def test_a_demo_photo_is_marked_and_kept_apart(open_page, served):
    page = open_page("/chamber")
    page.get_by_text("No photo at hand?").click()
    live(page).get_by_role("button", name="Demo 1").click()
    expect(page.get_by_text("DEMO photo: drawn by the program, no patient")).to_be_visible()
    live(page).get_by_role("button", name="Go without my own reading").click()
    expect(page.get_by_text("You chose to go without")).to_be_visible()
    expect(page.get_by_text("Bed code: DEMO")).to_be_visible()
    expect(live(page).get_by_label("Bed code")).to_have_count(0)
    value = live(page).get_by_label("Value to confirm in mL")
    for _ in range(4):  # a press while the page is still being drawn may be lost
        live(page).get_by_role("button", name="Take the tool's").click()
        try:
            expect(value).not_to_have_value("", timeout=8000)
            break
        except AssertionError:
            continue
    expect(value).not_to_have_value("")
    answer_all(page)
    live(page).get_by_label("Your initials").fill("M.K.")
    live(page).get_by_role("button", name="Confirm and record").click()
    expect(page.get_by_text("On record (DEMO)")).to_be_visible()
    expect(page.get_by_text("made up, nothing here goes on the ward's record")).to_be_visible()
    assert not Store.open(str(served.data)).entries(bed="DEMO")


def test_a_file_that_is_no_photo_says_so_and_can_be_taken_away(open_page, served, tmp_path):
    """The button that takes the file away again once read "Take the photo", too."""
    note = tmp_path / "note.txt"
    note.write_text("no photo", encoding="utf-8")
    page = open_page("/chamber")
    expect(page.get_by_text("Next: take or choose a photo.")).to_be_visible()
    give_file(page, str(note))
    chip = page.get_by_test_id("stFileChip")
    expect(chip).to_be_visible()
    after = "(node) => getComputedStyle(node, '::after').content"
    assert "Take the photo" not in chip.get_by_role("button").evaluate(after)
    assert "Take the photo" in page.get_by_role("button", name="Add files").evaluate(after)
    assert "it is no photo" in page.get_by_test_id("stFileUploader").evaluate(after)
