"""One person's photo and codes: in no other session, in no log, and gone when it is done."""

from __future__ import annotations

import re
import urllib.request
from pathlib import Path

import pytest
from playwright.sync_api import expect
from serving import live, serve_pages
from test_chamber import answer_all, confirm, easy_photo, read_first, upload

pytestmark = pytest.mark.browser
expect.set_options(timeout=30_000)

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"

#: Uploads as they came, and pictures as they are shown.
KINDS = ("UploadedFileManager", "st_memory_media_file_storage")


def kept_bytes(url: str, what: str) -> int:
    """How much of a kind the page server holds in memory, by its own count."""
    with urllib.request.urlopen(f"{url}/_stcore/metrics", timeout=10) as answer:
        text = answer.read().decode()
    found = re.findall(rf'cache_memory_bytes\{{cache_type="{what}"[^}}]*\}} (\d+)', text)
    return sum(map(int, found))


@pytest.fixture(scope="module")
def served(chromium, tmp_path_factory):
    """A server of its own: what other modules left in a server's memory would be counted."""
    yield from serve_pages(tmp_path_factory.mktemp("private") / "ward")


@pytest.mark.parametrize("way", ["confirmed", "let go"])
def test_the_photo_leaves_the_servers_memory_when_it_is_done(open_page, served, way):
    label = easy_photo()
    size = (SAMPLES / label["file"]).stat().st_size
    page = open_page("/chamber")
    upload(page, label)
    assert kept_bytes(served.url, "UploadedFileManager") == 0, "read once, then dropped"
    for _ in range(300):  # the picture follows the words when the machine is busy
        if kept_bytes(served.url, "st_memory_media_file_storage") > 10_000:
            break
        page.wait_for_timeout(100)
    assert kept_bytes(served.url, "st_memory_media_file_storage") > 10_000, "shown to the person"
    assert size > 10_000
    own = f"{label['true_value']:.1f}"
    read_first(page, own)
    if way == "confirmed":
        live(page).get_by_role("button", name="Take mine").click()
        expect(live(page).get_by_label("Value to confirm in mL")).to_have_value(own)
        answer_all(page)
        confirm(page, "QUAY-3")
        expect(page.get_by_text("The photo has been dropped.")).to_be_visible()
    else:
        live(page).get_by_role("button", name="Discard this photo").click()
        expect(page.get_by_text("Next: take or choose a photo.")).to_be_visible()
    expect_gone(page, served)


def expect_gone(page, served) -> None:  # type: ignore[no-untyped-def]
    for _ in range(100):
        if sum(kept_bytes(served.url, what) for what in KINDS) == 0:
            return
        page.wait_for_timeout(100)
    pytest.fail("the photo is still in the page server's memory")


def test_another_session_sees_nothing_of_a_photo_in_hand(open_page, served):
    label = easy_photo()
    one, other = open_page("/chamber"), open_page("/chamber")
    upload(one, label)
    read_first(one, "20")
    machine = one.locator(".cs-machine .cs-value").inner_text()
    other.reload()
    expect(other.get_by_text("Next: take or choose a photo.")).to_be_visible()
    content = other.content()
    assert "Machine reading" not in content and machine not in content
    assert other.locator("[data-testid=stImage] img").count() == 0


def test_the_log_holds_no_code_no_initials_and_no_picture(open_page, served):
    page = open_page("/shift")
    live(page).get_by_label("Bed code of your ward").fill("PIER-77")
    live(page).get_by_label("Bed code of your ward").press("Enter")
    expect(page.get_by_text("Enter what was done")).to_be_visible()
    page.get_by_text("Bag changed", exact=True).click()
    live(page).get_by_label("Detail, if any").fill("zebra crossing")
    live(page).get_by_label("Your initials").fill("Q.Z.")
    live(page).get_by_role("button", name="Confirm: bag changed").click()
    expect(page.get_by_text("bag changed zebra crossing").first).to_be_visible()
    log = (served.data.parent / f"{served.data.name}.log").read_bytes()
    assert str(served.url).encode() in log, "the server did write something, its address"
    for secret in (b"PIER-77", b"Q.Z.", b"zebra", easy_photo()["file"].encode(), b"JFIF", b"base64",
                   b"Exif"):
        assert secret not in log


def test_prepared_files_are_for_this_browser_and_gone_when_forgotten(open_page, served):
    page = open_page("/shift")
    live(page).get_by_label("Bed code of your ward").fill("DOCK-5")
    live(page).get_by_label("Bed code of your ward").press("Enter")
    page.get_by_text("Bag changed", exact=True).click()
    live(page).get_by_label("Your initials").fill("Q.Z.")
    live(page).get_by_role("button", name="Confirm: bag changed").click()
    expect(page.get_by_text("bag changed at").first).to_be_visible()
    live(page).get_by_role("button", name="Check the record and prepare sheet and files").click()
    with page.expect_download() as download:
        live(page).get_by_role("button", name="All entries (CSV)").click()
    address = download.value.url
    assert "/media/" in address and "DOCK-5" not in address

    assert page.request.get(address).status == 200
    stranger = page.context.browser.new_context()
    assert stranger.request.get(address).status == 404, "without this browser's cookie"
    assert stranger.request.get(address, headers={
        "Cookie": "countersight-browser=made-up"}).status == 404
    stranger.close()

    live(page).get_by_role("button", name="Done, forget these files").click()
    expect(page.get_by_role("button", name="All entries (CSV)")).to_have_count(0)
    assert page.request.get(address).status == 404, "forgotten for this browser too"
