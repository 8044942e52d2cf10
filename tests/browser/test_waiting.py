"""A reading in line behind others: its place is shown, a touch does not lose it, it comes."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import pytest
from playwright.sync_api import expect
from serving import free_port, live, opener, serve
from test_chamber import easy_photo, upload

pytestmark = pytest.mark.browser
expect.set_options(timeout=60_000)

TESTS = Path(__file__).resolve().parents[1]


@pytest.fixture
def gate(tmp_path) -> Path:
    return tmp_path / "gate"


@pytest.fixture
def served(chromium, tmp_path, gate):
    port, data = free_port(), tmp_path / "ward"
    script = ("import os, runpy, sys; "  # the server's own environment leaves out the tests
              f"sys.path.insert(0, {str(TESTS)!r}); "
              f"os.environ['PYTHONPATH'] += os.pathsep + {str(TESTS)!r}; "
              "sys.argv = sys.argv[1:]; runpy.run_path(sys.argv[0], run_name='__main__')")
    yield from serve([sys.executable, "-c", script, str(TESTS / "browser" / "one_reader.py"),
                      str(gate), "serve", "--port", str(port), "--data", str(data),
                      "--no-browser"], port, data)


@pytest.fixture
def open_page(browser, served):
    yield from opener(browser, served)


def test_two_readings_before_yours(open_page, gate):
    label = easy_photo()
    page = open_page("/chamber")
    upload(page, label)
    live(page).get_by_label("Your reading in mL").fill("20")
    live(page).get_by_role("button", name="This is my reading").click()
    expect(page.get_by_text("Waiting: two readings before yours.")).to_be_visible()
    assert not Path(f"{gate}.line").exists()

    gate.touch()
    expect(page.get_by_text("Machine reading, not a record").first).to_be_visible()
    expect(page.get_by_text("Waiting:")).to_have_count(0)
    assert Path(f"{gate}.line").read_text().split() == ["first", "second"]


def test_who_touches_the_page_keeps_the_place_and_who_leaves_frees_it(open_page, gate):
    label = easy_photo()
    first, second = open_page("/chamber"), open_page("/chamber")
    for page in (first, second):
        upload(page, label)
        live(page).get_by_label("Your reading in mL").fill("20")
        live(page).get_by_role("button", name="This is my reading").click()
        expect(page.get_by_text("readings before yours.")).to_be_visible()
    expect(second.get_by_text("Waiting: three readings before yours.")).to_be_visible()
    # A touch while it waits: the run must not begin anew, at the end of the line.
    first.get_by_text("heron-100", exact=True).click()
    time.sleep(1)
    expect(first.get_by_text("Waiting: two readings before yours.")).to_be_visible()
    expect(second.get_by_text("Waiting: three readings before yours.")).to_be_visible()
    first.close()
    expect(second.get_by_text("Waiting: two readings before yours.")).to_be_visible()
    gate.touch()
    expect(second.get_by_text("Machine reading, not a record").first).to_be_visible()
