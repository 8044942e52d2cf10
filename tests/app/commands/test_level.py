"""The commands ``level`` and ``cards``: exit codes, --json, one sentence per error."""

from __future__ import annotations

import json

import numpy as np
import pytest
from level_rooms import scene
from PIL import Image

from app.cli import main


@pytest.fixture
def bare(tmp_path):
    path = tmp_path / "bare.png"
    Image.fromarray(np.full((90, 120, 3), 140, np.uint8)).save(path)
    return path


@pytest.fixture(scope="module")
def room(tmp_path_factory):
    photo, label = scene(301, 0, "cards")
    path = tmp_path_factory.mktemp("room") / "room.jpg"
    exif = Image.Exif()
    exif.get_ifd(0x8769)[41989] = round(label["f35"])
    Image.fromarray(photo.rgb).save(path, quality=92, exif=exif)
    return path, label


def test_a_refusal_is_exit_code_3_and_one_object(bare, capsys):
    assert main(["level", str(bare), "--json"]) == 3
    out = capsys.readouterr().out
    found = json.loads(out)
    assert out.count("\n") == 1 and found["status"] == "refused"
    assert found["action"] == "cannot tell" and found["flags"] == ["zero-card-missing"]


@pytest.mark.slow
def test_a_reading_is_exit_code_0_with_an_overlay(room, tmp_path, capsys):
    path, label = room
    overlay = tmp_path / "seen.png"
    assert main(["level", str(path), "--json", "--overlay", str(overlay)]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["kind"] == "level" and found["status"] == "read"
    low, high = found["interval_cm"]
    assert low < found["offset_cm"] < high
    assert abs(10 * found["offset_cm"] - label["true_offset_mm"]) < 20
    with Image.open(overlay) as drawn:
        assert max(drawn.size) == max(label["width"], label["height"])


@pytest.mark.slow
def test_a_photo_that_shows_no_card_beside_one_that_does(room, bare, tmp_path, capsys):
    assert main(["level", str(bare), str(room[0]), "--json", "--overlay",
                 str(tmp_path / "seen.png")]) == 0
    found = json.loads(capsys.readouterr().out)
    assert [p["status"] for p in found["photos"]] == ["refused", "read"]
    assert [p["file"] for p in found["photos"]] == ["bare.png", "room.jpg"]
    assert found["offset_cm"] == found["photos"][1]["offset_cm"] and found["agreement"] is None
    with Image.open(tmp_path / "seen.png") as drawn, Image.open(room[0]) as photo:
        assert max(drawn.size) == max(photo.size), "drawn on the photo that was measured"
    assert main(["level", str(bare), str(room[0])]) == 0
    assert "photo 1: no reading" in capsys.readouterr().out
    assert main(["level", str(bare), str(bare), "--landmark", "3,4"]) == 2
    assert "tapped" in capsys.readouterr().err


@pytest.mark.slow
def test_gravity_from_another_source_is_named(room, capsys):
    path, label = room
    gravity = ",".join(f"{9.81 * v:.3f}" for v in label["gravity_camera"])
    assert main(["level", str(path), "--json", f"--gravity={gravity}"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert "phone sensor" in found["gravity_from"]
    low, high = found["interval_cm"]
    assert low < label["true_offset_mm"] / 10 < high


@pytest.mark.parametrize("command", [["level"], ["read", "--scale", "quay-60"]])
@pytest.mark.parametrize(("gravity", "words"), [
    (["--gravity=0,1"], "three numbers"), (["--gravity=a,1,0"], "--gravity"),
    (["--gravity=0,-1,0"], "lower edge"), (["--gravity=0,1,0"] * 2, "one for each photo")])
def test_gravity_that_cannot_be_meant_is_exit_code_2(bare, capsys, command, gravity, words):
    assert main([command[0], str(bare), *command[1:], *gravity]) == 2
    said = capsys.readouterr()
    assert words in said.err and not said.out


@pytest.mark.slow
def test_words_without_json(room, capsys):
    assert main(["level", str(room[0])]) == 0
    out = capsys.readouterr().out
    assert "the vertical was taken from" in out and "landmark" in out


@pytest.mark.parametrize("options, words", [
    (["--landmark", "5"], "--landmark"), (["--landmark", "5000,5"], "outside"),
    (["--zero-card-mm", "0"], "zero card"), (["--landmark-card-mm", "x"], "--landmark-card-mm"),
    (["--focal-35mm", "1"], "focal"), (["--tolerance-mm", "-3"], "tolerance"),
    (["--overlay", "x.txt"], "--overlay"),
])
def test_bad_input_is_exit_code_2_and_one_sentence(bare, capsys, options, words):
    assert main(["level", str(bare), *options]) == 2
    told = capsys.readouterr()
    assert told.out == "" and words in told.err and told.err.count("\n") == 1


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_cards_are_written(tmp_path, capsys, paper):
    out = tmp_path / "cards.pdf"
    assert main(["cards", "--out", str(out), "--paper", paper]) == 0
    assert out.read_bytes().startswith(b"%PDF-") and "100 %" in capsys.readouterr().out


@pytest.mark.parametrize("name", ["cards.png", "nowhere/cards.pdf"])
def test_cards_say_what_is_wrong_with_the_file(tmp_path, capsys, name):
    assert main(["cards", "--out", str(tmp_path / name)]) == 2
    assert capsys.readouterr().err.startswith("--out")
