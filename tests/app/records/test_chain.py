"""A record changed by hand is found, and the first broken entry is named."""

from __future__ import annotations

import hashlib
import json
import sqlite3

import pytest
from records_help import BED, BY, by_hand, clock, happening, reading

from app.records import DamagedError, Store, confirm
from app.records.canonical import FIRST_LINK, canonical_json
from app.records.chain import content_hash


@pytest.fixture
def store(tmp_path):
    made = Store.open(tmp_path)
    entry = made.add(reading("10.0"))
    made.add(happening("drain-closed", 10))
    made.add(confirm(entry.correction("slip", confirmed_value="10.5"), by=BY, bed=BED,
                     clock=clock(11)))
    made.add(happening("drain-opened", 20))
    made.add(reading("14.0", 60))
    return made


def test_a_whole_chain(store):
    found = store.verify()
    assert found.ok and found.entries == 5 and found.broken is None
    assert found.head == store.entry(5).hash and found.head[:12] in found.sentence
    assert store.verify(expected=(3, store.entry(3).hash)).ok


def test_the_hash_can_be_computed_by_anyone(store):
    """Recomputed here from the rows alone, with nothing but json and hashlib."""
    c = sqlite3.connect(store._engine.url.database)
    c.row_factory = sqlite3.Row
    previous = "0" * 64
    for row in c.execute("SELECT * FROM entry ORDER BY number"):
        content = {k: row[k] for k in row.keys()  # noqa: SIM118
                   if k not in ("previous_hash", "hash", "signer", "signature")}
        text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        previous = hashlib.sha256((previous + "\n" + text).encode()).hexdigest()
        assert row["hash"] == previous
    assert previous == store.verify().head


def test_sha256_itself_against_the_published_example():
    """FIPS 180-4 example: the digest of "abc" (NIST, Secure Hash Standard, 2015)."""
    assert hashlib.sha256(b"abc").hexdigest() == (
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad")


@pytest.mark.parametrize(("change", "number", "words"), [
    ("UPDATE entry SET confirmed_value = '9.0' WHERE number = 1", 1, "changed by hand"),
    ("UPDATE entry SET note = 'x' WHERE number = 3", 3, "changed by hand"),
    ("UPDATE entry SET initials = 'X.Y.' WHERE number = 5", 5, "changed by hand"),
    ("UPDATE entry SET happened_utc = '2026-03-02T08:00:00.001Z' WHERE number = 1", 1,
     "changed by hand"),
    ("DELETE FROM entry WHERE number = 2", 2, "is missing"),
    ("DELETE FROM entry WHERE number = 4", 4, "is missing"),
    ("UPDATE entry SET hash = (CASE substr(hash, 1, 1) WHEN 'a' THEN 'b' ELSE 'a' END)"
     " || substr(hash, 2) WHERE number = 2", 2, "changed by hand"),
    ("UPDATE entry SET previous_hash = (CASE substr(previous_hash, 1, 1) WHEN 'b' THEN 'c'"
     " ELSE 'b' END) || substr(previous_hash, 2) WHERE number = 4", 4,
     "does not follow"),
])
def test_a_change_by_hand_is_found_and_named(store, change, number, words):
    by_hand(store, change)
    found = store.verify()
    assert not found.ok and found.broken == number
    assert found.entries == number - 1
    assert words in found.fault and f"entry {number}" in found.sentence


@pytest.mark.slow
def test_no_cell_can_be_changed_unnoticed(store):
    """Every column of one entry in turn, by someone who gets past guards and checks."""
    from app.records.schema import entry_table

    whole = store.verify()
    file = store._engine.url.database
    for column in entry_table.columns:
        c = sqlite3.connect(file)
        c.execute("PRAGMA ignore_check_constraints = ON")
        old = c.execute(f"SELECT {column.name} FROM entry WHERE number = 3").fetchone()[0]
        new = 77 if column.type.python_type is int else f"{old or ''}x"
        triggers = c.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
                             ).fetchall()
        for name, _ in triggers:
            c.execute(f"DROP TRIGGER {name}")
        c.execute(f"UPDATE entry SET {column.name} = ? WHERE number = 3", (new,))
        c.commit()
        found = store.verify()
        assert not found.ok and found.broken == 3, column.name
        c.execute(f"UPDATE entry SET {column.name} = ? WHERE {column.name} IS ? AND "
                  "number IN (3, 77)", (old, new))
        for _, sql in triggers:
            c.execute(sql)
        c.commit()
        c.close()
    assert store.verify() == whole


@pytest.mark.parametrize(("column", "value"), [
    ("payload", "not json"), ("happened_utc", "yesterday"), ("confirmed_value", "many"),
    ("recorded_offset_min", 9999), ("flags", "[")])
def test_an_entry_that_cannot_even_be_read_is_named(store, column, value):
    by_hand(store, (f"UPDATE entry SET {column} = ? WHERE number = 1", (value,)))
    with pytest.raises(DamagedError, match="Entry 1 cannot be read"):
        store.entries()
    assert store.verify().broken == 1


def test_a_correction_of_a_removed_entry_is_named(store):
    by_hand(store, "DELETE FROM entry WHERE number = 1")
    with pytest.raises(DamagedError, match="Entry 3 speaks about entry 1, which is missing"):
        store.current(BED)


def test_two_entries_exchanged(store):
    by_hand(store, "UPDATE entry SET number = 99 WHERE number = 4",
            "UPDATE entry SET number = 4 WHERE number = 5",
            "UPDATE entry SET number = 5 WHERE number = 99")
    found = store.verify()
    assert found.broken == 4 and "exchanged" in found.fault


def test_a_changed_entry_with_a_fresh_hash_is_not_signed(store):
    row = dict(store.entry(2).row(), number=2, previous_hash=store.entry(2).previous_hash,
               note="nothing to see")
    by_hand(store, ("UPDATE entry SET note = ?, hash = ? WHERE number = 2",
                    (row["note"], content_hash(row))))
    found = store.verify()
    assert found.broken == 2 and "signature" in found.fault


def test_a_cut_off_end_is_told_by_the_anchor_or_by_a_mark_noted_elsewhere(store):
    noted, anchor = (5, store.entry(5).hash), store._anchor
    by_hand(store, "DELETE FROM entry WHERE number = 5")
    found = store.verify()
    assert found.broken == 5 and "5 entries were noted in the anchor" in found.fault
    anchor.unlink()
    found = store.verify()
    assert found.ok and "No anchor of it is here" in found.sentence
    found = store.verify(expected=noted)
    assert not found.ok and found.broken == 5 and "5 entries were noted earlier" in found.fault
    store.add(reading("11", 60))
    found = store.verify(expected=noted)
    assert not found.ok and found.broken == 5 and "rewritten" in found.fault


def test_missing_guards_are_named(store):
    by_hand(store, "SELECT 1", guards=True)
    found = store.verify()
    assert not found.ok and found.broken is None
    assert "entry_no_update" in found.sentence and "5 entries are whole" in found.sentence


def test_canonical_text_is_one_text():
    a = canonical_json({"b": 1, "a": [None, True, "é\n"]})
    assert a == canonical_json({"a": [None, True, "é\n"], "b": 1})
    assert a == '{"a":[null,true,"é\\n"],"b":1}'
    assert FIRST_LINK == "0" * 64
