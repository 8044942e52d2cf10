"""The ward's own scale file: taken when it makes sense, refused in one sentence."""

import json

import pytest

from app.ui.scale_picker import chamber_scales, scale_from_file, summary
from vision.errors import ScaleFileError
from vision.scale_file.scale import load_scale, shipped_scales

QUAY = json.loads(shipped_scales()["quay-60"].read_text(encoding="utf-8"))


def encoded(**changes):
    return json.dumps({**QUAY, **changes}).encode()


def test_a_scale_file_of_the_ward_is_taken():
    scale = scale_from_file(b"\xef\xbb\xbf" + encoded(name="ward-7"))
    assert scale.name == "ward-7"
    assert scale.marks == load_scale("quay-60").marks


@pytest.mark.parametrize("data", [
    b"", b"\xff\xfe\x00", b"<html></html>", b"[]", b"3", b"null", b"{}", b"[" * 100_000,
    encoded(capacity="much"), encoded(height_mm=[[0, 0]]), encoded(marks=7), encoded(marks=[]),
    encoded(unit="cm[H2O]", inner_diameter_mm=None), encoded(unit="L", name="ward-7"),
    encoded(inner_diameter_mm=29.0),
], ids=range(15))
def test_anything_else_is_refused_in_one_sentence(data):
    with pytest.raises(ScaleFileError) as refused:
        scale_from_file(data)
    assert str(refused.value).endswith(".") and "\n" not in str(refused.value)


def test_every_chamber_scale_says_range_and_division():
    assert "quay-60" in chamber_scales()
    assert summary(load_scale("quay-60")) == (
        "quay-60: 0 to 60 mL, one division 1 mL, numbers 0, 5, 10 ... 60")
