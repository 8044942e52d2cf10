"""Quick pictures for a slider that is dragged: they show what the page will show."""

from __future__ import annotations

import io
from urllib.parse import unquote

import pytest
from PIL import Image
from starlette.applications import Starlette
from starlette.testclient import TestClient

from app.entry.lesson_frames import ROUTES
from app.ui.lesson.follow import NUMBERS_HEADER

EYE = {"bore": 30, "level_mm": 46.7, "height": 10, "distance": 35, "contact": 65, "lean": 0,
       "fluid": "pink", "hidden": 0}
BED = {"setting": 10, "unit": "cm[H2O]", "pole": 5, "angle": 30, "slid": 0, "bed": 0, "hidden": 0}


@pytest.fixture(scope="module")
def client():
    return TestClient(Starlette(routes=list(ROUTES)))


def numbers(answer):
    return [unquote(n) for n in answer.headers[NUMBERS_HEADER].split("|") if n]


@pytest.mark.slow
def test_the_picture_from_an_eye_comes_with_what_the_eye_reads(client):
    answer = client.get("/lesson/eye.jpg", params=EYE)
    assert Image.open(io.BytesIO(answer.content)).size == (220, 294)
    read, true, error = numbers(answer)
    # R tan a + t tan a' of a 30 mm bore at 16 degrees: 4.6 mm, 3.3 mL (pi 15^2 / 1000 mL a mm).
    assert true == "33.0" and 35.5 < float(read) < 37 and error.startswith("+")
    assert client.get("/lesson/eye.jpg", params={**EYE, "height": -10}).content != answer.content


def test_the_bedside_comes_with_where_it_opens(client):
    answer = client.get("/lesson/bed.svg", params=BED)
    assert answer.headers["content-type"] == "image/svg+xml"
    assert numbers(answer) == ["15.0", "+5.0"] and "5.0 cm too high" in answer.text
    hidden = client.get("/lesson/bed.svg", params={**BED, "hidden": 1})
    assert numbers(hidden) == [] and "5.0 cm too high" not in hidden.text


@pytest.mark.parametrize(("path", "given", "change"), [
    ("eye.jpg", EYE, {"bore": "wide"}), ("eye.jpg", EYE, {"height": "nan"}),
    ("eye.jpg", EYE, {"bore": 900}), ("eye.jpg", EYE, {"fluid": "tea"}),
    ("eye.jpg", EYE, {"distance": 1e9}), ("eye.jpg", EYE, {"level_mm": 1e9}),
    ("bed.svg", BED, {"angle": 1e9}), ("bed.svg", BED, {"setting": "inf"}),
    ("bed.svg", BED, {"unit": "bar"})])
def test_what_makes_no_picture_is_refused_with_a_sentence(client, path, given, change):
    answer = client.get(f"/lesson/{path}", params={**given, **change})
    assert answer.status_code == 400 and len(answer.text) > 20
