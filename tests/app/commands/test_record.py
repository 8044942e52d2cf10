"""``countersight verify``, ``output`` and ``export`` as a person types them."""

from __future__ import annotations

import json
import sqlite3

import pytest
from exports_help import evening
from fhir_account import read_accounts
from records_help import BED, reading

from app.cli import main
from app.exports.table import read_csv, verify_csv
from app.records import Store


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    where = tmp_path_factory.mktemp("evening")
    evening(where)
    return str(where)


@pytest.fixture
def said(capsys):
    def run(*words):
        code = main([str(w) for w in words])
        out, err = capsys.readouterr()
        return code, out, err

    return run


@pytest.mark.slow
def test_verify_a_whole_record(folder, said):
    code, out, err = said("verify", "--data", folder)
    assert (code, err) == (0, "") and "All 16 entries are whole" in out
    mark = out.split("To note elsewhere: ")[1].strip()
    assert said("verify", "--data", folder, "--expect", mark)[0] == 0
    code, out, _ = said("verify", "--data", folder, "--json", "--expect", "20:" + "a" * 12)
    found = json.loads(out)
    assert code == 3 and found["ok"] is False and found["broken"] == 17


def test_verify_a_changed_record(tmp_path, said):
    Store.open(tmp_path).add(reading())
    c = sqlite3.connect(tmp_path / "record.sqlite3")
    c.executescript("DROP TRIGGER entry_no_update; UPDATE entry SET note = 'x' WHERE number = 1;")
    c.close()
    code, out, _ = said("verify", "--data", tmp_path)
    assert code == 3 and "broken at entry 1" in out


def test_output_in_words(folder, said):
    code, out, err = said("output", "--data", folder, "--bed", "QUAY-3", "--zone", "Europe/Berlin")
    assert (code, err) == (0, "")
    for words in ("09:05 to 10:05", "8.90 (7.0 to 10.8)", "37.1", "Counted in all: 46.00 mL",
                  "known for 2.0 of 6.0 h", "over your limit of 12 mL in an hour",
                  "Check the level again", "A calculation, not advice"):
        assert words in out, words


@pytest.mark.slow
def test_output_as_json(folder, said):
    code, out, _ = said("output", "--data", folder, "--bed", "QUAY-3", "--json")
    found = json.loads(out)
    assert code == 0 and found["kind"] == "output" and found["total"] == 46.0
    assert [i["output"] for i in found["intervals"]] == [8.9, 37.1]
    assert found["intervals"][1]["events"] == ["sample-taken", "chamber-emptied"]
    since = said("output", "--data", folder, "--bed", "QUAY-3", "--json", "--zone",
                 "Europe/Berlin", "--since", "2026-03-02T10:00")[1]
    assert json.loads(since)["total"] == 37.1


def test_output_of_one_reading_is_an_honest_nothing(tmp_path, said):
    Store.open(tmp_path).add(reading())
    code, out, _ = said("output", "--data", tmp_path, "--bed", BED)
    assert code == 3 and "not yet two confirmed readings" in out


def test_export_and_read_back(folder, said, tmp_path):
    table, bundle = tmp_path / "t.csv", tmp_path / "b.json"
    code, out, _ = said("export", "--data", folder, "--format", "csv", "--out", table)
    assert code == 0 and "16 entries written" in out and "All 16 entries are whole" in out
    assert verify_csv(
        table.read_bytes().decode()).ok
    assert len(read_csv(table.read_bytes().decode())) == 17, "the station's key, too"
    code, out, _ = said("export", "--data", folder, "--format", "fhir", "--out", bundle,
                        "--bed", "QUAY-3")
    assert code == 0 and list(read_accounts(bundle.read_text("utf-8"))) == ["QUAY-3"]
    assert sorted(p.name for p in tmp_path.iterdir()) == ["b.json", "t.csv"]


def test_a_slip_in_the_name_of_an_export_ends_no_record(tmp_path, said, monkeypatch):
    monkeypatch.setenv("COUNTERSIGHT_KEY", str(tmp_path / "station.key"))
    Store.open(tmp_path).add(reading("10"))
    looker = sqlite3.connect(tmp_path / "record.sqlite3")  # keeps the log in its place
    assert looker.execute("SELECT count(*) FROM entry").fetchone() == (2,)
    Store.open(tmp_path).add(reading("30", 60))
    for name in ("record.sqlite3", "record.sqlite3-wal", "record.sqlite3.anchor", "station.key"):
        before = (tmp_path / name).read_bytes()
        for form in ("csv", "fhir"):
            code, _, err = said("export", "--data", tmp_path, "--format", form, "--out",
                                tmp_path / name)
            assert code == 2 and "not written" in err and err.count("\n") == 1, name
        assert (tmp_path / name).read_bytes() == before, name
    looker.close()
    assert said("verify", "--data", tmp_path)[0] == 0


@pytest.mark.parametrize(("words", "sentence"), [
    (("output", "--bed", "X-9"), "on record: QUAY-3, QUAY-4"),
    (("output", "--bed", "<x>"), "bed code"),
    (("output", "--bed", "QUAY-3", "--zone", "Mars/Base"), "no time zone"),
    (("output", "--bed", "QUAY-3", "--zone", "../etc"), "no time zone"),
    (("output", "--bed", "QUAY-3", "--shifts", "seven"), "07:00,19:00"),
    (("output", "--bed", "QUAY-3", "--since", "noon"), "--since looks like"),
    (("verify", "--expect", "x"), "--expect looks like"),
    (("export", "--format", "csv", "--out", "/proc/no/such.csv"), "was not written"),
    (("export", "--format", "csv", "--out", "/"), "was not written"),
    (("export", "--format", "csv", "--with-pictures", "--out", "x"), "fhir only"),
    (("export", "--format", "xml", "--out", "x"), "invalid choice"),
])
def test_bad_input_is_one_sentence(folder, said, words, sentence):
    code, out, err = said(*words, "--data", folder)
    assert code == 2 and sentence in err and err.count("\n") == 1 and "Traceback" not in err


def test_a_mistyped_folder_is_noticed_and_not_made(said, tmp_path):
    code, _, err = said("verify", "--data", tmp_path / "typo")
    assert code == 2 and "There is no record at" in err and not (tmp_path / "typo").exists()


def test_the_setting_names_the_folder(folder, said, monkeypatch):
    monkeypatch.setenv("COUNTERSIGHT_DATA", folder)
    assert said("verify")[0] == 0
