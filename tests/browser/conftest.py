"""A real page server and a real headless browser for the tests in this folder.

Debian's Chromium is enough; nothing is downloaded.  Where ``CI`` is set, a
missing browser is a failure and not a skip.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator

import pytest
from installed_chromium import installed_chromium
from serving import ALONE, SHORT_VISITS, Served, opener, serve_pages


@pytest.fixture(scope="session")
def chromium() -> str:
    """Path of the browser."""
    found = installed_chromium()
    if found is None:
        if os.environ.get("CI"):
            pytest.fail("Chromium is not installed, and CI is set: the pages must be tested.")
        pytest.skip("Chromium is not installed on this machine.")
    return found


@pytest.fixture(scope="session")
def page_server(chromium: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """One page server for all modules, as ``countersight serve`` starts it."""
    yield from serve_pages(tmp_path_factory.mktemp("served") / "ward")


@pytest.fixture(scope="module")
def served(page_server: Served) -> Iterator[Served]:
    """The page server with an empty record for each module.

    The pages open the record anew for each act, so the folder may change under them.
    """
    page_server.data.mkdir(mode=0o700, exist_ok=True)
    yield page_server
    page_server.data.rename(tempfile.mkdtemp(dir=page_server.data.parent, prefix="done-"))


@pytest.fixture(scope="session")
def browser(chromium: str) -> Iterator[object]:
    """One headless browser for all modules."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        flags = [ALONE, "--disable-dev-shm-usage", *SHORT_VISITS]
        if os.geteuid() == 0:
            flags.append("--no-sandbox")
        started = playwright.chromium.launch(executable_path=chromium, args=flags)
        yield started
        started.close()


@pytest.fixture
def open_page(browser, served):  # type: ignore[no-untyped-def]
    """Opens a page of the app; a request to anywhere else leads nowhere and fails the test."""
    yield from opener(browser, served)
