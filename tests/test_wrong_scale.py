"""A photo read against the scale of another chamber must never give a value."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from app.cli import main

SAMPLES = Path(__file__).resolve().parents[1] / "sample_images"


@pytest.mark.parametrize(("photo", "wrong_scale"), [
    ("bench-1-pink.jpg", "slate-50"),
    ("bench-1-pink.jpg", "heron-100"),
    ("bench-4-from-above.jpg", "slate-50"),
    ("bench-6-red.jpg", "quay-60"),
    ("bench-2-clear.jpg", "quay-60"),
])
def test_the_scale_of_another_chamber_gives_no_value(
        photo: str, wrong_scale: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["read", str(SAMPLES / photo), "--scale", wrong_scale, "--json"]) == 3
    found = json.loads(capsys.readouterr().out)
    assert found["status"] == "refused" and found["value"] is None
    assert {"numerals-disagree", "wrong-scale", "numbering-unsettled"} & set(found["flags"])
    assert found["reasons"], "the person is told why"
