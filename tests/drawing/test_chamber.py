"""The drawn chamber: to scale, and filled to the level whose lowest point is the reading.

ISO 4787:2021: a level is read at the lowest point of the meniscus.
"""

from __future__ import annotations

import math
import re
from decimal import Decimal
from xml.etree import ElementTree

import pytest

from vision.drawing.chamber import ChamberFace, chamber_drawing
from vision.scale_file.scale import load_scale

SVG = "{http://www.w3.org/2000/svg}"
SCALE = load_scale("quay-60")


def face(level: float | None = 36.5, **more: object) -> ChamberFace:
    given = dict(
        marks=[(m.height_mm, m.length == "long", m.text if m.label else "") for m in SCALE.marks],
        bore=[(0.0, 15.0), (84.883, 15.0)], wall_mm=1.5, level_words=("36.5 mL",), title="t",
        level_mm=None if level is None else float(SCALE.height_mm(level)))
    return ChamberFace(**(given | more))  # type: ignore[arg-type]


def heights(svg: str) -> dict[str, float]:
    """Printed number -> where its mark lies, from the words beside it."""
    root = ElementTree.fromstring(svg)
    return {e.text: float(e.get("y")) - 4.5 for e in root.iter(f"{SVG}text")
            if e.text and e.text.isdigit()}


def surface(svg: str) -> tuple[float, float, float, float]:
    """(x1, x0, wall y, control y) of the line of the surface."""
    x1, y1, _, control, x0, _ = map(float, re.search(
        r'd="M([\d.]+) ([\d.]+)Q([\d.]+) ([\d.]+) ([\d.]+) ([\d.]+)"', svg).groups())  # type: ignore[union-attr]
    return x1, x0, y1, control


@pytest.mark.parametrize("ml", [2.0, 20.0, 36.5, 59.0])
def test_the_lowest_point_of_the_surface_is_at_the_level(ml):
    svg = chamber_drawing(face(ml)).svg
    y = heights(svg)
    _, _, wall, control = surface(svg)
    lowest = (wall + control) / 2  # of a quadratic curve with both ends equally high
    assert lowest == pytest.approx(y["0"] + (y["60"] - y["0"]) * ml / 60, abs=0.2)
    assert wall < lowest, "it stands higher at the wall"


def test_a_millimetre_is_as_long_across_as_along():
    """The bore from its volume: 60 mL over 84.883 mm are 30.0 mm across (a cylinder)."""
    across_mm = 2 * math.sqrt(60_000 / 84.883 / math.pi)
    svg = chamber_drawing(face()).svg
    y, (x1, x0, _, _) = heights(svg), surface(svg)
    assert (x1 - x0) / (y["0"] - y["60"]) == pytest.approx(across_mm / 84.883, rel=0.005)


def test_what_is_not_known_is_not_filled_and_words_do_not_lie_on_each_other():
    empty = chamber_drawing(face(None))
    assert "fill-opacity" not in empty.svg
    full = chamber_drawing(face(48.0, level_words=("48 mL", "confirmed 07:02"), limits=[
        (float(SCALE.height_mm(50)), "empty at 50"), (float(SCALE.height_mm(49)), "an hour")]))
    root = ElementTree.fromstring(full.svg)
    said = sorted(float(e.get("y")) for e in root.iter(f"{SVG}text")
                  if e.text and not e.text.isdigit())
    assert len(said) == 4 and min(b - a for a, b in zip(said, said[1:], strict=False)) > 15


def test_the_page_draws_the_bed_to_what_was_confirmed(tmp_path):
    from datetime import datetime

    from app.demo_bed import open_demo
    from app.records.shift import bed_account
    from app.ui.chamber_view import chamber_of

    now = datetime.now().astimezone()
    drawn = chamber_of(bed_account(open_demo(tmp_path), "DEMO"), now, SCALE)
    assert drawn is not None and "36.5 mL" in drawn.svg and "empty at 50" in drawn.title
    y = heights(drawn.svg)
    _, _, wall, control = surface(drawn.svg)
    share = ((wall + control) / 2 - y["0"]) / (y["60"] - y["0"])
    assert 60 * share == pytest.approx(float(Decimal("36.5")), abs=0.1)


def test_a_date_stands_on_a_line_of_its_own_beside_the_chamber(tmp_path):
    """After midnight the last reading was yesterday's: date and hour are too wide for one line."""
    from datetime import datetime, timedelta

    from app.demo_bed import open_demo
    from app.records.shift import bed_account
    from app.ui.chamber_view import chamber_of

    now = datetime.now().astimezone()
    bed = bed_account(open_demo(tmp_path), "DEMO")
    today, later = (chamber_of(bed, at, SCALE) for at in (now, now + timedelta(days=1)))
    assert today is not None and later is not None
    assert re.search(r">confirmed \d\d:\d\d<", today.svg) or ">confirmed<" in today.svg
    assert ">confirmed<" in later.svg and re.search(r">\d{4}-\d\d-\d\d \d\d:\d\d<", later.svg)
