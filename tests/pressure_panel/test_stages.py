"""Each stage of the setting alone, the one table of refusals, one picture a stage."""

from __future__ import annotations

import numpy as np
import pytest
from panel_pictures import PanelShot, take
from PIL import Image

from app.cli import main
from vision.flags import FLAGS
from vision.imaging.photo import photo_from_array
from vision.pressure_panel.decide import NOT_READ, decide
from vision.pressure_panel.estimate import estimate_pointer
from vision.pressure_panel.evidence import PanelEvidence, gather
from vision.pressure_panel.explain import explain_setting
from vision.pressure_panel.locate import find_rows
from vision.pressure_panel.number import number_rows
from vision.pressure_panel.read import read_setting
from vision.scale_file.scale import load_scale

CM, MM = load_scale("gannet-cm"), load_scale("gannet-mm")
SMALL = {"size": (900, 1200), "noise": 2.0, "blur_px": 0.7}
STAGES = ["1-marks", "2-numbering", "3-pointer", "4-budget"]


@pytest.fixture(scope="module")
def shot():
    return take(PanelShot(CM, 7.7, MM, **SMALL))


def test_each_stage_can_be_called_alone(shot):
    photo, tip = shot
    rows = find_rows(photo, CM, tip)
    assert rows.strategy == "dark print" and rows.unit_shown
    numbering = number_rows(rows, None)
    assert numbering.accepted and numbering.verdict == "numerals"
    estimate = estimate_pointer(numbering.ladder, tip, 1.0)
    assert estimate.on_scale and estimate.value == pytest.approx(7.7, abs=0.1)
    whole = decide(PanelEvidence(photo, CM, tip, rows, numbering, estimate))
    assert whole.value == pytest.approx(read_setting(photo, CM, tip).value, abs=1e-9)


def test_the_reading_names_the_strategy_that_served():
    photo, tip = take(PanelShot(CM, 18.2, MM, ink=225, paper=40, **SMALL))
    r = read_setting(photo, CM, tip)
    assert r.strategy == "light print" and r.as_json()["strategy"] == "light print"


def test_the_stages_end_where_nothing_is_found():
    blank = photo_from_array(np.full((400, 300, 3), 150, np.uint8))
    found = gather(blank, CM, (150.0, 200.0))
    assert found.rows is None and found.numbering is None and found.estimate is None
    refused = decide(found)
    assert refused.flags[0] == "scale-not-found" and len(refused.reasons) == len(refused.flags)
    assert list(explain_setting(found)) == STAGES[:1]


def test_every_refusal_has_a_flag_that_is_defined():
    assert {r.flag for r in NOT_READ} <= set(FLAGS)


def test_a_number_that_fits_nowhere_is_asked_about_with_its_value(shot):
    photo, tip = shot
    r = read_setting(photo, CM, tip, number=(20.0, tip))
    assert r.question is not None and "the tapped mark 20." in r.question.sentence


@pytest.mark.slow
def test_the_command_writes_one_picture_a_stage(shot, tmp_path, capsys):
    photo, tip = shot
    Image.fromarray(photo.rgb).save(tmp_path / "panel.png")
    assert main(["setting", str(tmp_path / "panel.png"), "--scale", "gannet-cm", "--pointer",
                 f"{tip[0]},{tip[1]}", "--explain", str(tmp_path / "why")]) == 0
    assert sorted(p.stem for p in (tmp_path / "why").iterdir()) == STAGES
    capsys.readouterr()
