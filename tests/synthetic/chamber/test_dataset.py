"""Random scenes keep their tier's promises; sets are labelled, repeatable and can be resumed."""

from __future__ import annotations

import ast
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from vision.errors import InputError
from vision.scale_file.scale import load_scale
from vision.synthetic.chamber import TIERS, sample_scene, scene_for, scene_truth, write_scenes
from vision.synthetic.chamber.render import TUBE, render_light
from vision.synthetic.chamber.sample import SPOILS, in_picture, round_scales, surface_in_sight

SIZE = (150, 200)
#: What every label must hold (the label file's contract and the keys sets are grouped by).
KEYS = {"file", "scale", "true_value", "rim_value", "expect", "tier", "division",
        "elevation_deg", "azimuth_deg", "distance_mm", "roll_deg", "lean_deg", "fluid", "light",
        "contact_angle_deg", "f35", "px_per_mm", "blur_px", "surface_px", "lowest_mark_px",
        "highest_mark_px", "n_plastic"}


@pytest.mark.slow
@pytest.mark.parametrize("tier", TIERS)
def test_scenes_keep_the_promises_of_their_tier(tier):
    for index in range(25):
        s = scene_for(61, index, tier)
        heights = [m.height_mm for m in s.scale.marks]
        inside = min(heights) <= s.level_mm <= max(heights)
        assert s.tier == tier
        assert s.expect == {"offscale": "off-scale", "unreadable": "refuse"}.get(tier, "read")
        assert inside == (tier != "offscale")
        assert s.tube.floor_mm < s.level_mm < s.tube.lid_mm
        if tier != "unreadable":
            assert in_picture(s)
            assert surface_in_sight(s)
        el, angle = abs(s.camera.elevation_deg), s.contact_angle_deg
        if tier == "easy":
            assert el <= 5
            assert 60 <= angle <= 90
        if tier == "typical":
            assert el <= 14
            assert abs(s.camera.azimuth_deg) <= 25
            assert abs(s.camera.roll_deg) <= 6
            assert 45 <= angle <= 90
        if tier == "hard":
            assert 12 <= el <= 30
            assert 20 <= angle <= 85


@pytest.mark.slow
def test_every_shipped_tube_and_every_liquid_turns_up():
    scenes = [scene_for(62, i) for i in range(80)]
    assert {s.scale.name for s in scenes} == {s.name for s in round_scales()}
    assert {s.fluid.name for s in scenes} == {"clear", "straw", "pink", "red"}
    assert {s.tier for s in scenes} == set(TIERS)
    assert {s.camera.elevation_deg > 0 for s in scenes} == {True, False}


@pytest.mark.slow
def test_spoiled_scenes_come_in_every_kind_and_a_neighbour_is_a_second_chamber():
    scenes = [scene_for(66, i, "unreadable", size=SIZE) for i in range(70)]
    assert {s.notes for s in scenes} == set(SPOILS)
    pair = next(s for s in scenes if s.notes == "two chambers")
    _, alone = render_light(replace(pair, neighbour=None), samples=1)
    _, both = render_light(pair, samples=1)
    assert (alone == TUBE).sum() > 500
    assert (both == TUBE).sum() > 1.5 * (alone == TUBE).sum()
    empty = next(s for s in scenes if s.notes == "no chamber")
    _, kinds = render_light(empty, samples=2)
    assert not (kinds == TUBE).any()


def test_overrides_hold_and_nonsense_is_refused():
    rng = np.random.default_rng(63)
    s = sample_scene(rng, "typical", load_scale("quay-60"), true_value=33.25, elevation_deg=-7.5,
                     contact_angle_deg=50.0, fluid="red", width=600, height=800)
    truth = scene_truth(s)
    assert truth["true_value"] == 33.25
    assert truth["elevation_deg"] == -7.5
    assert (s.camera.width, s.camera.height, s.fluid.name) == (600, 800, "red")
    with pytest.raises(InputError, match="tier"):
        sample_scene(rng, "cosy")
    with pytest.raises(InputError, match="no 'colour'"):
        sample_scene(rng, "easy", colour="blue")
    with pytest.raises(InputError, match="No scene"):
        sample_scene(rng, "easy", load_scale("quay-60"), true_value=500.0)


@pytest.mark.slow
def test_a_set_is_labelled_repeatable_and_resumed(tmp_path):
    labels = write_scenes(tmp_path / "a", 4, 64, size=SIZE)
    rows = [json.loads(line) for line in labels.read_text().splitlines()]
    assert [r["file"] for r in rows] == [f"scene_{i:04d}.jpg" for i in range(4)]
    for row in rows:
        assert row.keys() >= KEYS
        scale = load_scale(labels.parent / row["scale"])
        assert row["scale"] == f"scales/{scale.name}.json"
        with Image.open(labels.parent / row["file"]) as photo:
            assert photo.size == SIZE
            assert photo.getexif().get_ifd(0x8769)[41989] == round(row["f35"])
    photos = {r["file"]: (labels.parent / r["file"]).read_bytes() for r in rows}

    # Interrupted: one photo lost, one label cut short.
    (labels.parent / "scene_0001.jpg").unlink()
    text = labels.read_text().splitlines()
    labels.write_text("\n".join([*text[:3], text[3][:40]]) + "\n")
    kept = (labels.parent / "scene_0000.jpg").stat().st_mtime_ns
    told: list[tuple[int, int]] = []
    write_scenes(tmp_path / "a", 4, 64, size=SIZE, progress=lambda *p: told.append(p))
    assert told == [(3, 4), (4, 4)]
    assert (labels.parent / "scene_0000.jpg").stat().st_mtime_ns == kept
    assert [json.loads(line) for line in labels.read_text().splitlines()] == rows
    assert {n: (labels.parent / n).read_bytes() for n in photos} == photos

    with pytest.raises(InputError, match="other settings"):
        write_scenes(tmp_path / "a", 4, 65, size=SIZE)


@pytest.mark.parametrize(("change", "word"), [
    ({"count": 0}, "number of scenes"), ({"tier": "cosy"}, "tier"), ({"size": (10, 10)}, "sides")])
def test_a_set_that_makes_no_sense_is_refused(tmp_path, change, word):
    with pytest.raises(InputError, match=word):
        write_scenes(**{"out": tmp_path / "x", "count": 1, "seed": 1, "size": SIZE, **change})


def test_a_folder_that_cannot_be_made_is_named(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="cannot be written"):
        write_scenes(tmp_path / "file" / "set", 1, 1, size=SIZE)


@pytest.mark.slow
def test_readers_and_scenes_share_only_the_scale_and_the_errors():
    # An error of geometry on one side must show up against the other.
    root = Path(__file__).parents[3] / "vision"

    def imported(path: Path) -> set[str]:
        names = set()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module:
                names.add(node.module)
            elif isinstance(node, ast.Import):
                names |= {a.name for a in node.names}
        return {n for n in names if n.split(".")[0] == "vision"}

    for path in root.rglob("*.py"):
        names = imported(path)
        if path.relative_to(root).parts[:2] == ("synthetic", "chamber"):
            outside = {n for n in names if not n.startswith("vision.synthetic.chamber")}
            # what a lesson's task asks to be drawn is data, no geometry
            task = {"lesson.py": {"vision.lesson.rounds"},
                    "lesson_picture.py": {"vision.lesson.parallax"}}.get(path.name, set())
            # nor is how a worker process ends with its parent
            shared = {"vision.scale_file.scale", "vision.errors", "vision.worker"}
            assert outside <= shared | task, path
        elif path.relative_to(root).parts[0] not in ("accuracy", "training", "synthetic"):
            assert not {n for n in names if n.startswith("vision.synthetic.chamber")}, path
