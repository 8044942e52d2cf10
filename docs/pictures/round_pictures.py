"""The pictures of the pages "Round", "Orders", "Handles": a made-up morning at bed LAB-4."""

from __future__ import annotations

import datetime as dt
import sys
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import Page

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

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
    Store,
    confirm,
)
from vision.scale_file.scale import load_scale

BED = "LAB-4"
SAMPLE = Path(__file__).resolve().parents[2] / "sample_images" / "bench-1-pink.jpg"
TRUE = Attestations(outlet_closed=True, hanging_plumb=True, patient_undisturbed=True,
                    right_chamber_and_scale=True)


def morning(data: str) -> None:
    """An order, a level check, a setting and two readings, as if the last hours had been real."""
    store, by, bed = Store.open(data), Initials("M.K."), BedCode(BED)
    now = dt.datetime.now().astimezone()

    def add(draft, minutes: int, **more) -> None:  # type: ignore[no-untyped-def]
        store.add(confirm(draft, by=by, bed=bed, note="Made up for the guide.",
                          happened_at=Moment.of(now - dt.timedelta(minutes=minutes)), **more))

    add(OrderDraft(landmark="ear canal", threshold="10", unit="mm[Hg]", drain="continuously",
                   limits={"ml_per_hour": 15, "chamber_full_ml": 45, "reading_due_minutes": 60},
                   tell_whom="the doctor on call"), 190)
    add(LevelDraft.usual_method(landmark="ear canal"), 121)
    add(SettingDraft(unit="cm[H2O]"), 120, confirmed_value="13.5")
    add(EventDraft("drain-opened"), 119)
    for minutes, value in ((118, "4.5"), (60, "14")):
        add(ReadingDraft.by_eye(scale=load_scale("quay-60"), first=OwnReading.read(value)),
            minutes, confirmed_value=value, attestations=TRUE)


def press(page: Page, name: str) -> None:
    """Press the button of that name."""
    page.get_by_role("button", name=name).first.click()


def choose(page: Page, group: str, option: str) -> None:
    """One of the choices of a group."""
    page.get_by_role("radiogroup", name=group).get_by_text(option, exact=True).click()
    page.wait_for_timeout(700)


def work_through(page: Page, url: str, save: Callable[..., None]) -> None:
    """One hour from the bed to what it comes to; ``save(page, name, top)`` keeps a picture."""
    page.goto(f"{url}/round?bed={BED}")
    page.get_by_text("No reading in this hour").wait_for()
    save(page, "round-1-before-the-photo")
    page.get_by_text("Setting as ordered, checked").click()
    page.get_by_label("The panel is set to").fill("10")
    choose(page, "Unit printed on the panel", "cmH2O")
    page.get_by_text("Is the unit right?").wait_for()
    save(page, "round-2-unit-question", "The panel is set to")
    page.get_by_label("The panel is set to").fill("13,5")
    page.get_by_label("The panel is set to").press("Enter")
    page.get_by_text("They agree.").wait_for()
    choose(page, "The drain to the chamber", "Open")
    page.locator("input[type=file]").first.set_input_files(SAMPLE)
    page.get_by_label("Your reading in mL").fill("23,5")
    press(page, "This is my reading")
    page.get_by_text("Machine reading, not a record").first.wait_for()
    press(page, "Take the tool's")
    choose(page, "Do these four hold", "All four hold")
    choose(page, "The chamber after this reading", "Not emptied")
    save(page, "round-3-both", "Your reading")
    page.get_by_label("Your initials").fill("M.K.")
    press(page, "Put on record")
    page.get_by_text("On record:").first.wait_for()
    save(page, "round-4-done")


def orders_and_handles(page: Page, url: str, save: Callable[..., None]) -> None:
    """A changed order with the question about its unit, and one position of the handles."""
    page.goto(f"{url}/orders")
    page.get_by_label("Bed code").fill(BED)
    page.get_by_label("Bed code").press("Enter")
    page.get_by_label("Ordered threshold").fill("136")
    page.get_by_role("radiogroup", name="Unit as it stands").get_by_text("cmH2O").click()
    page.get_by_text("Is the unit right?").wait_for()
    save(page, "orders-unit-question", "Ordered threshold")
    page.goto(f"{url}/handles")
    for text in ("open to all", "closed toward pressure port"):
        page.get_by_text(text, exact=True).first.click()
        page.wait_for_timeout(300)
    page.get_by_role("radiogroup", name="Outlet to the bag").get_by_text("closed").click()
    page.get_by_role("radiogroup", name="Chamber's vent").get_by_text("free and dry").click()
    page.get_by_text("Thick line").wait_for()
    save(page, "handles-diagram", "Chamber's vent")
