"""An hour at a bed at 390 x 844: few taps, one step back loses nothing, a reload neither."""

from __future__ import annotations

from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import hour_taps
import pytest
from hour_taps import HOURS, SAMPLES, Hour, Thumb, easy_photo, put_before, walk
from playwright.sync_api import expect
from serving import at_rest, give_file, live

from app.records import Store
from app.rounds import RoundBook

pytestmark = pytest.mark.browser
expect.set_options(timeout=60_000)
LABEL = easy_photo()


def at(page) -> str:  # type: ignore[no-untyped-def]
    return parse_qs(urlsplit(page.url).query).get("at", [""])[0]


def before(served, name: str) -> Hour:  # type: ignore[no-untyped-def]
    hour = HOURS[name]
    put_before(Store.open(str(served.data)), hour, LABEL)
    return hour


def test_an_ordinary_hour_takes_twelve_taps_and_two_fields_at_most(open_page, served):
    hour = before(served, "(a) ordinary hour")
    thumb = Thumb(open_page("/round"))
    walk(thumb, served, hour, LABEL)
    assert thumb.taps <= 12 and thumb.fields <= 2
    assert thumb.deepest <= 1.5, "what is needed lies within the first screen and a half"
    kinds = [e.event or e.kind for e in Store.open(str(served.data)).entries(bed=hour.bed)]
    assert kinds[-2:] == ["drain-opened", "volume-reading"]
    assert list((served.data / "rounds").iterdir()) == []
    assert hour_taps.HEAD.count("|") == thumb.row("x").count("|") * 2


def test_back_is_one_step_back_and_a_reload_loses_nothing(open_page, served):
    hour = before(served, "(b) with emptying")
    page = open_page(f"/round?bed={hour.bed}")
    at_rest(page)
    thumb = Thumb(page)
    thumb.choose("The drain to the chamber", "Open")
    give_file(page, SAMPLES / LABEL["file"])
    expect(page.get_by_alt_text("nothing drawn into it")).to_be_visible()
    at_rest(page)
    assert at(page) == "own"
    page.reload()  # the photo is still in hand, and the tool has not been asked
    expect(page.get_by_alt_text("nothing drawn into it")).to_be_visible()
    thumb.type("Your reading in mL", f"{LABEL['true_value']:.1f}")
    thumb.read("This is my reading")
    assert at(page) == "both"
    (under_way,) = RoundBook(served.data / "rounds").all()
    assert (under_way.bed, under_way.at) == (hour.bed, "both")
    thumb.press("Take mine")
    thumb.choose("Do these four hold", "All four hold")
    page.go_back()
    expect(page.get_by_text("before the tool spoke. It stands.")).to_be_visible()
    at_rest(page)
    page.go_back()
    expect(live(page).get_by_role("radio", name="Open")).to_be_checked()
    at_rest(page)
    thumb.press("Go on with this photo")
    page.reload()
    expect(page.get_by_text("Machine reading, not a record").first).to_be_visible()
    at_rest(page)
    expect(live(page).get_by_role("radio", name="All four hold")).to_be_checked()
    expect(live(page).get_by_label("Value to confirm in mL")).to_have_value(
        f"{LABEL['true_value']:.1f}")
    thumb.choose("The chamber after this reading", "Emptied to 0")
    thumb.type("Your initials", "KT")
    thumb.press("Put on record")
    expect(page.get_by_text("On record:").first).to_be_visible()
    emptied = Store.open(str(served.data)).entries(bed=hour.bed)[-1]
    assert (emptied.event, emptied.payload["after_ml"]) == ("chamber-emptied", "0")
    assert str(emptied.initials) == "KT"
    # A value from outside for a field that has a beginning of its own: one of the two is lost.
    log = (served.data.parent / f"{served.data.name}.log").read_text()
    assert "Session State API" not in log


def test_initials_are_a_chip_for_the_next_hour_and_another_persons_on_a_press(open_page, served):
    hour = before(served, "(c) first hour of a new bed")
    page = open_page("/round")
    walk(Thumb(page), served, hour, LABEL)
    put_before(Store.open(str(served.data)), Hour("SPRUCE-4"), LABEL)
    page.goto(f"{served.url}/round?bed=SPRUCE-4")
    at_rest(page)
    page.get_by_text("No reading in this hour").click()
    expect(live(page).get_by_role("button", name="put on record as KT")).to_be_visible()
    at_rest(page)
    Thumb(page).press("KT - not you?")
    expect(live(page).get_by_label("Your initials")).to_have_value("")


def test_a_reading_over_the_limit_says_whom_to_tell_in_the_words_of_the_order(open_page, served):
    hour = before(served, "(d) over the limit")
    page = open_page("/round")
    walk(Thumb(page), served, hour, LABEL)
    expect(page.get_by_text("over your limit of 3 mL in an hour").first).to_be_visible()
    expect(page.get_by_text("the doctor on call").first).to_be_visible()
    assert Path(SAMPLES / LABEL["file"]).exists()
