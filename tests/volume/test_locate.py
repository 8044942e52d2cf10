"""The order in which rows are looked for, and that a row found is never given up for none."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from types import SimpleNamespace

import cv2
import numpy as np
import pytest

from vision.graduations.search import Effort
from vision.imaging.photo import Photo, photo_from_array
from vision.imaging.picture import LOOKS, Picture, full_picture, working_picture
from vision.parameters import (
    BETTER_ROW_NATS,
    CLEAR_RESIDUAL,
    COUNTED_RESIDUAL,
    FINE_PICTURE_PITCH_PX,
    LARGE_PITCH_PX,
    MISFIT_DOUBT_DEG,
)
from vision.scale_file.scale import Scale, load_scale
from vision.volume import locate as stage
from vision.volume.locate import STRATEGIES, Hints, locate

SCALE = load_scale("quay-60")


@dataclass(frozen=True)
class Row:
    """The parts of a fit that the order rests on."""

    log_likelihood: float
    pitch_px: float = 12.0
    is_clear: bool = False
    is_of_marks: bool = True
    in_sight: bool = True
    relative_residual: float = 0.01
    strategy: str = ""
    picture: Picture | None = None
    grey: np.ndarray | None = None
    scale: Scale = SCALE
    seen: np.ndarray = field(default_factory=lambda: np.zeros(10, dtype=bool))


def photo(working_scale: int = 2) -> Photo:
    return photo_from_array(np.zeros((64, 48, 3), np.uint8), working_scale=working_scale)


@pytest.fixture
def rows(monkeypatch):
    """What is found in (picture factor, look); the looks asked for, in order, and in
    ``found["efforts"]`` how thoroughly each."""
    found: dict[tuple[int, str], Row] = {}
    asked: list[tuple[int, str]] = []
    efforts: list[Effort] = []
    found["efforts"] = efforts  # type: ignore[index, assignment]

    def row_in(picture, look, scale, hints, effort):
        asked.append((picture.factor, look))
        efforts.append(effort)
        row = found.get((picture.factor, look))
        return None if row is None else replace(row, picture=picture)

    monkeypatch.setattr(stage, "row_in", row_in)
    monkeypatch.setattr(stage, "_nothing_finer", lambda _: False)
    for mend in ("recentred", "in_two_inks", "from_all_elevations"):
        monkeypatch.setattr(stage, mend, lambda row: row)
    return found, asked


def test_a_clear_row_ends_the_search(rows):
    found, asked = rows
    found[2, "grey"] = Row(100.0, is_clear=True)
    assert locate(photo(), SCALE).strategy == "grey"
    assert asked == [(2, "grey")]


def test_another_look_has_to_be_better_by_far(rows):
    found, asked = rows
    found[2, "grey"] = Row(100.0)
    found[2, "red"] = Row(100.0 + BETTER_ROW_NATS)
    assert locate(photo(), SCALE).strategy == "grey"
    found[2, "red"] = Row(100.1 + BETTER_ROW_NATS)
    assert locate(photo(), SCALE).strategy == "red"
    assert asked[:5] == [(2, look) for look in LOOKS]


def test_small_marks_are_looked_for_in_every_pixel(rows):
    found, _ = rows
    found[2, "grey"] = Row(100.0, pitch_px=FINE_PICTURE_PITCH_PX - 0.1)
    found[1, "light print"] = Row(20.0, pitch_px=15.0)
    assert locate(photo(), SCALE).strategy == "light print, every pixel"


def test_a_row_found_is_kept_where_the_finer_picture_shows_none(rows):
    found, asked = rows
    found[2, "blue"] = Row(100.0, pitch_px=FINE_PICTURE_PITCH_PX - 0.1)
    assert locate(photo(), SCALE).strategy == "blue"
    assert asked == [(2, look) for look in LOOKS] + [(1, look) for look in LOOKS]


def test_a_small_photo_is_not_searched_twice(rows):
    _, asked = rows
    assert locate(photo(1), SCALE) is None
    assert asked == [(1, look) for look in LOOKS]


def test_where_the_first_look_shows_no_row_the_others_are_asked_for_what_is_cheap(rows):
    found, asked = rows
    assert locate(photo(), SCALE) is None
    assert asked == [*((2, look) for look in LOOKS), (1, "grey")]
    assert found["efforts"][:5] == [Effort.THOROUGH] + 4 * [Effort.COARSE]


@pytest.mark.parametrize(("blur_px", "finer"), [(1.0, True), (2.5, True), (6.0, False)])
def test_a_blurred_photo_shows_nothing_finer_in_every_pixel(blur_px, finer):
    picture = np.full((480, 360, 3), 200, np.uint8)
    picture[:, 120:240] = 60
    blurred = cv2.GaussianBlur(picture, (0, 0), blur_px)
    assert stage._nothing_finer(photo_from_array(blurred, working_scale=2)) is not finer
    assert stage._nothing_finer(photo_from_array(blurred))  # it is every pixel


def test_where_nothing_is_finer_every_pixel_is_looked_at_only_for_a_row_of_small_marks(
        monkeypatch, rows):
    found, asked = rows
    monkeypatch.setattr(stage, "_nothing_finer", lambda _: True)
    assert locate(photo(), SCALE) is None
    assert asked == [(2, look) for look in LOOKS]
    found[2, "grey"] = Row(100.0, pitch_px=FINE_PICTURE_PITCH_PX - 0.1)
    assert locate(photo(), SCALE) is not None
    assert (1, "grey") in asked


@pytest.mark.parametrize("settled", [True, False])
def test_a_row_that_its_numbers_settle_needs_no_other_look(monkeypatch, rows, settled):
    found, asked = rows
    found[2, "grey"] = Row(100.0)
    monkeypatch.setattr(stage, "_settled_at_a_glance", lambda row: settled)
    assert locate(photo(), SCALE).strategy == "grey"
    assert asked == [(2, look) for look in (LOOKS[:1] if settled else LOOKS)]


@pytest.mark.parametrize(("change", "verdict", "red", "settled"), [
    ({}, "agree", 40.0, True), ({}, "other", 40.5, True), ({}, "unread", 40.0, False),
    ({}, "agree", 41.0, False), ({"is_of_marks": False}, "agree", 40.0, False),
    ({"relative_residual": CLEAR_RESIDUAL}, "agree", 40.0, False),
    ({"seen": np.arange(10) < 6}, "agree", 40.0, False)])
def test_what_settles_a_row_at_a_glance(monkeypatch, change, verdict, red, settled):
    """Marks in place and most of them seen, numbers read, and no colour that shows them better."""
    picture = working_picture(photo())
    monkeypatch.setattr(Picture, "look", lambda self, name: np.full((1, 1), name == "red"))
    monkeypatch.setattr(stage, "marks_shown_in", lambda _, grey, shift: red if grey.any() else 40.0)
    monkeypatch.setattr(stage, "check_numerals",
                        lambda *_, **__: SimpleNamespace(verdict=verdict, shift=0))
    row = replace(Row(100.0, picture=picture, grey=np.zeros((1, 1)), seen=np.arange(10) < 8),
                  **change)
    assert stage._settled_at_a_glance(row) is settled


@pytest.mark.parametrize(("pitch_px", "effort"), [
    (LARGE_PITCH_PX, Effort.LARGE), (LARGE_PITCH_PX - 0.1, Effort.THOROUGH)])
def test_where_it_shows_large_marks_small_ones_are_not_looked_for(rows, pitch_px, effort):
    found, _ = rows
    found[2, "grey"] = Row(100.0, pitch_px=pitch_px)
    assert locate(photo(), SCALE).strategy == "grey"
    assert found["efforts"] == [Effort.THOROUGH] + 4 * [effort]


def test_of_every_pixel_only_what_half_the_size_does_not_show_is_looked_for(monkeypatch):
    asked = []
    monkeypatch.setattr(stage, "fit_graduations", lambda *_, effort, **__: asked.append(effort))
    for picture in (working_picture(photo()), full_picture(photo()), full_picture(photo(1))):
        stage.row_in(picture, "grey", SCALE, Hints())
    assert asked == [Effort.THOROUGH, Effort.FINE, Effort.THOROUGH]


@dataclass(frozen=True)
class Placed(Row):
    """The parts of a fit that a numbering given anew rests on."""

    seen: np.ndarray = field(default_factory=lambda: np.ones(61))


@pytest.mark.parametrize(("again", "looks"), [
    (Placed(1.0), 1),                                                   # as good as it was
    (Placed(1.0, relative_residual=CLEAR_RESIDUAL), 1 + len(LOOKS)),    # its marks lie badly
    (Placed(1.0, is_of_marks=False), 1 + len(LOOKS)),                   # gaps
    (Placed(1.0, seen=np.arange(61) < 50), 1 + len(LOOKS)),             # fewer are seen
    (None, 1 + len(LOOKS)),
])
def test_a_row_numbered_anew_is_looked_for_elsewhere_only_where_it_lies_badly(
        rows, monkeypatch, again, looks):
    asked = []
    monkeypatch.setattr(stage, "row_in",
                        lambda picture, look, *_, **__: asked.append(look) or again)
    fit = Placed(1.0, strategy="red, numbers followed", picture=working_picture(photo()))
    stage.placed(replace(fit), (30.0, (5.0, 5.0)), Hints())
    assert asked[0] == "red" and len(asked) == looks


@dataclass(frozen=True)
class Pose:
    """The part of a pose that a misfit adds to."""

    doubt_deg: float = 1.5


@pytest.mark.parametrize(("residual", "doubt_deg"), [
    (COUNTED_RESIDUAL, 1.5), (1.01 * COUNTED_RESIDUAL, np.hypot(1.5, MISFIT_DOUBT_DEG))])
def test_marks_that_lie_badly_leave_a_doubt_of_the_view(rows, residual, doubt_deg):
    @dataclass(frozen=True)
    class Badly(Row):
        pose: Pose = Pose()

    found, _ = rows
    found[2, "grey"] = Badly(100.0, is_clear=True, relative_residual=residual)
    assert locate(photo(), SCALE).pose.doubt_deg == pytest.approx(doubt_deg)


def test_every_strategy_has_a_name_of_its_own():
    assert len({s.name for s in STRATEGIES}) == len(STRATEGIES) == 2 * len(LOOKS)
    assert {s.picture for s in STRATEGIES} == {working_picture, full_picture}


def test_a_point_is_carried_into_the_picture(monkeypatch):
    asked = {}

    def fit(grey, scale, *, focal, near, fixed, seen, work, effort):
        asked.update(near=near, fixed=fixed, shape=grey.shape)
        return None

    monkeypatch.setattr(stage, "fit_graduations", fit)
    stage.row_in(working_picture(photo()), "grey", SCALE, Hints((10.5, 20.5), None, None))
    assert asked == {"near": (5.0, 10.0), "fixed": None, "shape": (32, 24)}
    stage.row_in(working_picture(photo()), "grey", SCALE, Hints(number=(30.0, (8.5, 4.5))))
    assert asked["fixed"] == (30.0, (4.0, 2.0)) and asked["near"] == (4.0, 2.0)


def test_a_row_is_fitted_once_for_the_same_question(monkeypatch):
    """Numbering asks again for the looks that locating has been through."""
    asked = []

    def fit(grey, scale, *, focal, near, fixed, seen, work, effort):
        asked.append((near, fixed))
        return Row(1.0, grey=grey)

    monkeypatch.setattr(stage, "fit_graduations", fit)
    picture = working_picture(photo())
    once, again = (stage.row_in(picture, "red", SCALE, Hints()) for _ in range(2))
    assert once.grey.shape == (32, 24) and np.array_equal(once.grey, again.grey)
    assert again.picture is picture and again.strategy == "red" and len(asked) == 1
    stage.row_in(picture, "red", SCALE, Hints(), near=(3.0, 4.0))
    stage.row_in(picture, "red", load_scale("heron-100"), Hints())
    stage.row_in(picture, "blue", SCALE, Hints())
    stage.row_in(working_picture(photo()), "red", SCALE, Hints())
    assert len(asked) == 5


def test_marks_are_taken_before_the_gaps_between_them(rows):
    found, asked = rows
    found[2, "grey"] = Row(100.0, is_clear=True, is_of_marks=False)
    found[2, "light print"] = Row(60.0)
    assert locate(photo(), SCALE).strategy == "light print"
    assert {look for _, look in asked} == set(LOOKS)
    del found[2, "light print"]
    assert locate(photo(), SCALE).strategy == "grey"
