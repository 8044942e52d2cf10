"""Sets of photos of one chamber share what they must and differ where they must."""

from __future__ import annotations

import json
from dataclasses import fields, replace

import numpy as np
import pytest

from app.cli import main
from vision.errors import InputError
from vision.scale_file.scale import load_scale
from vision.synthetic.bedside import level_set
from vision.synthetic.bedside.world import landmark_moved, random_world, seen_again
from vision.synthetic.chamber import set_for, write_scenes
from vision.synthetic.chamber.model import Camera, Capture, ChamberScene
from vision.synthetic.chamber.sample import can_be_read
from vision.synthetic.chamber.sets import MOVED_DIVISIONS, SET_TIERS, own_tier

SIZE = (150, 200)
#: What a set may not share: everything else of a scene is the chamber, its room and its light.
OWN = {"camera": Camera(), "capture": Capture(), "seed": 0, "tier": ""}
#: What the phone, its lens and the light in the room give to every photo of a set alike.
SAME_CAMERA = ("f35", "width", "height")
SAME_LIGHT = ("low_light", "read_noise", "shot_noise", "veil", "contrast", "vignette")


def thing(scene: ChamberScene, **more) -> ChamberScene:
    """A scene without what belongs to one photo only."""
    return replace(scene, **{**OWN, **more})


@pytest.mark.slow
def test_honest_sets_share_the_chamber_and_differ_in_the_photo():
    for index in range(40):
        photos = set_for(71, index, 3)
        first = photos.scenes[0]
        assert photos.moved is None
        for other in photos.scenes[1:]:
            assert thing(other) == thing(first)
            assert all(getattr(other.camera, n) == getattr(first.camera, n) for n in SAME_CAMERA)
            assert all(getattr(other.capture, n) == getattr(first.capture, n) for n in SAME_LIGHT)
        for name in ("elevation_deg", "azimuth_deg", "roll_deg"):
            assert len({getattr(s.camera, name) for s in photos.scenes}) == 3, name
        assert len({s.capture.blur_px for s in photos.scenes}) == 3
        assert len({s.capture.exposure for s in photos.scenes}) > 1
        assert len({s.seed for s in photos.scenes}) == 3  # own noise
        assert all(can_be_read(s, photos.tier) for s in photos.scenes)
        assert photos.tier == max((s.tier for s in photos.scenes), key=SET_TIERS.index)


@pytest.mark.slow
def test_second_photos_come_from_lower_from_higher_and_from_nearly_the_same_place():
    steps = np.array([[s.camera.elevation_deg - photos.scenes[0].camera.elevation_deg
                       for s in photos.scenes[1:]]
                      for photos in (set_for(72, i, 3) for i in range(60))]).ravel()
    assert (steps < -3).mean() > 0.2
    assert (steps > 3).mean() > 0.2
    assert 0.1 < (abs(steps) <= 1.5).mean() < 0.45
    assert abs(steps).max() > 15


@pytest.mark.slow
def test_one_photo_of_a_moved_set_shows_another_level_and_nothing_else():
    seen = set()
    for index in range(40):
        honest, photos = set_for(73, index, 3), set_for(73, index, 3, moved_share=1.0)
        assert photos.moved is not None
        seen.add(photos.moved)
        for k, (a, b) in enumerate(zip(honest.scenes, photos.scenes, strict=True)):
            if k != photos.moved:
                assert a == b
                continue
            level = {"true_value": 0.0, "drops": ()}
            assert thing(a, **level) == thing(b, **level)
            assert a.camera == b.camera
            values = [m.value for m in b.scale.marks]
            assert min(values) <= b.true_value <= max(values)
            between = abs(b.true_value - a.true_value) / max(
                float(b.scale.division_at(v)) for v in (a.true_value, b.true_value))
            assert MOVED_DIVISIONS[0] <= between <= MOVED_DIVISIONS[1]
            assert all(d.height_mm > b.level_mm for d in b.drops)
            assert can_be_read(b, photos.tier)
    assert seen == {0, 1, 2}


@pytest.mark.slow
def test_a_photo_does_not_depend_on_the_others_that_are_asked_for():
    for index in range(6):
        two, four = set_for(74, index, 2), set_for(74, index, 4)
        assert two.scenes == four.scenes[:2]
    share = np.mean([set_for(74, i, 2, moved_share=0.25).moved is not None for i in range(120)])
    # 0.25 +- 0.12 is three standard deviations of a proportion of 120
    assert 0.13 < share < 0.37


def test_the_tier_of_a_photo_is_that_of_its_own_view():
    photos = set_for(75, 0, 2, "easy")
    scene = replace(photos.scenes[0], notes="", contact_angle_deg=75.0)
    assert own_tier(scene) == "easy"
    camera = scene.camera
    # the rules of the tiers, line by line
    for change, tier in [
            ({"elevation_deg": 5.2}, "typical"), ({"elevation_deg": -13.9}, "typical"),
            ({"elevation_deg": 14.2}, "hard"), ({"azimuth_deg": 26.0}, "hard"),
            ({"roll_deg": -6.5}, "hard"), ({"distance_mm": 9 * camera.distance_mm}, "hard")]:
        assert own_tier(replace(scene, camera=replace(camera, **change))) == tier, change
    assert own_tier(replace(scene, contact_angle_deg=50.0)) == "typical"
    assert own_tier(replace(scene, contact_angle_deg=40.0)) == "hard"
    assert own_tier(replace(scene, notes="glare")) == "hard"
    assert own_tier(replace(scene, capture=replace(scene.capture, low_light=True))) == "hard"
    assert own_tier(replace(scene, capture=replace(scene.capture, blur_px=2.0))) == "hard"


@pytest.mark.slow
def test_a_folder_of_sets_is_labelled_repeatable_and_resumed(tmp_path, capsys):
    def write(name: str, moved: str) -> list[dict]:
        assert main(["scenes", "--out", str(tmp_path / name), "--count", "2", "--seed", "76",
                     "--views", "3", "--moved-share", moved, "--size", "150x200",
                     "--tier", "typical"]) == 0
        labels = tmp_path / name / "labels.jsonl"
        assert str(labels) in capsys.readouterr().out
        return [json.loads(line) for line in labels.read_text().splitlines()]

    honest, moved = write("honest", "0"), write("moved", "1")
    assert [r["file"] for r in honest] == [
        f"set_{i:05d}_{v}.jpg" for i in range(2) for v in "abc"]
    assert [(r["set"], r["view"]) for r in honest] == [(i, v) for i in range(2) for v in "abc"]
    assert {r["moved"] for r in honest} == {False}
    assert {r["moved"] for r in moved} == {True}
    for i in range(2):
        a, b = honest[3 * i:3 * i + 3], moved[3 * i:3 * i + 3]
        assert len({r["true_value"] for r in a}) == 1
        assert {r["set_tier"] for r in a} == {max((r["tier"] for r in a), key=SET_TIERS.index)}
        odd, = {r["moved_view"] for r in b}
        assert [r["view"] for r in a if r["true_value"] != b["abc".index(r["view"])]["true_value"]
                ] == [odd]
        for x, y in zip(a, b, strict=True):
            same = (tmp_path / "honest" / x["file"]).read_bytes() == (
                tmp_path / "moved" / y["file"]).read_bytes()
            assert same == (x["view"] != odd)
    before = (tmp_path / "honest" / honest[4]["file"]).read_bytes()
    (tmp_path / "honest" / honest[4]["file"]).unlink()
    assert write("honest", "0") == honest
    assert (tmp_path / "honest" / honest[4]["file"]).read_bytes() == before
    with pytest.raises(InputError, match="other settings"):  # single photos are another set
        write_scenes(tmp_path / "honest", 2, 76, tier="typical", size=SIZE)


@pytest.mark.parametrize(("change", "word"), [
    ({"views": 0}, "2 to 9"), ({"views": 12}, "2 to 9"), ({"moved_share": 1.5}, "share"),
    ({"moved_share": float("nan")}, "share"), ({"tier": "unreadable"}, "can all be read")])
def test_a_set_that_makes_no_sense_is_refused(tmp_path, change, word):
    with pytest.raises(InputError, match=word):
        write_scenes(**{"out": tmp_path / "x", "count": 1, "seed": 1, "size": SIZE, "views": 2,
                        **change})


@pytest.mark.parametrize(("more", "word"), [
    (["--views", "2", "--lesson"], "class set"),
    (["--moved-share", "0.1"], "--views")])
def test_options_that_do_not_go_together_are_told(tmp_path, capsys, more, word):
    assert main(["scenes", "--out", str(tmp_path), "--count", "1", "--seed", "1", *more]) == 2
    assert word in capsys.readouterr().err


def test_a_scale_without_room_for_another_level_is_refused():
    scale = load_scale("quay-60")
    few = replace(scale, marks=scale.marks[:3])
    with pytest.raises(InputError, match="more marks"):
        for index in range(20):
            set_for(77, index, 2, "easy", few, moved_share=1.0)


# ------------------------------------------------------------------ rooms for the level
def test_a_room_is_seen_again_from_elsewhere_with_nothing_else_changed():
    rng = np.random.default_rng(80)
    turns = []
    for _ in range(12):
        world = random_world(rng, "cards")
        again = seen_again(world, rng)
        assert again.all_in_picture() and again.f35 == world.f35
        assert (again.view.width, again.view.focal_px) == (world.view.width, world.view.focal_px)
        for f in fields(world):
            if f.name != "view":
                assert getattr(again, f.name) is getattr(world, f.name), f.name
        assert again.offset_mm == world.offset_mm
        turns.append(np.degrees(np.arccos(again.view.axes[2] @ world.view.axes[2])))
    assert np.median(turns) > 5
    moved = landmark_moved(world, 30.0)
    assert moved.offset_mm == pytest.approx(world.offset_mm - 30.0)
    assert moved.zero is world.zero and moved.pole is world.pole and moved.view is world.view
    assert moved.landmark.corners() == pytest.approx(world.landmark.corners() + [0, 30.0, 0])


@pytest.mark.slow
def test_a_folder_of_rooms_in_several_views_is_labelled(tmp_path, capsys):
    assert main(["scenes", "--level", "--out", str(tmp_path), "--count", "1", "--seed", "81",
                 "--views", "2", "--moved-share", "1"]) == 0
    rows = [json.loads(line) for line in (tmp_path / "labels.jsonl").read_text().splitlines()]
    assert [(r["file"], r["set"], r["view"], r["moved"]) for r in rows] == [
        ("set_00000_a.jpg", 0, "a", True), ("set_00000_b.jpg", 0, "b", True)]
    assert len({r["moved_view"] for r in rows}) == 1
    assert 20 <= abs(rows[0]["true_offset_mm"] - rows[1]["true_offset_mm"]) <= 60
    assert rows[0]["pole_lean_deg"] == rows[1]["pole_lean_deg"]
    assert rows[0]["gravity_camera"] != rows[1]["gravity_camera"]
    first = (tmp_path / rows[0]["file"]).read_bytes()
    assert level_set(81, 0, 3, 1.0)[0][0] == first or rows[0]["moved_view"] == "a"
    with pytest.raises(InputError, match="2 to 9"):
        level_set(81, 0, 1)
