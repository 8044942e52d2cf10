"""Make the pictures of the pages that the guides show.

    python docs/pictures/make_page_pictures.py [chamber] [round]

Needs the 'dev' extra and Chromium.  It starts the pages with an empty record in
a temporary folder, works through demo photos and a made-up morning as a person
would, and writes JPEG files beside this script.  With a name only those pages.
"""

from __future__ import annotations

import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

import round_pictures
from playwright.sync_api import Page, sync_playwright

sys.path.append(str(Path(__file__).resolve().parents[2] / "tests"))

from installed_chromium import installed_chromium

HERE = Path(__file__).resolve().parent
PHONE = {"width": 390, "height": 844}


def save(page: Page, name: str, top: str | None = None) -> None:
    """One screenful, from the top or from the text ``top`` downwards."""
    if top is not None:
        page.get_by_text(top).first.evaluate("e => e.scrollIntoView({block: 'start'})")
        page.locator("[data-testid=stMain]").evaluate("e => e.scrollBy(0, -70)")
    page.wait_for_timeout(900)
    # A page that is still being drawn shows the last one's fields below its own.
    page.locator(".stApp[data-test-script-state=notRunning]").wait_for()
    page.screenshot(path=HERE / f"{name}.jpg", type="jpeg", quality=80)


def demo(page: Page, url: str, number: int, own: str) -> None:
    """Choose a demo photo, read first, and wait for the tool."""
    page.goto(f"{url}/chamber")
    page.get_by_text("No photo at hand?").click()
    page.get_by_role("button", name=f"Demo {number}:").click()
    page.get_by_label("Your reading in mL").fill(own)
    if number == 1:
        save(page, "chamber-1-your-reading", "Your reading first")
    page.get_by_role("button", name="This is my reading").click()
    page.get_by_text("Machine reading, not a record").first.wait_for()


def work_through(page: Page, url: str) -> None:
    """The guide's pictures, in the guide's order."""
    demo(page, url, 1, "23,5")
    save(page, "chamber-2-side-by-side")
    save(page, "chamber-3-what-the-tool-saw", "Picture")
    page.get_by_role("button", name="Take mine").click()
    page.get_by_role("button", name="+ 0.1 mL").wait_for()
    save(page, "chamber-4-value", "Nothing is on record yet")
    page.get_by_text("All four hold").click()
    page.get_by_label("Your initials").fill("M.K.")
    page.get_by_label("Your initials").blur()
    save(page, "chamber-5-confirm", "Do these four hold")
    page.get_by_role("button", name="Confirm and record").click()
    page.get_by_text("The photo has been dropped.").wait_for()
    save(page, "chamber-6-on-record")
    demo(page, url, 8, "41")
    save(page, "chamber-7-no-reading")


def main() -> None:
    """Serve, work through, stop."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    url = f"http://127.0.0.1:{port}"
    wanted = sys.argv[1:] or ["chamber", "round"]
    with tempfile.TemporaryDirectory() as data:
        if "round" in wanted:
            round_pictures.morning(data)
        server = subprocess.Popen(
            [sys.executable, "-m", "app", "serve", "--port", str(port), "--data", data,
             "--no-browser"], cwd=HERE.parents[1], stdout=subprocess.DEVNULL)
        try:
            wait_for(url)
            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(
                    executable_path=installed_chromium(),
                    # without a screen letters are else set on whole pixels
                    args=["--no-sandbox", "--font-render-hinting=none"])
                page = browser.new_page(viewport=PHONE, color_scheme="dark",
                                        device_scale_factor=1.5)
                page.set_default_timeout(120_000)
                if "chamber" in wanted:
                    work_through(page, url)
                if "round" in wanted:
                    round_pictures.work_through(page, url, save)
                    round_pictures.orders_and_handles(page, url, save)
                browser.close()
        finally:
            server.terminate()
            server.wait()


def wait_for(url: str) -> None:
    """Until the server answers."""
    for _ in range(300):
        try:
            urllib.request.urlopen(f"{url}/_stcore/health", timeout=1).close()
            return
        except OSError:
            time.sleep(0.2)
    raise SystemExit("The pages did not start.")


if __name__ == "__main__":
    main()
