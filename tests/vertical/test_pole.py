"""Which pairs of edges are a pole, how far its lean is trusted, and rooms that went wrong."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
from level_rooms import scene

from vision.fiducials.cards import CardSeen
from vision.level.read import read_level
from vision.vertical.cue import RoughDown, line_x
from vision.vertical.line_segments import StraightEdge, upright_edges
from vision.vertical.pole import (
    _a_body,
    _before_panel,
    _borders,
    _covered,
    _from_outline,
    _goes_on,
    find_pole,
)
from vision.vertical.pole_silhouette import OutlineSide, _strays, leans_like_a_pole

CAMERA = np.array([[1200.0, 0, 300], [0, 1200.0, 400], [0, 0, 1.0]])
DOWN = np.array([0.0, 1.0, 0.0])


def edge(top_x: float, low_x: float, y: tuple[float, float] = (0.0, 800.0)) -> StraightEdge:
    return StraightEdge(np.array([[top_x, y[0]], [low_x, y[1]]]), ((0.0, 1.0),), 1, 0.06)


def sides(gap_top: float, gap_low: float) -> tuple[OutlineSide, OutlineSide]:
    return tuple(OutlineSide(np.array([[300 + s * gap_top / 2, 20], [300 + s * gap_low / 2, 780]]),
                             0.1, 100.0) for s in (-1, 1))  # type: ignore[return-value]


def wall(left: int, between: int, right: int) -> np.ndarray:
    """(800, 600, 3) uint8 with other tones from x = 280 to 320 and beyond."""
    rgb = np.full((800, 600, 3), left, np.uint8)
    rgb[:, 280:320], rgb[:, 320:] = between, right
    noise = np.random.default_rng(3).normal(0, 2, rgb.shape)
    return np.clip(rgb + noise, 0, 255).astype(np.uint8)


@pytest.mark.parametrize("tones, body", [
    ((200, 120, 200), True), ((200, 120, 90), True), ((200, 150, 60), True),
    ((200, 200, 60), False), ((60, 180, 180), False)])
def test_a_body_differs_from_what_is_on_either_side_of_it(tones, body):
    assert _a_body(wall(*tones), edge(280, 280), edge(320, 320), None) is body


def test_the_wall_between_a_cable_and_a_picture_is_no_body():
    rgb = wall(200, 200, 90)
    cv2.line(rgb, (280, 0), (280, 800), (20, 20, 20), 3, cv2.LINE_AA)
    assert not _a_body(rgb, edge(281, 281), edge(320, 320), None)


def test_a_body_that_a_board_covers_for_the_most_part_is_one():
    rgb = wall(200, 120, 200)
    rgb[150:700] = 230
    assert _a_body(rgb, edge(280, 280), edge(320, 320), None)


def test_an_outline_that_widens_unlike_its_edges_is_in_doubt():
    edges = edge(280, 280), edge(320, 320)
    same = _from_outline(*edges, sides(44, 44), 800)
    other = _from_outline(*edges, sides(42, 46), 800)
    assert max(same.line_sd_px) < 0.6
    # 4 px more of widening, made of four ends: at least 2 px for each.
    assert min(other.line_sd_px) >= 2.0


def test_an_outline_that_widens_unlike_short_edges_is_in_doubt_by_more_than_their_noise():
    # 200 px long and good to 0.25 px, over 760 px: 2 edges with 2 ends each, 3.8 times as far.
    noise = 0.25 * 2 * 3.8
    short = [StraightEdge(np.array([[x, 0.0], [x, 200.0]]), ((0.0, 1.0),), 1, 0.25)
             for x in (280.0, 320.0)]
    same = _from_outline(short[0], short[1], sides(40 - noise / 2, 40 + noise / 2), 800)
    other = _from_outline(short[0], short[1], sides(38, 42), 800)
    assert max(same.line_sd_px) < 0.6
    assert min(other.line_sd_px) > math.sqrt(4**2 - noise**2) / 2


def test_an_edge_of_the_pole_keeps_its_place_across_it():
    left, right = (np.array([[x, 0.0], [y, 800.0]]) for x, y in ((280, 280), (340, 320)))
    halfway = np.array([[310.0, 0.0], [300.0, 800.0]])
    assert _strays(left, right, halfway, 0.1) == pytest.approx(0, abs=1e-9)
    # The lower end 0.4 px further on is a hundredth of the width, 0.5 px of 50 on average,
    # against hypot(0.1, 0.45) px at both ends.
    near, far = (halfway + [[0, 0], [x, 0]] for x in (0.4, 4.0))
    assert _strays(left, right, near, 0.1) == pytest.approx(0.5 / (0.461 * math.sqrt(2)), rel=0.01)
    assert _strays(left, right, far, 0.1) == 3.0, "it may belong to something else"


@pytest.mark.parametrize("widen, sd_px, down_sd, passes", [
    (0.0, 0.2, 1.3, True), (2.0, 0.2, 1.3, True), (10.0, 0.2, 1.3, False),
    (10.0, 0.2, 5.0, True), (10.0, 2.0, 1.3, True)])
def test_a_lean_is_held_against_what_both_directions_may_be_off(widen, sd_px, down_sd, passes):
    # 40 px apart, 800 px long, focal length 1200 px: 1 px of widening is
    # atan(1 / 40 * 1200 / 800) = 2.1 degrees.
    left = np.array([[280 + widen / 2, 0], [280.0, 800]])
    right = np.array([[320 - widen / 2, 0], [320.0, 800]])
    assert leans_like_a_pole(left, right, sd_px, RoughDown(DOWN, down_sd, CAMERA)) is passes


@pytest.mark.slow
@pytest.mark.parametrize("seed, index", [(8901, 43), (8902, 40), (9202, 152)])
def test_a_panel_that_hangs_askew_does_not_choose_the_pole_that_agrees_with_it(seed, index):
    # The panels lean by 2.4, 4.6 and 4.8 degrees towards the wall or the phone.
    photo, label = scene(seed, index, "cards")
    reading = read_level(photo)
    assert abs(label["panel_pitch_deg"]) > 2.0
    low, high = (10 * v for v in reading.interval_cm)
    assert low < label["true_offset_mm"] < high
    assert abs(10 * reading.offset_cm - label["true_offset_mm"]) < 12


def test_a_side_of_a_pole_parts_two_tones_where_the_panel_does_not_cover_it():
    rgb = wall(200, 120, 200)
    cv2.line(rgb, (200, 0), (200, 800), (20, 20, 20), 3, cv2.LINE_AA)
    assert _borders(rgb, edge(280, 280), None, 2.0)
    assert not _borders(rgb, edge(201, 201), None, 2.0)
    assert not _borders(rgb, edge(201, 201), (300, 500), 2.0)
    rgb[200:700] = 230  # a board over most of it
    assert _borders(rgb, edge(280, 280), (195, 705), 2.0)
    assert not _borders(rgb, edge(280, 280), None, 2.0)


@pytest.mark.parametrize("pieces, before", [
    (((0.0, 0.25), (0.75, 1.0)), False),   # above and below the panel
    (((0.0, 0.29), (0.77, 1.0)), False),   # up to its borders, 220 and 620
    (((0.0, 1.0),), True), (((0.6, 1.0),), True), (((0.5, 0.65),), True)])
def test_what_is_seen_on_the_face_of_the_panel_is_not_the_pole_behind_it(pieces, before):
    card = CardSeen(0, np.array([[250.0, 350], [350, 350], [350, 450], [250, 450]]), np.eye(8),
                    0.0, 32, 0.1)
    panel = [edge(200, 200, (160, 560)), edge(400, 400, (280, 680))]  # seen askew
    line = StraightEdge(np.array([[300.0, 0], [300.0, 800]]), pieces, 1, 0.06)
    assert _before_panel(line, panel, card) is before
    beside = StraightEdge(np.array([[150.0, 0], [150.0, 800]]), pieces, 1, 0.06)
    assert not _before_panel(beside, panel, card)
    assert not _before_panel(line, [], card)


@pytest.mark.parametrize("lean_deg", [0.0, 2.5, -2.5])
def test_a_pole_is_followed_in_its_own_direction_and_not_in_that_of_the_card(lean_deg):
    # The card says that down is straight down; panel and pole may each be off plumb by a degree
    # and more, and the panel leaves only short pieces of the pole.
    slope = math.tan(math.radians(lean_deg))
    sides_px = [np.array([[x - 400 * slope, 0.0], [x + 400 * slope, 800.0]])
                for x in (284.0, 318.0)]
    rgb = wall(200, 200, 200)
    outline = np.vstack([sides_px[0], sides_px[1][::-1]])
    cv2.fillConvexPoly(rgb, np.rint(outline * 64).astype(np.int32), (120, 120, 120), cv2.LINE_AA, 6)
    rgb[200:620, 200:400] = 230
    rgb = cv2.GaussianBlur(rgb, (0, 0), 0.8)
    card = CardSeen(0, np.array([[250.0, 350], [350, 350], [350, 450], [250, 450]]), np.eye(8),
                    0.0, 32, 0.1)
    panel = [edge(200, 200, (200, 620)), edge(400, 400, (200, 620))]
    edges = [e for e in upright_edges(rgb, CAMERA @ DOWN) if 210 < e.ends_px[:, 0].mean() < 390]
    assert max(e.length_px for e in edges) < 0.45 * 800
    pole = find_pole(rgb, edges, card, RoughDown(DOWN, 1.4, CAMERA), 1.6, panel)
    assert pole is not None and len(pole.lines_px) == 2
    # The lines need not be the outline; they keep their place across the pole.
    far = np.array([0.0, 799.0])
    for seen, true in zip(pole.lines_px, sides_px, strict=True):
        assert np.ptp(line_x(seen, far) - line_x(true, far)) < 0.5


@pytest.mark.parametrize("pieces, covered", [
    (((0.0, 0.25), (0.75, 1.0)), (185.0, 615.0)),               # above and below the panel
    (((0.0, 0.25), (0.45, 0.55), (0.75, 1.0)), (185.0, 615.0)),  # and on the card
    (((0.75, 1.0),), None),                                     # nowhere above: it may end there
    (((0.0, 1.0),), None), (((0.0, 0.6), (0.75, 1.0)), None)])   # it runs past the card
def test_where_neither_side_of_a_pole_is_seen_about_the_card_something_covers_it(pieces, covered):
    card = CardSeen(0, np.array([[250.0, 350], [350, 350], [350, 450], [250, 450]]), np.eye(8),
                    0.0, 32, 0.1)
    one, other = (StraightEdge(np.array([[x, 0.0], [x, 800.0]]), pieces, 1, 0.06)
                  for x in (290.0, 320.0))
    assert _covered(one, other, card) == covered


def test_a_pole_goes_on_at_one_end_at_least():
    rgb = wall(200, 120, 200)
    rgb[:300], rgb[500:] = 200, 200  # 200 px of something with two sides
    part = edge(280, 280, (400, 450)), edge(320, 320, (390, 440))
    assert not _goes_on(rgb, *part, None, 2.0, 50.0)
    a, b = edge(280, 280, (300, 500)), edge(320, 320, (300, 500))
    assert not _goes_on(rgb, a, b, None, 2.0, 50.0)
    assert _goes_on(rgb, a, b, (480.0, 700.0), 2.0, 50.0)  # the panel covers the rest
    a, b = edge(280, 280, (300, 790)), edge(320, 320, (300, 790))
    assert _goes_on(rgb, a, b, None, 2.0, 50.0)  # it may end outside of the photo
    assert _goes_on(wall(200, 120, 200), a, b, None, 2.0, 50.0)


@pytest.mark.slow
def test_a_cord_and_the_side_of_a_panel_are_no_pole():
    # The bob hangs below the photo; the panel is pale before a pale wall.
    photo, label = scene(9202, 129, "cards", False)
    assert not label["pole"]
    reading = read_level(photo)
    assert "pole" not in reading.gravity_from and "hung panel" in reading.gravity_from
    low, high = (10 * v for v in reading.interval_cm)
    assert low < label["true_offset_mm"] < high


@pytest.mark.slow
def test_a_cable_beside_a_picture_is_no_pole():
    photo, _ = scene(8902, 12, "bare")
    assert read_level(photo).flags == ("no-gravity-cue",)
