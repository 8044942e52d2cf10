"""A tap on the picture: twice with a thumb, and it lands on the pixel that was meant."""

from __future__ import annotations

import io
import re
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import expect
from serving import at_rest, free_port, give_file, live, opener, serve

from app.commands.serve import server_words

pytestmark = pytest.mark.browser
expect.set_options(timeout=60_000)

#: Where the mark stands that is to be tapped, in a photo of 1200 x 1600 pixels.
SPOT = (820, 410)


@pytest.fixture(scope="module")
def served(chromium, tmp_path_factory):
    port, data = free_port(), tmp_path_factory.mktemp("asking") / "ward"
    script = Path(__file__).with_name("asking_app.py")
    yield from serve([sys.executable, "-m", *server_words(script, "127.0.0.1", port)], port, data)


@pytest.fixture
def open_page(browser, served):
    yield from opener(browser, served)


def photo() -> bytes:
    pixels = np.full((1600, 1200, 3), 120, np.uint8)
    x, y = SPOT
    pixels[y - 3: y + 4, x - 30: x + 31] = 0
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "PNG")
    return out.getvalue()


def tap(picture, x: float, y: float) -> None:
    """Tap at a place given as shares of the picture's width and height."""
    size = picture.bounding_box()
    picture.tap(position={"x": x * size["width"], "y": y * size["height"]})


def test_two_taps_and_a_number_reach_the_reader_at_the_right_pixel(open_page):
    page = open_page("/chamber")
    give_file(page, {"name": "a.png", "mimeType": "image/png", "buffer": photo()})
    expect(page.get_by_text("Photo in hand. Next: choose the scale.")).to_be_visible()
    at_rest(page)
    choices = page.get_by_role("radiogroup", name="Scale of this chamber")
    choices.get_by_text("quay-60", exact=True).click()
    at_rest(page)  # a press while the page is still being drawn is lost
    live(page).get_by_role("button", name="Go without my own reading").click()
    expect(page.get_by_text("Nothing chosen yet: tap a mark")).to_be_visible()
    frames = page.frame_locator("iframe[title*='image_coordinates']")
    far = frames.first.locator("#image")
    expect(far).to_be_visible()
    assert far.evaluate("image => image.naturalWidth") > 0

    tap(far, (SPOT[0] + 40) / 1200, (SPOT[1] - 25) / 1600)  # a thumb's miss
    expect(page.get_by_text("Chosen: where the cross is.")).to_be_visible()
    near = page.frame_locator("iframe[title*='image_coordinates'] >> nth=1").locator("#image")
    expect(near).to_be_visible()
    before = near.get_attribute("src")
    half = 180  # the enlarged part is 0.3 of the width wide, about the first tap
    tap(near, (half - 40) / (2 * half), (half + 25) / (2 * half))
    expect(near).not_to_have_attribute("src", before)  # the cross has moved
    live(page).get_by_label("Value of that mark in mL").fill("20")
    live(page).get_by_role("button", name="Read again with this").click()
    said = page.get_by_text(re.compile(r"Answer 20 at"))
    expect(said).to_be_visible()
    x, y = (float(n) for n in re.findall(r"\d+\.\d", said.inner_text()))
    one_screen_pixel_near = 2 * half / 358
    assert abs(x - SPOT[0]) < 2 * one_screen_pixel_near + 1.5
    assert abs(y - SPOT[1]) < 2 * one_screen_pixel_near + 1.5
