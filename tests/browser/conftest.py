"""A real page server and a real headless browser for the tests in this folder.

Debian's Chromium is enough; nothing is downloaded.  Where ``CI`` is set, a
missing browser is a failure and not a skip.
"""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterator

import pytest
from serving import Served, free_port, opener, serve


@pytest.fixture(scope="session")
def chromium() -> str:
    """Path of the browser."""
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    if found is None:
        if os.environ.get("CI"):
            pytest.fail("Chromium is not installed, and CI is set: the pages must be tested.")
        pytest.skip("Chromium is not installed on this machine.")
    return found


@pytest.fixture(scope="module")
def served(chromium: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The pages as ``countersight serve`` gives them."""
    port, data = free_port(), tmp_path_factory.mktemp("served") / "ward"
    yield from serve([sys.executable, "-m", "app", "serve", "--port", str(port),
                      "--data", str(data), "--no-browser"], port, data)


@pytest.fixture(scope="module")
def browser(chromium: str) -> Iterator[object]:
    """One headless browser for a module."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        flags = ["--disable-dev-shm-usage"] + (["--no-sandbox"] if os.geteuid() == 0 else [])
        started = playwright.chromium.launch(executable_path=chromium, args=flags)
        yield started
        started.close()


@pytest.fixture
def open_page(browser, served):  # type: ignore[no-untyped-def]
    """Opens a page of the app; a request to anywhere else is blocked and fails the test."""
    yield from opener(browser, served)
