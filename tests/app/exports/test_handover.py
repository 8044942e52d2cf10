"""The hand-over sheet says what is on record, and nothing else."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import time, timedelta, timezone
from decimal import Decimal

import pytest
from exports_help import SECOND, evening
from pypdf import PdfReader
from records_help import BED, BY, LOW, at, clock, happening, reading

from app.exports.account_text import account_lines
from app.exports.fhir import write_bundle
from app.exports.handover import CAUTIONS, handover_pdf
from app.exports.sheet_text import MORE
from app.exports.table import read_csv, write_csv
from app.records import LevelDraft, OrderDraft, SettingDraft, SkipDraft, Store, confirm
from app.records.chain import Verification
from app.records.confirmed import seal
from app.records.shift import bed_account
from vision.output import ShiftPlan

NOW = at(200, 60).local
PLAN = ShiftPlan((time(7), time(19)), timezone(timedelta(hours=1)))


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    return evening(tmp_path_factory.mktemp("evening"))


def sheet(store, bed, verification=None):
    taken_back = [s for s in store.current(bed, withdrawn=True) if s.withdrawn]
    data = handover_pdf(bed_account(store, bed), verification or store.verify(), now=NOW,
                        plan=PLAN, printed_by="M.K.", withdrawn=taken_back)
    pages = PdfReader(io.BytesIO(data)).pages
    return " ".join(" ".join(p.extract_text() for p in pages).split()), pages


@pytest.mark.slow
def test_the_sheet_of_an_evening(store):
    text, pages = sheet(store, BED)
    assert len(pages) == 2, "what is handed over, and the entries behind it"
    for words in ("Hand-over, bed QUAY-3", "confirmed entries only", store.verify().head[:12],
                  "threshold \N{MINUS SIGN}2.5 cmH2O", "the position changed at 11:10",
                  "over your limit of 12 mL in an hour", "the teacher on duty", "46.00",
                  "8.90 (7.0 to 10.8)", "corrected (was entry 4)",
                  "chamber reading 12.50 mL", "chamber reading 11.50 mL", "typed a 2 for a 1",
                  "<read again>", "withdrawn", "belongs to QUAY-4", "step skipped: level check",
                  "At 09:02: hangs 0.4 cm too low", "check the level again",
                  "Samples from the patient's port, not part of the output: 2.0 mL",
                  *CAUTIONS):
        assert words in text, words
    assert "QUAY-4 " not in text.replace("belongs to QUAY-4 ", ""), "no other bed's entries"


def first_page(store, minute: float) -> str:
    pdf = PdfReader(io.BytesIO(handover_pdf(
        bed_account(store, BED), store.verify(), now=at(minute).local, plan=PLAN)))
    return " ".join(pdf.pages[0].extract_text().split())


@pytest.mark.slow
def test_a_setting_below_nought_has_a_true_minus_on_paper_and_none_in_the_tables(tmp_path):
    store = Store.open(tmp_path)
    store.add(confirm(OrderDraft(threshold=Decimal("-5"), unit="cm[H2O]"), by=BY, bed=BED,
                      clock=clock(0)))
    store.add(confirm(SettingDraft("cm[H2O]"), by=BY, bed=BED, confirmed_value="-5.0",
                      clock=clock(1)))
    text, minus = sheet(store, BED)[0], "\N{MINUS SIGN}"
    for words in (f"order: threshold {minus}5 cmH2O", f"as ordered, {minus}5.0 cmH2O",
                  f"setting check {minus}5.0 cmH2O"):
        assert words in text, words
    assert " -5" not in text
    for exported in (write_csv(store.entries()), write_bundle(store.current(BED))):
        assert "-5.0" in exported and minus not in exported
    terminal = "\n".join(account_lines(bed_account(store, BED), at(3).local, PLAN))
    assert "as ordered, -5.0 cmH2O" in terminal


@pytest.mark.slow
def test_a_level_that_was_found_off_is_handed_over_as_such(tmp_path):
    store = Store.open(tmp_path)
    store.add(confirm(LevelDraft.of(LOW), by=BY, bed=BED, confirmed_value="-4.6", clock=clock(1)))
    said = ("The last level check is of 08:01; it hangs 4.6 cm too low. Hang it anew, then check "
            "the level again.")
    assert f"Level: NOT LEVEL. {said} Confirmed by M.K." in first_page(store, 10)
    text, _ = sheet(store, BED)
    assert "level check 4.6 cm too low" in text and "-4.6" not in text
    assert said in account_lines(bed_account(store, BED), at(10).local, PLAN), "in a terminal, too"


@pytest.mark.slow
def test_the_setting_is_handed_over_with_how_it_stands_to_the_order(tmp_path):
    store = Store.open(tmp_path)
    store.add(confirm(OrderDraft(landmark="ear canal", threshold="10", unit="mm[Hg]"), by=BY,
                      bed=BED, clock=clock(0)))
    assert "Setting: no setting check is on record." in first_page(store, 1)
    store.add(confirm(SettingDraft("cm[H2O]"), by=BY, bed=BED, confirmed_value="10",
                      clock=clock(2)))
    said = ("Setting: not as ordered at the last check, 08:02 by M.K. The panel is set to "
            "10 cmH2O, that is 7.4 mmHg. The order says 10 mmHg.")
    assert said in first_page(store, 3)
    terminal = account_lines(bed_account(store, BED), at(3).local, PLAN)
    assert any(line.startswith(said) for line in terminal)
    store.add(confirm(SettingDraft("cm[H2O]"), by=BY, bed=BED, confirmed_value="13.6",
                      clock=clock(4)))
    assert "Setting: as ordered, 13.6 cmH2O, checked 08:04 by M.K. " in first_page(store, 5)


@pytest.mark.slow
def test_what_is_handed_over_stands_on_the_first_page_whatever_there_is(tmp_path):
    store = Store.open(tmp_path)
    store.add(confirm(OrderDraft(landmark="ear canal", limits={
        "ml_per_hour": "12", "reading_due_minutes": "60"}), by=BY, bed=BED, clock=clock(0)))
    store.add(confirm(LevelDraft.usual_method(), by=BY, bed=BED, clock=clock(1)))
    store.add(happening("drain-opened", 2))
    store.add(happening("fluid-seen", 3, look="clear"))
    for hour in range(24):  # every second one over the limit
        came = str((9, 14)[hour % 2])
        store.add(reading(came, 5 + 60 * hour))
        if hour < 23:
            store.add(happening("chamber-emptied", 6 + 60 * hour, before_ml=came, after_ml="0"))
    store.add(happening("fluid-seen", 1391, look="pink"))
    store.add(happening("person-told", 1392, about="ml_per_hour", whom="doctor on call",
                        reply="will come"))
    store.add(happening("drain-closed", 1393, closed_for="transport"))
    pdf = PdfReader(io.BytesIO(handover_pdf(
        bed_account(store, BED), store.verify(), now=at(1400).local, plan=PLAN)))
    first = " ".join(pdf.pages[0].extract_text().split())
    for words in ("In the chamber: 14 mL, known at 07:05", "Drain: closed, as confirmed",
                  "Clamped for transport since 07:13, 7 min now",
                  "Look of the fluid: pink, seen at 07:11 by M.K.; before that clear",
                  "Next reading: due at 08:05 (your order: every 60 min)",
                  "Level: The last level check is of 2026-03-02 08:01. By the usual method, M.K. ",
                  "Told doctor on call at 07:12 (M.K.), answer: will come",
                  "Output, mL/h", "Handed over by"):
        assert words in first, words
    assert "Chamber readings" in pdf.pages[1].extract_text() + pdf.pages[2].extract_text()


def test_a_statement_answered_with_no_is_visible(store):
    text, _ = sheet(store, SECOND)
    assert "not hanging plumb" in text and "hung askew" in text and "skipped" in text
    assert "the chamber did not hang plumb" in text, "also beside the output"


def test_a_broken_record_is_said_in_bold_and_first(store):
    text, _ = sheet(store, BED, Verification(False, 3, "0" * 64, "The record is broken at entry 4.",
                                             4, "changed"))
    assert text.index("RECORD NOT WHOLE: The record is broken at entry 4.") < text.index("Output")


def test_questions_are_on_the_sheet(tmp_path):
    store = Store.open(tmp_path)
    store.add(reading("40", 0))
    store.add(reading("12", 60, happened_at=at(60), clock=clock(95)))
    text, _ = sheet(store, BED)
    assert "To be answered: The chamber held 28 mL less" in text
    assert "\N{MINUS SIGN}28" in text and "not in the sums" in text
    assert "entered 09:35" in text, "a late entry says so"


@pytest.mark.slow
def test_an_empty_bed_a_strange_script_and_many_pages(tmp_path):
    store = Store.open(tmp_path)
    store.add(reading("1", 0, note="漢 ошибка é <b>bold?</b> & more"))
    text, _ = sheet(store, BED)
    assert "[U+6F22]" in text and "é <b>bold?</b> & more" in text
    assert "not yet two confirmed readings" in text and "No level check" in text
    for n in range(1, 60):
        store.add(reading(f"{n % 50}", n, note="a longer note " * 8))
    text, pages = sheet(store, BED)
    assert len(pages) > 2 and f"page {len(pages)}" in text


def test_the_same_sheet_twice_is_the_same_file(store):
    made = [handover_pdf(bed_account(store, BED), store.verify(), now=NOW, plan=PLAN)
            for _ in range(2)]
    assert made[0] == made[1]


@pytest.mark.slow
def test_one_long_old_entry_does_not_keep_the_sheet_back(tmp_path):
    """Texts are limited now; what was taken before may be longer than a page."""
    store = Store.open(tmp_path)
    for k, long in enumerate(("word " * 4000, "x" * 20_000, "\n" * 900, "\N{DROPLET}" * 900,
                              "W" * 20_000)):
        old = reading("10", 60 * k).content
        store.add(seal(replace(old, note=long)))
        skip = confirm(SkipDraft("level check", "why"), by=BY, bed=BED, clock=clock(60 * k + 1))
        gone = store.add(seal(replace(skip.content, reason=long + ".", payload={"step": long})))
        gone = confirm(gone.withdrawal("x"), by=BY, bed=BED, clock=clock(60 * k + 2)).content
        store.add(seal(replace(gone, reason=long + ".")))
    text, pages = sheet(store, BED)
    assert MORE.strip() in text and len(pages) < 12
    assert read_csv(write_csv(store.entries())) == store.entries()
