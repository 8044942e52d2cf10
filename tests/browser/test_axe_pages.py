"""Every page in both themes, phone and desk: the axe rules for WCAG 2.2 AA, 44-px targets, and
where the keyboard is.

Rules: the axe-core engine, tags wcag2a to wcag22aa (W3C, Web Content Accessibility
Guidelines 2.2, 2023).  44 px is success criterion 2.5.5 (level AAA; 2.5.8, AA, asks for 24).
"""

from __future__ import annotations

import datetime as dt

import pytest
from hour_taps import SAMPLES, Thumb, easy_photo
from playwright.sync_api import expect
from serving import PHONE, go_to, lasting, too_small_now
from test_access import faults_now
from test_keyboard import hidden_stops

from app.pages import all_pages
from app.records import (
    Attestations,
    BedCode,
    EventDraft,
    Initials,
    LevelDraft,
    Moment,
    OrderDraft,
    OwnReading,
    ReadingDraft,
    SettingDraft,
    SkipDraft,
    Store,
    confirm,
)
from app.rounds import Round, RoundBook
from vision.scale_file.scale import load_scale

pytestmark = pytest.mark.browser
expect.set_options(timeout=60_000)
DESK = {"width": 1280, "height": 900}
BED = "AXE-1"
ALL_TRUE = Attestations(outlet_closed=True, hanging_plumb=True, patient_undisturbed=True,
                        right_chamber_and_scale=True)


def fill(data) -> None:  # type: ignore[no-untyped-def]
    """A shift at one bed on record, and a round under way there."""
    store, by, bed = Store.open(str(data)), Initials("M.K."), BedCode(BED)
    now = dt.datetime.now().astimezone()

    def add(draft, minutes: int, **more) -> None:  # type: ignore[no-untyped-def]
        store.add(confirm(draft, by=by, bed=bed,
                          happened_at=Moment.of(now - dt.timedelta(minutes=minutes)), **more))

    add(OrderDraft(landmark="ear canal", threshold="10", unit="mm[Hg]", drain="continuously",
                   limits={"ml_per_hour": 10, "chamber_full_ml": 60, "reading_due_minutes": 60},
                   tell_whom="the doctor on call"), 300)
    add(LevelDraft.usual_method(landmark="ear canal"), 200)
    add(SettingDraft(unit="cm[H2O]"), 190, confirmed_value="13.6")
    for minutes, value in ((180, "12"), (120, "21.5"), (60, "36"), (2, "44.5")):
        add(ReadingDraft.by_eye(scale=load_scale("quay-60"), first=OwnReading.read(value)),
            minutes, confirmed_value=value, attestations=ALL_TRUE)
    add(EventDraft("drain-opened"), 179)
    add(SkipDraft("level check", "the level was checked an hour ago"), 1)
    RoundBook(data / "rounds").begin(Round.begin(BED, Moment.now(), store.count()))


@pytest.fixture(scope="module")
def bed_on_record(served) -> str:  # type: ignore[no-untyped-def]
    fill(served.data)
    return BED


def wrong_with(page, size) -> list[str]:  # type: ignore[no-untyped-def]
    """What keeps anyone out, looked for once the page is at rest."""
    return lasting(page, lambda: faults_now(page) + (
        too_small_now(page) if size == PHONE else []))


def addresses() -> list[str]:
    return [f"/{e.name.replace('_', '-')}" for e in all_pages()] + [f"/round?bed={BED}"]


@pytest.mark.parametrize(("scheme", "size"), [("dark", PHONE), ("light", DESK)],
                         ids=["dark phone", "light desk"])
def test_no_page_keeps_anyone_out(open_page, served, bed_on_record, scheme, size):
    page = open_page(size=size, scheme=scheme)
    found: dict[str, list[str]] = {}
    heads: set[str] = set()
    met = 0
    for address in addresses():
        if "?" in address:  # what an address asks for is heard when the program is loaded
            page.goto(served.url + address)
        else:
            go_to(page, address)
        heads.add(page.get_by_role("heading", level=1).first.inner_text())
        wrong = wrong_with(page, size)
        if str(served.data.parent) in page.locator("body").inner_text():
            wrong.append("a path of the server")
        stops, hidden = hidden_stops(page)
        met += stops
        if wrong or hidden:
            found[address] = wrong + [f"the keyboard cannot be seen at: {h}" for h in hidden]
    assert len(addresses()) >= 6 and met > 100
    assert len(heads) >= len(all_pages()), "each page was there, and was not taken for another"
    assert found == {}


@pytest.mark.parametrize(("scheme", "size"), [("dark", PHONE), ("light", DESK)],
                         ids=["dark phone", "light desk"])
def test_every_view_of_an_hour_can_be_used_by_everyone(open_page, served, bed_on_record, scheme,
                                                       size):
    page = open_page(f"/round?bed={BED}", size=size, scheme=scheme)
    thumb = Thumb(page)

    def look() -> None:
        assert wrong_with(page, size) == []

    expect(page.get_by_text("Without a photo: your eye alone")).to_be_visible()
    thumb.tap(page.get_by_text("Level checked"))  # what holds is a line that can be opened
    thumb.choose("Level at the landmark", "Not now")
    thumb.choose("The drain to the chamber", "Closed")  # not as ordered: asked about
    look()
    label = easy_photo()
    thumb.take_photo(SAMPLES / label["file"])
    look()
    thumb.type("Your reading in mL", "44.5")
    thumb.read("This is my reading")
    thumb.press("Take mine")
    thumb.choose("Do these four hold", "Not all")
    thumb.choose("The chamber after this reading", "Other")
    thumb.press("Put on record")
    expect(page.get_by_text("At the last press, not recorded:")).to_be_visible()
    look()
