"""Gravity from plumb cues: what a line can say, fusion, contradiction, and calibration."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from level_rooms import rotation

from vision.fiducials.pose import CardPose, camera_matrix
from vision.parameters import LEANS_DEG, LEANS_P
from vision.vertical.cue import TOLERANCE_DEG, PlumbCue, cue_of, line_plane
from vision.vertical.fusion import fuse, tangent
from vision.vertical.line_segments import StraightEdge
from vision.vertical.pole import _one_body

CAMERA = camera_matrix(1500.0, 2000, 1500)
#: Rough start of every estimate: straight down the photo.
START = np.array([0.0, 1.0, 0.0])


def unit(v) -> np.ndarray:
    v = np.asarray(v, float)
    return v / np.linalg.norm(v)


def apart_deg(a: np.ndarray, b: np.ndarray) -> float:
    return float(np.degrees(np.linalg.norm(np.cross(a, b))))


def line_through(point, direction, length=600.0) -> np.ndarray:
    """(2, 2) pixels of a 3-D segment, upper end first."""
    ends = np.array([point - direction * length / 2, point + direction * length / 2])
    p = ends @ CAMERA.T
    return p[:, :2] / p[:, 2:]


def pose_of(r: np.ndarray, sd_deg: float = 0.1) -> CardPose:
    return CardPose(r, np.array([200.0, 0.0, 1000.0]),
                    np.eye(6) * np.radians(sd_deg) ** 2, 0.0)


def hung(down: np.ndarray) -> np.ndarray:
    """(3, 3) rotation of a card that hangs plumb and faces the camera."""
    across, up = unit(np.cross(-down, [0, 0, -1.0])), -down
    return np.column_stack([across, up, np.cross(across, up)])


def leaned(down: np.ndarray, sideways: float, outwards: float) -> np.ndarray:
    basis = tangent(down)
    return unit(down + basis @ np.radians([sideways, outwards]))


def test_nothing_says_nothing():
    assert fuse([], CAMERA, START) is None


def test_one_cord_alone_leaves_the_direction_open():
    # A line only says in which plane gravity lies.
    cord = cue_of("hanging cord", [(line_through(np.array([300.0, 0, 1000]), START), 0.05)])
    assert fuse([cord], CAMERA, START) is None


def test_a_cord_and_a_card_settle_it():
    down = unit([0.05, 1.0, 0.2])
    r = hung(down)
    cues = [cue_of("hanging cord", [(line_through(np.array([300.0, 0, 1000]), down), 0.05)]),
            cue_of("zero card", [], pose_of(r))]
    g = fuse(cues, CAMERA, START)
    assert g is not None and g.names == ("hanging cord", "zero card")
    assert apart_deg(g.down, down) < 0.01


def test_lines_far_apart_meet_where_verticals_meet():
    # Two plumb lines: their planes cross in gravity (R. Hartley, A. Zisserman,
    # Multiple View Geometry, 2nd ed. 2004, section 8.6, vanishing points).
    down = unit([-0.03, 1.0, 0.25])
    cues = [PlumbCue("hanging cord", (line_through(np.array([x, 0, 1000.0]), down),), (0.02,),
                     None, 0.02, 0.02) for x in (-450.0, 450.0)]
    g = fuse(cues, CAMERA, START)
    want = unit(np.cross(*(line_plane(c.lines_px[0], CAMERA) for c in cues)))
    assert apart_deg(g.down, want) < 0.01
    assert apart_deg(g.down, down) < 0.01


def test_the_cord_decides_sideways_and_the_card_only_the_rest():
    down = unit([0.0, 1.0, 0.1])
    turn = cv2.Rodrigues(np.radians([0.0, 0.0, 0.6]))[0]  # the card hangs 0.6 degrees skew
    r = turn @ np.column_stack([[1, 0, 0], -down, np.cross([1, 0, 0], -down)])
    cord = cue_of("hanging cord", [(line_through(np.array([0.0, 0, 1000]), down), 0.05)])
    g = fuse([cord, cue_of("zero card", [], pose_of(r))], CAMERA, START)
    sideways = np.degrees(abs(g.down[0] - down[0]))
    assert sideways < 0.05
    assert g.sd_deg(np.array([1.0, 0, 0])) < 0.15 < g.sd_deg(unit(np.cross(down, [1, 0, 0])))


def test_a_leaning_pole_is_outvoted_by_cord_and_panel():
    down = unit([0.02, 1.0, -0.1])
    r = hung(down)
    skew = leaned(down, 4.0, 0.0)
    cues = [cue_of("hanging cord", [(line_through(np.array([300.0, 0, 1000]), down), 0.05)]),
            cue_of("hung panel", [(line_through(np.array([x, 0, 1000.0]), down), 0.1)
                                  for x in (150.0, 290.0)], pose_of(r)),
            cue_of("pole", [(line_through(np.array([x, 0, 1030.0]), skew), 0.1)
                            for x in (205.0, 230.0)])]
    g = fuse(cues, CAMERA, START)
    assert [c.name for c in g.rejected] == ["pole"]
    assert apart_deg(g.down, down) < 0.2


def test_a_panel_side_found_wrong_leaves_the_card_of_the_panel():
    # Cord and pole stand close together: without the card nothing says how the phone tilts.
    down = unit([0.02, 1.0, -0.1])
    r = hung(down)
    wrong = leaned(down, 4.0, 0.0)
    cues = [cue_of("hanging cord", [(line_through(np.array([300.0, 0, 1000]), down), 0.05)]),
            cue_of("pole", [(line_through(np.array([215.0, 0, 1030.0]), down), 0.1)]),
            cue_of("hung panel", [(line_through(np.array([150.0, 0, 1000.0]), down), 0.1),
                                  (line_through(np.array([290.0, 0, 1000.0]), wrong), 0.1)],
                   pose_of(r))]
    g = fuse(cues, CAMERA, START)
    assert [c.name for c in g.rejected] == ["hung panel"]
    assert g.names == ("hanging cord", "pole", "zero card")
    assert apart_deg(g.down, down) < 0.3
    assert g.sd_deg(np.array([0.0, 0, 1.0])) < 2.0, "the card still says how the phone tilts"


def test_for_two_to_lean_alike_is_rarer_than_for_one_panel_to_hang_askew():
    down = unit([0.02, 1.0, -0.1])
    skew = leaned(down, 5.0, 0.0)
    cues = [cue_of("hanging cord", [(line_through(np.array([30.0, 0, 1000]), down), 0.05)]),
            cue_of("pole", [(line_through(np.array([-15.0, 0, 1030.0]), down), 0.1)]),
            cue_of("hung panel", [(line_through(np.array([x, 0, 1000.0]), skew), 0.1)
                                  for x in (-70.0, 70.0)], pose_of(hung(skew)))]
    g = fuse(cues, CAMERA, START)
    across = np.array([1.0, 0, 0])
    assert [c.name for c in g.rejected] == ["hung panel"] and g.sd_deg(across) < 1.0
    assert abs(np.degrees(across @ (g.down - down))) < 0.3
    # How the phone is tilted nobody else says: a panel that hangs askew is no witness.
    assert g.sd_deg(np.array([0.0, 0, 1.0])) > 3.0


def test_two_that_contradict_make_the_answer_uncertain_not_wrong():
    down = unit([0.02, 1.0, -0.1])
    skew = leaned(down, 5.0, 0.0)
    def board(name, d, x0):
        return cue_of(name, [(line_through(np.array([x0 + x, 0, 1000.0]), d), 0.1)
                             for x in (0.0, 140.0)])
    agreed = fuse([board("hung panel", down, 100), board("pole", down, 150)], CAMERA, START)
    torn = fuse([board("hung panel", down, 100), board("pole", skew, 150)], CAMERA, START)
    across = np.array([1.0, 0, 0])
    assert torn.bad_p > 0.9 and agreed.bad_p < 0.15
    assert torn.sd_deg(across) > 2 * agreed.sd_deg(across)
    # The interval covers both answers; one that was only widened about the mean need not.
    drawn = torn.draw(20000, np.random.default_rng(1)) @ across
    low, high = np.quantile(drawn, [0.025, 0.975])
    assert low < min(down @ across, skew @ across) and max(down @ across, skew @ across) < high
    # And there is little between them: two answers, not one broad one.
    middle = (down + skew) @ across / 2
    assert np.mean(np.abs(drawn - middle) < np.radians(0.5)) < 0.1


def test_the_cases_together_are_the_posterior_summed_over_a_grid():
    """Given the direction the cues are independent: prior times each cue's own mixture, summed
    over a grid of directions, needs no combinations, no linearisation and no normal equations."""
    from scipy.stats import multivariate_normal

    from vision.parameters import START_DEG
    from vision.vertical.fusion import _off, _rows, _sights

    down = unit([0.02, 1.0, -0.1])
    r = hung(down)
    cues = [cue_of("hanging cord", [(line_through(np.array([300.0, 0, 1000]),
                                                  leaned(down, 1.2, 0.0)), 0.05)]),
            cue_of("zero card", [], pose_of(r)),
            PlumbCue("phone sensor", direction=leaned(down, -1.0, 1.5), direction_sd_deg=0.5)]
    g = fuse(cues, CAMERA, START)
    step = np.radians(np.arange(-6.0, 6.0, 0.1))
    first, second = (v.ravel() for v in np.meshgrid(step, step))
    directions = g.down + first[:, None] * g.basis[:, 0] + second[:, None] * g.basis[:, 1]
    directions /= np.linalg.norm(directions, axis=1, keepdims=True)
    log = multivariate_normal(np.zeros(3), np.radians(START_DEG)**2).logpdf(directions - START)
    for cue in cues:
        a, noise, _ = _rows(cue, _sights(cue, CAMERA), g.down)
        p = LEANS_P[cue.name]
        good, bad = (multivariate_normal(
            np.zeros(len(a)), noise + _off(cue, g.down, a, *np.hypot(
                [cue.sideways_deg, cue.outwards_deg], more))).pdf(directions @ a.T)
            for more in (0.0, LEANS_DEG))
        log = log + np.log((1 - p) * good + p * bad)
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    at = np.column_stack([first, second])
    mean = weight @ at
    covariance = (at - mean).T @ ((at - mean) * weight[:, None])
    assert np.degrees(np.linalg.norm(mean)) < 0.05
    assert np.sqrt(np.diag(covariance)) == pytest.approx(np.sqrt(np.diag(g.covariance)), rel=0.08)


def test_a_pole_says_nothing_of_its_lean_along_the_line_of_sight():
    down = unit([0.0, 1.0, 0.1])
    card = cue_of("zero card", [], pose_of(hung(down)))
    pole = cue_of("pole", [(line_through(np.array([0.0, 0, 1000]), leaned(down, 0, 3.0)), 0.05)])
    away, across = unit([0.0, -0.1, 1.0]), np.array([1.0, 0, 0])
    alone, both = fuse([card], CAMERA, START), fuse([card, pole], CAMERA, START)

    def sd(g, along):  # while both are good: a second witness also makes the card likelier good
        a = g.basis.T @ along
        return a @ max(g.cases, key=lambda c: c.weight).covariance @ a

    assert sd(both, across) < 0.4 * sd(alone, across)
    assert sd(both, away) == pytest.approx(sd(alone, away), rel=0.01)
    assert not both.rejected and apart_deg(both.down, down) < 0.05


@pytest.mark.slow
@pytest.mark.parametrize("with_cord", [False, True])
def test_the_stated_uncertainty_is_the_scatter(with_cord):
    # 150 rooms with pole, panel (and cord) off plumb by their tolerances: the mean
    # of chi-square over two degrees of freedom is 1; its sd is 1/sqrt(150) = 0.08.
    rng = np.random.default_rng(11)
    z, offsets, shares = [], [], []
    for _ in range(150):
        down = unit([rng.normal(0, 0.03), 1.0, rng.normal(0, 0.12)])
        side, out = TOLERANCE_DEG["hung panel"]
        flat = rotation(0, rng.uniform(-15, 15), 0)
        x = unit(flat[:, 0] - down * (flat[:, 0] @ down))
        true_r = np.column_stack([x, -down, np.cross(x, -down)])
        lean = np.radians(rng.normal(0, [out, side]))
        turn = cv2.Rodrigues(true_r @ np.array([lean[0], 0, lean[1]]))[0]
        panel_r = turn @ true_r
        noise = cv2.Rodrigues(np.radians(rng.normal(0, 0.1, 3)))[0]
        pole = leaned(down, *rng.normal(0, TOLERANCE_DEG["pole"]))
        cues = [
            cue_of("hung panel", [(line_through(np.array([x0, 0, 1000.0]), -panel_r[:, 1]), 0.05)
                                  for x0 in (150.0, 290.0)], pose_of(noise @ panel_r)),
            cue_of("pole", [(line_through(np.array([x0, 0, 1030.0]), pole)
                             + rng.normal(0, 0.3, (2, 1)) * [1, 0], 0.3)
                            for x0 in (205.0, 230.0)])]
        if with_cord:
            cord = leaned(down, *rng.normal(0, TOLERANCE_DEG["hanging cord"]))
            cues.append(cue_of("hanging cord", [(line_through(np.array([330.0, 0, 990.0]), cord),
                                                 0.05)]))
        g = fuse(cues, CAMERA, START)
        error = g.basis.T @ (down - g.down)
        z.append(error @ np.linalg.solve(g.covariance, error) / 2)
        across = np.array([-700.0, 0.0, 50.0])
        offsets.append(across @ (g.down - down))
        a = g.basis.T @ across
        shares.append(np.sqrt(a @ g.covariance @ a))
    assert 0.75 < np.mean(z) < 1.3
    assert 0.8 < np.std(offsets) / np.sqrt(np.mean(np.square(shares))) < 1.2


def test_a_panel_that_stands_alone_never_gives_a_narrow_answer():
    # One panel in ten hangs askew by some 5 degrees: 95 % of the answers reach that far.
    panel = cue_of("hung panel", [(line_through(np.array([x, 0, 1000.0]), START), 0.1)
                                  for x in (50.0, 190.0)], pose_of(rotation(0, 5, 0)))
    cord = cue_of("hanging cord", [(line_through(np.array([0.0, 0, 1000]), START), 0.05)])

    def reach_deg(cues):
        drawn = fuse(cues, CAMERA, START).draw(20000, np.random.default_rng(1))[:, 0]
        return float(np.degrees(np.quantile(np.abs(drawn), 0.95)))

    assert reach_deg([panel]) > 1.8
    assert reach_deg([panel, cord]) < 0.3


def test_budget_shares_add_up_to_the_whole():
    down = START
    cues = [cue_of("pole", [(line_through(np.array([x, 0, 1000.0]), down), 0.2)
                            for x in (100.0, 130.0)]),
            cue_of("hung panel", [(line_through(np.array([x, 0, 1000.0]), down), 0.2)
                                  for x in (50.0, 190.0)], pose_of(rotation(0, 5, 0)))]
    g = fuse(cues, CAMERA, START)
    along = np.array([1.0, 0.0, 0.0])
    total = np.linalg.norm([g.share(0, along), g.share(1, along), g.doubt(along)])
    assert g.share(0, along) > g.doubt(along)
    assert total == pytest.approx(np.radians(g.sd_deg(along)), rel=1e-6)


@pytest.mark.parametrize("tilt_deg, mm", [(0.1, 1.7), (0.25, 4.4), (0.5, 8.7), (1.0, 17.5)])
def test_tilt_turns_into_height_as_the_tangent(tilt_deg, mm):
    # A point 1 m away is misjudged in height by 1 m x tan(tilt): geometry.
    down = leaned(START, 0.0, tilt_deg)
    assert abs(down @ np.array([0.0, 0, 1000]) - START @ np.array([0.0, 0, 1000])) == (
        pytest.approx(mm, abs=0.06))


def _edge(x: float) -> StraightEdge:
    return StraightEdge(np.array([[x, 20.0], [x, 380.0]]), ((0.0, 1.0),), 0, 0.1)


def test_a_strip_between_two_things_is_no_pole():
    # Wall, a door from x = 100, before it a pole from 140 to 165.
    picture = np.full((400, 300, 3), (225, 222, 215), np.uint8)
    picture[:, 100:] = (200, 215, 170)
    picture[:, 140:165] = (150, 150, 155)
    assert _one_body(picture, _edge(140), _edge(165), None)
    assert not _one_body(picture, _edge(100), _edge(140), None)
    # A panel that covers the middle changes nothing; one that covers all leaves nothing to say.
    picture[150:250, 90:200] = (90, 90, 200)
    assert _one_body(picture, _edge(140), _edge(165), (145.0, 255.0))
    assert not _one_body(picture, _edge(140), _edge(165), (0.0, 400.0))


def test_where_only_one_that_stays_speaks_nobody_is_left_out():
    # Cord and pole agree sideways; how far the phone is tilted, only pole and panel say,
    # and they say different things: the cord is no witness for either.
    down = unit([0.02, 1.0, -0.1])
    cord = cue_of("hanging cord", [(line_through(np.array([30.0, 0, 1000]), down), 0.05)])
    lean = unit(down + np.radians(9.0) * unit([0.0, 0.1, 1.0]))
    pole = cue_of("pole", [(line_through(np.array([x, 0, 1030.0]), lean), 0.05)
                           for x in (-20.0, 20.0)])
    panel = cue_of("hung panel", [(line_through(np.array([x, 0, 1000.0]), down), 0.1)
                                  for x in (-70.0, 70.0)], pose_of(hung(down)))
    g = fuse([cord, pole, panel], CAMERA, START)
    assert g.bad_p > 0.9
    away = np.array([0.0, 0.0, 1.0])
    low, high = np.quantile(g.draw(20000, np.random.default_rng(1)) @ away, [0.025, 0.975])
    assert low < down @ away and lean @ away < high


def test_a_panel_at_odds_with_its_own_card_is_no_panel_though_nobody_else_can_say_so():
    # The cord says nothing about the tilt; but lines and card of one board cannot differ.
    down = unit([0.02, 1.0, -0.1])
    cord = cue_of("hanging cord", [(line_through(np.array([30.0, 0, 1000]), down), 0.05)])
    lean = unit(down + np.radians(9.0) * unit([0.0, 0.1, 1.0]))
    panel = cue_of("hung panel", [(line_through(np.array([x, 0, 1000.0]), lean), 0.1)
                                  for x in (-70.0, 70.0)], pose_of(hung(down)))
    g = fuse([cord, panel], CAMERA, START)
    assert g.names == ("hanging cord", "zero card") and g.rejected == (panel,)
    assert apart_deg(g.down, down) < 0.5
