"""A shortened or exchanged record is told by the anchor beside it; an honest one is not accused."""

from __future__ import annotations

import json
import os
import shutil
import signal
import sqlite3
import stat
from concurrent.futures import ThreadPoolExecutor

import pytest
from records_help import old_record, reading

from app.cli import main
from app.records import DamagedError, NotARecordError, RecordError, Store
from app.records.anchor import read_anchor, write_anchor
from app.records.station_key import station_key


@pytest.fixture
def ward(tmp_path):
    store = Store.open(tmp_path / "ward")
    for k in range(3):
        store.add(reading(f"{k + 1}", minutes=k))
    return tmp_path / "ward"


def test_the_anchor_follows_every_entry_and_is_for_this_user_only(ward):
    store, anchor = Store.open(ward), ward / "record.sqlite3.anchor"
    for minute in (5, 6):
        entry = store.add(reading(minutes=minute))
        there = read_anchor(anchor)
        assert (there.entry, there.head, there.key) == (
            entry.number, entry.hash, station_key().public)
    assert stat.S_IMODE(anchor.stat().st_mode) == 0o600
    assert sorted(p.name for p in ward.iterdir()) == ["record.sqlite3", anchor.name]
    assert store.verify().ok


@pytest.mark.parametrize("content", [b"", b"S", None])
@pytest.mark.parametrize("create", [True, False])
def test_a_file_cut_to_nothing_is_told_and_left_alone(ward, content, create):
    file = ward / "record.sqlite3"
    if content is None:
        file.unlink()
    else:
        file.write_bytes(content)
    with pytest.raises(RecordError) as told:
        Store.open(ward, create=create)
    assert "empty" not in str(told.value) or "3 entries were written" in str(told.value)
    assert not file.exists() if content is None else file.read_bytes() == content
    for words in (["verify"], ["output", "--bed", "QUAY-3"],
                  ["export", "--format", "csv", "--out", str(ward / "x.csv")]):
        assert main([*words, "--data", str(ward)]) == 2
    assert not (ward / "x.csv").exists()


@pytest.mark.parametrize("content", [b"", b"S"])
def test_looking_makes_nothing_of_an_empty_file(tmp_path, content):
    file = tmp_path / "record.sqlite3"
    file.write_bytes(content)
    with pytest.raises(NotARecordError):
        Store.open(tmp_path, create=False)
    assert file.read_bytes() == content


def lose_the_log(ward):
    """The newest entries wait in the write-ahead log, and the log is lost."""
    store, file = Store.open(ward), ward / "record.sqlite3"
    held = sqlite3.connect(file)
    held.execute("SELECT count(*) FROM entry").fetchall()
    store.add(reading("9", minutes=9))
    kept = file.read_bytes()
    held.close()
    file.write_bytes(kept)
    for name in ("-wal", "-shm"):
        file.with_name(file.name + name).unlink(missing_ok=True)


def test_entries_lost_with_the_log_are_told(ward, capsys):
    lose_the_log(ward)
    with pytest.raises(DamagedError, match="newest entries are missing, and 4 entries were"):
        Store.open(ward)
    looked = Store.open(ward, create=False, anchored=False)
    found = looked.verify()
    assert not found.ok and found.broken == 4
    assert "4 entries were noted in the anchor" in found.fault
    assert not looked.checked_read().verification.ok
    out = ward.parent / "x.csv"
    for words, code in ((["verify"], 3), (["output", "--bed", "QUAY-3"], 3),
                        (["export", "--format", "csv", "--out", str(out)], 3)):
        assert main([*words, "--data", str(ward)]) == code
        assert "broken at entry 4" in capsys.readouterr().out


def test_an_older_copy_put_in_its_place_is_told_and_can_be_meant(ward):
    file, anchor = ward / "record.sqlite3", ward / "record.sqlite3.anchor"
    shutil.copy(file, ward / "old")
    Store.open(ward).add(reading("9", minutes=9))
    shutil.copy(ward / "old", file)
    with pytest.raises(DamagedError, match=r"Where an older copy was put there on purpose, move"):
        Store.open(ward)
    anchor.rename(ward / "aside")
    store = Store.open(ward)
    assert "No anchor of it is here" in store.verify().sentence
    store.add(reading("9", minutes=9))
    assert Store.open(ward).verify().ok and anchor.exists()


def test_another_record_in_its_place_is_told(ward, tmp_path):
    other = Store.open(tmp_path / "other")
    for k in range(5):
        other.add(reading("5", minutes=k))
    shutil.copy(tmp_path / "other" / "record.sqlite3", ward / "record.sqlite3")
    with pytest.raises(DamagedError, match="entry 3 is not the one that this station wrote"):
        Store.open(ward)


def test_a_station_killed_before_it_wrote_the_anchor_accuses_nobody(ward):
    anchor = ward / "record.sqlite3.anchor"
    before = anchor.read_bytes()
    Store.open(ward).add(reading("9", minutes=9))
    anchor.write_bytes(before)
    store = Store.open(ward)
    assert store.verify().ok and store.add(reading("10", minutes=10)).number == 5
    assert read_anchor(anchor).entry == 5


@pytest.mark.parametrize("change", [
    lambda a: a | {"entry": 2}, lambda a: a | {"head": "0" * 64}, lambda a: a | {"key": "00" * 32},
    lambda a: a | {"signature": "00" * 64}, lambda a: a | {"entry": "many"}, lambda a: [a],
    lambda a: {}])
def test_a_changed_anchor_is_told(ward, change):
    anchor = ward / "record.sqlite3.anchor"
    anchor.write_text(json.dumps(change(json.loads(anchor.read_text()))))
    with pytest.raises(DamagedError, match="anchor of the record"):
        Store.open(ward)
    assert "anchor" in Store.open(ward, anchored=False).verify().fault


def test_an_anchor_of_a_station_that_the_record_does_not_know_is_told(
        ward, tmp_path, monkeypatch):
    store, anchor = Store.open(ward), ward / "record.sqlite3.anchor"
    monkeypatch.setenv("COUNTERSIGHT_KEY", str(tmp_path / "theirs"))
    write_anchor(anchor, 3, store.entry(3).hash, station_key())
    assert "a station that the record does not know" in store.verify().fault


def test_a_pipe_in_the_anchors_place_is_not_waited_for(ward):
    anchor = ward / "record.sqlite3.anchor"
    anchor.unlink()
    os.mkfifo(anchor)
    before = signal.signal(signal.SIGALRM, lambda *_: pytest.fail("it is waited for"))
    signal.alarm(20)
    try:
        assert "No anchor of it is here" in Store.open(ward).verify().sentence
        Store.open(ward).add(reading(minutes=9))
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)
    assert anchor.is_file() and Store.open(ward).verify().ok


def test_an_anchor_of_a_later_entry_stays(ward):
    store, anchor = Store.open(ward), ward / "record.sqlite3.anchor"
    write_anchor(anchor, 2, store.entry(2).hash, station_key())
    assert read_anchor(anchor).entry == 3


def test_writers_at_once_leave_the_anchor_at_the_end(ward):
    store = Store.open(ward, wait_seconds=60)
    with ThreadPoolExecutor(4) as pool:
        list(pool.map(lambda k: store.add(reading(minutes=20, key=f"w{k}")), range(20)))
    assert Store.open(ward).verify().ok
    assert read_anchor(ward / "record.sqlite3.anchor").entry > 3


def test_an_anchor_that_cannot_be_written_keeps_no_entry_back(ward, monkeypatch):
    from app.records import anchor

    def full(*_, **__):
        raise OSError(28, "no space")

    monkeypatch.setattr(anchor.tempfile, "mkstemp", full)
    store = Store.open(ward)
    assert store.add(reading("9", minutes=9)).number == 4
    assert store.verify().ok


def test_a_record_without_keys_needs_no_anchor(tmp_path):
    old_record(tmp_path, "0002", 2)
    store = Store.open(tmp_path)
    assert "anchor" not in store.verify().sentence


def test_the_pages_start_and_say_what_the_anchor_tells(ward, tmp_path, monkeypatch, capsys):
    from app.commands import serve
    from app.settings import DATA_VARIABLE, KEY_VARIABLE

    for name in (DATA_VARIABLE, KEY_VARIABLE):  # set by the command; put back afterwards
        monkeypatch.setenv(name, "")
    monkeypatch.setattr(serve, "_launch", lambda words: 0)
    monkeypatch.setattr(serve, "check_free", lambda *_: None)
    words = ["serve", "--no-browser", "--data", str(ward), "--key", str(tmp_path / "k" / "key")]
    assert main(words) == 0 and capsys.readouterr().err == ""
    assert (tmp_path / "k" / "key").exists()
    (ward / "record.sqlite3").write_bytes(b"")
    assert main(words) == 0
    assert "3 entries were written" in " ".join(capsys.readouterr().err.split())
    (tmp_path / "k" / "key").write_text("x")
    assert main(words) == 2 and "holds no key" in capsys.readouterr().err
    fresh = tmp_path / "fresh"
    assert main([*words[:3], str(fresh), *words[4:5], str(tmp_path / "key")]) == 0
    assert capsys.readouterr().err == "" and list(fresh.iterdir()) == []
