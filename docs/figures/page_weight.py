"""What each page weighs and how soon it shows.

Serves an empty record, opens every page in a fresh browser of a phone's size (nothing in its
cache), then once more with the cache.  Bytes are as they came over the wire.
"""

from __future__ import annotations

import os
import tempfile
import time
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from installed_chromium import installed_chromium
from serving import PHONE, serve_pages

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext


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


def measure() -> dict[str, Any]:
    """Serve and open every page."""
    from playwright.sync_api import sync_playwright

    from app.pages import all_pages

    with (tempfile.TemporaryDirectory() as data,
          contextmanager(serve_pages)(Path(data) / "ward") as served,
          sync_playwright() as playwright):
        browser = playwright.chromium.launch(
            executable_path=installed_chromium(),
            args=["--no-sandbox"] if os.geteuid() == 0 else [])
        visit(browser.new_context(), served.url)  # the server's own first time is not a page's
        rows = []
        for entry in all_pages():
            first, again = both(browser, f"{served.url}/{entry.name.replace('_', '-')}")
            rows.append({"page": entry.title, "first": asdict(first), "again": asdict(again)})
        browser.close()
    return {"seed": None, "count": len(rows), "rows": rows}


def texts(kept: dict[str, Any]) -> dict[str, str]:
    """The table, and on which machine it was taken."""
    lines = ["| page | first visit, kB | requests | first paint, s | finished, s | again, kB "
             "| first paint, s | finished, s |", "|---|---:|---:|---:|---:|---:|---:|---:|"]
    for r in kept["rows"]:
        a, b = r["first"], r["again"]
        lines.append(f"| {r['page']} | {a['bytes'] / 1000:.0f} | {a['requests']} | "
                     f"{a['first_paint_s']:.1f} | {a['finished_s']:.1f} | "
                     f"{b['bytes'] / 1000:.0f} | {b['first_paint_s']:.1f} | "
                     f"{b['finished_s']:.1f} |")
    return {"page-weights": "\n".join(lines),
            "page-weight-machine": f"{kept['processors']} processor cores at a load of "
                                   f"{kept['load']:.1f}"}
