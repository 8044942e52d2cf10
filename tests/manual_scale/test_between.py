"""A vessel without marks: the value at a tapped point between its foot and its rim."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from PIL import Image

from app.cli import main
from vision.errors import InputError
from vision.imaging.photo import Photo, photo_from_array
from vision.manual_scale.between import read_between
from vision.scale_file.scale import Scale, parse_scale

F35 = 26.0
#: A cone of half angle 0.1 standing on its foot of radius 25 mm: volume by hand,
#: pi/3 h (R^2 + R r + r^2), in mL.
HEIGHTS = np.linspace(0, 140, 29)


def content(height_mm: float) -> float:
    low, top = 25.0, 25.0 + 0.1 * height_mm
    return math.pi / 3 * height_mm * (low**2 + low * top + top**2) / 1000


def cone(**changes: object) -> Scale:
    knots = [[content(h), float(h)] for h in HEIGHTS]
    return parse_scale({"name": "cone", "unit": "mL", "capacity": 450,
                        "inner_diameter_mm": [[content(h), 50.0 + 0.2 * float(h)] for h in HEIGHTS],
                        "height_mm": knots,
                        "marks": [{"from": 50, "to": 400, "step": 50, "length": "long"}],
                        **changes})


SCALE = cone()
FLAT = photo_from_array(np.full((1600, 1200, 3), 120, np.uint8), F35)


def seen(height_mm: float, tilt_deg: float = 0.0, distance_mm: float = 500.0) -> tuple:
    """Pinhole view of a point on the vessel's axis, the camera level with its middle."""
    f = F35 * math.hypot(1200, 1600) / 43.27
    up, t = height_mm - 70.0, math.radians(tilt_deg)
    y = -up * math.cos(t)
    z = distance_mm + up * math.sin(t)
    return 600.0, 800.0 + f * y / z


def read(height_mm: float, tilt_deg: float = 0.0, photo: Photo = FLAT, scale: Scale = SCALE,
         at: tuple[float, ...] = (0.0, 140.0)):
    return read_between(photo, scale, seen(height_mm, tilt_deg),
                        [(h, seen(h, tilt_deg)) for h in at])


@pytest.mark.parametrize("height", [30.0, 64.0, 101.5])
@pytest.mark.parametrize("at", [(0.0, 140.0), (0.0, 70.0, 140.0)])
def test_the_content_of_a_cone(height, at):
    r = read(height, at=at)
    assert r.value == pytest.approx(content(height), abs=0.2)
    assert r.interval[0] < content(height) < r.interval[1]


@pytest.mark.parametrize("tilt", [-5.0, 5.0])
@pytest.mark.parametrize("height", [40.0, 70.0, 100.0])
def test_perspective_of_a_view_that_is_not_level_stays_inside_the_interval(height, tilt):
    r = read(height, tilt)
    assert abs(r.value - content(height)) > 0.3  # it does bend the scale
    assert r.interval[0] < content(height) < r.interval[1]


def test_a_photo_that_does_not_say_its_focal_length_is_read_too():
    plain = photo_from_array(FLAT.rgb)
    assert read(60.0, photo=plain).value == pytest.approx(read(60.0).value)


def test_a_stated_tolerance_widens_the_interval():
    def width(r):
        return r.interval[1] - r.interval[0]

    assert width(read(60.0, scale=cone(tolerance=10.0))) > width(read(60.0)) + 5


@pytest.mark.parametrize("height", [0.0, 5.0, 135.0, 140.0])
def test_nothing_is_read_outside_the_scale(height):
    r = read(height)
    assert r.status == "refused" and r.value is None and "outside the scale" in r.reason


@pytest.mark.parametrize(("places", "says"), [
    ([], "two places"), ([(0, (600, 1200))], "two places"),
    ([(7, (600, 1200)), (7, (600, 200))], "different heights"),
    ([(0, (600, 600)), (140, (600, 590))], "too near"),
    ([(0, (600, 1200)), (140, (600, -3))], "outside the photo")])
def test_places_that_say_nothing_are_one_sentence(places, says):
    with pytest.raises(InputError, match=says):
        read_between(FLAT, SCALE, (600, 700), places)


def test_the_command(tmp_path, capsys):
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA405] = 26
    Image.fromarray(FLAT.rgb).save(tmp_path / "a.jpg", exif=exif)
    (tmp_path / "cone.json").write_text(json.dumps({
        "name": "cone", "unit": "mL", "capacity": 450,
        "inner_diameter_mm": [[content(h), 50.0 + 0.2 * float(h)] for h in HEIGHTS],
        "height_mm": [[content(h), float(h)] for h in HEIGHTS],
        "marks": [{"from": 50, "to": 400, "step": 50, "length": "long"}]}))

    def run(height: float, *more: str) -> int:
        x, y = seen(height)
        return main(["point", str(tmp_path / "a.jpg"), "--scale", str(tmp_path / "cone.json"),
                     "--at", f"{x},{y}", *more])

    places = [w for h in (0.0, 140.0) for w in ("--place", "{}@{},{}".format(h, *seen(h)))]
    assert run(80.0, *places) == 0
    assert f"cone: {content(80.0):.4g} mL" in capsys.readouterr().out
    assert run(2.0, *places, "--json") == 3
    assert json.loads(capsys.readouterr().out)["value"] is None
    for wrong in ([], [*places, "--number", "50@3,4"], ["--place", "3@x"]):
        assert run(80.0, *wrong) == 2
