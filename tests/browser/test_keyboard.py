"""Where the keyboard is can be seen (test_axe_pages asks it of every page), and a photo brought
does not lose it.

WCAG 2.2, 2.4.7 (focus visible) and 2.4.13 (at least 2 CSS px; W3C, 2023).
"""

from __future__ import annotations

import pytest
from hour_taps import HOURS, Thumb, put_before
from playwright.sync_api import expect
from serving import at_rest, give_file, go_to, live
from test_chamber import SAMPLES, easy_photo

from app.records import Store

pytestmark = pytest.mark.browser
expect.set_options(timeout=60_000)
DESK = {"width": 1280, "height": 900}

#: What has the focus, and how wide a line is drawn around it or around the box it stands in.
SEEN = """() => {
  const e = document.activeElement;
  if (!e || e === document.body) return null;
  if (e.tagName === 'IFRAME') return ['frame', 3];
  let wide = 0;
  for (let k = e; k && k !== document.body; k = k.parentElement) {
    const look = getComputedStyle(k);
    if (look.outlineStyle !== 'none' && !look.outlineColor.endsWith(', 0)'))
      wide = Math.max(wide, parseFloat(look.outlineWidth));
  }
  return [(e.innerText || e.ariaLabel || e.outerHTML).slice(0, 60), wide];
}"""


def hidden_stops(page, most: int = 25) -> tuple[int, list[str]]:  # type: ignore[no-untyped-def]
    """How many stops the Tab key makes on a page drawn, and those that cannot be seen."""
    met, hidden = 0, []
    for _ in range(most):
        page.keyboard.press("Tab")
        found = page.evaluate(SEEN)
        if found is None:
            break
        met += 1
        if found[1] < 2:
            hidden.append(found[0])
    return met, hidden


def test_enter_does_what_the_main_button_does_and_records_from_the_last_field_only(
        open_page, served):
    store, hour = Store.open(str(served.data)), HOURS["(a) ordinary hour"]
    put_before(store, hour, easy_photo())
    page = open_page("/round", size=DESK)

    def enter(label: str, text: str) -> None:
        at_rest(page)
        field = live(page).get_by_label(label).first
        field.fill(text)
        field.press("Enter")

    enter("Bed code", hour.bed)
    expect(page.get_by_role("heading", name=f"Round at bed {hour.bed}")).to_be_visible()
    thumb = Thumb(page)
    thumb.choose("The drain to the chamber", "Open")
    thumb.press("Without a photo")
    enter("Your reading in mL", "24")
    expect(page.get_by_text("Your eye alone: 24 mL")).to_be_visible()
    thumb.choose("Do these four hold", "All four hold")
    thumb.choose("The chamber after this reading", "Not emptied")
    before = store.count()
    enter("Value to confirm in mL", "24.5")
    at_rest(page)
    assert store.count() == before, "not the last field: nothing goes on record"
    enter("Your initials", "KT")
    expect(page.get_by_text("On record:").first).to_be_visible()
    assert str(store.entries(bed=hour.bed)[-1].confirmed_value) == "24.5"
    go_to(page, "/shift")
    enter("Bed code", hour.bed)
    page.get_by_text("Shifts start at 07:00, 19:00").click()
    enter("Shifts of this ward start at", "06:00,14:00,22:00")
    expect(page.get_by_text("Shifts start at 06:00, 14:00, 22:00")).to_be_visible()
    go_to(page, "/lesson-parallax")
    enter("Your prediction, mL", "30")
    expect(page.get_by_text("You predicted 30.0 mL").first).to_be_visible()


def test_a_photo_brought_leaves_the_keyboard_at_what_is_next(open_page):
    page = open_page("/chamber", size=DESK)
    give_file(page, SAMPLES / easy_photo()["file"])
    expect(page.get_by_text("Photo taken in").or_(page.locator("[data-testid=stImage]").first)
           .first).to_be_visible()
    page.wait_for_function(
        "() => document.activeElement && document.activeElement !== document.body")
    assert "Next" in page.evaluate("document.activeElement.innerText")
