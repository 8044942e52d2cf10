"""What people type and what files say is shown as it is, on every page, in a real browser.

Every field is given text that a Markdown or HTML renderer would change, and what the
browser renders is compared with what was typed.  No request leaves for another host.
"""

from __future__ import annotations

import datetime as dt
import json
import shutil
from pathlib import Path

import pytest
from playwright.sync_api import expect
from serving import ROOT, at_rest, give_file, go_to, live
from test_chamber import easy_photo

from app.records import (
    Attestations,
    BedCode,
    CorrectionDraft,
    EventDraft,
    Initials,
    LevelDraft,
    Moment,
    OrderDraft,
    OwnReading,
    ReadingDraft,
    SkipDraft,
    Store,
    WithdrawalDraft,
    confirm,
)
from app.rounds import Round, RoundBook
from vision.scale_file.scale import parse_scale

pytestmark = pytest.mark.browser
expect.set_options(timeout=60_000)

#: What a bed code and initials may hold at the most; read as a link, and as a long dash.
BED, INITIALS = "WWW.EVIL.EXAMPLE", "M--K.L-1"
ORDER = "5~10 mL every 2~4 h *4711* $a^2$ -- 10 >= 5 <- ^x^"
LANDMARK = "_ear_ *canal* ![i](http://evil.example/1.png) :red[x]"
TELL = "<b>Dr</b> &amp; <img src=http://evil.example/2.png> [a](//evil.example)"
NOTE = "www.evil.example a@evil.example http://evil.example/3 :smile: :material/home:"
REASON = "`tick` ``two`` | a | b | ~~gone~~ **bold** \\* # h"
DETAIL = "1. one  - x > y $$b$$ {a} &lt;script&gt;"
SCALE = "*4711* ~5~ $a$ ![i](http://evil.example/4.png) `x` www.a.b"
LIST, LINE, SOURCE = f"T {NOTE}", f"L \u202e12 {REASON}", f"S {ORDER}"
FOLDER = "5~10 *4711* ~x~ $a$ :red[b] www.evil.example --"
FILE = "a*b*~c~$d$.json"
DESK = {"width": 1280, "height": 900}

#: Run in a page: all its words, and what a renderer makes of a text that is not shown as it is.
WORDS = "document.querySelector('.stApp').innerText"
MADE = """() => [...document.querySelectorAll(
  '.stApp .stMain del, .stApp .stMain em, .stApp .stMain a[href*=evil], .stApp .stMain .katex,'
  + '.stApp .stMain s, .stApp img[src^=http]:not([src*="127.0.0.1"]), .stApp .stMain strong')]
  .map(e => e.outerHTML.slice(0, 120))"""


def shown(text: str) -> str:
    """What has to stand on the page: the turning mark is made visible, all else is as typed."""
    return text.replace("\u202e", "<U+202E>")


def hostile_scale(folder: Path) -> Path:
    content = json.loads((ROOT / "vision/data/scales/quay-60.json").read_text(encoding="utf-8"))
    path = folder / FILE
    path.write_text(json.dumps(content | {"name": SCALE}), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def ward(served) -> Path:  # type: ignore[no-untyped-def]
    """A ward whose every free text is hostile, with a round under way."""
    data, now = served.data, dt.datetime.now().astimezone()
    store, by, bed = Store.open(str(data)), Initials(INITIALS), BedCode(BED)

    def add(draft, minutes: int, **more):  # type: ignore[no-untyped-def]
        return store.add(confirm(draft, by=by, bed=bed, happened_at=Moment.of(
            now - dt.timedelta(minutes=minutes)), **more))

    for minutes in (310, 300):  # an order before the one that stands is shown as well
        add(OrderDraft(landmark=LANDMARK, threshold="10", unit="mm[Hg]",
                       drain=f"by volume: {ORDER}", tell_whom=TELL,
                       limits={"reading_due_minutes": 60}), minutes)
    add(LevelDraft.usual_method(landmark=LANDMARK), 200)
    scale = parse_scale(json.loads(hostile_scale(data).read_text(encoding="utf-8")))
    add(ReadingDraft.by_eye(scale=scale, first=OwnReading.read("12")), 180, confirmed_value="12",
        attestations=Attestations(False, True, True, True), note=NOTE)
    sample = add(EventDraft("sample-taken", volume_ml="1", source="port", detail=DETAIL), 100)
    moved = add(EventDraft("position-changed", detail=DETAIL), 90)
    add(SkipDraft("level check", REASON), 80)
    add(WithdrawalDraft(moved, REASON), 0)
    add(CorrectionDraft(sample, REASON, happened_at=Moment.of(now - dt.timedelta(minutes=95))), 95)
    RoundBook(data / "rounds").begin(Round.begin(BED, Moment.now(), store.count()))
    (data / "checklists.toml").write_text(
        f"format = 1\n[[checklist]]\nname = 'own'\ntitle = {json.dumps(LIST)}\n"
        f"[[checklist.line]]\ntext = {json.dumps(LINE)}\nsource = {json.dumps(SOURCE)}\n",
        encoding="utf-8")
    trial = data / "trials" / FOLDER
    trial.mkdir(parents=True)
    label = easy_photo()
    shutil.copy(ROOT / "sample_images" / label["file"], trial / "a.jpg")
    (trial / "labels.jsonl").write_text(json.dumps(
        {"file": "a.jpg", "scale": "quay-60", "true_value": 12, "expect": "read"}) + "\n")
    return data


def holds(page, *texts: str) -> None:  # type: ignore[no-untyped-def]
    """Every text stands on the page as it was typed, and nothing was made of any."""
    at_rest(page)
    words = page.evaluate(WORDS)
    assert [t for t in texts if shown(t) not in words] == []
    assert page.evaluate(MADE) == []


def unfold(page) -> None:  # type: ignore[no-untyped-def]
    """Open every fold."""
    closed = page.locator("details:not([open]) > summary")
    at_rest(page)
    while closed.count():
        closed.first.click()
        at_rest(page)


def test_an_order_reads_as_it_was_typed(open_page, ward):
    page = open_page("/orders", size=DESK)
    live(page).get_by_label("Bed code").fill(BED)
    live(page).get_by_label("Bed code").press("Enter")
    unfold(page)
    holds(page, LANDMARK, ORDER, TELL)
    live(page).get_by_label("Landmark").fill(LANDMARK)
    page.get_by_text("drain by volume").click()
    live(page).get_by_label("How much and how often").fill(ORDER)
    live(page).get_by_label("Whom to tell").fill(TELL)
    live(page).get_by_label("Whom to tell").press("Enter")
    expect(page.get_by_text("You confirm:")).to_be_visible()
    at_rest(page)
    said = page.get_by_text("You confirm:").inner_text()
    assert [t for t in (LANDMARK, ORDER, TELL) if t not in said] == []
    live(page).get_by_label("Your initials").fill(INITIALS)
    live(page).get_by_role("button", name="Confirm the order").click()
    expect(page.get_by_text(f"confirmed by {INITIALS}").first).to_be_visible()
    unfold(page)
    holds(page, LANDMARK, ORDER, TELL, INITIALS, BED)


def test_the_round_shows_text_as_it_was_typed(open_page, ward, served):
    page = open_page("/round", size=DESK)
    holds(page, f"Go on at bed {BED}")
    live(page).get_by_role("button", name=f"Go on at bed {BED}").click()
    expect(page.get_by_text("No reading in this hour")).to_be_visible()
    unfold(page)
    holds(page, BED, LANDMARK, ORDER, TELL)
    live(page).get_by_label("Why there is no reading").fill(REASON)
    live(page).get_by_label("Your initials").fill(INITIALS)
    live(page).get_by_role("button", name="No reading: put it on record").click()
    expect(page.get_by_text("On record: step skipped").first).to_be_visible()
    holds(page, BED)


def test_the_shift_shows_text_as_it_was_typed(open_page, ward):
    page = open_page("/shift", size=DESK)
    holds(page, BED)
    live(page).get_by_role("button", name=BED).click()
    expect(page.get_by_text("On record, newest first")).to_be_visible()
    unfold(page)
    holds(page, ORDER, LANDMARK, TELL, NOTE, REASON, DETAIL, INITIALS)
    at_rest(page)
    live(page).get_by_label("Which entry").scroll_into_view_if_needed()
    at_rest(page)  # the list closes when the page is scrolled
    live(page).get_by_label("Which entry").click()
    expect(page.get_by_role("option").first).to_be_visible()
    choices = page.get_by_role("option").all_inner_texts()
    assert any(shown(DETAIL) in c for c in choices), choices
    page.get_by_role("option").filter(has_text="sample taken").first.click()
    at_rest(page)
    live(page).get_by_text("Correct it", exact=True).click()
    live(page).get_by_label("Reason").fill("")
    holds(page, BED)


def test_scale_files_and_their_names_are_shown_as_they_are(open_page, ward, tmp_path):
    page = open_page("/chamber", size=DESK)
    label = easy_photo()
    photo = tmp_path / "p*h*~o~$t$o.jpg"
    shutil.copy(ROOT / "sample_images" / label["file"], photo)
    give_file(page, photo)
    expect(page.get_by_alt_text("with nothing drawn into it")).to_be_visible()
    at_rest(page)
    page.get_by_text("The ward's own scale file").click()
    at_rest(page)
    page.locator("input[type=file]").last.set_input_files(hostile_scale(tmp_path))
    expect(page.get_by_text("Your reading in mL")).to_be_visible()
    holds(page, SCALE, FILE)
    live(page).get_by_label("Your reading in mL").fill("12")
    live(page).get_by_role("button", name="Go without my own reading").click()
    expect(page.get_by_text("Read against scale")).to_be_visible()
    holds(page, f"Read against scale {SCALE}; choose another")
    live(page).get_by_label("Bed code").fill(BED)
    live(page).get_by_label("Bed code").press("Enter")
    expect(page.get_by_text(f"Last confirmed readings of bed {BED}")).to_be_visible()
    holds(page, INITIALS)


def test_checklists_trials_and_thresholds_are_shown_as_they_are(open_page, ward, served):
    page = open_page("/handles", size=DESK)
    expect(page.get_by_text(LIST, exact=True)).to_be_visible()
    page.get_by_text(LIST, exact=True).click()
    expect(page.get_by_text(shown(LINE), exact=True)).to_be_visible()
    holds(page, LIST, LINE, f"Source: {SOURCE}")
    go_to(page, "/trial")
    expect(page.get_by_text("Your reader code")).to_be_visible()
    holds(page, FOLDER)
    go_to(page, "/threshold")
    live(page).get_by_label("Bed code").fill(BED)
    live(page).get_by_label("Bed code").press("Enter")
    expect(page.get_by_text("Order on record:")).to_be_visible()
    at_rest(page)
    live(page).get_by_label("Landmark, in").fill(LANDMARK)
    live(page).get_by_label("Ordered threshold").fill("10")
    live(page).get_by_label("Ordered threshold").press("Enter")
    expect(page.get_by_text("Which unit does the order name?")).to_be_visible()
    holds(page, "Threshold")


def test_the_server_sends_headers_that_keep_a_page_to_itself(open_page, served):
    """CSP Level 3 (W3C), frame-ancestors; X-Frame-Options (RFC 7034) for older browsers."""
    page = open_page("/")
    seen = page.request.get(served.url + "/").headers
    policy = dict(part.split(" ", 1) for part in seen["content-security-policy"].split("; "))
    assert policy["default-src"] == policy["frame-ancestors"] == "'self'"
    assert "unsafe" not in policy["script-src"] and "http" not in policy["img-src"]
    assert seen["x-frame-options"] == "SAMEORIGIN" and seen["referrer-policy"] == "no-referrer"


def test_the_browser_itself_refuses_what_a_text_would_fetch(browser, served):
    """Were a text ever rendered after all, nothing would leave for another host."""
    context = browser.new_context()
    page, asked = context.new_page(), []
    context.on("requestfinished", lambda r: asked.append(r.url))
    page.goto(served.url)
    expect(page.locator(".cs-title")).to_be_visible()
    said = page.evaluate("""() => new Promise(done => {
      document.addEventListener('securitypolicyviolation', e => done(e.effectiveDirective));
      setTimeout(() => done('nothing was refused'), 10000);
      const i = document.createElement('img'); i.src = 'http://evil.example/5.png';
      document.body.append(i);
    })""")
    assert said == "img-src" and not [u for u in asked if not u.startswith(served.url)]
    context.close()
