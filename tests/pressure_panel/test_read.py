"""The flat pressure scale: accuracy, both units side by side, and what has to be refused."""

from __future__ import annotations

import argparse
import io
import json
from dataclasses import replace

import numpy as np
import pytest
from panel_pictures import PanelShot, take
from PIL import Image

from app.commands import setting as command
from vision.errors import InputError
from vision.imaging.photo import Photo, load_photo
from vision.pressure_panel.read import read_setting
from vision.scale_file.scale import Scale, load_scale, parse_scale

CM, MM = load_scale("gannet-cm"), load_scale("gannet-mm")
SMALL = {"size": (900, 1200), "noise": 2.0, "blur_px": 0.7}
#: Error allowed with the tip's exact pixel: a tenth of a division.
TOLERANCE_DIVISIONS = 0.10


def cut(photo: Photo, top: float, bottom: float) -> tuple[Photo, float]:
    """The photo between two shares of its height, and how many px were cut off above."""
    y0, y1 = (round(v * photo.height) for v in (top, bottom))
    out = io.BytesIO()
    Image.fromarray(photo.rgb[y0:y1]).save(out, "PNG")
    return load_photo(out.getvalue()), y0


def test_the_two_shipped_scales_are_one_panel():
    """Hand sum: -7 mmHg is 95.2 mm, 22 mmHg 299.1 mm of water, on a panel of -100 to 300 mm."""
    for scale in (CM, MM):
        assert scale.flat
    assert MM.height_mm(10.0) == pytest.approx(CM.height_mm(13.5951), abs=0.01)


@pytest.mark.parametrize("scale, other, value, view", [
    (CM, MM, 12.7, {"yaw_deg": 18, "pitch_deg": -12, "roll_deg": 4}),
    (MM, CM, 8.4, {"yaw_deg": -24, "pitch_deg": 9, "roll_deg": -6}),
    (CM, None, -6.3, {"yaw_deg": 6, "pitch_deg": 16}),
    (MM, None, 21.2, {"yaw_deg": -10, "pitch_deg": -4, "roll_deg": 7}),
])
def test_pointer_is_read_to_a_tenth_of_a_division(scale, other, value, view):
    photo, tip = take(PanelShot(scale, value, other, **SMALL, **view))
    r = read_setting(photo, scale, tip)
    assert r.status == "read" and r.unit == scale.unit
    assert r.value == pytest.approx(value, abs=TOLERANCE_DIVISIONS * r.division)
    assert r.interval[0] < value < r.interval[1]


@pytest.mark.slow
@pytest.mark.parametrize("shown, chosen", [(MM, CM), (CM, MM)])
def test_the_other_unit_is_never_read_as_this_one(shown, chosen):
    """A row in the other unit carries the same numbers and would be 1.36 times off."""
    for seed, distance in ((0, 700.0), (1, 560.0)):
        photo, tip = take(PanelShot(shown, 5.2, None, distance_mm=distance, seed=seed,
                                    pitch_deg=8, **SMALL))
        r = read_setting(photo, chosen, tip)
        assert r.status == "refused" and r.value is None
        assert {"wrong-scale", "scale-cut-off"} & set(r.flags)


@pytest.mark.slow
def test_a_row_in_the_other_unit_beside_it_tells_the_unit_even_when_cut_off():
    photo, tip = take(PanelShot(CM, 4.4, MM, **SMALL))
    part, above = cut(photo, 0.30, 1.0)
    r = read_setting(part, CM, (tip[0], tip[1] - above))
    assert r.status == "read" and r.value == pytest.approx(4.4, abs=0.1)


@pytest.mark.slow
def test_a_single_row_that_runs_out_of_the_picture_is_refused():
    photo, tip = take(PanelShot(CM, 4.4, None, **SMALL))
    part, above = cut(photo, 0.30, 1.0)
    r = read_setting(part, CM, (tip[0], tip[1] - above))
    assert r.status == "refused" and "scale-cut-off" in r.flags


@pytest.mark.slow
def test_without_numerals_the_whole_row_still_counts_and_part_of_it_does_not():
    photo, tip = take(PanelShot(CM, 7.7, None, numerals=False, **SMALL))
    r = read_setting(photo, CM, tip)
    assert r.status == "read" and "numerals-unread" in r.flags
    assert r.value == pytest.approx(7.7, abs=0.1)
    part, above = cut(photo, 0.30, 1.0)
    assert read_setting(part, CM, (tip[0], tip[1] - above)).status == "refused"


def test_numbers_that_do_not_fit_the_scale_are_refused_with_a_question():
    doubled = parse_scale({
        "name": "doubled", "unit": "cm[H2O]", "capacity": 60, "height_mm": [[-20, -100], [60, 300]],
        "marks": [{"from": -20, "to": 60, "step": 2, "length": "short"},
                  {"from": -20, "to": 60, "step": 10, "length": "long", "label": True}]})
    photo, tip = take(PanelShot(CM, 7.7, None, **SMALL))
    r = read_setting(photo, doubled, tip)
    assert r.status == "refused" and "numerals-disagree" in r.flags
    assert r.question is not None and r.question.kind == "number"


def test_light_print_on_a_dark_panel():
    photo, tip = take(PanelShot(CM, 18.2, MM, ink=225, paper=40, **SMALL))
    assert read_setting(photo, CM, tip).value == pytest.approx(18.2, abs=0.1)


def test_a_tapped_number_that_no_numbering_has_is_not_obeyed():
    photo, tip = take(PanelShot(CM, 7.7, None, **SMALL))
    r = read_setting(photo, CM, tip, number=(20.0, tip))
    assert r.status == "refused" and "wrong-scale" in r.flags
    given = read_setting(photo, CM, tip, number=(8.0, tip))
    assert given.status == "read" and "number-given" in given.flags


@pytest.mark.parametrize("picture", ["plain", "noise", "lines"])
def test_pictures_without_a_scale_are_refused(picture):
    rng = np.random.default_rng(3)
    grey = np.full((600, 500), 160.0)
    if picture == "noise":
        grey += rng.normal(0, 40, grey.shape)
    if picture == "lines":
        grey[100:500:37, 50:450] = 40
    out = io.BytesIO()
    Image.fromarray(np.clip(grey, 0, 255).astype(np.uint8)).convert("RGB").save(out, "PNG")
    r = read_setting(load_photo(out.getvalue()), CM, (250.0, 300.0))
    assert r.status == "refused" and r.value is None and r.reasons


def test_a_tap_beside_nothing_is_refused():
    photo, tip = take(PanelShot(CM, 7.7, None, **SMALL))
    r = read_setting(photo, CM, (tip[0], photo.height - 2.0))
    assert r.status == "refused" and "pointer-off-scale" in r.flags


def test_a_shaky_tap_widens_the_interval():
    photo, tip = take(PanelShot(CM, 7.7, None, **SMALL))
    sharp, shaky = (read_setting(photo, CM, tip, pointer_sd_px=sd) for sd in (0.5, 8.0))
    assert shaky.interval[1] - shaky.interval[0] > 3 * (sharp.interval[1] - sharp.interval[0])


def test_coverage_of_the_interval_over_shaky_taps():
    """Taps drawn with the stated spread; 95 % nominal, exact binomial 1 % bounds for n = 200."""
    photo, tip = take(PanelShot(CM, 7.7, None, yaw_deg=12, **SMALL))
    rng = np.random.default_rng(8)
    ladder = read_setting(photo, CM, tip)
    up = next(t for t in ladder.annotations if t.text == "10").points_px.mean(axis=0)[1]
    low = next(t for t in ladder.annotations if t.text == "5").points_px.mean(axis=0)[1]
    px_per_unit = (low - up) / 5
    r = read_setting(photo, CM, tip, pointer_sd_px=6.0)
    half = (r.interval[1] - r.interval[0]) / 2
    moved = rng.normal(0, 6.0, 200) / px_per_unit + r.value - 7.7
    inside = float(np.mean(np.abs(moved) <= half))
    assert 0.90 <= inside <= 0.99


@pytest.mark.parametrize("call, words", [
    (lambda photo, tip: read_setting(photo, load_scale("quay-60"), tip), "flat pressure scale"),
    (lambda photo, tip: read_setting(photo, CM, (-5.0, 10.0)), "outside the photo"),
    (lambda photo, tip: read_setting(photo, CM, tip, number=(0.5, tip)), "no mark 0.5"),
])
def test_impossible_input_gets_one_sentence(call, words):
    photo, tip = take(replace(PanelShot(CM, 7.7, None), size=(450, 600)))
    with pytest.raises(InputError, match=words):
        call(photo, tip)


# ------------------------------------------------------------------ the command


def run(capsys, *words: str) -> tuple[int, str]:
    parser = argparse.ArgumentParser(prog="countersight")
    command.add_parser(parser.add_subparsers(required=True))
    args = parser.parse_args(["setting", *words])
    return args.run(args), capsys.readouterr().out


def saved(tmp_path, scale: Scale, value: float) -> tuple[str, str]:
    photo, tip = take(PanelShot(scale, value, MM if scale is CM else CM, **SMALL))
    path = tmp_path / "panel.png"
    Image.fromarray(photo.rgb).save(path)
    return str(path), f"{tip[0]:.2f},{tip[1]:.2f}"


@pytest.mark.slow
def test_command_prints_one_object_and_a_sentence_in_both_units(tmp_path, capsys):
    path, pointer = saved(tmp_path, CM, 11.3)
    picture = tmp_path / "seen.png"
    code, out = run(capsys, path, "--scale", "gannet-cm", "--pointer", pointer, "--json",
                    "--overlay", str(picture))
    found = json.loads(out)
    assert code == 0 and found["kind"] == "setting" and found["unit"] == "cm[H2O]"
    assert found["value"] == pytest.approx(11.3, abs=0.1)
    assert found["interval"][0] < 11.3 < found["interval"][1]
    assert {"coverage", "division", "flags", "reasons", "budget", "pointer_px"} <= set(found)
    assert Image.open(picture).size[0] > 50
    code, out = run(capsys, path, "--scale", "gannet-cm", "--pointer", pointer)
    assert code == 0 and "11.3 cmH2O (8.3 mmHg)" in out and "not a record" in out


@pytest.mark.slow
def test_command_says_no_with_exit_code_3(tmp_path, capsys):
    path, _ = saved(tmp_path, CM, 11.3)
    code, out = run(capsys, path, "--scale", "gannet-cm", "--pointer", "5,5", "--json")
    assert code == 3 and json.loads(out)["value"] is None
