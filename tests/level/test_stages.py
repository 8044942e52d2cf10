"""Each stage of the level alone, the one table of refusals, one picture a stage."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from level_rooms import scene

from app.cli import main
from vision.flags import FLAGS
from vision.imaging.photo import photo_from_array
from vision.level.cues import gather_cues
from vision.level.decide import NOT_MEASURED, decide
from vision.level.evidence import LevelEvidence, gather
from vision.level.explain import explain_level
from vision.level.fuse import fuse_cues
from vision.level.inputs import level_inputs
from vision.level.locate import locate_cards
from vision.level.offset import estimate_offset
from vision.level.read import read_level

pytestmark = pytest.mark.slow

STAGES = ["1-cards", "2-cues", "3-gravity", "4-offset"]


@pytest.fixture(scope="module")
def evidence() -> LevelEvidence:
    photo, _ = scene(301, 0, "cards")
    return gather(photo, level_inputs(photo))


def test_each_stage_can_be_called_alone():
    photo, label = scene(301, 0, "cards")
    inputs = level_inputs(photo)
    cards = locate_cards(photo, inputs)
    assert cards.complete and cards.strategy == "working picture"
    assert cards.zero().centre_px == pytest.approx(label["zero_px"], abs=0.3)
    cues = gather_cues(cards)
    assert cues.by_pose[0].cues
    fused = fuse_cues(cards, cues)
    down = fused.best.gravity.down
    off = np.degrees(np.arccos(min(1.0, float(down @ label["gravity_camera"]))))
    assert off < 3 * max(fused.best.gravity.sd_deg(np.eye(3)[k]) for k in (0, 2))
    offset = estimate_offset(cards, fused)
    low, high = offset.interval_mm
    assert low < offset.offset_mm < high
    whole = decide(LevelEvidence(photo, inputs, cards, cues, fused, offset))
    assert whole.as_json() == read_level(photo).as_json()


def test_the_stages_end_where_something_is_missing():
    blank = photo_from_array(np.full((300, 400, 3), 140, np.uint8), 26)
    found = gather(blank, level_inputs(blank))
    assert found.gathered is None and found.fused is None and found.offset is None
    assert list(explain_level(found)) == STAGES[:1]


def test_every_refusal_is_said_with_a_flag_that_is_defined_or_a_sentence_of_its_own():
    for refusal in NOT_MEASURED:
        assert refusal.flag in FLAGS or (refusal.flag == "" and refusal.sentence)


def test_the_first_line_of_the_table_that_holds_is_the_reason(evidence):
    """A zero card seen twice and a landmark card that is missing: the first is said."""
    zero = evidence.cards.zero()
    twice = replace(evidence.cards, found={0: [zero, zero]})
    refused = decide(LevelEvidence(evidence.photo, evidence.inputs, twice))
    assert refused.flags == () and refused.reasons[0].startswith("More than one zero card")
    lost = replace(evidence.cards, found={0: [zero]})
    assert decide(LevelEvidence(evidence.photo, evidence.inputs, lost)).flags == (
        "landmark-missing",)


def test_an_interval_that_helps_nobody_is_refused_with_what_to_do(evidence):
    wide = replace(evidence.offset, interval_mm=(-90.0, 90.0))
    refused = decide(replace(evidence, offset=wide))
    assert refused.status == "refused" and refused.offset_cm is None and not refused.budget
    assert "8 cm either way" in refused.reasons[0]
    assert refused.gravity_from and (refused.coach or abs(refused.scene.camera_above_zero_mm) < 30)


def test_one_picture_a_stage(evidence):
    pictures = explain_level(evidence)
    assert list(pictures) == STAGES
    assert all(p.dtype == np.uint8 and p.ndim == 3 for p in pictures.values())
    other, _ = scene(301, 1, "cards")
    rest = explain_level(gather(other, level_inputs(other)))
    assert (rest["4-offset"].shape != pictures["4-offset"].shape
            or (rest["4-offset"] != pictures["4-offset"]).any())


def test_the_command_writes_them(tmp_path, capsys):
    from PIL import Image

    photo, label = scene(301, 0, "cards")
    Image.fromarray(photo.rgb).save(tmp_path / "room.png")
    assert main(["level", str(tmp_path / "room.png"), "--focal-35mm", str(label["f35"]),
                 "--explain", str(tmp_path / "why")]) == 0
    assert sorted(p.stem for p in (tmp_path / "why").iterdir()) == STAGES
    capsys.readouterr()
