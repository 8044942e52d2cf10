"""The bedside drawing: the room stands still, the patient lies in the bed, nothing crosses it."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from skimage.measure import points_in_poly

from vision.drawing.bedside import (
    _FRONT,
    Bedside,
    _dense,
    _Frame,
    _patient,
    bedside_drawing,
    hanging_words,
)

SVG = "{http://www.w3.org/2000/svg}"


def bedside(**more):
    return Bedside(**{"offset_cm": 0.0, "head": "as levelled", "title": "all of it",
                      "setting_cm": 10.0, **more})


STATES = [dict(head_angle_deg=float(a), slid_cm=float(s), bed_cm=float(b))
          for a in (0, 10, 30, 45, 60, 75) for s in (-5, 0, 12, 25) for b in (-20, 20)]


@given(angle=st.floats(0, 75), slid=st.floats(-5, 25), bed=st.floats(-20, 20),
       along=st.floats(55, 90), above=st.floats(0, 25))
def test_the_landmark_is_where_plane_geometry_puts_it(angle, slid, bed, along, above):
    x, y = bedside(head_angle_deg=angle, slid_cm=slid, bed_cm=bed, along_cm=along,
                   above_cm=above).landmark_at
    a, length = math.radians(angle), along - slid
    assert y == pytest.approx(length * math.sin(a) + above * math.cos(a) + bed)
    assert x == pytest.approx(length * math.cos(a) - above * math.sin(a))


def heights(drawn, word):
    """Where a word stands in the drawing."""
    return float(re.search(rf'y="([\d.]+)"[^>]*>{word}<', drawn.svg).group(1))


def test_a_raised_head_raises_the_landmark_and_leaves_the_system():
    # 60 sin 45 + 10 cos 45 - 60 sin 30 - 10 cos 30 = 10.837 cm, worked by hand.
    reach = (-45.0, 115.0)
    before = bedside_drawing(bedside(reach_cm=reach))
    after = bedside_drawing(bedside(offset_cm=-10.837, head_angle_deg=45.0, reach_cm=reach))
    assert before.height == after.height and before.width == after.width

    def dots(drawn):
        return [float(c.get("cy")) for c in ET.fromstring(drawn.svg).iter(f"{SVG}circle")
                if c.get("r") == "4" and c.get("fill") == "currentColor"]

    (mark, zero), (mark_after, zero_after) = dots(before), dots(after)
    assert mark == pytest.approx(zero, abs=0.1) and zero_after == pytest.approx(zero, abs=0.1)
    assert mark - mark_after == pytest.approx(10.837 * 2.6, abs=0.1), "2.6 units in a cm"


@pytest.mark.parametrize("state", STATES)
def test_the_body_follows_the_mattress_and_never_folds(state):
    view = bedside(**state)
    front = np.array([view.on_patient(u, off) for u, off in _dense(_FRONT)])
    inside = points_in_poly(front, np.array(view.mattress))
    assert not inside.any(), "the patient lies on the mattress"
    # From the neck down every step goes on: no step turns back on the one before.
    step = np.diff(front[front[:, 0] > -44], axis=0)
    assert (np.einsum("ij,ij->i", step[1:], step[:-1]) > 0).all()
    if state["head_angle_deg"] == 0:
        assert (step[:, 0] < 0).all() and np.ptp(front[:, 1]) < 14, "flat, however far slid down"


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("offset", [-25.0, 0.0, 25.0])
def test_the_tubing_goes_round_the_mattress(state, offset):
    view = bedside(offset_cm=offset, **state)
    points = np.array(view.tubing)
    fine = np.concatenate([np.linspace(a, b, 20) for a, b in zip(points, points[1:],
                                                                 strict=False)])
    assert not points_in_poly(fine, np.array(view.mattress)).any()
    assert fine[-1] == pytest.approx([view.pole_cm - 4.0, view.zero_cm]), "to the zero reference"
    drawn = bedside_drawing(view)
    frame = _Frame(view)
    assert frame.y(points[:, 1].max()) >= 34 and frame.y(points[:, 1].min()) <= frame.floor
    assert frame.x(points[:, 0].min()) >= 0 and frame.x(points[:, 0].max()) <= drawn.width


@pytest.mark.parametrize("offset", [-40.0, -4.3, -0.2, 0.0, 0.2, 4.3, 70.0])
@pytest.mark.parametrize("setting", [None, -5.0, 0.0, 25.0])
def test_words_do_not_meet_and_stay_inside(offset, setting):
    drawn = bedside_drawing(bedside(offset_cm=offset, setting_cm=setting))
    named = ["landmark", "zero reference", *(["chamber"] if setting is not None else [])]
    at = sorted(heights(drawn, w) for w in named)
    assert min(np.diff(at)) >= 16 and at[0] > 34 and at[-1] < drawn.height - 56


def test_the_drawing_says_its_state_and_has_a_face_an_ear_and_a_marked_landmark():
    drawn = bedside_drawing(bedside(captions=("opens at 10",), what_if=True))
    assert "as levelled" in drawn.svg and "opens at 10" in drawn.svg and "all of it" in drawn.svg
    assert drawn.svg.count("<svg") == 1 and "href" not in drawn.svg
    view = bedside()
    assert len(_patient(_Frame(view), view)) >= 9
    assert hanging_words(0.01) == "hangs level with the landmark"
    assert hanging_words(-3.4) == "hangs 3.4 cm too low"
