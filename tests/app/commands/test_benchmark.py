"""``countersight benchmark`` and ``countersight lens`` as a person meets them."""

from __future__ import annotations

import json

import numpy as np
import pytest
from PIL import Image

from app.cli import main
from vision.lens.model import Lens, save_lens


@pytest.fixture
def labels(tmp_path):
    """Two pictures of plain grey: one to be refused, and one that is not there."""
    Image.fromarray(np.full((200, 160, 3), 128, np.uint8)).save(tmp_path / "grey.jpg")
    path = tmp_path / "labels.jsonl"
    path.write_text("".join(json.dumps({"scale": "quay-60", **x}) + "\n" for x in (
        {"file": "grey.jpg", "expect": "refuse", "tier": "unreadable"},
        {"file": "gone.jpg", "expect": "read", "true_value": 20, "tier": "easy"})))
    return path


def test_a_run_writes_the_evidence_and_says_what_was_met(labels, tmp_path, capsys):
    assert main(["benchmark", str(labels), "--out", str(tmp_path / "out")]) == 0
    said = capsys.readouterr()
    assert "2 images, 0 read, 0 silent misreads" in said.out
    assert "NOT MET" in said.out  # the easy picture was not read
    assert "2 of 2" in said.err
    assert {p.name for p in (tmp_path / "out").iterdir()} == {
        "report.html", "results.csv", "results.jsonl", "run.json", "summary.json"}
    rows = [json.loads(x) for x in (tmp_path / "out" / "results.jsonl").read_text().splitlines()]
    assert [r["verdict"] for r in rows] == ["refused", "error"]


def test_quiet_is_quiet(labels, tmp_path, capsys):
    main(["benchmark", str(labels), "--out", str(tmp_path / "out"), "--quiet"])
    assert capsys.readouterr().err == ""


@pytest.mark.parametrize(("more", "words"), [
    (["--workers", "0"], "workers"), (["--compare", "none.json"], "no earlier run"),
    (["--readers", "none.jsonl"], "no reading trial"), (["--scheduler", "nowhere"], "scheduler"),
    (["--grid", "5", "--workers", "two"], "workers")])
def test_bad_input_is_one_sentence_and_leaves_nothing(labels, tmp_path, capsys, more, words):
    code = main(["benchmark", str(labels), "--out", str(tmp_path / "out"), "--quiet", *more])
    said = capsys.readouterr().err
    assert code == 2 and words in said and said.count("\n") == 1
    assert not (tmp_path / "out" / "results.jsonl").exists()


def test_a_bad_label_file_is_named_by_its_line(labels, tmp_path, capsys):
    labels.write_text(labels.read_text() + '{"file": 7}\n')
    assert main(["benchmark", str(labels), "--out", str(tmp_path / "out")]) == 2
    assert capsys.readouterr().err.startswith("Line 3 of the label file: 'file'")


def test_lens_without_a_board_in_the_photos_writes_nothing(labels, tmp_path, capsys):
    out = tmp_path / "lens.json"
    assert main(["lens", str(tmp_path / "grey.jpg"), "--out", str(out)]) == 2
    assert "found in 0 of 1 photos" in capsys.readouterr().err
    assert not out.exists()


def test_read_says_where_the_focal_length_came_from(labels, tmp_path, capsys):
    main(["read", str(tmp_path / "grey.jpg"), "--scale", "quay-60"])
    assert "camera: the photo does not say its focal length" in capsys.readouterr().out
    main(["read", str(tmp_path / "grey.jpg"), "--scale", "quay-60", "--json"])
    assert json.loads(capsys.readouterr().out)["camera"]
    code = main(["read", str(tmp_path / "grey.jpg"), "--scale", "quay-60", "--lens", "none.json"])
    assert code == 2 and "no lens file" in capsys.readouterr().err


def test_level_says_where_the_focal_length_came_from(labels, tmp_path, capsys):
    grey = str(tmp_path / "grey.jpg")
    assert main(["level", grey]) == 3
    assert "camera: the photo does not say its focal length" in capsys.readouterr().out
    main(["level", grey, "--focal-35mm", "26", "--json"])
    assert json.loads(capsys.readouterr().out)["camera"].startswith("stated, 26 mm")
    lens = Lens(160, 200, 180.0, (79.5, 99.5), (0.0, 0.0), 0.01, 0.1, 8, 400)
    save_lens(lens, tmp_path / "lens.json")
    main(["level", grey, "--lens", str(tmp_path / "lens.json")])
    assert "camera: lens file" in capsys.readouterr().out
