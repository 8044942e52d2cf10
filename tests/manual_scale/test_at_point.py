"""A tapped point against numbered marks: drawn ladders with hidden stretches."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from drawn_ladders import draw_ladder, even_scale, paper, projective
from PIL import Image

from app.cli import main
from vision.errors import InputError
from vision.imaging.photo import Photo, photo_from_array
from vision.manual_scale.at_point import read_point
from vision.scale_file.scale import Scale, parse_scale

SCALE = even_scale(41)
LAST = SCALE.marks[-1].height_mm
X = 162.0


def place(value: float, bend: float = 0.004, scale: Scale = SCALE) -> float:
    return float(projective(np.array([scale.height_mm(value)]), 40.0, 760.0, LAST, bend)[0])


def drawn(hidden: tuple[int, ...] = (), bend: float = 0.004, scale: Scale = SCALE) -> Photo:
    picture = paper(800, 320)
    draw_ladder(picture, scale, lambda z: projective(z, 40.0, 760.0, LAST, bend), hidden=hidden)
    picture += np.random.default_rng(9).normal(0, 2, picture.shape).astype(np.float32)
    return photo_from_array(np.clip(picture, 0, 255).astype(np.uint8))


def typed(*values: float, shift: float = 0.0, scale: Scale = SCALE):
    return [(float(v), (X, place(v + shift, scale=scale))) for v in values]


@pytest.mark.parametrize("numbers", [(0, 40), (5, 20, 35), (10, 30)])
@pytest.mark.parametrize("value", [12.0, 17.43, 25.8])
def test_value(numbers, value):
    r = read_point(drawn(), SCALE, (X, place(value)), typed(*numbers), behind_mm=0.0)
    assert r.status == "read"
    assert r.value == pytest.approx(value, abs=0.03)
    assert r.interval[0] < value < r.interval[1]
    assert r.share_found > 0.95


def test_a_hidden_stretch_is_bridged():
    # ten of forty marks behind a clamp, strong perspective: a straight line between the
    # typed marks would be off by more than a division there
    r = read_point(drawn(tuple(range(14, 24))), SCALE, (X, place(19.0)), typed(0, 40),
                   behind_mm=0.0)
    assert r.value == pytest.approx(19.0, abs=0.05)
    straight = np.interp(place(19.0), [place(40.0), place(0.0)], [40.0, 0.0])
    assert abs(straight - 19.0) > 1.0


def test_marks_are_found_where_they_are_drawn():
    r = read_point(drawn((7, 8, 30)), SCALE, (X, place(20.5)), typed(0, 40))
    assert not {7.0, 8.0, 30.0} & set(r.found)
    assert len(r.found) >= 37
    want = np.array([place(v) for v in r.found])
    assert np.abs(r.found_px[:, 1] - want).max() < 0.5


def test_a_scale_that_counts_downwards():
    down = parse_scale({"name": "down", "unit": "mL", "direction": "down", "capacity": 40,
                        "inner_diameter_mm": 30.0, "height_mm": [[0, LAST], [40, 0.0]],
                        "marks": [{"from": 0, "to": 40, "step": 1, "length": "short"},
                                  {"from": 0, "to": 40, "step": 5, "length": "long"}]})
    r = read_point(drawn(scale=down), down, (X, place(17.3, scale=down)),
                   typed(5, 35, scale=down), behind_mm=0.0)
    assert r.value == pytest.approx(17.3, abs=0.03)


def test_nothing_is_read_outside_the_typed_numbers():
    r = read_point(drawn(), SCALE, (X, place(33.0)), typed(10, 30))
    assert r.status == "refused" and r.value is None and "outside the typed numbers" in r.reason
    assert max(r.found) <= 30 and min(r.found) >= 10


def test_numbers_that_do_not_fit_the_marks_are_refused():
    numbers = [*typed(10, 30), (25.0, (X, place(20.0)))]
    r = read_point(drawn(), SCALE, (X, place(15.0)), numbers)
    assert r.status == "refused" and "No row of marks" in r.reason


@pytest.mark.parametrize("picture", [np.full((800, 320), 200, np.uint8),
                                     np.random.default_rng(1).integers(0, 255, (800, 320))])
def test_no_row_no_value(picture):
    photo = photo_from_array(picture.astype(np.uint8))
    r = read_point(photo, SCALE, (X, 400.0), typed(0, 40))
    assert r.status == "refused" and r.found == () and r.reason


def test_what_lies_behind_the_marks_is_less_certain():
    on_print, behind = (read_point(drawn(), SCALE, (X, place(20.0)), typed(0, 40), behind_mm=mm)
                        for mm in (0.0, 15.0))
    assert np.diff(behind.interval)[0] > np.diff(on_print.interval)[0]
    # 15 mm behind, 5 degrees either way: 15 tan(5) / sqrt(3) mm at 1.5 mm a division
    term = next(t for t in behind.budget if t.term == "sight line not level")
    assert term.standard_uncertainty == pytest.approx(15 * np.tan(np.radians(5)) / 3**0.5 / 1.5)


class TestBadInput:
    def test_one_number_is_not_enough(self):
        with pytest.raises(InputError, match="two different marks"):
            read_point(drawn(), SCALE, (X, 300.0), [*typed(10), *typed(10)])

    def test_a_number_that_is_not_printed(self):
        with pytest.raises(InputError, match="no mark 10.5"):
            read_point(drawn(), SCALE, (X, 300.0), typed(10.5, 20))

    def test_a_point_outside(self):
        with pytest.raises(InputError, match="outside the photo"):
            read_point(drawn(), SCALE, (X, 900.0), typed(10, 20))


class TestCommand:
    @staticmethod
    def files(tmp_path: Path) -> tuple[str, str]:
        Image.fromarray(drawn().rgb).save(tmp_path / "row.png")
        (tmp_path / "drawn.json").write_text(json.dumps({
            "name": "drawn", "unit": "mL", "inner_diameter_mm": 30.0, "wall_mm": 1.5,
            "capacity": 40, "height_mm": [[0, 0.0], [40, LAST]],
            "marks": [{"from": 0, "to": 40, "step": 1, "length": "short"},
                      {"from": 0, "to": 40, "step": 5, "length": "long"}]}), encoding="utf-8")
        return str(tmp_path / "row.png"), str(tmp_path / "drawn.json")

    def test_value_and_contract(self, tmp_path, capsys):
        row, scale = self.files(tmp_path)
        told = [f"--number={v}@{X},{place(v)}" for v in (10, 30)]
        asked = ["point", row, "--scale", scale, "--at", f"{X},{place(17.4)}", *told]
        assert main([*asked, "--json"]) == 0
        found = json.loads(capsys.readouterr().out)
        assert found["kind"] == "point" and found["status"] == "read" and found["unit"] == "mL"
        assert found["value"] == pytest.approx(17.4, abs=0.03)
        assert found["interval"][0] < 17.4 < found["interval"][1]
        assert main(asked) == 0
        assert "never a record" in capsys.readouterr().out

    def test_outside_is_no_value(self, tmp_path, capsys):
        row, scale = self.files(tmp_path)
        told = [f"--number={v}@{X},{place(v)}" for v in (10, 30)]
        assert main(["point", row, "--scale", scale, "--at", f"{X},{place(35)}", *told]) == 3
        assert "outside the typed numbers" in capsys.readouterr().out

    @pytest.mark.parametrize(("options", "word"), [
        (["--at", "5,5", "--number", "10@5,5"], "two different marks"),
        (["--at", "5", "--number", "10@5,5"], "--at"),
        (["--at", "5,5", "--number", "10"], "--number"),
        (["--at", "5,5", "--number", "10@5,5", "--number", "20@5,9", "--behind-mm", "-1"],
         "--behind-mm"),
    ])
    def test_bad_input_is_one_sentence(self, options, word, tmp_path, capsys):
        row, scale = self.files(tmp_path)
        assert main(["point", row, "--scale", scale, *options]) == 2
        said = capsys.readouterr()
        assert word in said.err and said.out == "" and said.err.count("\n") == 1
