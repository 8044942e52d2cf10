"""The page "Ward" in a real browser: the way in, one tap to a round, the title, the sign."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect
from records_help import reading
from serving import PHONE, at_rest, live, too_small
from shift_page import ago, put
from test_access import faults

from app.records import BedCode, LevelDraft, OrderDraft, Store

pytestmark = pytest.mark.browser
expect.set_options(timeout=60_000)
DESK = {"width": 1280, "height": 900}


def fill(data) -> None:  # type: ignore[no-untyped-def]
    """Two beds: one reading is overdue, one is not."""
    store = Store.open(str(data))
    for bed, minutes in (("QUAY-3", 90), ("QUAY-4", 20)):
        code = BedCode(bed)
        put(store, OrderDraft(landmark="ear canal", limits={"reading_due_minutes": 60}), 200,
            bed=code, clock_checked=True)
        put(store, LevelDraft.usual_method(), 190, bed=code, clock_checked=True)
        store.add(reading("14", bed=code, clock=lambda m=minutes: ago(m), clock_checked=True))


def test_a_first_visit_offers_the_demo_bed_and_throws_it_away(open_page, served):
    page = open_page("/")
    live(page).get_by_role("button", name="Try it with the demo bed").click()
    expect(page.get_by_text("made up, nothing here goes on the ward's record")).to_be_visible()
    page.get_by_role("link", name="Bed DEMO").click()
    expect(page.get_by_role("heading", name="Round at bed DEMO")).to_be_visible()
    assert faults(page) == [] and too_small(page) == []
    assert Store.open(str(served.data)).count() == 0, "nothing of it is on the ward's record"
    live(page).get_by_role("button", name="Throw the demo bed away").click()
    expect(page.get_by_role("heading", name="Round", exact=True)).to_be_visible()
    page.goto(served.url)
    expect(page.get_by_text("No bed has an open order")).to_be_visible()


@pytest.mark.parametrize(("scheme", "size"), [("dark", PHONE), ("light", DESK)],
                         ids=["dark phone", "light desk"])
def test_one_tap_on_a_bed_is_its_round(open_page, served, scheme, size):
    if not Store.open(str(served.data)).count():
        fill(served.data)
    page = open_page("/", size=size, scheme=scheme)
    expect(page.locator(".cs-bed")).to_have_count(2)
    at_rest(page)
    assert page.title() == "(1) Countersight"
    first = page.locator("[class*=st-key-way-]").first
    expect(first).to_contain_text("reading due")
    assert faults(page) == [] and (size != PHONE or too_small(page) == [])
    box = first.bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] - 12)
    expect(page.get_by_role("heading", name="Round at bed QUAY-3")).to_be_visible()
    page.go_back()
    expect(page.locator(".cs-bed")).to_have_count(2)


def test_the_browser_tells_once_and_only_with_leave(open_page, served):
    if not Store.open(str(served.data)).count():
        fill(served.data)
    page = open_page("/")
    page.add_init_script("""
      window.told = [];
      window.Notification = class { constructor(t, o) { window.told.push(t + '; ' + o.body); } };
      Notification.permission = 'default';
      Notification.requestPermission = async () => Notification.permission = 'granted';
    """)
    page.reload()
    expect(page.locator(".cs-bed")).to_have_count(2)
    at_rest(page)
    assert page.evaluate("window.told") == []
    page.get_by_text("Let this browser tell").click()
    expect(page.get_by_text("This is no alarm system")).to_be_visible()
    page.get_by_role("button", name="Switch it on or off").click()
    expect(page.locator(".cs-watch-state")).to_have_text(
        "This browser tells when a reading is due.")
    assert page.evaluate("window.told") == ["One reading is due; Countersight. No alarm system."]
    assert "QUAY" not in str(page.evaluate("window.told")), "no bed on a locked screen"
