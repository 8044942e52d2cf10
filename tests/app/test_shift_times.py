"""When the ward's shifts start: set in one place, used by all."""

from __future__ import annotations

from datetime import time

import pytest

from app.cli import main
from app.shift_times import FILE_NAME, keep_shift_starts, shift_plan
from vision.errors import InputError


def test_what_a_ward_sets_holds_for_its_record_and_no_other(tmp_path):
    here, elsewhere = str(tmp_path / "here"), str(tmp_path / "elsewhere")
    assert shift_plan(here).words == "07:00, 19:00"
    keep_shift_starts(here, "06:30, 14:30,22:30")
    assert shift_plan(here).starts == (time(6, 30), time(14, 30), time(22, 30))
    assert shift_plan(elsewhere).starts == (time(7), time(19))


@pytest.mark.parametrize("typed", ["", "7", "25:00", "19:00,07:00", "seven"])
def test_times_that_make_no_sense_change_nothing(tmp_path, typed):
    keep_shift_starts(str(tmp_path), "08:00,20:00")
    with pytest.raises(InputError):
        keep_shift_starts(str(tmp_path), typed)
    assert shift_plan(str(tmp_path)).words == "08:00, 20:00"


@pytest.mark.parametrize("inside", [b"\xff\xfe", b"x" * 5000, b"nine o'clock"])
def test_a_damaged_file_is_a_sentence_and_not_another_shift(tmp_path, inside):
    (tmp_path / FILE_NAME).write_bytes(inside)
    with pytest.raises(InputError, match="shift|Shift"):
        shift_plan(str(tmp_path))


def test_a_record_on_a_server_keeps_them_with_the_user(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    keep_shift_starts("postgresql://ward@db.invalid/record", "06:00,18:00")
    assert shift_plan("postgresql://ward@db.invalid/record").words == "06:00, 18:00"


def test_the_command_goes_by_them(tmp_path, capsys, monkeypatch):
    from records_help import reading
    from shift_page import ago

    from app.records import BedCode, Store

    monkeypatch.setenv("COUNTERSIGHT_KEY", str(tmp_path / "key"))
    store = Store.open(str(tmp_path / "ward"))
    for value, minutes in (("4", 120), ("9", 60)):
        store.add(reading(value, bed=BedCode("QUAY-3"), clock=lambda m=minutes: ago(m)))
    whole = ago(90).local.replace(minute=0)
    keep_shift_starts(str(tmp_path / "ward"), f"{whole:%H:%M}")
    assert main(["output", "--bed", "QUAY-3", "--data", str(tmp_path / "ward")]) == 0
    assert f"{whole:%Y-%m-%d %H:%M} to " in capsys.readouterr().out
