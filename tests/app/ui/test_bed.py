"""Every page that asks for a bed offers the known ones and asks about a code like a known one."""

from __future__ import annotations

import html
from fnmatch import fnmatch

import pytest
from chamber_page import Page as ChamberPage
from chamber_page import Reader, install, photo_file
from chamber_page import reading as seen
from shift_page import put
from streamlit.testing.v1 import AppTest

from app.records import BedCode, EventDraft, Moment, Store
from app.rounds import Round, RoundBook


@pytest.fixture
def store(tmp_path, monkeypatch):
    monkeypatch.setenv("COUNTERSIGHT_DATA", str(tmp_path))
    store = Store.open(tmp_path)
    for bed in ("WARD-7", "QUAY-3"):
        put(store, EventDraft("bag-changed"), 5, bed=BedCode(bed))
    return store


class Any_:
    """A page by name."""

    def __init__(self, name: str, bed: str = "") -> None:
        self.at = AppTest.from_string(f"from app.pages import {name}\n{name}.page()\n",
                                      default_timeout=60)
        if bed:
            self.at.query_params["bed"] = bed
        self.run()

    def run(self) -> Any_:
        self.at.run()
        assert not self.at.exception, self.at.exception
        return self

    def bed(self, text: str) -> Any_:
        self.field().input(text)
        return self.run()

    def field(self):  # type: ignore[no-untyped-def]
        return next(t for t in self.at.text_input if t.label.startswith("Bed code"))

    def press(self, start: str) -> Any_:
        next(b for b in self.at.button if fnmatch(b.key or "", f"{start}*")).click()
        return self.run()

    def offered(self) -> list[str]:
        return [b.label for b in self.at.button if fnmatch(b.key or "", "bed-known-*")]

    def text(self) -> str:
        return html.unescape("\n".join(str(getattr(n, "value", "")) for n in self.at.main))


ASKING = ("shift", "orders", "threshold", "level", "round")


@pytest.mark.parametrize("name", ASKING)
def test_the_known_beds_are_offered_and_can_be_pressed(store, name):
    page = Any_(name)
    assert page.offered() == ["Bed QUAY-3", "Bed WARD-7"]
    page.press("bed-known-*-WARD-7")
    if name == "round":
        assert page.at.query_params["bed"] == "WARD-7"
    else:
        assert page.field().value == "WARD-7" and page.offered() == []


@pytest.mark.slow
@pytest.mark.parametrize("name", ASKING)
def test_a_code_like_a_known_one_is_asked_about(store, name):
    page = Any_(name).bed("ward7")
    assert "Did you mean WARD-7?" in page.text()
    page.press("bed-meant-*-WARD-7")
    assert "Did you mean" not in page.text()


def test_a_code_that_looks_the_same_says_what_makes_it_another(store):
    """Typed on a Cyrillic keyboard, "nothing is on record for bed WARD-7" would look untrue."""
    text = Any_("orders").bed("W\u0410RD-7").text()
    assert "Did you mean WARD-7?" in text and "another alphabet: \u0410 (U+0410)." in text
    assert "alphabet" not in Any_("orders").bed("WARD7").text()


@pytest.mark.slow
@pytest.mark.parametrize("name", ASKING)
def test_many_beds_are_offered_in_a_list(store, name):
    for n in range(10, 20):
        put(store, EventDraft("bag-changed"), 5, bed=BedCode(f"ROOM {n}"))
    page = Any_(name)
    (box,) = [s for s in page.at.selectbox if (s.key or "").startswith("bed-known-")]
    assert len(box.options) == 12
    box.select("ROOM 15")
    page.run()
    assert page.at.query_params["bed"] == "ROOM 15" if name == "round" else \
        page.field().value == "ROOM 15"


@pytest.mark.slow
def test_the_chamber_page_offers_and_asks_too(store, monkeypatch):
    install(monkeypatch, Reader(seen()))
    page = ChamberPage().to_the_reading(photo_file(1)).press("tools").answer()
    assert {b.label for b in page.at.button if (b.key or "").startswith("bed-known-")} == {
        "Bed QUAY-3", "Bed WARD-7"}
    page.sign(bed="WARD 7").press("confirm")
    assert "it looks like WARD-7" in page.text() and not store.entries(kind="volume-reading")
    next(c for c in page.at.checkbox if c.label.startswith("No: WARD 7")).check()
    page.run().press("confirm")
    assert store.entries(kind="volume-reading")[0].bed == "WARD 7"


@pytest.mark.slow
def test_a_full_width_code_finds_the_bed(store):
    page = Any_("shift").bed("\uff57\uff41\uff52\uff44\uff0d\uff17")
    assert "Bed WARD-7" in page.text() and "Did you mean" not in page.text()


@pytest.mark.slow
def test_a_round_of_a_bed_like_a_known_one_waits_for_the_answer(store, tmp_path):
    page = Any_("round", "WARD7")
    assert "Did you mean WARD-7?" in page.text()
    next(t for t in page.at.text_input if t.label.startswith("Your initials")).input("M.K.")
    next(t for t in page.at.text_input if t.label.startswith("Why there is no")).input("away")
    page.run().press("put-none-")
    assert store.entries(bed="WARD7") == () and "Say which one is meant" in page.text()
    next(c for c in page.at.checkbox if c.label.startswith("No: WARD7")).check()
    page.run().press("put-none-")
    assert [e.kind for e in store.entries(bed="WARD7")] == ["skipped-step"]


def test_a_round_begun_under_an_old_spelling_is_found_and_goes(tmp_path):
    import hashlib

    book = RoundBook(tmp_path)
    book.begin(Round.begin("WARD-7", Moment.now(), 0))
    (path,) = tmp_path.glob("*.json")
    old = tmp_path / f"{hashlib.sha256(b'ward-7').hexdigest()[:32]}.json"
    old.write_text(path.read_text().replace("WARD-7", "ward-7"))
    path.unlink()
    found = book.get("WARD-7")
    assert found is not None and found.bed == "WARD-7" and len(book.all()) == 1
    book.keep(found.moved("both"))
    assert len(list(tmp_path.glob("*.json"))) == 1
    book.close("ward-7")
    assert list(tmp_path.iterdir()) == []
