"""The rooms that the level is tried on: exact, repeatable, labelled as the contract asks."""

from __future__ import annotations

import json

import numpy as np
import pytest
from level_rooms import scene

from app.cli import main
from vision.errors import InputError
from vision.fiducials.cards import find_cards, zero_card
from vision.fiducials.pose import camera_matrix, card_poses
from vision.level.result import LevelReading
from vision.synthetic.bedside import check, level_scene, write_level_scenes
from vision.synthetic.bedside.world import EXPECT, KINDS, random_world
from vision.vertical.fusion import tangent


def test_kinds_and_what_is_expected_of_them_match():
    assert set(KINDS) == set(EXPECT)
    assert sum(KINDS.values()) == pytest.approx(1.0)


@pytest.mark.parametrize("kind", ["cards", "tap", "bare"])
def test_the_landmark_is_where_the_pointer_is(kind):
    for index in range(5):
        world = random_world(np.random.default_rng([9, index]), kind)
        if world.landmark is not None:
            tip = world.landmark.at(-35.0, 0.0)
            assert np.abs(tip - world.landmark_point).max() < 1e-9
        assert world.offset_mm == pytest.approx(world.zero.centre[1] - world.landmark_point[1])


def test_rotations_of_a_world_are_rotations():
    world = random_world(np.random.default_rng(4), "cards")
    for r in (world.view.axes, world.zero.rotation, world.landmark.rotation):
        assert np.abs(r @ r.T - np.eye(3)).max() < 1e-12
        assert np.linalg.det(r) == pytest.approx(1.0)


@pytest.mark.slow
def test_the_painted_card_stands_where_the_world_says():
    # Seen by OpenCV's detector and pose solver, not by the painter's own formulas.
    photo, label = scene(301, 0, "cards")
    seen = find_cards(photo.rgb, (0,))[0][0]
    camera = camera_matrix(label["focal_px"], photo.width, photo.height)
    pose = card_poses(seen, zero_card(), camera)[0]
    down = np.array(label["gravity_camera"])
    assert down @ pose.centre_mm == pytest.approx(label["camera_above_zero_mm"], abs=3.0)
    roll = np.degrees(np.arcsin(pose.rotation[:, 0] @ -down))
    assert roll == pytest.approx(label["panel_roll_deg"], abs=0.25)


@pytest.mark.slow
def test_writing_is_repeatable_and_labelled(tmp_path):
    assert main(["scenes", "--level", "--out", str(tmp_path), "--count", "1", "--seed", "12"]) == 0
    labels = tmp_path / "labels.jsonl"
    (label,) = map(json.loads, labels.read_text().splitlines())
    assert {"file", "true_offset_mm", "expect", "zero_card_mm", "landmark_card_mm", "mode",
            "landmark_px"} <= set(label)
    assert label["mode"] in ("cards", "tap")
    assert (tmp_path / label["file"]).read_bytes() == level_scene(12, 0)[0]


def test_a_chamber_changes_nothing_else_in_a_room():
    bare, hung = (random_world(np.random.default_rng([9, 2]), "cards", shown)
                  for shown in (False, True))
    assert bare.chamber is None and hung.chamber is not None
    assert bare.offset_mm == hung.offset_mm and bare.pole is not None
    assert np.array_equal(bare.pole[1], hung.pole[1])
    assert np.array_equal(bare.view.axes, hung.view.axes)


def test_about_three_rooms_of_five_show_a_chamber():
    shown = [random_world(np.random.default_rng([10, i]), "cards").chamber is not None
             for i in range(60)]
    assert 24 <= sum(shown) <= 48  # 36 +- 3.2 sigma of a binomial count


def test_a_chamber_hangs_as_its_label_says():
    world = random_world(np.random.default_rng([9, 2]), "cards", True)
    sideways, out = world.facts["chamber_hang_deg"]
    axis = world.chamber.axis
    assert np.degrees(np.arctan2(-axis[0], axis[1])) == pytest.approx(sideways, abs=0.01)
    assert np.degrees(np.arctan2(axis[2], axis[1])) == pytest.approx(out, abs=0.01)


def test_the_order_for_a_room_takes_no_scale(tmp_path):
    order = ["scenes", "--level", "--out", str(tmp_path), "--count", "1", "--seed", "1"]
    assert main([*order, "--scale", "quay-60"]) == 2


@pytest.mark.parametrize("count, seed", [(0, 1), (3, -1)])
def test_impossible_orders_are_refused(tmp_path, count, seed):
    with pytest.raises(InputError):
        write_level_scenes(tmp_path, count, seed)


@pytest.mark.slow
def test_the_phone_errs_in_another_way_in_each_set_of_rooms(monkeypatch):
    # By the number of the room alone every fresh set would be measured with the same errors.
    told = []

    def heard(photo, *cards, gravity):
        told.append(np.array(gravity.down))
        return LevelReading("refused", "cards")

    monkeypatch.setattr(check, "read_level", heard)
    off = []
    for seed in (1, 1, 2):
        data, label = level_scene(seed, 0, "cards")
        check.measured(data, label, 0.7)
        off.append(tangent(np.array(label["gravity_camera"])).T @ told[-1])
    assert np.array_equal(off[0], off[1])
    assert np.abs(off[0] - off[2]).max() > 1e-4
    assert 0 < np.linalg.norm(off[0]) < np.radians(4 * 0.7)
