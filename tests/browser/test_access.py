"""Contrast, names and roles: the axe rules for WCAG 2.2 AA in both themes, phone and desk."""

from __future__ import annotations

import json

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect
from serving import PHONE, lasting, live, too_small
from test_chamber import easy_photo, read_first, upload

pytestmark = pytest.mark.browser
expect.set_options(timeout=60_000)

#: Only what is wrong is gathered in full: the rest would be most of the work.
RULES = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa",
                                               "wcag22aa"]}, "resultTypes": ["violations"]}


def faults(page) -> list[str]:
    """One line a fault: rule, help and the element."""
    return lasting(page, lambda: faults_now(page))


def faults_now(page) -> list[str]:
    """The same of a page that the page server does not draw."""
    if not page.evaluate("'axe' in window"):
        page.evaluate(Axe().axe_script)
    found = page.evaluate("rules => axe.run(rules).then(results => results.violations)", RULES)
    return [f"{v['id']}: {v['help']}: {n['html'][:160]} {json.dumps(n['any'])[:200]}"
            for v in found for n in v["nodes"]]


@pytest.mark.parametrize(("scheme", "size"), [
    ("dark", PHONE), ("light", {"width": 1280, "height": 900})],
    ids=["dark phone", "light desk"])
def test_the_page_can_be_read_and_used_by_everyone(open_page, scheme, size):
    """And every target is large enough for a thumb: 44 CSS px, WCAG 2.2, success criterion 2.5.5
    (level AAA; 2.5.8, level AA, asks for 24)."""
    page = open_page("/chamber", size=size, scheme=scheme)
    upload(page, easy_photo())
    assert faults(page) == []
    read_first(page, "20")
    live(page).get_by_role("button", name="Take mine").click()
    expect(live(page).get_by_label("Value to confirm in mL")).to_have_value("20")
    if size == PHONE:
        assert too_small(page) == []
    live(page).get_by_role("button", name="Confirm and record").click()
    page.get_by_text("At the last press, not recorded:").wait_for()
    assert faults(page) == []
