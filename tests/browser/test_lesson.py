"""The lesson pages in a real browser: the picture follows the slider, and all can use them."""

from __future__ import annotations

import pytest
from serving import live
from test_access import faults

pytestmark = pytest.mark.browser

PICTURE = '[data-testid="stImage"] img'
CHANGED = """old => { const i = document.querySelector('[data-testid="stImage"] img');
return i && i.getAttribute('src') !== old && i.complete && i.naturalWidth > 0; }"""


@pytest.mark.parametrize(("scheme", "size"), [
    ("dark", {"width": 390, "height": 844}), ("light", {"width": 1920, "height": 1080})],
    ids=["dark phone", "light projector"])
def test_the_picture_follows_the_eye(open_page, scheme, size):
    page = open_page("/lesson-parallax", size=size, scheme=scheme)
    page.locator(PICTURE).first.wait_for()
    page.locator('[aria-label*="too much"]').first.wait_for(state="attached")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), "no sideways scroll"
    old = page.locator(PICTURE).first.get_attribute("src")
    live(page).get_by_role("slider", name="Eye above").press("ArrowLeft")
    page.wait_for_function(CHANGED, arg=old, timeout=60_000)
    box = page.locator(PICTURE).first.bounding_box()
    assert box and box["y"] < size["height"] * 0.6, "picture and slider fit on one screen"
    assert faults(page) == []


def test_a_task_of_the_level_lesson_on_a_telephone(open_page):
    page = open_page("/lesson-level")
    page.get_by_text("Round of ten", exact=True).click()
    live(page).get_by_role("button", name="Begin a round of ten").click()
    field = live(page).get_by_label("At which pressure")
    field.fill("12")
    field.press("Tab")
    assert not page.get_by_text("The sum", exact=True).count(), "not before the answer"
    live(page).get_by_role("button", name="Commit my answer").click()
    page.get_by_text("The sum", exact=True).wait_for()
    assert faults(page) == []
