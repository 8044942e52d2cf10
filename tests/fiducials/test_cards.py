"""The reference cards: code, finding, sub-pixel corners, poses, printing at true scale."""

from __future__ import annotations

import re

import cv2
import numpy as np
import pytest
from level_rooms import card_picture, rotation, square

from app.exports.cards_pdf import cards_pdf
from vision.fiducials.cards import (
    CardSeen,
    card_corners_mm,
    card_modules,
    find_cards,
    landmark_card,
    zero_card,
)
from vision.fiducials.pose import camera_matrix, card_poses

#: Corners of a sharp, clean card: fitted edges are good to a few hundredths of a pixel.
CORNER_ATOL_PX = 0.05
#: Corners with blur of 1.5 px and noise.
NOISY_ATOL_PX = 0.15
#: Mean shift of the corners towards the centre: the size of a card must not be biased.
SIZE_BIAS = 0.0015


def only(found: dict[int, list[CardSeen]], code: int) -> CardSeen:
    assert list(found) == [code] and len(found[code]) == 1
    return found[code][0]


# --- what is printed

def test_the_pattern_is_the_published_code():
    # AprilTag 36h11, first code of the family: 0xd5d628584 (E. Olson, AprilTag 2
    # source, tag36h11 table; value from memory).  OpenCV shows it upside down.
    inner = np.rot90(card_modules(0)[1:7, 1:7], 2)
    value = int("".join("1" if white else "0" for white in inner.ravel()), 2)
    assert value == 0xD5D628584


def test_the_black_border_is_one_module_wide_all_round():
    for code in (0, 1):
        border = np.ones((8, 8), bool)
        border[1:-1, 1:-1] = False
        assert not card_modules(code)[border].any()


def test_card_geometry_of_the_contract():
    assert zero_card().reference_mm == (0.0, 0.0) and zero_card().side_mm == 60.0
    assert landmark_card().side_mm == 40.0 and landmark_card().reference_mm == (-35.0, 0.0)
    assert landmark_card(80).reference_mm == (-70.0, 0.0)


# --- finding

@pytest.mark.parametrize("code, turn_deg", [(0, 2.5), (1, 17), (0, 43), (1, 93), (0, 134), (1, 182),
                                            (0, 261)])
def test_turned_cards_are_found_with_the_right_corner_first(code, turn_deg):
    corners = square(76, (140.3, 109.6), turn_deg)
    seen = only(find_cards(card_picture(code, corners), (code,)), code)
    assert np.abs(seen.corners_px - corners).max() < CORNER_ATOL_PX


@pytest.mark.parametrize("name, options", [
    ("small", dict(side=26)),
    ("tilted 60 degrees", dict(side=100, squeeze=0.5)),
    ("tilted and turned", dict(side=100, squeeze=0.6, turn=45)),
    ("blurred", dict(side=70, blur=2.2)),
    ("dark", dict(side=80, white=0.05, black=0.004)),
    ("grainy", dict(side=90, noise=0.03)),
    ("pale", dict(side=80, white=0.8, black=0.35)),
    ("overexposed", dict(side=80, white=1.6, black=0.06, blur=1.0)),
    ("narrow rim", dict(side=80, rim=1.0, blur=1.2)),
])
def test_difficult_cards_are_still_found(name, options):
    options = dict(options)
    corners = square(options.pop("side"), (141.2, 110.9), options.pop("turn", 4.0),
                     options.pop("squeeze", 1.0))
    seen = only(find_cards(card_picture(1, corners, **options), (1,)), 1)
    assert np.abs(seen.corners_px - corners).max() < 0.6, name


@pytest.mark.parametrize("wide_px", [1, 3, 4])
@pytest.mark.parametrize("side_px", [60, 90])
def test_a_cord_across_the_edge_does_not_hide_a_card(side_px, wide_px):
    """It joins the black square to the dark thing that hangs on it."""
    corners = square(side_px, (141.2, 20 + 0.62 * side_px), 1.0)
    picture = card_picture(0, corners)
    cv2.line(picture, (135, int(corners[:, 1].max()) - 2), (135, 180), (90, 90, 90), wide_px)
    cv2.rectangle(picture, (100, 180), (175, 200), (130, 130, 130), -1)
    for x in (103, 172):
        cv2.line(picture, (x, 200), (x, 219), (150, 150, 150), 2)
    seen = only(find_cards(picture, (0,)), 0)
    assert np.abs(seen.corners_px - corners).max() < 0.6


@pytest.mark.slow
@pytest.mark.parametrize("seed", [0, 1])
def test_noise_and_bare_pictures_hold_no_card(seed):
    rng = np.random.default_rng(seed)
    noise = rng.integers(0, 256, (12, 16, 3), dtype=np.uint8)
    blobs = cv2.resize(noise, (160, 120), interpolation=cv2.INTER_NEAREST)
    assert find_cards(blobs) == {}
    assert find_cards(np.full((160, 220, 3), 128, np.uint8)) == {}


def test_a_cut_card_is_not_found():
    picture = card_picture(0, square(120, (140, 110)))
    assert find_cards(np.ascontiguousarray(picture[:, 130:])) == {}


def test_a_smeared_card_is_not_found():
    assert find_cards(card_picture(0, square(60, (140, 110)), blur=12.0)) == {}


def test_two_cards_of_one_kind_are_told_apart():
    a = card_picture(0, square(60, (70, 100)))
    b = card_picture(0, square(60, (210, 110)))
    both = np.where(np.arange(280)[None, :, None] < 140, a, b)
    assert len(find_cards(np.ascontiguousarray(both))[0]) == 2


# --- corners without bias

@pytest.mark.parametrize("blur, white", [(0.0, 0.9), (0.6, 1.8), (1.2, 0.5), (1.2, 1.8)])
def test_blur_and_overexposure_do_not_shrink_the_square(blur, white):
    # White spreads over black when a bright blur is clipped: taken at the outer
    # square alone, corners come out up to a pixel too far inside.
    errors = []
    for step in range(3):
        corners = square(72, (140.0 + 0.27 * step, 110.0 + 0.19 * step), 3.0 + 11 * step)
        seen = only(find_cards(card_picture(0, corners, blur=blur, white=white), (0,)), 0)
        out = (corners - corners.mean(axis=0)) / np.linalg.norm(corners[0] - corners.mean(axis=0))
        errors.append(np.sum((seen.corners_px - corners) * out, axis=1))
    half_diagonal = 72 / np.sqrt(2)
    assert abs(np.mean(errors)) < SIZE_BIAS * half_diagonal


@pytest.mark.slow
def test_the_stated_corner_uncertainty_holds():
    # 10 noisy pictures: the errors are about as large as the covariance says,
    # and never understated by more than a factor.
    z = []
    for seed in range(10):
        rng = np.random.default_rng(seed)
        corners = square(64, tuple(rng.uniform(95, 125, 2)), rng.uniform(-40, 40))
        picture = card_picture(1, corners, blur=1.5, noise=0.02, seed=seed)
        seen = only(find_cards(picture, (1,)), 1)
        error = (seen.corners_px - corners).ravel()
        assert np.abs(error).max() < NOISY_ATOL_PX * 2
        z.append(error @ np.linalg.solve(seen.covariance_px2, error) / 8)
    assert 0.15 < np.mean(z) < 1.6


# --- poses

CAMERA = camera_matrix(1500.0, 2000, 1500)


def seen_at(kind, r: np.ndarray, t: np.ndarray, sd: float = 0.03, noise=None) -> CardSeen:
    p = card_corners_mm(kind.side_mm) @ r.T + t
    pixels = (p @ CAMERA.T)[:, :2] / p[:, 2:]
    if noise is not None:
        pixels = pixels + noise.normal(0, sd, pixels.shape)
    return CardSeen(kind.code, pixels, np.eye(8) * sd**2, 0.0, 100, 0.03)


def angle_deg(a: np.ndarray, b: np.ndarray) -> float:
    return float(np.degrees(np.arccos(np.clip((np.trace(a.T @ b) - 1) / 2, -1, 1))))


@pytest.mark.parametrize("tilt", [0.0, 0.1, 3.0, 25.0, 60.0])
@pytest.mark.parametrize("turn", [0.0, 45.0])
def test_exact_corners_give_the_exact_pose_even_head_on(tilt, turn):
    # OpenCV's solver for squares alone is several degrees off at exactly head on.
    r, t = rotation(tilt, 0.4 * tilt, turn), np.array([120.0, -60.0, 800.0])
    if tilt == 0:
        t = np.array([0.0, 0.0, 800.0])
    best = card_poses(seen_at(zero_card(), r, t), zero_card(), CAMERA)[0]
    assert angle_deg(best.rotation, r) < 0.02
    assert np.abs(best.centre_mm - t).max() < 0.02


def test_both_ways_to_see_a_far_card_are_kept():
    r, t = rotation(9.0, -6.0, 0.0), np.array([150.0, 80.0, 1900.0])
    poses = card_poses(seen_at(landmark_card(), r, t, sd=0.1), landmark_card(), CAMERA)
    assert len(poses) == 2
    assert poses[0].misfit < poses[1].misfit
    assert angle_deg(poses[0].rotation, r) < 0.1 < 5 < angle_deg(poses[1].rotation, r)


def test_the_pose_covariance_holds():
    # Corner noise 0.1 px: mean squared error over stated variance near 1 (chi-square, 6 d.o.f.).
    rng = np.random.default_rng(5)
    r, t = rotation(20.0, 15.0, 5.0), np.array([200.0, -100.0, 900.0])
    z = []
    for _ in range(80):
        pose = card_poses(seen_at(zero_card(), r, t, 0.1, rng), zero_card(), CAMERA)[0]
        turn = cv2.Rodrigues(r @ pose.rotation.T)[0].ravel()
        error = np.concatenate([turn, t - pose.centre_mm])
        z.append(error @ np.linalg.solve(pose.covariance, error) / 6)
    assert 0.75 < np.mean(z) < 1.3


def test_depth_of_a_card_against_the_textbook():
    # Pinhole camera: side_px = f * side / depth (R. Hartley, A. Zisserman, Multiple
    # View Geometry, 2nd ed. 2004, section 6.1).
    corners = square(1500 * 60 / 1000, (999.5, 749.5))
    seen = CardSeen(0, corners, np.eye(8) * 0.02**2, 0.0, 100, 0.02)
    assert card_poses(seen, zero_card(), CAMERA)[0].centre_mm[2] == pytest.approx(1000, abs=0.05)


# --- printing

def page(paper: str) -> tuple[str, float]:
    """(content and objects as text, mm per drawing unit)."""
    text = cards_pdf(paper).decode("latin-1")
    scale = max(float(v) for v in re.findall(r"^([\d.]+) 0 0 [\d.]+ 0 0 cm", text, re.M))
    return text, scale * 25.4 / 72  # 1 pt = 1/72 inch = 25.4/72 mm (PDF, ISO 32000-1, 8.3.2.3)


@pytest.mark.parametrize("paper, points", [("a4", (595.28, 841.89)), ("letter", (612, 792))])
def test_paper_size(paper, points):
    # A4: ISO 216, 210 mm x 297 mm; Letter: 8.5 in x 11 in (ANSI/ASME Y14.1).
    text, _ = page(paper)
    box = re.search(r"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+)", text)
    assert [float(v) for v in box.groups()] == pytest.approx(points, abs=0.01)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_black_squares_and_rulers_have_their_true_size(paper):
    text, mm = page(paper)
    sizes = [tuple(float(v) * mm for v in m) for m in re.findall(
        r"[\d.]+ [\d.]+ ([\d.]+) ([\d.]+) re f", text)]
    squares = sorted({round(w, 3) for w, h in sizes if abs(w - h) < 1e-6 and w > 30})
    assert squares == [40.0, 60.0]
    lines = [[float(v) * mm for v in m] for m in re.findall(
        r"([\d.]+) ([\d.]+) m ([\d.]+) ([\d.]+) l S", text)]
    across = [abs(x1 - x0) for x0, y0, x1, y1 in lines if abs(y1 - y0) < 1e-6]
    down = [abs(y1 - y0) for x0, y0, x1, y1 in lines if abs(x1 - x0) < 1e-6]
    assert max(across) == pytest.approx(100, abs=0.01)
    assert max(down) == pytest.approx(100, abs=0.01)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_everything_lies_inside_the_margins(paper):
    text, mm = page(paper)
    width = {"a4": 210.0, "letter": 215.9}[paper]
    x = [float(v) * mm for m in re.findall(r"([\d.]+) [\d.]+ m ([\d.]+) [\d.]+ l S", text)
         for v in m]
    assert min(x) > 12 and max(x) < width - 12


def test_viewers_are_asked_to_print_at_true_scale():
    assert re.search(r"/PrintScaling\s*/None", page("a4")[0])


def test_the_white_modules_are_those_of_the_code():
    text, mm = page("a4")
    white = sum(float(w) * float(h) * mm**2 for w, h in re.findall(
        r"[\d.]+ [\d.]+ ([\d.]+) ([\d.]+) re f", text) if float(h) * mm < 10)
    wanted = card_modules(0).sum() * 7.5**2 + card_modules(1).sum() * 5.0**2
    assert white == pytest.approx(wanted, rel=1e-4)


@pytest.mark.parametrize("words", ["100 %", "cleaning", "landmark that the order names",
                                   "zero reference", "local order"])
def test_the_sheet_says_how_to_cut_hang_and_clean(words):
    text = " ".join(re.findall(r"\((.*?)\) Tj", page("letter")[0]))
    assert words in re.sub(r"\s+", " ", text)
