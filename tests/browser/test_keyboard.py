"""Where the keyboard is can be seen (test_axe_pages asks it of every page), and a photo brought
does not lose it.

WCAG 2.2, 2.4.7 (focus visible) and 2.4.13 (at least 2 CSS px; W3C, 2023).
"""

from __future__ import annotations

import pytest
from playwright.sync_api import expect
from serving import give_file
from test_chamber import SAMPLES, easy_photo

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


def test_a_photo_brought_leaves_the_keyboard_at_what_is_next(open_page):
    page = open_page("/chamber", size=DESK)
    give_file(page, SAMPLES / easy_photo()["file"])
    expect(page.get_by_text("Photo taken in").or_(page.locator("[data-testid=stImage]").first)
           .first).to_be_visible()
    page.wait_for_function(
        "() => document.activeElement && document.activeElement !== document.body")
    assert "Next" in page.evaluate("document.activeElement.innerText")
