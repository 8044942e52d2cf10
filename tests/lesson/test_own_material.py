"""An educator's own scale and photos: used as they are, refused in a sentence."""

from __future__ import annotations

import io
import json
import zipfile

import numpy as np
import pytest
from PIL import Image

from vision.errors import InputError
from vision.lesson import own_photos
from vision.lesson.own_photos import labelled_photos
from vision.lesson.rounds import RIGHT, UNIT, chamber_tasks, judge_chamber
from vision.scale_file.scale import load_scale, parse_scale


def jpeg(shade: int) -> bytes:
    out = io.BytesIO()
    Image.fromarray(np.full((600, 400, 3), shade, np.uint8)).save(out, "JPEG")
    return out.getvalue()


def packed(labels: str | None, **files: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as box:
        if labels is not None:
            box.writestr("set/labels.jsonl", labels)
        for name, data in files.items():
            box.writestr(f"set/{name}.jpg", data)
    return out.getvalue()


LINE = json.dumps({"file": "a.jpg", "true_value": 23.5, "division": 2, "tier": "own"})


def test_photos_come_in_the_order_of_their_labels():
    more = json.dumps({"file": "other/b.jpg", "true_value": 7})
    photos = labelled_photos(packed(f"{more}\n\n{LINE}\n", a=jpeg(10), b=jpeg(200)))
    assert [(p.name, p.true_value, p.division) for p in photos] == [
        ("b.jpg", 7.0, 1.0), ("a.jpg", 23.5, 2.0)]
    assert photos[0].photo.rgb.mean() > 190 and photos[1].photo.rgb.mean() < 20


@pytest.mark.parametrize(("data", "word"), [
    (b"no zip", "no ZIP file"), (packed(None, a=b""), "no labels.jsonl"),
    (packed(""), "1 to 30 photos"), (packed("{}"), "Line 1"), (packed("[1]"), "Line 1"),
    (packed('{"file": "a.jpg", "true_value": "much"}'), "Line 1"),
    (packed('{"file": "a.jpg", "true_value": NaN}'), "make no sense"),
    (packed(LINE), "not in the ZIP"), (packed(LINE, a=b"not a photo"), "photo|picture")])
def test_what_is_no_set_of_photos_is_refused_in_a_sentence(data, word):
    with pytest.raises(Exception, match=word) as caught:
        labelled_photos(data)
    assert "Traceback" not in str(caught.value) and len(str(caught.value)) > 20


def test_what_unpacks_to_far_more_is_not_unpacked(monkeypatch):
    monkeypatch.setattr(own_photos, "MAX_FILE_BYTES", 10_000)
    with pytest.raises(InputError, match="larger than"):
        labelled_photos(packed(LINE, a=bytes(5_000_000)))


@pytest.mark.slow
@pytest.mark.parametrize("name", ["quay-60", "heron-100", "slate-50"])
def test_a_round_on_a_scale_of_ones_own_keeps_its_rules(name):
    scale = load_scale(name)
    for task in chamber_tasks(5, 10, scale):
        assert task.view.scale is scale
        assert judge_chamber(task.view.true_value, task).cause == RIGHT
    traps = {t.trap for t in chamber_tasks(5, 10, scale)}
    assert (UNIT in traps) == any(
        scale.division_at(m.value) != 1.0 for m in scale.marks)


@pytest.mark.slow
def test_a_scale_on_which_nothing_would_show_is_refused():
    # Marks 50 mm apart: no eye within reach errs by more than one of them.
    wide = parse_scale({
        "name": "wide", "unit": "mL", "direction": "up", "inner_diameter_mm": 10.0, "wall_mm": 1.0,
        "capacity": 8, "height_mm": [[0, 0.0], [8, 101.86]],
        "marks": [{"from": 0, "to": 8, "step": 4, "length": "long", "label": True}]})
    with pytest.raises(InputError, match="no error of reading would show"):
        chamber_tasks(1, 3, wide)
