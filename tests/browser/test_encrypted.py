"""The pages under a certificate made for a skills lab, in a browser that went past its warning."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Error, expect
from serving import PHONE, Served, serve_pages

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def lab(tmp_path_factory: pytest.TempPathFactory, chromium: str) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("lab")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CONFIG_HOME", str(folder / "settings"))
        patch.setenv("COUNTERSIGHT_KEY", str(folder / "station.key"))
        yield from serve_pages(folder / "ward", "--lab", "--host", "127.0.0.1", scheme="https")


def test_a_browser_warns_and_afterwards_camera_and_sensors_may_be_asked_for(
        browser, lab: Served) -> None:
    strict = browser.new_context()
    with pytest.raises(Error, match="ERR_CERT_AUTHORITY_INVALID"):
        strict.new_page().goto(lab.url)
    strict.close()
    context = browser.new_context(ignore_https_errors=True, viewport=PHONE)
    page = context.new_page()
    page.goto(lab.url + "/chamber")
    expect(page.get_by_text("Next: take or choose a photo.")).to_be_visible(timeout=60_000)
    assert page.evaluate("isSecureContext && !!navigator.mediaDevices && 'DeviceMotionEvent' in"
                         " window")
    (cookie,) = [c for c in context.cookies() if c["name"] == "countersight-browser"]
    assert cookie["secure"]
    context.close()


def test_the_log_says_what_a_phone_will_warn_of_and_shows_no_key(lab: Served) -> None:
    log = (Path(lab.data).parent / "ward.log").read_text()
    assert "Every phone will warn" in log and "Fingerprint (SHA-256): " in log
    assert "PRIVATE" not in log
