"""A photo read against the scale of another chamber must never give a wrong value."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from app.cli import main

pytestmark = pytest.mark.slow

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"


@pytest.mark.parametrize(("photo", "wrong_scale"), [
    ("bench-1-pink.jpg", "slate-50"),
    ("bench-1-pink.jpg", "heron-100"),
    ("bench-4-from-above.jpg", "slate-50"),
    ("bench-6-red.jpg", "heron-100"),
    ("bench-2-clear.jpg", "quay-60"),
])
def test_the_scale_of_another_chamber_gives_no_value(
        photo: str, wrong_scale: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["read", str(SAMPLES / photo), "--scale", wrong_scale, "--json"]) == 3
    found = json.loads(capsys.readouterr().out)
    assert found["status"] == "refused" and found["value"] is None
    assert {"numerals-disagree", "wrong-scale", "numbering-unsettled"} & set(found["flags"])
    assert found["reasons"], "the person is told why"


def test_where_two_scales_print_the_same_numbers_the_numbers_decide(
        capsys: pytest.CaptureFixture[str]) -> None:
    """Above 13 mL slate-50 and quay-60 print the same numbers on marks of 1 mL, so the
    photo alone can be read with either; then the value must be right, or there is none."""
    labels = (SAMPLES / "labels.jsonl").read_text(encoding="utf-8").splitlines()
    truth = {label["file"]: label["true_value"] for label in map(json.loads, labels)}
    code = main(["read", str(SAMPLES / "bench-6-red.jpg"), "--scale", "quay-60", "--json"])
    found = json.loads(capsys.readouterr().out)
    if code == 0:
        assert found["value"] == pytest.approx(truth["bench-6-red.jpg"], abs=1.0)
    else:
        assert code == 3 and found["value"] is None
