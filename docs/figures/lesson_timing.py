"""How long the parallax lesson takes to answer: from the key on a slider to the new picture.

``python docs/figures/lesson_timing.py`` serves the pages, moves the eye in a headless
Chromium and prints the time of a move, beside the processor time that the server needs
for it (on an idle machine nearly all of it).  ``--server-only`` leaves the browser out.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "tests" / "browser"))

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
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium",
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


def main() -> None:
    """Serve, measure, print."""
    print(f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}")
    alone = picture_seconds()
    print(f"picture alone, processor time: median {alone[len(alone) // 2]:.2f} s, "
          f"longest {alone[-1]:.2f} s")
    whole = rerun_seconds()
    print(f"one move at the server, processor time: median {whole[len(whole) // 2]:.2f} s, "
          f"longest {whole[-1]:.2f} s", flush=True)
    if "--server-only" in sys.argv:
        return
    with tempfile.TemporaryDirectory() as data, contextmanager(serve_pages)(
            Path(data) / "ward") as served:
        moves = interaction_seconds(served.url)
    print(f"key to picture, wall time over {len(moves)} moves: median "
          f"{moves[len(moves) // 2]:.2f} s, shortest {moves[0]:.2f} s, longest {moves[-1]:.2f} s; "
          f"load at the end {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
