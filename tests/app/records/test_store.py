"""The store keeps what was confirmed, once, for good."""

from __future__ import annotations

import itertools
import sqlite3
from dataclasses import fields, replace
from datetime import timedelta
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from records_help import BED, BY, START, YES, at, clock, draft, happening, reading, row_of
from sqlalchemy import insert
from sqlalchemy.exc import DBAPIError

from app.records import (
    AlreadySupersededError,
    BedCode,
    ClockDoubtError,
    EventDraft,
    Initials,
    KeyReusedError,
    NoSuchEntryError,
    Store,
    confirm,
)
from app.records.canonical import FIRST_LINK
from app.records.content import Content
from app.records.schema import entry_table


@pytest.fixture
def store(tmp_path):
    return Store.open(tmp_path)


def test_an_empty_record(store):
    assert store.entries() == store.current() == store.beds() == ()
    assert store.verify().ok and store.verify().sentence == "The record is empty."
    with pytest.raises(NoSuchEntryError, match="no entry 1"):
        store.entry(1)


def test_everything_confirmed_comes_back_as_it_was(store):
    confirmed = reading("23.40", minutes=5, note="Überlauf; 3 Tropfen \N{DROPLET}")
    entry = store.add(confirmed)
    for source in (entry, store.entry(1), store.entries()[0]):
        for f in fields(Content):
            if f.name == "payload":
                continue  # decimals come back as their text
            assert getattr(source, f.name) == getattr(confirmed.content, f.name), f.name
        assert source.row() == confirmed.content.row()
    assert str(entry.confirmed_value) == "23.40"
    assert store.entry(1) == entry


def test_several_go_on_record_together_in_their_order_or_none_of_them(store):
    store.add(reading("10", key="k"))
    clash = reading("14", minutes=3, key="k")  # the key of another entry
    with pytest.raises(KeyReusedError):
        store.add_all([(happening("drain-opened", 1), None), (reading("12"), None), (clash, None)])
    assert store.count() == 1 and store.verify().ok
    pair = [(reading("12", minutes=4, key="a"), None), (happening("drain-opened", 5), None)]
    made = store.add_all(pair)
    assert [e.number for e in made] == [2, 3] and store.verify().ok
    assert store.add_all(pair) == made and store.count() == 3


def test_a_photo_is_found_alone_and_among_several(store):
    one, two = "a" * 64, "b" * 64
    alone = store.add(confirm(replace(draft(), photo_sha256=one), by=BY, bed=BED,
                              confirmed_value="12", attestations=YES, clock=clock(1)))
    several = store.add(confirm(
        replace(draft(), photo_sha256="c" * 64, payload={
            **draft().payload, "photos": [{"sha256": two, "status": "read", "value": None}]}),
        by=BY, bed=BED, confirmed_value="13", attestations=YES, clock=clock(2)))
    assert [e.number for e in store.of_photo(one)] == [alone.number]
    assert [e.number for e in store.of_photo(two)] == [several.number]
    assert store.of_photo("d" * 64) == ()


def test_a_double_tap_is_one_entry(store):
    first = store.add(reading(key="form-1"))
    second = store.add(reading(key="form-1", minutes=0.2))
    assert first == second and store.count() == 1
    with pytest.raises(KeyReusedError, match="entry 1"):
        store.add(reading("30", key="form-1"))
    assert store.count() == 1


def test_what_stands_after_corrections(store):
    entry = store.add(reading("23.4"))
    other = store.add(reading("11", minutes=60))
    fixed = store.add(confirm(entry.correction("typed a 4 for a 6", confirmed_value="23.6"),
                              by=Initials("R.T."), bed=BED, clock=clock(70)))
    store.add(confirm(fixed.correction("seen at 08:10", happened_at=at(10)), by=BY, bed=BED,
                      clock=clock(71)))
    store.add(confirm(other.withdrawal("other patient"), by=BY, bed=BED, clock=clock(72)))
    (stands,) = store.current(BED)
    assert stands.entry.confirmed_value == Decimal("23.6") and stands.entry.happened == at(10)
    assert [e.number for e in stands.history] == [1, 3, 4]
    assert stands.status == "corrected" and stands.original == entry
    both = store.current(BED, withdrawn=True)
    assert [s.status for s in both] == ["corrected", "withdrawn"]
    assert store.entry(1) == entry, "the old entry stays as it was"
    with pytest.raises(AlreadySupersededError, match="present state"):
        store.add(confirm(entry.correction("me too", confirmed_value="23"), by=BY, bed=BED,
                          clock=clock(73)))


def test_the_view_in_the_database_says_the_same(store):
    entry = store.add(reading())
    store.add(confirm(entry.correction("x", confirmed_value="24"), by=BY, bed=BED,
                      clock=clock(1)))
    gone = store.add(happening("bag-changed", 2))
    store.add(confirm(gone.withdrawal("no"), by=BY, bed=BED, clock=clock(3)))
    with store._engine.connect() as c:
        rows = c.exec_driver_sql("SELECT number FROM standing_entry ORDER BY number").all()
    assert [r[0] for r in rows] == [s.entry.number for s in store.current()] == [2]


def test_questions_to_the_store(store):
    store.add(reading(minutes=0))
    store.add(happening("drain-closed", 30))
    store.add(happening("drain-opened", 40, bed=BedCode("QUAY-4")))
    store.add(reading("30", minutes=60))
    assert store.beds() == ("QUAY-3", "QUAY-4")
    assert [e.number for e in store.entries(bed=BED)] == [1, 2, 4]
    assert [e.number for e in store.entries(kind="event")] == [2, 3]
    assert [e.number for e in store.entries(kind="drain-opened")] == [3]
    assert [e.number for e in store.entries(since=START + timedelta(minutes=30))] == [2, 3, 4]
    assert [e.number for e in store.entries(until=START + timedelta(minutes=30))] == [1, 2]
    assert store.last(BED, "volume-reading").entry.number == 4
    assert store.last(BED, "order") is None


def test_asking_for_a_part_gives_what_the_whole_gives(store):
    first = store.add(reading("10", 0))
    store.add(happening("bag-changed", 10))
    fixed = store.add(confirm(first.correction("a", confirmed_value="11"), by=BY, bed=BED,
                              clock=clock(20)))
    store.add(confirm(fixed.correction("b", happened_at=at(15)), by=BY, bed=BED, clock=clock(30)))
    gone = store.add(reading("12", 40))
    store.add(confirm(gone.withdrawal("c"), by=BY, bed=BED, clock=clock(50)))
    store.add(reading("13", 60, bed=BedCode("QUAY-4")))
    everything = store.current(withdrawn=True)
    assert [s.original.number for s in everything] == [2, 1, 5, 7]
    assert store.current(BED, withdrawn=True) == everything[:3]
    since = START + timedelta(minutes=12)
    assert store.current(since=since) == (everything[1], everything[3])
    assert [e.number for e in store.current(since=since)[0].history] == [1, 3, 4]
    assert store.current(kind="bag-changed") == everything[:1] == store.current(kind="event")
    assert store.last(BED, "volume-reading") == everything[1]


def test_of_two_things_at_one_moment_the_later_entry_is_the_last(store):
    first = store.add(reading("10", 0))
    store.add(reading("11", 0))
    store.add(confirm(first.correction("x", confirmed_value="12"), by=BY, bed=BED, clock=clock(1)))
    assert store.last(BED, "volume-reading") == store.current(BED)[-1]
    assert store.last(BED, "volume-reading").entry.confirmed_value == 11


def test_questions_of_one_moment_are_answered_from_one_state(store):
    fill = [reading("10.0", 0), happening("bag-changed", 10)]
    for entry in fill:
        store.add(entry)
    with store.at_one_moment() as then:
        assert len(then.current(BED)) == 2
        store.add(reading("30.0", 20))
        assert len(store.current(BED)) == 3, "the record itself goes on"
        assert len(then.current(BED)) == then.count() == len(then.entries()) == 2
        assert then.last(BED, "volume-reading").entry.confirmed_value == Decimal("10.0")
        with then.at_one_moment() as still:
            assert still.count() == 2
    with store.at_one_moment() as now:
        assert now.count() == 3 and now.beds() == (BED,)


def test_late_entries_stand_where_they_happened(store):
    store.add(reading("10", minutes=60))
    store.add(reading("5", minutes=90, happened_at=at(0)))
    assert [s.entry.confirmed_value for s in store.current(BED)] == [5, 10]


def test_a_clock_set_back_is_asked_about(store):
    store.add(reading(minutes=60))
    store.add(reading(minutes=59))  # two stations a little apart
    with pytest.raises(ClockDoubtError, match="clock is 59 min behind"):
        store.add(reading(minutes=0))
    assert store.count() == 2
    known = store.add(reading(minutes=0, clock_checked=True))
    assert known.clock_checked and store.verify().ok


def test_a_clock_far_ahead_is_asked_about(store):
    store.add(reading(minutes=0))
    store.add(reading(minutes=24 * 60))
    with pytest.raises(ClockDoubtError, match="clock is 25 h ahead of the last entry"):
        store.add(reading(minutes=49 * 60))
    assert store.count() == 2
    assert store.add(reading(minutes=49 * 60, clock_checked=True)).clock_checked


def test_one_hour_twice_when_the_clocks_go_back(store):
    """On 25 Oct 2026 wall clocks in the zone of the example show 02:30 twice."""
    store.add(reading("10", minutes=0, clock=clock(30, 120)))
    store.add(reading("12", minutes=0, clock=clock(90, 60)))
    first, second = store.current(BED)
    assert first.entry.happened.local.time() == second.entry.happened.local.time()
    assert (first.entry.confirmed_value, second.entry.confirmed_value) == (10, 12)


# --- the database's own refusals


def put(store, row, prefix=None):
    with store._engine.connect() as c:
        c.exec_driver_sql("BEGIN")
        statement = insert(entry_table).values(row)
        c.execute(statement.prefix_with(prefix) if prefix else statement)
        c.commit()


def test_a_well_formed_row_is_taken_so_the_refusals_below_mean_something(store):
    put(store, row_of(store))
    assert store.verify().ok


@pytest.mark.slow
@pytest.mark.parametrize("changes", [
    {"initials": None}, {"initials": ""}, {"initials": "   "}, {"initials": "ABCDEFGHI"},
    {"bed": None}, {"bed": " "}, {"key": None}, {"kind": "guess"}, {"subject": "guess"},
    {"subject": "order"}, {"happened_utc": "yesterday"}, {"recorded_utc": None},
    {"recorded_utc": "2026-03-02 08:00:00"}, {"happened_offset_min": 2000},
    {"confirmed_value": None}, {"confirmed_value": "Inf"}, {"confirmed_value": "-Inf"},
    {"confirmed_value": float("inf")}, {"confirmed_value": float("nan")},
    {"confirmed_value": "1e9"}, {"confirmed_value": "9e999"}, {"confirmed_value": "99999"},
    {"confirmed_value": "-1"}, {"confirmed_value": "1.2.3"}, {"confirmed_value": "1."},
    {"confirmed_value": ""}, {"confirmed_value": "0x10"}, {"confirmed_value": "1-2"},
    {"machine_value": "Inf"}, {"first_value": "Inf"}, {"unit": "ml"}, {"unit": None},
    {"scale": None}, {"first_read": None}, {"first_read": "skipped"}, {"outlet_closed": None},
    {"right_chamber_and_scale": 0}, {"hanging_plumb": 2}, {"patient_undisturbed": None},
    {"photo_sha256": "x"}, {"machine_status": "sure"}, {"machine_status": "refused"},
    {"kind": "correction"}, {"refers_to": 1}, {"refers_to": 99, "kind": "correction",
                                               "reason": "x"},
    {"event": "bag-changed"}, {"hash": "nonsense"}, {"previous_hash": "0" * 63},
    {"previous_hash": "f" * 64}, {"number": 1}, {"number": 3}, {"number": 0}, {"number": -1},
    {"software_version": None}, {"note": None}, {"payload": None}, {"clock_checked": 2},
])
def test_the_database_refuses(store, changes):
    store.add(reading())
    with pytest.raises((DBAPIError, sqlite3.Error)):
        put(store, row_of(store, **changes))
    assert store.count() == 1 and store.verify().ok


@pytest.mark.parametrize("kind", ["correction", "withdrawal"])
@pytest.mark.parametrize("changes", [
    {"reason": None}, {"reason": " "}, {"bed": "QUAY-4"}, {"refers_to": None}, {"refers_to": 2}])
def test_the_database_refuses_wrong_references(store, kind, changes):
    store.add(reading())
    good = {"kind": kind, "refers_to": 1, "reason": "slip"}
    with pytest.raises(DBAPIError):
        put(store, row_of(store, **(good | changes)))
    put(store, row_of(store, **good))
    with pytest.raises(DBAPIError, match="superseded already|names a wrong"):
        put(store, row_of(store, **good))


def test_all_verbs_are_refused(store):
    store.add(reading())
    before = store.entry(1)
    replacing = row_of(store, number=1, previous_hash=FIRST_LINK, confirmed_value="9")
    for prefix in ("OR REPLACE", "OR ROLLBACK", "OR FAIL", None):
        with pytest.raises(DBAPIError, match="guard"):
            put(store, replacing, prefix)
    same_key = row_of(store, key=before.key, confirmed_value="9")
    with pytest.raises(DBAPIError, match="guard: key exists"):
        put(store, same_key, "OR REPLACE")
    # a stranger's connection, without any of our settings
    stranger = sqlite3.connect(store._engine.url.database)
    for verb in ("UPDATE entry SET confirmed_value = '9'", "DELETE FROM entry",
                 "UPDATE entry SET initials = initials",
                 "UPDATE OR REPLACE entry SET number = 2",
                 "REPLACE INTO entry SELECT * FROM entry",
                 "INSERT OR REPLACE INTO entry SELECT * FROM entry",
                 "INSERT INTO entry SELECT * FROM entry WHERE true ON CONFLICT DO UPDATE SET "
                 "note = 'x'",
                 "UPDATE standing_entry SET note = 'x'", "DELETE FROM standing_entry"):
        with pytest.raises(sqlite3.Error):
            stranger.execute(verb)
        stranger.rollback()
    stranger.close()
    assert store.entry(1) == before and store.count() == 1 and store.verify().ok


def test_the_software_knows_the_newest_form_and_only_forms_that_exist(tmp_path):
    from alembic.config import Config
    from alembic.script import ScriptDirectory

    from app.records.version import _MIGRATIONS, HEAD, KNOWN

    config = Config()
    config.set_main_option("script_location", str(_MIGRATIONS))
    scripts = ScriptDirectory.from_config(config)
    assert scripts.get_heads() == [HEAD]
    assert {s.revision for s in scripts.walk_revisions()} == set(KNOWN) - {None}


def test_the_safe_settings_are_on_every_connection(store):
    for _ in range(2):
        with store._engine.connect() as c:
            settings_ = {name: c.exec_driver_sql(f"PRAGMA {name}").scalar()
                         for name in ("journal_mode", "synchronous", "foreign_keys",
                                      "recursive_triggers", "busy_timeout")}
        assert settings_ == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1,
                             "recursive_triggers": 1, "busy_timeout": 10000}


# --- property: whatever is done, the account is the last word about each thing

_steps = st.lists(st.tuples(st.sampled_from(["read", "event", "correct", "withdraw"]),
                            st.integers(0, 60), st.integers(0, 30)), max_size=12)


@pytest.fixture(scope="module")
def beds(tmp_path_factory):
    """One record for all examples, each at a bed of its own."""
    return Store.open(tmp_path_factory.mktemp("any")), itertools.count(1)


@pytest.mark.slow
@settings(max_examples=25, deadline=None)
@given(_steps)
def test_any_history_gives_the_last_word(beds, steps):
    store, number = beds
    bed = BedCode(f"B{next(number)}")
    minutes = itertools.count()
    model: dict[int, Decimal | None] = {}  # latest entry number -> value

    def add(what, **more):
        return store.add(confirm(what, by=BY, bed=bed, clock=clock(next(minutes)),
                                 clock_checked=True, **more))

    for what, value, pick in steps:
        if what == "read":
            model[add(draft(), confirmed_value=value, attestations=YES).number] = Decimal(value)
        elif what == "event":
            model[add(EventDraft("bag-changed")).number] = None
        elif model:
            chosen = sorted(model)[pick % len(model)]
            old = store.entry(chosen)
            if what == "withdraw":
                add(old.withdrawal("x"))
                del model[chosen]
            elif model[chosen] is not None and model[chosen] != value:
                made = add(old.correction("x", confirmed_value=value))
                del model[chosen]
                model[made.number] = Decimal(value)
    assert {s.entry.number: s.entry.confirmed_value for s in store.current(bed)} == model


def test_and_the_chain_of_all_those_is_whole(beds):
    assert beds[0].verify().ok
