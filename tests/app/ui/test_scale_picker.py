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


STEPPED = {
    "name": "pier-40", "unit": "mL", "capacity": 40, "wall_mm": 1.5,
    "inner_diameter_mm": [[0, 23.0], [9.9, 23.0], [10.1, 26.0], [40, 26.0]],
    "height_mm": [[0, 0.0], [10, 24.069], [40, 80.574]],
    "marks": [{"from": 0, "to": 40, "step": 1, "length": "short"}]}


def test_a_stepped_bore_without_an_outside_says_that_one_even_cylinder_is_meant():
    said = summary(scale_from_file(json.dumps(STEPPED).encode()))
    assert "gives no outer diameter" in said and "one even cylinder of 29 mm" in said
    stated = {**STEPPED, "outer_diameter_mm": [[0, 26.0], [9.9, 26.0], [10.1, 29.0], [40, 29.0]]}
    assert "cylinder" not in summary(scale_from_file(json.dumps(stated).encode()))


@pytest.mark.parametrize("data, said", [
    (encoded(outer_diamter_mm=39), "'outer_diameter_mm' was probably meant"),
    (encoded(marks=[{"from": 0, "to": 60, "step": 1, "length": "short", "lable": True}]),
     "'label' was probably meant"),
    (encoded()[:-1] + b', "inner_diameter_mm": 40.0}', "inner_diameter_mm: stands twice"),
    (encoded()[:-1], "is not JSON"), (b" \n", "is empty"),
    (json.dumps({**STEPPED, "inner_diameter_mm": 26.0}).encode(), "one of the two is wrong"),
], ids=["misspelt", "misspelt in a run", "twice", "cut off", "empty", "contradiction"])
def test_what_would_be_lost_or_contradicts_itself_is_named(data, said):
    with pytest.raises(ScaleFileError, match=said):
        scale_from_file(data)


def test_every_chamber_scale_says_range_and_division():
    assert "quay-60" in chamber_scales()
    assert summary(load_scale("quay-60")) == (
        "quay-60: 0 to 60 mL, one division 1 mL, numbers 0, 5, 10 ... 60")
