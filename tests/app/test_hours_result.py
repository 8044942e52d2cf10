"""One hour, read and then emptied: every page, sheet and file tells the same result.

By hand: 20.0 mL, an hour later 28.0 mL, a minute later emptied to 0: 8.0 mL, 8.0 mL/h.
"""

from __future__ import annotations

import io
import json
import re
from datetime import datetime, timedelta

import pytest
import shift_page
from fhir_account import read_accounts
from pypdf import PdfReader
from records_help import BED
from shift_page import Page, put, read
from streamlit.testing.v1 import AppTest

from app.exports.account_text import account_json, account_lines
from app.exports.fhir import write_bundle
from app.exports.handover import handover_pdf
from app.exports.table import read_csv, write_csv
from app.records import EventDraft, Moment, OrderDraft, Store
from app.records.shift import bed_account, chamber_inputs
from app.records.standing import standings
from vision.output import ShiftPlan, make_account, parse_starts

PLAN = ShiftPlan(parse_starts("07:00,19:00"))


@pytest.fixture
def store(tmp_path, monkeypatch):
    """With limits that 8 mL in an hour keep and that any rate of the last minute breaks."""
    monkeypatch.setenv("COUNTERSIGHT_DATA", str(tmp_path))
    now = datetime.now().astimezone()  # one for all: what is put on record takes its time, too
    monkeypatch.setattr(shift_page, "ago", lambda minutes: Moment.of(
        now - timedelta(minutes=minutes)))
    store = Store.open(tmp_path)
    put(store, OrderDraft(landmark="tragus", drain="continuously",
                          limits={"ml_per_hour": "15", "ml_per_six_hours": "60"}), 80)
    read(store, "20.0", 66)
    read(store, "28.0", 6)
    return store


@pytest.fixture
def emptied(store):
    put(store, EventDraft("chamber-emptied", before_ml="28.0", after_ml="0"), 5)
    return store


def the_end_of_the_round(store) -> str:
    """What the round shows once everything of the hour is on record."""
    at = AppTest.from_string("from app.pages import round\nround.page()\n", default_timeout=60)
    at.query_params["bed"] = str(BED)
    at.run()
    at.session_state["round-in-hand"].done = store.entries(kind="volume-reading")[-1:]
    at.query_params["at"] = "done"
    at.run()
    assert not at.exception, at.exception
    text = "\n".join(str(getattr(n, "value", "")) + str(getattr(n, "proto", "")) for n in _all(at))
    return re.sub(r'id: "[^"]*"', "", text)  # hashes, in which any number can stand


def _all(at):  # type: ignore[no-untyped-def]
    todo = list(at.main)
    for node in todo:
        todo += list(getattr(node, "children", {}).values())
    return todo


def test_the_round_ends_with_the_hours_result(emptied):
    text = the_end_of_the_round(emptied)
    assert ">8.0 <small>mL</small>" in text.replace('\\"', '"') and "8.0 mL/h" in text
    assert "then emptied at" in text and "0 mL left" in text
    assert "No limit of the order is crossed by what is on record." in text
    assert "Read again" not in text


def test_an_hour_over_the_limit_before_a_calm_one_is_named_until_somebody_was_told(store):
    """By hand: 20 mL in the hour before, over 15; 8 mL in this one."""
    read(store, "0.0", 126, clock_checked=True)
    text = the_end_of_the_round(store)
    assert "crossed by the last result." in text and "by what is on record" not in text
    assert "Over a limit earlier, no telling on record" in text
    assert "20.0 mL in an hour" in text
    put(store, EventDraft("person-told", about="ml_per_hour", whom="doctor on call",
                          reply="will come"), 3)
    text = the_end_of_the_round(store)
    assert "Over a limit earlier" not in text and "crossed by the last result." in text


def test_a_part_of_an_hour_over_the_limit_is_at_least_so_much_wherever_it_is_told(tmp_path):
    """By hand: 20 mL in 55 min; of the five before the first reading nothing is known."""
    store = Store.open(tmp_path)
    put(store, OrderDraft(landmark="tragus", limits={"ml_per_hour": "15"}), 80)
    now = datetime.now().astimezone()
    for value, minutes in (("10.0", 61), ("30.0", 6)):
        read(store, value, minutes)
    bed = bed_account(store, BED)
    said = "5 min of it not known: at least 20.0 mL in an hour"
    pdf = PdfReader(io.BytesIO(handover_pdf(bed, store.verify(), now=now, plan=PLAN)))
    for told in ("\n".join(account_lines(bed, now, PLAN)),
                 json.dumps(account_json(bed, now, PLAN)["findings"]),
                 " ".join(pdf.pages[0].extract_text().split())):
        assert said in told


def test_a_second_reading_a_minute_later_shows_no_rate_of_that_minute(store):
    """39.0 a minute after 28.0: 660 mL/h by that minute alone, 19 mL in 61 min in truth."""
    read(store, "39.0", 5)
    text = the_end_of_the_round(store)
    assert "660" not in text and "18.7 mL/h" in text
    assert "mL in an hour" in text and "over your limit of 15 mL in an hour" in text


@pytest.mark.slow
def test_the_shift_page_and_its_plot_say_the_same(emptied):
    text = Page(str(BED)).text().replace('\\"', '"')
    assert ">8.0 <small>mL</small>" in text and "8.0 mL/h" in text
    assert ": 8.0 mL/h; " in text and "no rate under 15 min" in text, "the plot in words"
    assert "too close to your limit" not in text and "over your limit" not in text


@pytest.mark.slow
def test_the_plot_keeps_its_axis(store):
    """A minute with 10 mL would be 600 mL/h and flatten every hour of the night."""
    from app.exports.output_plot import output_plot

    bed = bed_account(store, BED)
    before = output_plot(bed, bed.account.readings[0].at, datetime.now().astimezone())
    read(store, "38.0", 5)
    after_bed = bed_account(store, BED)
    after = output_plot(after_bed, bed.account.readings[0].at, datetime.now().astimezone())
    assert before is not None and after is not None

    def axis(svg: str) -> list[str]:
        return [part.split("<")[0] for part in svg.split('text-anchor="end"')[1:]]

    assert axis(after.svg) == axis(before.svg) and after.svg.count("<rect") == 1


def test_sheet_and_command_say_the_same(emptied):
    now = datetime.now().astimezone()
    bed = bed_account(emptied, BED)
    lines = "\n".join(account_lines(bed, now, PLAN))
    pdf = handover_pdf(bed, emptied.verify(), now=now, plan=PLAN)
    sheet = " ".join("".join(p.extract_text() for p in PdfReader(io.BytesIO(pdf)).pages).split())
    for text in (" ".join(lines.split()), sheet):
        assert "Up to the last reading" in text and "mL, 8.0 mL/h; then emptied at" in text
        assert "8.0 (" in text and "limit" not in text.split("Output")[-1].split("readings")[0]
    told = account_json(bed, now, PLAN)
    assert told["result"]["output"] == 8.0 and told["result"]["ml_per_hour"] == 8.0
    assert [i["ml_per_hour"] for i in told["intervals"]] == [8.0, None]
    assert told["findings"] == [] and json.dumps(told)


def test_from_the_files_comes_the_same_result(emptied):
    from_csv = standings(read_csv(write_csv(emptied.entries())))
    accounts = [make_account(*chamber_inputs(from_csv)),
                read_accounts(write_bundle(emptied.current(BED)))[str(BED)]]
    for account in accounts:
        assert account.result is not None
        assert (account.result.output_ml, account.result.ml_per_hour) == (
            8, pytest.approx(8.0, abs=1e-3))


def test_what_was_emptied_is_not_shown_as_still_in_the_chamber(emptied):
    """A round begun after an emptying to 0 showed the reading before it as the chamber's."""
    at = AppTest.from_string("from app.pages import round\nround.page()\n", default_timeout=60)
    at.query_params["bed"] = str(BED)
    at.run()
    text = "\n".join(str(getattr(n, "value", "")) for n in at.main)
    card = text.split("In the chamber")[1].split("</div>")[0]
    assert ">0 <small>mL</small>" in card and "last reading 28.0 mL" in card


def test_a_drain_seen_open_is_no_drain_opened_on_plot_sheet_table_or_bundle(store):
    """A state seen is not a change made: nothing may imply that it had been closed."""
    from app.exports.output_plot import output_plot

    put(store, EventDraft("drain-opened", detail="at the round", seen=True), 0,
        happened_at=shift_page.ago(30))
    bed, now = bed_account(store, BED), datetime.now().astimezone()
    (interval,) = bed.account.intervals
    assert interval.open_hours == pytest.approx(interval.hours)
    plot = output_plot(bed, bed.account.readings[0].at, now)
    assert plot is not None and ">O<" not in plot.svg
    pdf = handover_pdf(bed, store.verify(), now=now, plan=PLAN)
    sheet = " ".join("".join(p.extract_text() for p in PdfReader(io.BytesIO(pdf)).pages).split())
    assert "drain seen open" in sheet and "drain opened" not in sheet
    bundle = write_bundle(store.current(BED, withdrawn=True))
    assert "drain-opened-seen" in bundle and '"Drain opened"' not in bundle
    assert "seen" in write_csv(store.entries(bed=BED))


def test_a_drain_that_was_opened_is_one(store):
    from app.exports.output_plot import output_plot

    put(store, EventDraft("drain-opened"), 0, happened_at=shift_page.ago(30))
    bed = bed_account(store, BED)
    plot = output_plot(bed, bed.account.readings[0].at, datetime.now().astimezone())
    assert plot is not None and ">O<" in plot.svg
