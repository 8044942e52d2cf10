"""The benchmark's report and the reading trial in a real browser, wide and on a phone."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import expect
from serving import live

sys.path.insert(0, str(Path(__file__).parents[1]))
from benchmark_sets import make_set, reader

from vision.accuracy import run_benchmark
from vision.accuracy.trial import read_attempts

pytestmark = pytest.mark.browser
expect.set_options(timeout=60_000)


@pytest.mark.parametrize("width", [1280, 390])
def test_the_report_opens_alone_and_fits_the_screen(browser, tmp_path, width):
    run_benchmark(make_set(tmp_path), tmp_path / "out", progress=False, measure=reader)
    page = browser.new_page(viewport={"width": width, "height": 844})
    asked, said = [], []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))
    page.goto((tmp_path / "out" / "report.html").as_uri())
    expect(page.get_by_role("heading", name="Reading accuracy")).to_be_visible()
    assert asked == [(tmp_path / "out" / "report.html").as_uri()] and said == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    drawings = page.locator("figure > svg[role=img]").all()
    assert len(drawings) >= 6
    assert all(d.bounding_box()["height"] > 50 for d in drawings)
    page.close()


def _pinch(page, frame, by: float) -> None:
    """Two fingers on the middle of the frame go apart (Chromium's own touch events)."""
    box, cdp = frame.bounding_box(), page.context.new_cdp_session(page)
    x, y = box["x"] + box["width"] / 2, box["y"] + min(box["height"], 300) / 2

    def touch(kind: str, half: float | None) -> None:
        cdp.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [] if half is None else [
            {"x": x - half, "y": y, "id": 0}, {"x": x + half, "y": y, "id": 1}]})

    touch("touchStart", 20)
    for step in range(1, 11):
        touch("touchMove", 20 * (1 + (by - 1) * step / 10))
    touch("touchEnd", None)


def test_a_reader_reads_a_picture_of_the_trial(open_page, served):
    folder = served.data / "trials" / "practice"
    folder.mkdir(parents=True)
    pixels = np.random.default_rng(2).integers(0, 255, (2400, 1800, 3), dtype=np.uint8)
    Image.fromarray(pixels).save(folder / "p.jpg")
    (folder / "labels.jsonl").write_text(json.dumps(
        {"file": "p.jpg", "scale": "quay-60", "true_value": 33.3, "expect": "read"}) + "\n")
    page = open_page("/trial")
    live(page).get_by_label("Your reader code").fill("R07")
    live(page).get_by_role("button", name="Begin, or go on where I stopped").click()
    expect(page.get_by_text("Picture 1 of 1")).to_be_visible()
    picture = page.get_by_alt_text("The picture to be read")
    expect(picture).to_be_visible()
    # All pixels of the photo are there, and a person can come near enough to count them.
    assert picture.evaluate("i => i.decode().then(() => [i.naturalWidth, i.naturalHeight])") == [
        1800, 2400]
    scale = "i => i.getBoundingClientRect().width / i.clientWidth"
    frame = picture.locator("xpath=ancestor::*[@data-testid='stImage']")
    expect(frame).to_have_attribute("role", "group")  # the fingers are listened to from here on
    _pinch(page, frame, by=3)
    assert picture.evaluate(scale) == pytest.approx(3, rel=0.02)
    for _ in range(4):
        page.get_by_role("button", name="Nearer").click()
    assert picture.evaluate("i => i.getBoundingClientRect().width / i.naturalWidth") > 1
    before = picture.evaluate("i => new DOMMatrix(i.style.transform).f")
    frame.press("ArrowDown")
    assert picture.evaluate("i => new DOMMatrix(i.style.transform).f") < before - 20
    assert frame.evaluate("f => getComputedStyle(f).overflow") == "hidden"
    page.get_by_role("button", name="Whole").click()
    assert picture.evaluate(scale) == pytest.approx(1)
    live(page).get_by_label("Your reading, mL").fill("31,5")
    live(page).get_by_role("button", name="Keep and next").click()
    expect(page.get_by_text("all 1 pictures are read")).to_be_visible()
    attempt, = read_attempts(folder / "readings.jsonl")
    assert (attempt.reader, attempt.value) == ("R07", 31.5) and attempt.seconds > 0
    assert attempt.zoom
