"""A whole round at 390 x 844, from the order to the record, with a real photo file.

In the middle of the collecting the server is killed and started again, and later
the page is loaded anew: nothing that was done is lost, and nothing unconfirmed is kept.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
import urllib.request
from decimal import Decimal
from pathlib import Path

import pytest
from playwright.sync_api import expect
from serving import PHONE, ROOT, at_rest, free_port, give_file, live
from test_chamber import answer_all, easy_photo, load_scale_name

from app.records import Store

pytestmark = pytest.mark.browser
expect.set_options(timeout=60_000)
SAMPLES = ROOT / "sample_images"
BED = "QUAY-3"


class Server:
    """A page server that can be killed as by a power cut, and started again."""

    def __init__(self, data: Path) -> None:
        self.data, self.port = data, free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        self.start()

    def start(self) -> None:
        env = {**os.environ, "PYTHONPATH": str(ROOT)}
        self.process = subprocess.Popen(
            [sys.executable, "-m", "app", "serve", "--port", str(self.port), "--data",
             str(self.data), "--no-browser"], cwd=ROOT, env=env,
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        for _ in range(300):
            try:
                urllib.request.urlopen(f"{self.url}/_stcore/health", timeout=1).close()
                return
            except OSError:
                time.sleep(0.1)
        pytest.fail("The page server did not start.")

    def kill(self) -> None:
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()


@pytest.fixture
def server(chromium: str, tmp_path: Path):  # type: ignore[no-untyped-def]
    found = Server(tmp_path / "ward")
    yield found
    found.kill()


@pytest.fixture
def page(browser, server):  # type: ignore[no-untyped-def]
    context = browser.new_context(viewport=PHONE, color_scheme="dark", has_touch=True)
    made = context.new_page()
    made.set_default_timeout(60_000)
    yield made
    context.close()


def look(page, name: str) -> None:
    """Keep a picture where COUNTERSIGHT_LOOK names a folder."""
    folder = os.environ.get("COUNTERSIGHT_LOOK")
    if folder:
        page.wait_for_timeout(700)
        Path(folder).mkdir(parents=True, exist_ok=True)
        page.screenshot(path=Path(folder) / f"{name}.png")


def press(page, name: str) -> None:
    at_rest(page)
    live(page).get_by_role("button", name=name).first.click()


def order_typed(page, url: str, number: str = "10") -> None:
    page.goto(f"{url}/orders")
    live(page).get_by_label("Bed code").fill(BED)
    live(page).get_by_label("Bed code").press("Enter")
    live(page).get_by_label("Landmark").fill("ear canal")
    live(page).get_by_label("Ordered threshold").fill(number)
    live(page).get_by_role("radiogroup", name="Unit as it stands").get_by_text("mmHg").click()
    page.get_by_text("drain continuously").click()
    live(page).get_by_label("Whom to tell").fill("the doctor on call")
    live(page).get_by_label("Whom to tell").press("Enter")
    at_rest(page)  # a page that is being drawn anew moves away under the press
    page.get_by_text("Limits that the order names").click()
    live(page).get_by_label("Read the chamber every").fill("60")
    live(page).get_by_label("Empty the chamber at").fill("60")
    live(page).get_by_label("Empty the chamber at").press("Enter")
    expect(page.get_by_text("You confirm: Landmark: ear canal")).to_be_visible()
    live(page).get_by_label("Your initials").fill("R.T.")
    look(page, "orders")
    press(page, "Confirm the order and record")
    expect(page.get_by_text(f"Order of bed {BED}, confirmed by R.T.")).to_be_visible()


def step(page, number: int, name: str):  # type: ignore[no-untyped-def]
    expect(page.get_by_text(f"Step {number} of 7: {name}")).to_be_visible()
    look(page, f"round-{number}-{name.split()[0].lower()}")


def bring_in(page, label: dict) -> None:
    """Photo and scale."""
    give_file(page, SAMPLES / label["file"])
    expect(page.get_by_alt_text("with nothing drawn into it")).to_be_visible()
    at_rest(page)
    page.get_by_text(load_scale_name(label), exact=True).click()


def test_a_round_from_the_order_to_the_record(page, server):
    order_typed(page, server.url)
    page.goto(f"{server.url}/round")
    live(page).get_by_label("Bed code").fill(BED)
    look(page, "round-0-start")
    press(page, "Open this bed")
    expect(page.get_by_text("No reading is on record for this bed yet.")).to_be_visible()
    live(page).get_by_label("Your initials").fill("M.K.")
    look(page, "round-0-bed")
    press(page, "Begin the round")

    step(page, 1, "Level check")
    press(page, "Level: checked by the usual method")
    step(page, 2, "Setting against the order")
    live(page).get_by_label("The panel is set to").fill("13,6")
    unit = live(page).get_by_role("radiogroup", name="Unit printed on the panel")
    unit.get_by_text("cmH2O").click()
    expect(page.get_by_text("that is 10.0 mmHg. The order says 10 mmHg. They agree.")
           ).to_be_visible()
    look(page, "round-2-compared")
    press(page, "Confirm the setting")
    step(page, 3, "Drain state")
    press(page, "The drain to the chamber is open")
    step(page, 4, "Collect")
    live(page).get_by_label("For how many minutes").fill("45")
    press(page, "Start collecting now")
    expect(page.get_by_text("Collecting since")).to_be_visible()
    began = page.get_by_text("Collecting since").inner_text().split()[2]

    server.kill()  # nothing is said goodbye to
    server.start()
    page.reload()
    expect(page.get_by_text(f"Collecting since {began}")).to_be_visible()
    look(page, "round-4-after-the-kill")
    press(page, "Collecting is over: read now")

    step(page, 5, "Read the chamber")
    label = easy_photo()
    bring_in(page, label)
    own = f"{label['true_value']:.1f}"
    live(page).get_by_label("Your reading in mL").fill(own.replace(".", ","))
    assert "Machine reading" not in page.content()
    look(page, "round-5-own")
    press(page, "This is my reading")
    expect(page.get_by_text("Machine reading, not a record").first).to_be_visible()
    page.reload()  # before anything was confirmed: the step is still there, the reading is not
    step(page, 5, "Read the chamber")
    assert "Machine reading" not in page.content()
    bring_in(page, label)
    live(page).get_by_label("Your reading in mL").fill(own)
    press(page, "This is my reading")
    expect(page.get_by_text("Machine reading, not a record").first).to_be_visible()
    look(page, "round-5-both")
    press(page, "Take mine")
    answer_all(page)
    expect(live(page).get_by_label("Bed code")).to_have_count(0)
    live(page).get_by_label("Your initials").first.fill("M.K.")
    press(page, "Confirm and record")

    step(page, 6, "Output and totals")
    expect(page.get_by_text("It takes two readings")).to_be_visible()
    press(page, "Seen: go on")
    step(page, 7, "Empty the chamber")
    at_rest(page)
    page.get_by_text("Skip this step, or break").click()
    live(page).get_by_label("Reason").fill("half full only")
    page.locator("[data-testid=stExpander]").filter(has_text="Skip this step").get_by_label(
        "Your initials").fill("M.K.")
    press(page, "Skip: emptying the chamber")
    expect(page.get_by_text("Next reading due at")).to_be_visible()
    expect(page.get_by_text("Emptying the chamber: SKIPPED")).to_be_visible()
    look(page, "round-8-done")
    press(page, "Finish the round")
    expect(page.get_by_text("The round is finished.")).to_be_visible()
    look(page, "round-9-finished")

    store = Store.open(str(server.data))
    kinds = [(e.kind, e.event) for e in store.entries(bed=BED)]
    assert kinds == [("order", None), ("level-check", None), ("setting-check", None),
                     ("event", "drain-opened"), ("volume-reading", None), ("skipped-step", None)]
    setting, reading, skipped = (store.entries(bed=BED, kind=k)[0] for k in (
        "setting-check", "volume-reading", "skipped-step"))
    assert (setting.confirmed_value, setting.unit) == (Decimal("13.6"), "cm[H2O]")
    assert reading.confirmed_value == reading.first.value == Decimal(own)
    assert (skipped.payload["step"], skipped.reason) == ("emptying the chamber", "half full only")
    assert store.verify().ok
    assert list((server.data / "rounds").iterdir()) == []
