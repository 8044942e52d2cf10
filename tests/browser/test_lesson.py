"""The lesson pages in a real browser: the picture follows the slider, and all can use them."""

from __future__ import annotations

import pytest
from serving import at_rest, live
from test_access import faults

pytestmark = pytest.mark.browser

PICTURE = '[data-testid="stImage"] img'


#: On the screen as it is, with nothing scrolled.
SEEN = """() => ['.st-key-K-picture img, .st-key-K-picture [role=img]',
  '.st-key-K-beside [role=img]', '.st-key-K-cards .cs-value', '.st-key-K-height, .st-key-K-angle']
  .flatMap(q => [...document.querySelectorAll(q)]).map(e => e.getBoundingClientRect())
  .map(r => [Math.round(r.top), Math.round(r.bottom), r.width > 100 || r.height > 10])"""
SIZES = {"phone": (390, 844), "laptop": (1280, 900), "projector": (1920, 1080)}


def opened(open_page, path: str, name: str, scheme: str = "light"):
    width, height = SIZES[name]
    page = open_page(path, size={"width": width, "height": height}, scheme=scheme)
    live(page).get_by_role("button", name="Show", exact=True).click()
    page.get_by_role("button", name="Hide answers").wait_for()
    at_rest(page)
    return page


def on(page, name: str) -> int:  # type: ignore[no-untyped-def]
    """The same page on another screen; its height."""
    width, height = SIZES[name]
    page.set_viewport_size({"width": width, "height": height})
    at_rest(page)
    return height


@pytest.mark.parametrize(("path", "key", "parts"), [("/lesson-parallax", "le", 6),
                                                   ("/lesson-level", "ll", 4)])
def test_picture_drawing_numbers_and_slider_are_on_one_screen(open_page, path, key, parts):
    page = opened(open_page, path, "laptop")
    for name in ("laptop", "projector"):
        height = on(page, name)
        places = page.evaluate(SEEN.replace("K", key))
        assert len(places) == parts, (name, places)
        for top, bottom, real in places:
            assert 0 <= top < bottom <= height and real, (name, places)
        assert faults(page) == [], name


def test_a_phone_shows_the_picture_below_its_slider(open_page):
    page = opened(open_page, "/lesson-parallax", "phone", "dark")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), "no sideways scroll"
    page.locator(PICTURE).first.scroll_into_view_if_needed()
    slider, picture = (page.locator(q).first.bounding_box() for q in (".st-key-le-height", PICTURE))
    assert picture["y"] + picture["height"] - slider["y"] < 844, "both at once"
    assert faults(page) == []


@pytest.mark.parametrize(("path", "slider", "picture", "card"), [
    ("/lesson-parallax", "Eye above", ".st-key-le-picture img", ".st-key-le-cards .cs-value"),
    ("/lesson-level", "System raised", ".st-key-ll-picture [role=img]",
     ".st-key-ll-cards .cs-value")])
def test_picture_and_numbers_follow_a_dragged_slider(open_page, path, slider, picture, card):
    page = opened(open_page, path, "laptop")
    look = f"""() => {{ const e = document.querySelector('{picture}');
        return (e.src || '') + e.style.mask + getComputedStyle(e).maskImage.length }}"""
    before, number = page.evaluate(look), page.locator(card).first.inner_text()
    box = live(page).get_by_role("slider", name=slider).locator("xpath=..").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.evaluate("window.countersightFollowed = 0")
    page.mouse.move(x + 70, y, steps=5)
    # The button is still held: nothing of this comes from the page server.
    page.wait_for_function("() => window.countersightFollowed > 0")
    assert page.evaluate(look) != before
    dragged = page.locator(card).first.inner_text()
    assert dragged != number
    # Back to where it was, still held: so are picture and numbers.
    page.mouse.move(x, y, steps=5)
    back = f"() => document.querySelector('{card}').innerText === {number!r}"
    page.wait_for_function(back)
    assert not page.evaluate(look).startswith("blob:")
    page.mouse.move(x + 70, y, steps=5)
    page.mouse.up()
    at_rest(page)
    thumb = live(page).get_by_role("slider", name=slider).get_attribute("aria-valuetext")
    assert thumb != "0.0" and page.locator(card).first.inner_text() not in ("?", number)
    assert not page.evaluate(look).startswith("blob:"), "the full picture has come"


def test_a_task_of_the_level_lesson_on_a_telephone(open_page):
    page = open_page("/lesson-level")
    page.get_by_text("Round of ten", exact=True).click()
    live(page).get_by_role("button", name="Begin a round of ten").click()
    field = live(page).get_by_label("At which pressure")
    field.fill("12")
    field.press("Tab")
    assert not page.get_by_text("The sum", exact=True).count(), "not before the answer"
    live(page).get_by_role("button", name="Commit my answer").click()
    page.get_by_text("The sum", exact=True).wait_for()
    assert faults(page) == []


@pytest.mark.parametrize("path", ["/lesson-parallax", "/lesson-level"])
def test_a_task_and_its_answer_are_on_one_screen(open_page, path):
    width, height = SIZES["laptop"]
    page = open_page(path, size={"width": width, "height": height}, scheme="light")
    page.get_by_text("Round of ten", exact=True).click()
    live(page).get_by_role("button", name="Begin a round of ten").click()
    live(page).get_by_role("textbox").first.fill("20")
    live(page).get_by_role("button", name="Commit my answer").click()
    page.get_by_text("See what is true.").wait_for()
    for name in ("laptop", "projector"):
        height = on(page, name)
        feet = page.evaluate("""() => [...document.querySelectorAll('.st-key-lesson-asked img,'
          + '.st-key-lesson-asked [role=img], .st-key-lesson-told [role=img], '
          + '.st-key-lesson-told button, .st-key-lesson-told .cs-value')]
          .map(e => Math.round(e.getBoundingClientRect().bottom))""")
        assert len(feet) >= 5 and max(feet) <= height, (name, feet)
