"""The label file: what it accepts, what it refuses, and that the line is named."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from vision.accuracy import read_labels
from vision.errors import LabelFileError

GOOD = {"file": "a.jpg", "scale": "quay-60", "true_value": 23.4, "expect": "read", "tier": "easy"}


def write(tmp_path: Path, *lines: object) -> Path:
    path = tmp_path / "labels.jsonl"
    path.write_text("".join((x if isinstance(x, str) else json.dumps(x)) + "\n" for x in lines))
    return path


def test_an_empty_file_holds_no_label(tmp_path):
    assert list(read_labels(write(tmp_path))) == []


def test_paths_are_relative_to_the_label_file_and_unknown_keys_are_kept(tmp_path):
    (tmp_path / "my.json").write_text("{}")
    path = write(tmp_path, {**GOOD, "file": "pictures/a.jpg", "scale": "my.json",
                            "lens": "phone.json", "nurse_shift": "late"}, "", GOOD)
    first, second = read_labels(path)
    assert first.path == tmp_path / "pictures" / "a.jpg" and second.path == tmp_path / "a.jpg"
    assert first.lens == str(tmp_path / "phone.json") and second.lens is None
    assert first.scale == str(tmp_path / "my.json")
    assert first.keys["nurse_shift"] == "late" and first.tier == "easy"
    assert second.scale == "quay-60"
    assert (second.index, second.line) == (1, 3)


def test_a_level_label_is_known_by_its_keys(tmp_path):
    path = write(tmp_path, {"file": "l.jpg", "true_offset_mm": -12.5, "mode": "cards"},
                 {"file": "m.jpg", "expect": "refuse", "zero_card_mm": 60})
    first, second = read_labels(path)
    assert (first.kind, first.truth, first.expect) == ("level", -12.5, "read")
    assert (second.kind, second.truth) == ("level", None)


def test_an_image_to_be_refused_needs_no_true_value(tmp_path):
    label, = read_labels(write(tmp_path, {"file": "a.jpg", "scale": "quay-60", "expect": "refuse"}))
    assert label.truth is None


@pytest.mark.parametrize(("line", "words"), [
    ("{not json", "JSON object"),
    ("[1, 2]", "JSON object"),
    ({**GOOD, "file": ""}, "'file'"),
    ({**GOOD, "expect": "maybe"}, "'expect'"),
    ({**GOOD, "true_value": "23"}, "'true_value'"),
    ({**GOOD, "true_value": True}, "'true_value'"),
    ('{"file": "a.jpg", "scale": "quay-60", "true_value": NaN}', "NaN"),
    ({"file": "a.jpg", "scale": "quay-60"}, "'true_value' is missing"),
    ({"file": "a.jpg", "true_value": 3}, "'scale'"),
    ({**GOOD, "kind": "weight"}, "'kind'"),
    ({**GOOD, "lens": 28}, "'lens'"),
])
def test_a_bad_line_is_refused_by_its_number(tmp_path, line, words):
    with pytest.raises(LabelFileError, match="Line 2 ") as caught:
        list(read_labels(write(tmp_path, GOOD, line)))
    assert words in str(caught.value)


def test_a_missing_or_binary_file_is_one_sentence(tmp_path):
    with pytest.raises(LabelFileError, match="cannot be opened"):
        list(read_labels(tmp_path / "none.jsonl"))
    (tmp_path / "b.jsonl").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(LabelFileError, match="not UTF-8"):
        list(read_labels(tmp_path / "b.jsonl"))


def test_labels_are_read_as_a_stream(tmp_path):
    """The first labels come although a later line is bad: nothing is read ahead."""
    labels = read_labels(write(tmp_path, GOOD, GOOD, "{bad"))
    assert next(labels).index == 0 and next(labels).index == 1
    with pytest.raises(LabelFileError):
        next(labels)
