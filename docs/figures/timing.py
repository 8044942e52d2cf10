"""How long the parallax lesson takes to answer: from the key on a slider to the new picture.

Serves the pages, moves the eye in a headless Chromium and takes the time of a move, beside the
processor time that the server needs for it (on an idle machine nearly all of it).
"""

from __future__ import annotations

import tempfile
import time
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from installed_chromium import installed_chromium
from serving import serve_pages

from vision.lesson.parallax import EyeView, lesson_scale
from vision.synthetic.chamber.lesson_picture import trace

MOVES = 8
SLIDER = 'input[type="range"]'


def picture_seconds() -> list[float]:
    """Processor time of tracing one picture, for eyes at different heights."""
    scale, out = lesson_scale(30.0), []
    for n in range(MOVES + 1):
        start = time.process_time()
        trace(EyeView(scale, 33.0, 10.0 * n - 60.0, 350.0, 65.0), "pink")
        out.append(time.process_time() - start)
    return sorted(out[1:])


def rerun_seconds() -> list[float]:
    """Processor time of all that the server does for one move: page, picture, drawings."""
    from streamlit.testing.v1 import AppTest

    at = AppTest.from_string("from app.pages.lesson_parallax import page\npage()\n",
                             default_timeout=120).run()
    out = []
    for n in range(MOVES + 1):
        start = time.process_time()
        at.slider(key="le-height").set_value(-10.0 + 2 * n).run()
        out.append(time.process_time() - start)
    return sorted(out[1:])


def interaction_seconds(url: str) -> list[float]:
    """Wall time from the key press to another picture on the page."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=installed_chromium(),
                                             args=["--no-sandbox", "--disable-dev-shm-usage"])
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        page.set_default_timeout(60_000)
        page.goto(f"{url}/lesson-parallax")
        page.wait_for_selector('[data-testid="stImage"] img')
        page.wait_for_timeout(2000)
        out = []
        for _ in range(MOVES):
            old = page.locator('[data-testid="stImage"] img').first.get_attribute("src")
            start = time.perf_counter()
            page.locator(SLIDER).first.press("ArrowRight")
            page.wait_for_function(
                "old => { const i = document.querySelector('[data-testid=\"stImage\"] img');"
                " return i && i.getAttribute('src') !== old && i.complete && i.naturalWidth > 0; }",
                arg=old, polling="raf")
            out.append(time.perf_counter() - start)
            page.wait_for_timeout(700)
        browser.close()
    return sorted(out)


def measure() -> dict[str, Any]:
    """Processor time of a picture and of a move at the server, wall time in a browser."""
    from figures.kept import medians

    found = {"picture_cpu_s": medians(picture_seconds()), "move_cpu_s": medians(rerun_seconds())}
    with tempfile.TemporaryDirectory() as data, contextmanager(serve_pages)(
            Path(data) / "ward") as served:
        found["move_wall_s"] = medians(interaction_seconds(served.url))
    return {"seed": None, "count": MOVES, **found}


def texts(kept: dict[str, Any]) -> dict[str, str]:
    """The sentences of the educator's page."""
    wall = kept["move_wall_s"]
    return {"lesson-timing": (
        f"The server needs {kept['move_cpu_s']['median']:.2f} s of one processor for a move, "
        f"{kept['picture_cpu_s']['median']:.2f} s of it for the picture; at a load of "
        f"{kept['load']:.0f} on {kept['processors']} processors the full picture of a move took "
        f"{wall['shortest']:.1f} to {wall['longest']:.1f} s on the clock.")}
