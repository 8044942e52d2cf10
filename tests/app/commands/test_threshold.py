"""``countersight threshold``: sums, words, exit codes and one JSON object."""

import argparse
import json

import pytest

from app.commands import threshold
from vision.errors import InputError


def call(*words: str) -> int:
    parser = argparse.ArgumentParser(prog="countersight")
    threshold.add_parser(parser.add_subparsers(required=True))
    args = parser.parse_args(["threshold", *words])
    return args.run(args)


def test_sentence_states_both_units_and_the_way(capsys):
    assert call("--setting", "10", "--unit", "cm[H2O]", "--offset-cm", "-3") == 0
    out = capsys.readouterr().out
    assert "7.0 cmH2O (5.2 mmHg)" in out and "drains more than ordered" in out
    assert "not advice" in out and "No interval" in out


@pytest.mark.parametrize("offset, interval", [("-3.5", "-4.1,-2.7"), ("-3,5", "-4,1;-2,7"),
                                              ("\N{MINUS SIGN}3.5", "-4.1;-2.7")])
def test_json_is_one_object_and_commas_are_understood(capsys, offset, interval):
    assert call("--setting", "10", "--unit", "mmHg", f"--offset-cm={offset}",
                "--offset-interval-cm", interval, "--json") == 0
    found = json.loads(capsys.readouterr().out)
    assert found["kind"] == "threshold" and found["unit"] == "mm[Hg]"
    # By hand: (13.595 - 3.5) cm x 1.0006 = 10.10 cmH2O = 7.43 mmHg.
    assert found["values"]["cm[H2O]"] == pytest.approx(10.10, abs=0.01)
    assert found["value"] == pytest.approx(7.43, abs=0.01)
    low, high = found["intervals"]["cm[H2O]"]
    assert low == pytest.approx(9.5, abs=0.02) and high == pytest.approx(10.9, abs=0.02)
    assert found["budget"][0]["term"] == "height offset"


@pytest.mark.parametrize("words", [
    ("--setting", "ten", "--unit", "cmH2O", "--offset-cm", "0"),
    ("--setting", "10", "--unit", "cm", "--offset-cm", "0"),
    ("--setting", "10", "--unit", "cmH2O", "--offset-cm", "nan"),
    ("--setting", "10", "--unit", "cmH2O", "--offset-cm", "-3", "--offset-interval-cm", "-4"),
    ("--setting", "10", "--unit", "cmH2O", "--offset-cm", "-3", "--offset-interval-cm", "1,2"),
])
def test_bad_input_is_one_sentence(words):
    with pytest.raises(InputError) as caught:
        call(*words)
    assert "\n" not in str(caught.value)


def test_setting_and_unit_have_to_be_typed(capsys):
    with pytest.raises(SystemExit) as caught:
        call("--setting", "10", "--offset-cm", "0")
    assert caught.value.code == 2
    assert "--unit" in capsys.readouterr().err
