"""The page "Shift" in a real browser: an event with one thumb, the sheet, everyone's access."""

from __future__ import annotations

import io
import sys
from pathlib import Path

import pytest
from playwright.sync_api import expect
from pypdf import PdfReader
from serving import PHONE, at_rest, live, too_small, too_wide
from test_access import faults

from app.records import Store

sys.path.insert(0, str(Path(__file__).parents[1]))

from records_help import BED
from shift_page import put, read

from app.records import EventDraft, LevelDraft, OrderDraft

pytestmark = pytest.mark.browser
expect.set_options(timeout=30_000)

#: How many lines the words of an element take.
LINES = """row => {
  const words = document.createRange(), nodes = document.createTreeWalker(row, 4);
  words.selectNodeContents(nodes.nextNode());
  return new Set([...words.getClientRects()].map(line => Math.round(line.top))).size;
}"""
DESK = {"width": 1280, "height": 900}


def fill(served) -> Store:
    """A bed with an order, a level check that a move made stale, and an overdue reading."""
    store = Store.open(str(served.data))
    if store.count() == 0:
        put(store, OrderDraft(landmark="tragus", threshold="10", unit="cm[H2O]",
                              limits={"ml_per_hour": "15", "reading_due_minutes": "60"}), 200)
        put(store, LevelDraft.of({"status": "read", "offset_cm": -1.0,
                                  "interval_cm": [-1.6, -0.4], "flags": []}), 199,
            confirmed_value="-1.0")
        read(store, "10", 190)
        read(store, "30", 130)
        put(store, EventDraft("position-changed"), 100)
        read(store, "38", 70)
    return store


def open_bed(open_page, served, **how):  # type: ignore[no-untyped-def]
    fill(served)
    page = open_page("/shift", **how)
    live(page).get_by_role("button", name=str(BED)).click()
    expect(page.get_by_text("On record, newest first")).to_be_visible()
    return page


def test_an_event_is_entered_with_one_thumb_and_stands_on_the_page(open_page, served):
    store = fill(served)
    before = store.count()
    page = open_bed(open_page, served)
    for words in ("The level check is stale", "The reading is overdue", "Over your own limit"):
        expect(page.get_by_text(words, exact=True)).to_be_visible()
    page.get_by_text("Sample taken", exact=True).click()
    live(page).get_by_label("Volume drawn, mL").fill("2,5")
    page.get_by_text("at the patient's port").click()
    live(page).get_by_label("Your initials").fill("M.K.")
    live(page).get_by_role("button", name="Confirm: sample taken").click()
    expect(page.get_by_text("sample taken 2.5 mL port").first).to_be_visible()
    entry = store.last(BED, "sample-taken").entry
    assert store.count() == before + 1 and entry.payload == {"volume_ml": "2.5", "source": "port"}


def test_the_sheet_comes_as_a_pdf_that_names_no_bed(open_page, served):
    page = open_bed(open_page, served)
    live(page).get_by_role("button", name="Check the record and prepare").click()
    expect(page.get_by_text("The record is whole")).to_be_visible()
    with page.expect_download() as caught:
        live(page).get_by_role("button", name="Hand-over sheet (PDF").click()
    name = caught.value.suggested_filename
    assert name.startswith("handover-") and name.endswith(".pdf") and "QUAY" not in name
    pages = PdfReader(io.BytesIO(Path(caught.value.path()).read_bytes())).pages
    text = " ".join(p.extract_text() for p in pages)
    assert f"Hand-over, bed {BED}" in text and "entries are whole" in text


@pytest.mark.parametrize(("scheme", "size"), [("dark", PHONE), ("light", DESK)],
                         ids=["dark phone", "light desk"])
def test_the_page_can_be_read_and_used_by_everyone(open_page, served, scheme, size):
    """And every target is large enough for a thumb: 44 CSS px, WCAG 2.2, 2.5.5 (level AAA)."""
    page = open_bed(open_page, served, size=size, scheme=scheme)
    page.get_by_text("Chamber emptied", exact=True).click()
    expect(live(page).get_by_label("In the chamber before")).to_be_visible()
    if size == PHONE:
        assert too_small(page) == []
    live(page).get_by_role("button", name="Confirm: chamber emptied").click()
    expect(page.get_by_text("At the last press, not recorded:")).to_be_visible()
    page.get_by_text("Outputs in numbers").click()
    assert faults(page) == []
    assert too_wide(page) == []
    drawn = page.locator('[role="img"]')
    assert drawn.count() == 4
    assert all("2" in (drawn.nth(k).get_attribute("aria-label") or "") for k in range(4))


def test_on_a_phone_an_entry_to_choose_is_one_line_that_begins_with_its_number(open_page, served):
    page = open_bed(open_page, served, size=PHONE)
    page.get_by_text("Correct an entry").click()
    live(page).get_by_label("Which entry").scroll_into_view_if_needed()
    at_rest(page)  # the list closes when the page is scrolled
    live(page).get_by_label("Which entry").click()
    rows = page.get_by_role("option")
    expect(rows.first).to_be_visible()
    order = rows.filter(has_text="order: threshold")
    assert order.inner_text().startswith("1: ")
    assert order.evaluate(LINES) == 1, "a row is of one fixed height"
    order.click()
    expect(page.get_by_text("Entry 1: ")).to_be_visible()
