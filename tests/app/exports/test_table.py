"""The CSV table: lossless, checkable by itself, harmless in a spreadsheet."""

from __future__ import annotations

import csv
import io
import unicodedata

import pytest
from exports_help import evening
from hypothesis import given, settings
from hypothesis import strategies as st
from records_help import BED, BY, clock, reading

from app.exports.table import read_csv, verify_csv, write_csv
from app.records import NotARecordError, Store, confirm
from app.records.shift import bed_account, chamber_inputs
from app.records.standing import standings
from vision.output import make_account


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    return evening(tmp_path_factory.mktemp("evening"))


@pytest.fixture(scope="module")
def notes(tmp_path_factory):
    return Store.open(tmp_path_factory.mktemp("notes"))


def test_the_table_comes_back_as_it_was(store):
    text = write_csv(store.entries())
    assert read_csv(text) == store.entries()


def test_import_gives_the_same_account(store):
    there = standings(read_csv(write_csv(store.entries())))
    for bed in store.beds():
        ours = bed_account(store, bed).account
        theirs = make_account(*chamber_inputs(s for s in there if s.entry.bed == bed))
        assert theirs.intervals == ours.intervals and theirs.total_ml == ours.total_ml


def test_the_chain_can_be_checked_from_the_table_alone(store):
    text = write_csv(store.checked_read(stations=True).entries)
    assert verify_csv(text).head == store.verify().head and "signed" in verify_csv(text).sentence
    changed = verify_csv(text.replace(",12.50,", ",12.80,"))
    assert not changed.ok and changed.broken == 4


def test_what_stands_is_said(store):
    rows = list(csv.DictReader(io.StringIO(write_csv(store.entries()).removeprefix("\ufeff"))))
    said = {int(r["number"]): r["status"] for r in rows}
    assert (said[4], said[5], said[6], said[7], said[8]) == (
        "corrected", "as confirmed", "corrected", "withdrawn", "withdrawn")
    assert rows[4]["local_time"] == "2026-03-02T10:05:00+01:00"


def test_a_spreadsheet_sees_no_formula(store):
    assert any(e.note.startswith("=") for e in store.entries())
    text = write_csv(store.entries())
    for row in csv.reader(io.StringIO(text)):
        for cell in row:
            assert not cell.startswith(("=", "@", "\t")), cell
    assert read_csv(text) == store.entries()


def test_a_part_of_the_record_can_be_exported(store):
    part = tuple(e for e in store.entries() if e.number >= 6)
    assert read_csv(write_csv(part)) == part
    assert write_csv(()).count("\n") == 1


@pytest.mark.parametrize("text", ["", "a,b\n1,2\n", "\x00\x01"])
def test_other_tables_are_refused(text):
    with pytest.raises(NotARecordError):
        read_csv(text)


def test_a_mangled_line_is_named(store):
    text = write_csv(store.entries()).replace("2026-03-02T08:05", "2026-99-02T08:05")
    with pytest.raises(NotARecordError, match="Line 5"):
        read_csv(text)


def taken(note: str) -> bool:
    """Whether the record takes a note: nothing at all, or something that can be read (marks
    that stand on no letter are refused before they come to any table)."""
    return not note.strip() or any(unicodedata.category(c)[0] in "LNPS" for c in note)


@pytest.mark.slow
@settings(max_examples=25, deadline=None)
@given(note=st.text(st.characters(exclude_categories=("Cc", "Cs")), max_size=60).filter(taken)
       | st.sampled_from(["@SUM(A1)", ";'", "a;=1;''=2", "'quoted", "''", "-", "+1", "\"",
                           "a,b;c"]),
       tenths=st.integers(0, 600))
def test_any_note_and_value_survives(notes, note, tenths):
    made = notes.add(reading(f"{tenths / 10:.1f}", note=note))
    gone = notes.add(confirm(made.withdrawal("- " + (note.strip() or "x")), by=BY, bed=BED,
                             clock=clock(1)))
    text = write_csv((made, gone))
    assert read_csv(text) == (made, gone)
    for row in csv.reader(io.StringIO(text)):
        assert not any(cell.startswith(("=", "@", "+")) for cell in row)


#: OWASP's list (from memory), their full-width forms, and a cell that begins behind a
#: semicolon, where a spreadsheet of a country with decimal commas splits, quotes or not.
FORMULAS = ["=1+1", "+1", "-1+1", "@SUM(A1)", "\uff1d1+1", "\uff0b1", "\uff0d1", "\uff20A1",
            ";=1+1", "a;=1+1", "a; =1", ";\uff1d1", "  =1", "\u3000=1", "a|=1", "';=1", "'=1",
            'a;"=1', ';" ""+1', '"=1']


@pytest.mark.parametrize("formula", FORMULAS)
def test_no_cell_of_any_countrys_spreadsheet_begins_a_formula(notes, formula):
    entry = notes.add(reading("10.0", note=formula))
    text = write_csv((entry,))
    cells = [c for row in csv.reader(io.StringIO(text)) for c in row]
    cells += [c for line in text.splitlines() for c in line.replace('"', "").split(";")]
    for cell in cells:
        begins = unicodedata.normalize("NFKC", cell).lstrip()[:1]
        assert begins not in ("=", "+", "@"), cell
    assert read_csv(text) == (entry,)
