"""The pictures of the pages "Round", "Orders" and "Handles", with a made-up morning at bed DEMO."""

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

BED = "DEMO"
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
    for minutes, value in ((118, "12.5"), (60, "23")):
        add(ReadingDraft.by_eye(scale=load_scale("quay-60"), first=OwnReading.read(value)),
            minutes, confirmed_value=value, attestations=TRUE)


def press(page: Page, name: str) -> None:
    """Press the button of that name."""
    page.get_by_role("button", name=name).first.click()


def step(page: Page, number: int) -> None:
    """Wait for a step of the round."""
    page.get_by_text(f"Step {number} of 7").wait_for()


def work_through(page: Page, url: str, save: Callable[..., None]) -> None:
    """One round from the bed to its end; ``save(page, name, top)`` keeps a picture."""
    page.goto(f"{url}/round?bed={BED}")
    page.get_by_label("Your initials").wait_for()
    save(page, "round-1-what-is-known")
    page.get_by_label("Your initials").fill("M.K.")
    press(page, "Begin the round")
    step(page, 1)
    save(page, "round-2-level")
    press(page, "Level: checked by the usual method")
    step(page, 2)
    page.get_by_label("The panel is set to").fill("10")
    page.get_by_role("radiogroup", name="Unit printed on the panel").get_by_text("cmH2O").click()
    page.get_by_text("Is the unit right?").wait_for()
    save(page, "round-3-unit-question")
    page.get_by_label("The panel is set to").fill("13,5")
    page.get_by_label("The panel is set to").press("Enter")
    page.get_by_text("They agree.").wait_for()
    press(page, "Confirm the setting")
    step(page, 3)
    press(page, "The drain to the chamber is open")
    step(page, 4)
    press(page, "It has been collecting since")
    page.get_by_text("Collecting since").wait_for()
    save(page, "round-4-timer")
    press(page, "Collecting is over: read now")
    step(page, 5)
    page.get_by_text("Without a photo: your eye alone").click()
    page.get_by_text("quay-60", exact=True).click()
    page.get_by_label("Your reading in mL").fill("34,5")
    for statement in ("outlet was closed", "hangs plumb", "undisturbed", "right chamber"):
        page.get_by_role("radiogroup", name=statement).get_by_text("Yes").click()
        page.wait_for_timeout(400)
    press(page, "Confirm what my eye read")
    step(page, 6)
    save(page, "round-5-output", "Step 6 of 7")
    press(page, "Seen: go on")
    step(page, 7)
    save(page, "round-6-fill-limit", "Step 7 of 7")
    page.get_by_text("Skip this step, or break").click()
    page.get_by_label("Reason").fill("bag is changed at noon")
    press(page, "Skip: emptying the chamber")
    page.get_by_text("Finish the round").wait_for()
    save(page, "round-7-done", "Done")


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
