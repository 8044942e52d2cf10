"""Calibrating a lens from photos of the printed board, and seeing through it.

The photos are projections of the printed page computed here from the pinhole model
with radial distortion, one ray a pixel into a softened drawing of the page, which is
drawn from the PDF's own operators: independent of the code under test.
"""

from __future__ import annotations

import json
import math
from dataclasses import replace

import cv2
import numpy as np
import pytest
from printed_page import page_grey, page_shapes

from app.exports.cards_pdf import cards_pdf
from vision.errors import InputError
from vision.imaging.camera import focal_px
from vision.imaging.exif import CameraFacts
from vision.imaging.photo import Photo, photo_from_array
from vision.lens.board import FIRST_MARKER, Board, find_board
from vision.lens.calibration import calibrate_lens
from vision.lens.model import Lens, load_lens, save_lens
from vision.lens.undistort import facts_words, through_lens
from vision.reading import Annotation, VolumeReading

WIDTH, HEIGHT, FOCAL = 600, 800, 650.0
PRINCIPAL = np.array([295.0, 404.5])
RADIAL = (0.15, -0.10)
BOARD = Board()
#: What a calibration from 8 small photos has to reach.
FOCAL_SHARE, PRINCIPAL_PX, RADIAL_PX = 0.004, 3.0, 0.5


PX_PER_MM = 8
#: The board as it is printed: page 2 of the file that ``countersight cards`` writes.
SHEET = cards_pdf("a4", board=True)
PAPER = page_grey(SHEET, 1, PX_PER_MM)
#: Softened to about half a pixel of the photos, so that one ray a pixel is enough.
SOFT = cv2.GaussianBlur(PAPER, (0, 0), 2.2).astype(np.float32)


def board_place_mm() -> tuple[float, float]:
    """Where the board's upper left corner lies on the page, mm from the page's own."""
    (_, height), rectangles, _ = page_shapes(SHEET, 1)
    return min(r[1] for r in rectangles), height - max(r[4] for r in rectangles)


PLACE = np.array(board_place_mm())


def bend(flat: np.ndarray) -> np.ndarray:
    r2 = (flat**2).sum(-1, keepdims=True)
    return flat * (1 + RADIAL[0] * r2 + RADIAL[1] * r2**2)


def unbend(bent: np.ndarray) -> np.ndarray:
    flat = bent.copy()
    for _ in range(30):
        r2 = (flat**2).sum(-1, keepdims=True)
        flat = bent / (1 + RADIAL[0] * r2 + RADIAL[1] * r2**2)
    return flat


def rotation(ax: float, ay: float, az: float) -> np.ndarray:
    (sx, sy, sz), (cx, cy, cz) = np.sin([ax, ay, az]), np.cos([ax, ay, az])
    return (np.array([[cz, -sz, 0], [sz, cz, 0], [0, 0, 1]])
            @ np.array([[cy, 0, sy], [0, 1, 0], [-sy, 0, cy]])
            @ np.array([[1, 0, 0], [0, cx, -sx], [0, sx, cx]]))


FLAT = unbend((np.stack(np.meshgrid(np.arange(WIDTH), np.arange(HEIGHT)), -1) - PRINCIPAL) / FOCAL)
RAYS = np.concatenate([FLAT, np.ones((HEIGHT, WIDTH, 1))], -1)


def shoot(angles: tuple[float, float, float], centre_mm: tuple[float, float, float],
          seed: int = 0, f35: float | None = 26.0) -> Photo:
    """A photo of the board with its middle at ``centre_mm`` in the camera's frame."""
    turn = rotation(*np.radians(angles))
    middle = np.array([BOARD.size_mm[0] / 2, BOARD.size_mm[1] / 2, 0])
    shift = np.array(centre_mm) - turn @ middle
    t = (turn[:, 2] @ shift) / (RAYS @ turn[:, 2])
    on_board = (RAYS * t[..., None] - shift) @ turn
    # Pixel k of the drawing covers k/8 to (k+1)/8 mm: its centre lies at half.
    at = ((on_board[..., :2] + PLACE) * PX_PER_MM - 0.5).astype(np.float32)
    image = cv2.remap(SOFT, at[..., 0], at[..., 1], cv2.INTER_LINEAR,
                      borderMode=cv2.BORDER_CONSTANT, borderValue=120)
    noise = np.random.default_rng(seed).normal(0, 2, image.shape)
    grey = np.clip(image + noise, 0, 255).astype(np.uint8)
    return replace(photo_from_array(np.repeat(grey[..., None], 3, 2), f35), name=f"{seed}.jpg")


POSES = [((0, 0, 0), (0, 0, 300)), ((25, 0, 3), (10, -10, 330)), ((-28, 5, -4), (-10, 20, 330)),
         ((4, 30, 0), (15, 0, 330)), ((0, -30, 5), (-15, -10, 320)), ((20, 20, 10), (30, 40, 360)),
         ((-20, -22, -10), (-30, -40, 360)), ((15, -25, 90), (0, 0, 330))]


@pytest.fixture(scope="module")
def photos() -> list[Photo]:
    return [shoot(angles, centre, k) for k, (angles, centre) in enumerate(POSES)]


@pytest.fixture(scope="module")
def lens(photos) -> Lens:
    return calibrate_lens(photos).lens


def test_a_blank_picture_holds_no_board():
    blank = photo_from_array(np.full((400, 300, 3), 128, np.uint8))
    assert len(find_board(blank, BOARD).numbers) == 0


@pytest.mark.slow
def test_corners_are_found_where_the_model_puts_them(photos):
    found = find_board(photos[1], BOARD)
    turn = rotation(*np.radians(POSES[1][0]))
    middle = np.array([*BOARD.size_mm, 0]) / 2
    places = (BOARD.corner_mm(found.numbers) - middle) @ turn.T + np.array(POSES[1][1])
    truth = bend(places[:, :2] / places[:, 2:]) * FOCAL + PRINCIPAL
    off = np.linalg.norm(found.points_px - truth, axis=1)
    assert len(found.numbers) > 0.8 * (BOARD.columns - 1) * (BOARD.rows - 1)
    assert np.median(off) < 0.1 and off.max() < 0.4


def test_the_board_never_holds_a_cards_number():
    _, _, _, markers = BOARD.detector.detectBoard(shoot(*POSES[0]).rgb[..., 0].copy())
    assert np.asarray(markers).min() >= FIRST_MARKER
    assert cv2.aruco.getPredefinedDictionary(
        cv2.aruco.DICT_APRILTAG_36h11).bytesList.shape[0] > FIRST_MARKER + 35


@pytest.mark.slow
def test_the_lens_is_found_again(lens):
    assert lens.focal_px == pytest.approx(FOCAL, rel=FOCAL_SHARE)
    assert lens.principal_px == pytest.approx(tuple(PRINCIPAL), abs=PRINCIPAL_PX)
    assert lens.rms_px < 0.3 and lens.photos >= 6
    at = np.linspace(0, 0.6, 7)
    ours = at * (1 + lens.radial[0] * at**2 + lens.radial[1] * at**4)
    true = at * (1 + RADIAL[0] * at**2 + RADIAL[1] * at**4)
    assert np.abs(ours - true).max() * FOCAL < RADIAL_PX + FOCAL * FOCAL_SHARE
    assert abs(lens.focal_px / FOCAL - 1) < 2 * lens.focal_relative_sd


@pytest.mark.slow
def test_straight_lines_are_straight_through_the_lens(photos, lens):
    """A row of the board's corners lies on a straight line only after the correction."""
    def bow(photo: Photo) -> float:
        found = find_board(photo, BOARD)
        worst = 0.0
        for row in range(BOARD.rows - 1):
            p = found.points_px[found.numbers // (BOARD.columns - 1) == row]
            if len(p) == BOARD.columns - 1:
                centred = p - p.mean(0)
                worst = max(worst, float(np.linalg.svd(centred)[1][1] / math.sqrt(len(p))))
        return worst

    bent, straight = bow(photos[0]), bow(through_lens(photos[0], lens).photo)
    assert bent > 0.35 and straight < bent / 3


@pytest.mark.slow
def test_points_go_there_and_back(photos, lens):
    view = through_lens(photos[0], lens)
    points = np.array([[5.0, 9.0], [300.0, 400.0], [590.0, 790.0]])
    assert view.to_original(view.to_corrected(points)) == pytest.approx(points, abs=1e-6)
    assert np.abs(view.to_corrected(points[0]) - points[0]).max() > 3
    found, corrected = find_board(photos[0], BOARD), find_board(view.photo, BOARD)
    both = np.intersect1d(found.numbers, corrected.numbers)
    a = found.points_px[np.isin(found.numbers, both)]
    b = corrected.points_px[np.isin(corrected.numbers, both)]
    assert np.median(np.abs(view.to_corrected(a) - b)) < 0.1


@pytest.mark.slow
def test_the_working_picture_is_corrected_in_step_with_the_full_one(photos, lens):
    half = photo_from_array(photos[0].rgb, 26.0, working_scale=2)
    view = through_lens(half, lens)
    full = through_lens(photos[0], lens).photo.rgb
    small = full.reshape(HEIGHT // 2, 2, WIDTH // 2, 2, 3).mean((1, 3))
    assert view.photo.working_rgb.shape == small.shape
    assert np.abs(view.photo.working_rgb[20:-20, 20:-20] - small[20:-20, 20:-20]).mean() < 4
    assert np.array_equal(view.photo.rgb, full)


@pytest.mark.slow
def test_the_focal_length_of_the_lens_takes_the_place_of_the_photos_own(photos, lens):
    camera = through_lens(photos[0], lens).photo.camera
    found = focal_px(camera, WIDTH, HEIGHT)
    assert found == pytest.approx((lens.focal_px, lens.focal_relative_sd))
    assert found[1] < focal_px(CameraFacts(26.0), WIDTH, HEIGHT)[1]
    assert "lens file" in facts_words(camera)
    assert "own data" in facts_words(CameraFacts(26.0))
    assert "does not say" in facts_words(CameraFacts())


@pytest.mark.slow
def test_a_reading_comes_back_in_pixels_of_the_photo_as_it_was_taken(photos, lens):
    view = through_lens(photos[0], lens)
    corner = np.array([[580.0, 30.0]])
    seen = VolumeReading("read", "mL", 1.0, "quay-60", value=3.0, surface_px=(580.0, 30.0),
                         annotations=(Annotation("surface", corner),))
    back = view.restored(seen)
    assert view.to_corrected(np.array(back.surface_px)) == pytest.approx((580, 30), abs=1e-6)
    assert back.annotations[0].points_px == pytest.approx(np.array([back.surface_px]))
    assert back.value == 3.0


class TestRefusals:
    @pytest.mark.slow
    def test_too_few_photos(self, photos):
        with pytest.raises(InputError, match="5 of 5"):
            calibrate_lens(photos[:5])

    @pytest.mark.slow
    def test_no_tilt_at_all(self):
        flat = [shoot((0, 0, 5 * k), (12 * (k - 3), 20 * (k - 3), 300), k)
                for k in range(7)]
        with pytest.raises(InputError, match="tilted"):
            calibrate_lens(flat)

    @pytest.mark.slow
    def test_another_size_zoom_or_lens(self, photos):
        small = photo_from_array(photos[0].rgb[:-10], 26.0)
        with pytest.raises(InputError, match="another size"):
            calibrate_lens([photos[0], small])
        zoomed = photo_from_array(photos[0].rgb, 26.0, digital_zoom=2.0)
        with pytest.raises(InputError, match="digital zoom"):
            calibrate_lens([zoomed])
        with pytest.raises(InputError, match="different focal"):
            calibrate_lens([*photos[:6], photo_from_array(photos[6].rgb, 52.0)])

    def test_a_photo_of_another_lens_is_not_corrected(self, photos, lens):
        rgb = photos[0].rgb
        for photo, words in (
                (photo_from_array(rgb[:470], 26.0), "another shape"),
                (photo_from_array(rgb, 52.0), "another lens"),
                (photo_from_array(rgb, 26.0, digital_zoom=1.5), "digital zoom")):
            with pytest.raises(InputError, match=words):
                through_lens(photo, lens)

    def test_a_photo_without_data_may_be_of_the_lens(self, photos, lens):
        assert through_lens(photo_from_array(photos[0].rgb), lens).photo.camera.focal_35mm


class TestFile:
    def test_a_lens_comes_back_as_it_was_kept(self, tmp_path, lens):
        save_lens(lens, tmp_path / "lens.json")
        assert load_lens(tmp_path / "lens.json") == lens

    @pytest.mark.parametrize(("key", "value"), [
        ("width", "wide"), ("focal_px", -4), ("principal_px", [1]), ("radial", [0.1, "x"]),
        ("focal_relative_sd", 5), ("rms_px", None), ("photos", True)])
    def test_impossible_content_is_named(self, tmp_path, lens, key, value):
        save_lens(lens, tmp_path / "lens.json")
        content = json.loads((tmp_path / "lens.json").read_text())
        (tmp_path / "lens.json").write_text(json.dumps({**content, key: value}))
        with pytest.raises(InputError, match=key):
            load_lens(tmp_path / "lens.json")

    @pytest.mark.parametrize("text", ["", "{}", "[1]", '{"kind": "scale"}', "\x00"])
    def test_another_file_is_one_sentence(self, tmp_path, text):
        (tmp_path / "x.json").write_text(text)
        with pytest.raises(InputError, match="not a lens file"):
            load_lens(tmp_path / "x.json")
        with pytest.raises(InputError, match="no lens file"):
            load_lens(tmp_path / "none.json")
