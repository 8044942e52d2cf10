"""A page server killed in the middle of an entry: what was confirmed is there, nothing else."""

from __future__ import annotations

import os
import random
import subprocess
import sys
import time
import urllib.request
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from playwright.sync_api import expect
from serving import PHONE, ROOT, free_port, live, new_context

from app.records import Store

pytestmark = pytest.mark.browser
expect.set_options(timeout=30_000)

SEED, KILLS = 20260302, 2


@dataclass
class Station:
    """A page server that can be killed and started again at the same address."""

    data: Path
    port: int = field(default_factory=free_port)
    process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Start it unless it runs."""
        if self.process is not None and self.process.poll() is None:
            return
        env = {**os.environ, "PYTHONPATH": str(ROOT)}
        with (self.data.parent / "station.log").open("ab") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "app", "serve", "--port", str(self.port), "--data",
                 str(self.data), "--no-browser"], cwd=ROOT, env=env, stdout=log, stderr=log)
        deadline = time.monotonic() + 60
        while True:
            try:
                urllib.request.urlopen(f"{self.url}/_stcore/health", timeout=1).close()
                return
            except OSError:
                assert self.process.poll() is None, "the page server ended"
                assert time.monotonic() < deadline, "the page server does not answer"
                time.sleep(0.1)

    def kill(self) -> None:
        assert self.process is not None
        self.process.kill()
        self.process.wait()


@pytest.fixture(scope="module")
def station(chromium, tmp_path_factory):
    made = Station(tmp_path_factory.mktemp("restart") / "ward")
    made.start()
    yield made
    made.kill()


@pytest.fixture(scope="module")
def profile(browser):
    """One for both tests, so that the pages' scripts are compiled once."""
    context = new_context(browser, *PHONE.values(), "light")
    yield context
    context.close()


def open_bed(profile, station, bed: str):  # type: ignore[no-untyped-def]
    station.start()
    page = profile.new_page()
    page.set_default_timeout(30_000)
    page.goto(f"{station.url}/shift")
    live(page).get_by_label("Bed code of your ward").fill(bed)
    live(page).get_by_label("Bed code of your ward").press("Enter")
    expect(page.get_by_text("Enter what was done")).to_be_visible()
    return page


def fill_form(page, name: str) -> None:  # type: ignore[no-untyped-def]
    live(page).get_by_role("radiogroup").get_by_text(name, exact=True).click()
    expect(live(page).get_by_label("Your initials")).to_be_visible()
    live(page).get_by_label("Your initials").fill("M.K.")


def test_what_was_confirmed_survives_and_what_was_not_is_not_there(profile, station):
    page = open_bed(profile, station, "QUAY-3")
    fill_form(page, "Drain closed")
    live(page).get_by_role("button", name="Confirm: drain closed").click()
    expect(page.get_by_text("drain closed at")).to_be_visible()
    fill_form(page, "Bag changed")  # typed, not confirmed
    station.kill()
    station.start()
    page.reload()
    live(page).get_by_role("button", name="QUAY-3").click()
    expect(page.get_by_text("On record, newest first")).to_be_visible()
    expect(page.get_by_text("drain closed", exact=False).first).to_be_visible()
    expect(live(page).get_by_role("button", name="Confirm: bag changed")).to_have_count(0)
    store = Store.open(station.data)
    assert [e.event for e in store.entries(bed="QUAY-3")] == ["drain-closed"]
    assert store.verify().ok
    fill_form(page, "Drain opened")
    live(page).get_by_role("button", name="Confirm: drain opened").click()
    expect(page.get_by_text("drain opened at")).to_be_visible()
    assert len(store.entries(bed="QUAY-3")) == 2 and store.verify().ok
    page.close()


def test_killed_at_the_moment_of_confirming(profile, station):
    """Whatever the moment: one entry or none, never two, never a broken one, and what the
    page has called on record is on record."""
    delays = random.Random(SEED)
    for _ in range(KILLS):
        page = open_bed(profile, station, "PIER-4")
        before = Store.open(station.data).count()
        fill_form(page, "Bag changed")
        live(page).get_by_role("button", name="Confirm: bag changed").click()
        time.sleep(delays.uniform(0.0, 0.6))
        said = page.get_by_text("bag changed at").count() > 0
        station.kill()
        store = Store.open(station.data)
        assert store.verify().ok
        assert store.count() - before in ((1,) if said else (0, 1))
        page.close()
