"""Straight printed scales in real, open-licensed photographs read by the same function.

The photographs lie beside the checkout and are not part of it; without them the
tests skip.  Rows of marks and readings were taken from the photos by eye.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from vision.imaging.photo import Photo, load_photo
from vision.pressure_panel.read import read_setting
from vision.scale_file.scale import parse_scale

pytestmark = pytest.mark.slow

REAL = Path(__file__).resolve().parents[3] / "shared" / "real"

THERMOMETER = parse_scale({
    "name": "room thermometer", "unit": "Cel", "capacity": 30, "height_mm": [[-2, -4], [30, 60]],
    "marks": [{"from": -2, "to": 30, "step": 1, "length": "short"},
              {"from": 0, "to": 30, "step": 10, "length": "long", "label": True}]})
BURETTE = parse_scale({
    "name": "lower half of a burette", "unit": "1", "capacity": 50, "direction": "down",
    "height_mm": [[26, 240], [50, 0]],
    "marks": [{"from": 26, "to": 50, "step": 0.1, "length": "short"},
              {"from": 26, "to": 50, "step": 0.5, "length": "long"},
              {"from": 26, "to": 50, "step": 1, "length": "long", "label": True}]})

def photo(name: str) -> Photo:
    path = REAL / name
    if not path.is_file():
        pytest.skip("the real photographs are not beside this checkout")
    return load_photo(path.read_bytes())

def test_room_thermometer():
    """Anonimski, CC BY-SA 3.0, Wikimedia Commons (File:Mercury_Thermometer.jpg): the column ends
    at row 844, read by eye as 23.2 +/- 0.2 degC; allowed 0.4 degC."""
    r = read_setting(photo("photos/mercury_thermometer.jpg"), THERMOMETER, (470.0, 844.0))
    assert r.status == "read"
    assert r.value == pytest.approx(23.2, abs=0.4)
    assert r.interval[0] <= 23.2 <= r.interval[1]

def test_a_round_tube_is_no_flat_scale():
    """Gemsgy, CC BY-SA 4.0, Wikimedia Commons (Burette with Clamp(3).jpg): a tube in strong
    perspective, a clamp over it, cut off at both ends.  As a flat scale it must not be read."""
    r = read_setting(photo("scale_only/burette_26_50_perspective.jpg"), BURETTE, (540.0, 3051.0))
    assert r.status == "refused" and r.value is None and r.reasons
