"""Measure what each page weighs and how soon it shows: ``python docs/measure_pages.py``.

Needs the 'dev' extra and Chromium.  Serves an empty record, opens every page in a
fresh browser of a phone's size (nothing in its cache), then once more with the
cache, and writes ``docs/page-weight.md``.  Bytes are as they came over the wire;
times are of this machine, with its load at that moment beside them.
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
import time
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from playwright.sync_api import Browser, BrowserContext, sync_playwright

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests" / "browser"))

from serving import PHONE, serve_pages

HERE = Path(__file__).resolve().parent


@dataclass(frozen=True)
class Visit:
    """Bytes over the wire, requests, seconds to the first paint and to the finished page."""

    bytes: int
    requests: int
    first_paint_s: float
    finished_s: float


def visit(context: BrowserContext, address: str) -> Visit:
    """Open a page once."""
    page = context.new_page()
    page.set_default_timeout(120_000)
    wire = context.new_cdp_session(page)
    wire.send("Network.enable")
    sizes: list[int] = []
    wire.on("Network.loadingFinished", lambda e: sizes.append(int(e["encodedDataLength"])))
    wire.on("Network.webSocketFrameReceived",
            lambda e: sizes.append(len(e["response"]["payloadData"]) * 3 // 4))
    began = time.monotonic()
    page.goto(address)
    page.wait_for_function("""() => {
        const app = document.querySelector('.stApp');
        return app && app.dataset.testScriptState === 'notRunning'
            && document.querySelector('.cs-title, h1')
            && !document.querySelector('[data-testid=stSkeleton]'); }""")
    finished = time.monotonic() - began
    paint = page.evaluate(
        "performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? 0") / 1000
    page.close()
    return Visit(sum(sizes), len(sizes), paint, finished)


def both(browser: Browser, address: str) -> tuple[Visit, Visit]:
    """A first visit and one with the cache."""
    context = browser.new_context(viewport=PHONE)
    found = visit(context, address), visit(context, address)
    context.close()
    return found


def report(rows: list[tuple[str, Visit, Visit]], load: float) -> str:
    """The page in Markdown."""
    lines = [
        "# What the pages weigh", "",
        "Written by `python docs/measure_pages.py`; run it again after a change. Bytes as they",
        "came over the wire, program code of the page server included; a phone keeps that code,",
        "so only the first visit pays for it. Nothing is asked of any other host.", "",
        f"Times are of one machine with {os.cpu_count()} processor cores at a load of {load:.1f}:",
        "they tell the pages apart, not how fast your ward's machine is. Above a load of the",
        "number of cores everything waits.", "",
        "| page | first visit, kB | requests | first paint, s | finished, s | again, kB "
        "| first paint, s | finished, s |",
        "|---|---:|---:|---:|---:|---:|---:|---:|"]
    lines += [f"| {name} | {a.bytes / 1000:.0f} | {a.requests} | {a.first_paint_s:.1f} | "
              f"{a.finished_s:.1f} | {b.bytes / 1000:.0f} | {b.first_paint_s:.1f} | "
              f"{b.finished_s:.1f} |" for name, a, b in rows]
    return "\n".join(lines) + "\n"


def main() -> None:
    """Serve, measure, write."""
    from app.pages import all_pages

    with (tempfile.TemporaryDirectory() as data,
          contextmanager(serve_pages)(Path(data) / "ward") as served,
          sync_playwright() as playwright):
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"),
            args=["--no-sandbox"] if os.geteuid() == 0 else [])
        visit(browser.new_context(), served.url)  # the server's own first time is not a page's
        rows = [(e.title, *both(browser, f"{served.url}/{e.name.replace('_', '-')}"))
                for e in all_pages()]
        browser.close()
    text = report(rows, os.getloadavg()[0])
    (HERE / "page-weight.md").write_text(text, encoding="utf-8")
    sys.stdout.write(text)


if __name__ == "__main__":
    main()
