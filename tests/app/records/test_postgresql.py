"""The same record on a real PostgreSQL: same rules, same account, two stations at once."""

from __future__ import annotations

import os
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from decimal import Decimal
from functools import lru_cache
from multiprocessing import get_context

import pytest
from postgres_help import cluster, server_programs
from records_help import BED, BY, at, clock, confirm_some, happening, old_record, reading, row_of
from records_kill import ENTRIES_BEFORE, figures_of
from sqlalchemy import create_engine, insert, text
from sqlalchemy.exc import DBAPIError

from app.classroom import store as classes
from app.records import (
    AlreadySupersededError,
    DamagedError,
    LockedError,
    NewerVersionError,
    NotARecordError,
    ReadOnlyError,
    RecordError,
    Store,
    confirm,
)
from app.records.schema import entry_table
from app.records.shift import bed_account
from vision.errors import InputError

pytestmark = pytest.mark.xdist_group("postgresql")


@pytest.fixture(scope="module")
def server():
    """Address of a running server; its absence is a failure where CI is set."""
    programs = server_programs()
    if programs is None:
        if os.environ.get("CI"):
            pytest.fail("no PostgreSQL server programs found; apt-get install postgresql")
        pytest.skip("no PostgreSQL server programs on this machine (apt-get install postgresql)")
    with cluster(programs) as address:
        yield address


@pytest.fixture
def address(server, request):
    """Address of a fresh database."""
    name = f"t{abs(hash(request.node.nodeid)) % 10**9}"
    engine = create_engine(server.replace("postgresql://", "postgresql+psycopg://"),
                           isolation_level="AUTOCOMMIT")
    with engine.connect() as c:
        c.execute(text(f"CREATE DATABASE {name}"))
    engine.dispose()
    return server.replace("/postgres?", f"/{name}?")


def fill(store):
    """One busy evening."""
    first = store.add(reading("12.5", 0))
    store.add(reading("20.0", 60))
    store.add(confirm(first.correction("slip", confirmed_value="12.0"), by=BY, bed=BED,
                      clock=clock(61)))
    store.add(happening("chamber-emptied", 90, before_ml="22.0", after_ml="0.5"))
    store.add(reading("9.0", 150, note="späte Runde \N{DROPLET}"))
    late = store.add(reading("21.0", 160, happened_at=at(80)))
    store.add(confirm(late.withdrawal("other bed"), by=BY, bed=BED, clock=clock(161)))
    store.add(happening("drain-closed", 170))
    return store


def test_both_databases_give_the_same_account(address, tmp_path):
    on_server, in_file = fill(Store.open(address)), fill(Store.open(tmp_path))
    ignored = ("key", "hash", "previous_hash")

    def plain(store):
        return [{k: v for k, v in e.row().items() if k not in ignored} for e in store.entries()]

    assert plain(on_server) == plain(in_file)
    a, b = (bed_account(s, BED).account for s in (on_server, in_file))
    # 12.0 to 20.0, to 22.0 when emptied, then 0.5 to 9.0: 8.0 + 2.0 + 8.5
    assert a.intervals == b.intervals and a.total_ml == b.total_ml == Decimal("18.5")
    assert (a.covariance == b.covariance).all()
    assert on_server.verify().ok and in_file.verify().ok


def test_questions_of_one_moment_are_answered_from_one_state(address):
    store = Store.open(address)
    store.add(reading("1", 0))
    with store.at_one_moment() as then:
        assert then.count() == 1
        store.add(reading("2", 60))
        assert (then.count(), len(then.current(BED)), store.count()) == (1, 1, 2)


def test_the_same_entries_have_the_same_hashes_on_both(address, tmp_path):
    confirmed = [reading("1", 0, key="a"), reading("2", 60, key="b")]
    one, two = Store.open(address), Store.open(tmp_path)
    for c in confirmed:
        assert one.add(c) == two.add(c)
    assert one.verify() == two.verify()


def put(store, row):
    with store._engine.connect() as c:
        c.execute(insert(entry_table).values(row))
        c.commit()


def test_a_well_formed_row_is_taken_so_the_refusals_mean_something(address):
    store = Store.open(address)
    put(store, row_of(store))
    assert store.verify().ok


def test_the_server_refuses(address):
    store = Store.open(address)
    store.add(reading())
    for changes in ({"initials": None}, {"initials": " "}, {"bed": None}, {"key": None},
                    {"kind": "guess"}, {"confirmed_value": "Infinity"},
                    {"confirmed_value": "NaN"}, {"confirmed_value": "1e3"},
                    {"confirmed_value": "-1"}, {"confirmed_value": "99999"},
                    {"confirmed_value": None}, {"unit": None}, {"unit": "ml"},
                    {"outlet_closed": None}, {"right_chamber_and_scale": 0},
                    {"first_read": None}, {"machine_value": "inf"}, {"number": 1}, {"number": 3},
                    {"previous_hash": "f" * 64}, {"hash": "x"}, {"happened_utc": "yesterday"},
                    {"kind": "correction"},
                    {"kind": "correction", "refers_to": 9, "reason": "x"},
                    {"kind": "withdrawal", "refers_to": 1, "reason": " "},
                    {"kind": "withdrawal", "refers_to": 1, "reason": "x", "bed": "QUAY-9"}):
        with pytest.raises(DBAPIError):
            put(store, row_of(store, **changes))
            pytest.fail(f"taken: {changes}")
    assert store.count() == 1 and store.verify().ok


def test_all_verbs_are_refused(address):
    store = Store.open(address)
    store.add(reading())
    for verb in ("UPDATE entry SET note = 'x'", "DELETE FROM entry", "TRUNCATE entry",
                 "INSERT INTO entry SELECT * FROM entry ON CONFLICT (number) DO UPDATE SET "
                 "note = 'x'", "INSERT INTO entry SELECT * FROM entry",
                 "MERGE INTO entry USING (SELECT 1) AS one ON true WHEN MATCHED THEN DELETE"):
        with store._engine.connect() as c, pytest.raises(DBAPIError, match="guard|syntax"):
            c.execute(text(verb))
    assert store.count() == 1 and store.verify().ok


def test_a_change_by_hand_is_found(address):
    store = fill(Store.open(address))
    with store._engine.connect() as c:
        c.execute(text("ALTER TABLE entry DISABLE TRIGGER ALL"))
        c.execute(text("UPDATE entry SET confirmed_value = '9.9' WHERE number = 2"))
        c.commit()
    assert store.verify().broken == 2
    with store._engine.connect() as c:
        c.execute(text("UPDATE entry SET confirmed_value = '20.0' WHERE number = 2"))
        c.commit()
    assert "guard is gone" in store.verify().sentence


def test_two_stations_at_once_make_and_fill_a_new_record(address):
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        found = list(pool.map(confirm_some, [(address, p, 25) for p in range(2)]))
    keys = [key for part in found for key in part]
    store = Store.open(address)
    assert sorted(e.key for e in store.entries()) == sorted(keys) and len(keys) == 100
    assert store.verify().ok


def test_stations_killed_while_writing(address):
    figures = figures_of(address, kills=8, seed=3, at_once=4)
    assert figures.confirmed >= 8 * ENTRIES_BEFORE[0]
    assert (figures.lost, figures.doubled, figures.broken) == (0, 0, 0)


def test_a_station_needs_no_right_to_change_anything(address):
    store = Store.open(address)
    with store._engine.connect() as c:
        c.execute(text("CREATE ROLE station LOGIN"))
        c.execute(text("GRANT SELECT, INSERT ON entry TO station"))
        c.execute(text("GRANT SELECT ON alembic_version TO station"))
        c.commit()
    station = Store.open(address.replace("ward@", "station@"))
    assert station.add(reading()).number == 1 and station.verify().ok
    with station._engine.connect() as c, pytest.raises(DBAPIError, match="permission denied"):
        c.execute(text("UPDATE entry SET note = 'x'"))


def test_two_people_correct_one_entry(address):
    store = Store.open(address)
    entry = store.add(reading())
    store.add(confirm(entry.correction("x", confirmed_value="1"), by=BY, bed=BED, clock=clock(1)))
    with pytest.raises(AlreadySupersededError):
        store.add(confirm(entry.correction("y", confirmed_value="2"), by=BY, bed=BED,
                          clock=clock(2)))


def test_faults_in_a_sentence(address, server):
    store = Store.open(address, wait_seconds=0.3)
    with store._engine.connect() as c:
        c.execute(text("LOCK TABLE entry IN EXCLUSIVE MODE"))
        with pytest.raises(LockedError, match="locked"):
            store.add(reading())
    with store._engine.connect() as c:
        c.execute(text("CREATE ROLE looker LOGIN"))
        c.execute(text("GRANT SELECT ON ALL TABLES IN SCHEMA public TO looker"))
        c.commit()
    with pytest.raises(ReadOnlyError):
        Store.open(address.replace("ward@", "looker@")).add(reading())
    with pytest.raises(RecordError, match="let this station in"):
        Store.open(address.replace("ward@", "stranger@"))
    with pytest.raises(RecordError, match="let this station in"):
        Store.open(server.replace("/postgres?", "/nowhere?"))
    assert store.count() == 0 and store.place.startswith("postgresql")
    with store._engine.connect() as c:
        c.execute(text("UPDATE alembic_version SET version_num = '0999'"))
        c.commit()
    with pytest.raises(NewerVersionError):
        Store.open(address)


def test_a_database_of_something_else(address):
    engine = create_engine(address.replace("postgresql://", "postgresql+psycopg://"))
    with engine.connect() as c:
        c.execute(text("CREATE TABLE recipe (name text)"))
        c.commit()
    engine.dispose()
    with pytest.raises(NotARecordError):
        Store.open(address)


@pytest.fixture
def own_key(tmp_path, monkeypatch):
    """A key of its own; the anchor of a record on a server lies beside it."""
    monkeypatch.setenv("COUNTERSIGHT_KEY", str(tmp_path / "own" / "station.key"))
    return tmp_path / "own"


def by_hand(store, *statements):
    with store._engine.connect() as c:
        for statement in statements:
            c.execute(text(statement))
        c.commit()


def test_a_row_from_outside_is_told(address):
    store = fill(Store.open(address))
    assert "Each is signed" in store.verify().sentence
    put(store, row_of(store))
    assert "no station signed it" in store.verify().fault


def test_a_station_that_wrote_more_than_is_there_says_so(address, own_key):
    store = fill(Store.open(address))
    (anchor,) = own_key.glob("*.anchor")
    assert anchor.stat().st_mode & 0o777 == 0o600
    by_hand(store, "ALTER TABLE entry DISABLE TRIGGER ALL", "DELETE FROM entry WHERE number = 8",
            "ALTER TABLE entry ENABLE TRIGGER ALL")
    with pytest.raises(DamagedError, match="newest entries are missing, and 8 entries were"):
        Store.open(address)
    found = Store.open(address, anchored=False).verify()
    assert found.broken == 8 and "noted in the anchor" in found.fault
    anchor.unlink()
    assert "No anchor of it is here" in Store.open(address).verify().sentence


@pytest.mark.parametrize(("statement", "words"), [
    ("CREATE OR REPLACE FUNCTION entry_never_changes() RETURNS trigger LANGUAGE plpgsql AS "
     "'BEGIN RETURN NEW; END'", "entry_never_changes was changed"),
    ("CREATE OR REPLACE TRIGGER entry_no_change BEFORE DELETE ON entry FOR EACH ROW "
     "EXECUTE FUNCTION entry_never_changes()", "entry_no_change was changed"),
    ("CREATE TRIGGER mine AFTER INSERT ON entry FOR EACH ROW EXECUTE FUNCTION entry_in_chain()",
     "mine is not of this software"),
    ("CREATE RULE mine AS ON INSERT TO entry DO INSTEAD NOTHING", "mine is not of this software")])
def test_guards_are_compared_by_their_text(address, statement, words):
    store = fill(Store.open(address))
    by_hand(store, statement)
    found = store.verify()
    assert not found.ok and words in found.sentence


def test_an_entry_that_the_server_swallows_is_not_acknowledged(address):
    store = fill(Store.open(address))
    by_hand(store, "CREATE RULE mine AS ON INSERT TO entry DO INSTEAD NOTHING")
    with pytest.raises(DamagedError, match="not certain that the record kept this entry"):
        store.add(reading(minutes=200))


def test_looking_makes_and_migrates_nothing(address):
    with pytest.raises(NotARecordError, match="empty"):
        Store.open(address, create=False)
    before = old_record(address, "0002", 3)
    looked = Store.open(address, create=False)
    assert list(looked.entries()) == before and "but not signed" in looked.verify().sentence
    with pytest.raises(ReadOnlyError, match="opened for looking only"):
        looked.add(reading(minutes=9))
    with looked._engine.connect() as c:
        assert c.execute(text("SELECT version_num FROM alembic_version")).scalar() == "0002"
    now = Store.open(address)
    assert now.add(reading(minutes=9)).number == 5
    found = now.verify()
    assert found.ok and "The first 3 are not signed" in found.sentence


def test_a_class_of_forty_phones_and_a_double_press(address, tmp_path, monkeypatch):
    """All answer at once, each twice, while the educator shows the truth: one answer a learner,
    none after the truth, and the record beside them is whole."""
    monkeypatch.setenv("COUNTERSIGHT_DATA", address)
    monkeypatch.setenv("COUNTERSIGHT_KEY", str(tmp_path / "station.key"))
    monkeypatch.setattr(classes, "_opened", lru_cache(classes._opened.__wrapped__))
    store = classes.class_store()
    state, key = store.open_class("parallax", 2, 5)
    learners = [f"{k:032x}" for k in range(40)]
    with ThreadPoolExecutor(20) as phones:
        kept = list(phones.map(lambda k: store.answer(state.code, 0, learners[k % 40], 20.0 + k),
                               range(80)))
    assert sum(kept) == len(store.answers(state.code, 0)) == 40
    with ThreadPoolExecutor(20) as phones:
        shown = phones.submit(store.show, state.code, key)
        again = list(phones.map(
            lambda k: store.answer(state.code, 0, f"{100 + k:032x}", 1.0), range(40)))
        shown.result()
    assert sum(again) + 40 == len(store.answers(state.code, 0))
    assert not store.answer(state.code, 0, f"{500:032x}", 1.0)
    for _ in range(2):
        store.go_on(state.code, key)
    assert store.state(state.code).task == 1, "a press too many skips no task"
    store.end(state.code, key)
    assert store.answers(state.code) == ()
    with pytest.raises(InputError, match="no such class"):
        store.state(state.code)
    assert Store.open(address).verify().ok
