"""A value that does not fit the record is asked about first, and the answer goes on record."""

from __future__ import annotations

import json

import pytest
from chamber_page import Page as ChamberPage
from chamber_page import Reader, install, photo_file
from chamber_page import reading as seen
from records_help import BED, BY, SCALE, YES, clock, happening
from shift_page import Page, put
from streamlit.testing.v1 import AppTest

from app.entering import DoubtfulError, put_on_record
from app.exports.entry_words import remarks
from app.exports.fhir import observation
from app.records import EventDraft, OwnReading, ReadingDraft, SkipDraft, Store
from vision.scale_file.scale import load_scale


@pytest.fixture
def store(tmp_path, monkeypatch):
    monkeypatch.setenv("COUNTERSIGHT_DATA", str(tmp_path))
    return Store.open(tmp_path)


def by_eye(store, value, minutes, **more):
    return put_on_record(
        store, ReadingDraft.by_eye(scale=SCALE, first=OwnReading.read(value)), by=BY, bed=BED,
        confirmed_value=value, attestations=YES, clock=clock(minutes), **more)


@pytest.mark.slow
def test_55_ml_three_minutes_after_0_with_the_drain_closed_is_not_taken_without_an_answer(store):
    store.add(happening("drain-closed", 0))
    by_eye(store, "0", 5)
    with pytest.raises(DoubtfulError, match="say why it is so") as told:
        by_eye(store, "55", 8)
    (question,) = told.value.questions
    assert "on record as closed the whole time" in question.sentence
    assert len(store.entries()) == 2
    entry = by_eye(store, "55", 8, answer="the stopcock  was open after all")
    assert entry.payload["asked"] == ["came-while-closed"]
    assert entry.payload["answer"] == "the stopcock was open after all"
    (standing,) = [s for s in store.current(BED) if s.entry.number == entry.number]
    assert "drain on record as closed), answer: the stopcock was open" in remarks(standing)
    assert "the stopcock was open after all" in json.dumps(observation(standing), default=str)
    assert store.verify().ok


def test_what_fits_goes_on_record_without_a_question(store):
    by_eye(store, "10", 0)
    entry = by_eye(store, "18", 60, answer="not asked")
    assert "answer" not in entry.payload and "asked" not in entry.payload


def test_a_second_tap_is_the_same_entry_and_no_new_question(store):
    by_eye(store, "10", 0)
    first = by_eye(store, "55", 3, key="k", answer="read twice, it is so")
    assert by_eye(store, "55", 3, key="k", answer="read twice, it is so").number == first.number
    assert len(store.entries()) == 2


def test_an_emptying_that_does_not_fit_keeps_the_answer_as_its_detail(store):
    by_eye(store, "28", 0)
    draft = EventDraft("chamber-emptied", before_ml="55", after_ml="0")
    with pytest.raises(DoubtfulError):
        put_on_record(store, draft, by=BY, bed=BED, clock=clock(2))
    entry = put_on_record(store, draft, by=BY, bed=BED, clock=clock(2), answer="patient coughed")
    assert entry.payload["detail"] == "patient coughed"


def test_corrections_and_other_entries_are_not_asked_about(store):
    entry = by_eye(store, "10", 0)
    put_on_record(store, entry.correction("typed a 1 for a 5", confirmed_value="50"), by=BY,
                  bed=BED, clock=clock(1))
    put_on_record(store, SkipDraft("level check", "asleep"), by=BY, bed=BED, clock=clock(2))
    put_on_record(store, EventDraft("bag-changed"), by=BY, bed=BED, clock=clock(3))
    assert len(store.entries()) == 4


def test_a_demo_follows_no_patient(store):
    by_eye(store, "50", 0)
    assert by_eye(store, "5", 1, compare=False).number == 2


# --- the pages


class Hour(Page):
    """The round's page, by eye, with everything else of the hour said."""

    def __init__(self, store, own: str) -> None:  # type: ignore[no-untyped-def]
        self.at = AppTest.from_string("from app.pages import round\nround.page()\n",
                                      default_timeout=60)
        self.at.query_params["bed"] = str(BED)
        self.run()
        self.choose("level-hour-", "Found level").choose("drain-hour-", "Closed")
        next(c for c in self.at.checkbox if (c.key or "").endswith("-not")).check()
        self.run().type("why-setting-", "not now").press("eye-")
        if self.at.radio and self.at.radio[0].value is None:
            self.at.radio[0].set_value("quay-60")
            self.run()
        self.type("own-", own).press("commit-")

    def confirm(self) -> Hour:
        self.choose("four-", "All four hold").choose("emptied-", "Not emptied")
        self.type("by-", "M.K.").press("put-hour-")
        return self


def read_on_quay(store, value, minutes):
    """A reading on the scale that the pages below choose."""
    draft = ReadingDraft.by_eye(scale=load_scale("quay-60"), first=OwnReading.read(value))
    return put(store, draft, minutes, confirmed_value=value, attestations=YES)


def readings(store):
    return store.entries(kind="volume-reading")


@pytest.mark.slow
def test_the_round_asks_before_it_takes_a_reading_by_eye(store):
    put(store, EventDraft("drain-closed"), 10)
    read_on_quay(store, "0", 4)
    page = Hour(store, "55").confirm()
    assert "This does not fit what is on record" in page.text()
    assert "although the drain is on record as closed" in page.text()
    assert len(readings(store)) == 1
    assert store.entries(kind="level-check") == (), "all of the hour or nothing"
    page.press("put-hour-")
    assert len(readings(store)) == 1, "pressing once more is no answer"
    page.type("hour-*-why-55", "stopcock found open").press("put-hour-")
    assert readings(store)[-1].payload["answer"] == "stopcock found open"
    assert len(store.entries(kind="level-check")) == 1 and "On record:" in page.text()


@pytest.mark.slow
def test_an_answer_belongs_to_the_value_it_was_given_for(store):
    put(store, EventDraft("drain-closed"), 10)
    read_on_quay(store, "0", 4)
    page = Hour(store, "50").confirm()
    page.type("hour-*-why-50", "stopcock found open")
    page.type("value-", "50.5").press("put-hour-")
    assert len(readings(store)) == 1 and "50.5 mL came although" in page.text()
    for text in ("0.4", "0.4"):  # far from every reading on the page: asked once
        page.type("value-", text).press("put-hour-")
    assert "answer" not in readings(store)[-1].payload, "what fits needs none"


@pytest.mark.slow
def test_a_photo_is_asked_about_like_an_eye(store, monkeypatch):
    """31.7 mL by the photo, 0 three minutes before with the drain closed."""
    install(monkeypatch, Reader(seen()))
    put(store, EventDraft("drain-closed"), 10)
    read_on_quay(store, "0", 3)
    page = ChamberPage().to_the_reading(photo_file(1)).press("tools").answer().sign()
    page.press("confirm")
    assert "This does not fit what is on record" in page.text() and len(readings(store)) == 1
    key = next(t.key for t in page.at.text_input if "-why-" in (t.key or ""))
    page.at.text_input(key=key).input("stopcock found open")
    page.run().press("confirm")
    assert readings(store)[-1].payload["answer"] == "stopcock found open"


@pytest.mark.slow
def test_an_emptying_of_more_than_can_have_come_is_asked_about_on_the_shift_page(store):
    read_on_quay(store, "10", 3)
    page = Page().event("chamber-emptied").type("ev-chamber-emptied-*-before_ml", "55")
    page.type("ev-chamber-emptied-*-after_ml", "0").confirm_event()
    assert "faster than 60 mL/h" in page.text() and not store.entries(kind="chamber-emptied")
    page.type("*-why-55", "bag was squeezed").press("confirm-ev-")
    assert store.entries(kind="chamber-emptied")[0].payload["detail"] == "bag was squeezed"
