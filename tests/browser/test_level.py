"""The page Level in a real browser of a phone's size: photo with both cards in, check on record."""

from __future__ import annotations

import re
from functools import cache

import pytest
from playwright.sync_api import expect
from serving import give_file, live, too_small

from app.records import Store
from vision.synthetic.bedside import level_scene

pytestmark = pytest.mark.browser
expect.set_options(timeout=60_000)  # a busy machine may take its time


@cache
def room(seed: int, index: int, kind: str, within_mm: tuple[float, float]
         ) -> tuple[dict, dict]:
    """The first drawn room whose true offset (mm) lies within two bounds, as an upload."""
    for i in range(index, index + 60):
        data, label = level_scene(seed, i, kind)
        if within_mm[0] < label["true_offset_mm"] < within_mm[1]:
            return {"name": "room.jpg", "mimeType": "image/jpeg", "buffer": data}, label
    raise AssertionError("no such room among sixty")


def give(page, upload: dict) -> None:
    give_file(page, upload)


def sign(page, bed: str, button: str) -> None:
    live(page).get_by_label("Bed code").fill(bed)
    live(page).get_by_label("Your initials").fill("M.K.")
    live(page).get_by_role("button", name=button).click()


def test_a_photo_with_both_cards_becomes_a_level_check_on_record(open_page, served):
    """And every target is large enough for a thumb: 44 CSS px, WCAG 2.2, success criterion 2.5.5
    (level AAA; 2.5.8, level AA, asks for 24)."""
    upload, label = room(77, 0, "cards", (-140, -50))
    page = open_page("/level")
    live(page).get_by_role("textbox", name="Your ward's tolerance").fill("1")
    live(page).get_by_role("textbox", name="Your ward's tolerance").press("Tab")
    give(page, upload)
    said = page.get_by_text(re.compile(
        r"The system hangs [\d.]+ cm too low \([\d.]+ to [\d.]+\): raise it [\d.]+ cm")).first
    expect(said).to_be_visible()
    offset, near, far = (float(v) for v in re.findall(
        r"([\d.]+) cm too low \(([\d.]+) to ([\d.]+)\)", said.inner_text())[0])
    truth_cm = -label["true_offset_mm"] / 10
    # Twice the half-width holds the truth in all but 1 of 10 000 normal draws.
    assert abs(offset - truth_cm) < 2 * (far - near) / 2
    expect(page.get_by_text("Not a record").first).to_be_visible()
    assert not list(Store.open(str(served.data)).entries(kind="level-check"))
    picture = page.get_by_alt_text("The photo with the cards, the plumb lines")
    expect(picture).to_be_visible()
    assert picture.evaluate("image => image.naturalWidth") > 300
    expect(page.get_by_text("Where the doubt comes from")).to_be_visible()
    assert too_small(page) == []

    sign(page, "QUAY-5", "Confirm the level check")
    expect(page.get_by_text("On record").first).to_be_visible()
    (entry,) = Store.open(str(served.data)).entries(bed="QUAY-5")
    assert entry.kind == "level-check" and entry.unit == "cm"
    assert float(entry.confirmed_value) == pytest.approx(-offset)
    assert entry.machine.low <= entry.confirmed_value <= entry.machine.high
    assert Store.open(str(served.data)).verify().ok


def test_a_wide_tolerance_says_level_and_another_one_is_answered_at_once(open_page):
    upload, _ = room(78, 5, "cards", (-12, 12))
    page = open_page("/level")
    live(page).get_by_role("textbox", name="Your ward's tolerance").fill("6")
    live(page).get_by_role("textbox", name="Your ward's tolerance").press("Tab")
    give(page, upload)
    expect(page.get_by_text("Level within the ward's tolerance of 6.0 cm").first).to_be_visible()
    field = live(page).get_by_role("textbox", name="Your ward's tolerance")
    field.fill("0,1")
    field.press("Tab")
    expect(page.get_by_text("Cannot tell:").first).to_be_visible()
    expect(page.get_by_text("Level within the ward's tolerance")).to_have_count(0)


def test_a_photo_without_the_landmark_card_is_refused_in_words(open_page, served):
    upload, _ = room(79, 0, "nolandmark", (-140, 140))
    page = open_page("/level")
    give(page, upload)
    expect(page.get_by_text("No result").first).to_be_visible()
    expect(page.get_by_text("Cannot tell:").first).to_contain_text("Level it by your usual method")
    expect(live(page).get_by_role("button", name="Confirm the level check")).to_have_count(0)


def test_the_fields_of_threshold_outlive_a_visit_to_another_page(open_page):
    page = open_page("/threshold")
    live(page).get_by_label("Ordered threshold").fill("10")
    live(page).get_by_label("Ordered threshold").press("Tab")
    units = live(page).get_by_role("radiogroup", name="Unit as it stands on the order")
    units.get_by_text("mmHg").click()
    expect(page.get_by_text("Next: what the panel is set to")).to_be_visible()
    page.get_by_role("button", name="Expand sidebar").click()
    page.get_by_role("link", name="Level", exact=True).click()
    expect(page.get_by_role("heading", name="Photo of both points")).to_be_visible()
    page.get_by_role("link", name="Threshold", exact=True).click()
    expect(page.get_by_text("Next: what the panel is set to")).to_be_visible()
    expect(live(page).get_by_label("Ordered threshold")).to_have_value("10")
