"""The ladder in pictures of a printed tube that were painted apart from the reader."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from drawn_ladders import (
    STEPPED,
    camera_towards,
    even_scale,
    paint_tube,
    paper,
    printed,
    tapered_scale,
)

from vision.graduations.cut_out import recentred
from vision.graduations.fit import GraduationFit, fit_graduations
from vision.graduations.shift_likelihood import shift_evidence
from vision.scale_file.scale import Scale, load_scale, parse_scale

SIZE = (480, 720)
FOCAL = 800.0
#: Of a mark's place on the wall, where it was found: a tenth of the thickness of a mark.
PLACE_MM = 0.1


@lru_cache(maxsize=8)
def scene(elevation: float, roll: float, aim: float, hidden: tuple[int, ...] = (),
          distance: float = 130.0) -> tuple[np.ndarray, Scale, object]:
    scale = load_scale("quay-60")
    camera = camera_towards(elevation, distance, (0, 0, 42.0), roll_deg=roll, aim_deg=(aim, 1.0),
                            focal_px=FOCAL, size=SIZE)
    picture = paint_tube(camera, SIZE, scale.outer_radius_mm, printed(scale, hidden=hidden))
    rng = np.random.default_rng(3)
    picture = picture + rng.normal(0, 1.5, picture.shape).astype(np.float32)
    return picture, scale, camera


def marks_on_wall(fit: GraduationFit, camera) -> np.ndarray:
    """Heights that the fitted pose gives the true places of the marks, minus their own."""
    from drawn_ladders import wall_point
    z = fit.height_mm
    _, found = fit.pose.wall_coordinates(
        camera.project(wall_point(np.zeros(len(z)), z, fit.pose.radius_at_mm(z))))
    return found - z


class TestNothingThere:
    @pytest.mark.parametrize("picture", [
        paper(240, 320), np.random.default_rng(1).normal(120, 40, (240, 320)).astype(np.float32),
        np.tile(np.linspace(0, 255, 320, dtype=np.float32), (240, 1)),
    ], ids=["blank", "noise", "slope"])
    def test_is_no_ladder(self, picture):
        assert fit_graduations(picture, load_scale("quay-60")) is None

    def test_stripes_of_a_blind_are_no_ladder(self):
        picture = paper(400, 300)
        for y in range(20, 380, 30):
            picture[y:y + 12] = 90.0
        assert fit_graduations(picture, load_scale("quay-60")) is None


class TestFound:
    @pytest.mark.slow
    @pytest.mark.parametrize(("elevation", "roll", "aim"),
                             [(0, 0, 0), (14, 6, 3), (-22, -9, -2), (27, 2, 4)])
    def test_marks_and_view(self, elevation, roll, aim):
        picture, scale, camera = scene(elevation, roll, aim)
        fit = fit_graduations(picture, scale, focal=(FOCAL, 0.02))
        assert fit is not None
        in_sight = np.array([0 < y < SIZE[1] - 1 for _, y in camera.project(
            np.column_stack([np.zeros((61, 1)), np.full(61, -16.5), fit.height_mm]))])
        assert fit.seen[in_sight].mean() > 0.9
        assert fit.evidence.best_shift == 0
        assert np.abs(marks_on_wall(fit, camera)[in_sight]).max() < PLACE_MM
        assert np.degrees(fit.pose.elevation_rad(42.0)) == pytest.approx(elevation, abs=1.5)
        assert fit.rival < 0.5

    @pytest.mark.slow
    def test_marks_that_are_covered_are_not_seen(self):
        hidden = tuple(range(22, 29))
        picture, scale, camera = scene(5.0, 1.0, 0.0, hidden)
        fit = fit_graduations(picture, scale, focal=(FOCAL, 0.02))
        assert fit is not None
        assert not fit.seen[list(hidden)].any()
        assert np.abs(marks_on_wall(fit, camera)).max() < PLACE_MM

    @pytest.mark.slow
    def test_without_camera_facts(self):
        picture, scale, camera = scene(14, 6, 3)
        known = fit_graduations(picture, scale, focal=(FOCAL, 0.02))
        fit = fit_graduations(picture, scale)
        assert fit is not None and known is not None
        assert known.focal_known and not fit.focal_known
        assert fit.pose.covariance[1, 1] > known.pose.covariance[1, 1]
        assert np.abs(marks_on_wall(fit, camera)).max() < PLACE_MM

    @pytest.mark.slow
    @pytest.mark.parametrize(("elevation", "roll", "aim"), [(14, 6, 3)])
    def test_a_part_cut_out_of_a_photo_is_noticed(self, elevation, roll, aim):
        """Half the picture was cut away, and what it says of the lens was kept.

        Not every view shows it: distance and lens can make up for one another.
        """
        picture, scale, camera = scene(elevation, roll, aim)
        cut = fit_graduations(picture, scale, focal=(FOCAL / 2, 0.05))
        assert cut is not None and not cut.focal_known
        assert np.abs(marks_on_wall(cut, camera)).max() < 2 * PLACE_MM
        off = abs(np.degrees(float(cut.pose.elevation_rad(42.0))) - elevation)
        assert off < 2.5 * cut.pose.elevation_sd_deg(42.0)

    @pytest.mark.slow
    @pytest.mark.parametrize(("rows", "columns"), [
        (slice(0, 560), slice(60, 400)), (slice(150, 720), slice(120, 480)),
        (slice(60, 640), slice(90, 440))])
    @pytest.mark.parametrize("elevation", [-14.0, 3.0])
    def test_a_part_cut_out_off_the_middle_is_seen_from_the_right_height(
            self, elevation, rows, columns):
        """The lens did not look along the middle of what is left."""
        picture, scale, _ = scene(elevation, 1.0, 0.0)
        part = np.ascontiguousarray(picture[rows, columns])
        # of a photo half as large again, which states its own lens
        found = fit_graduations(part, scale, focal=(FOCAL * 0.6, 0.05))
        assert found is not None
        cut = recentred(replace(found, cut=True))
        off = abs(np.degrees(float(cut.pose.elevation_rad(42.0))) - elevation)
        # it had to be found, and that is said
        assert off < 2.5 * cut.pose.elevation_sd_deg(42.0)
        assert cut.pose.elevation_sd_deg(42.0) >= 1.5

    @pytest.mark.slow
    @pytest.mark.parametrize(("elevation", "roll", "aim"), [(-14.0, 1.0, 0.0), (14, 6, 3)])
    def test_a_whole_photo_stays_whole(self, elevation, roll, aim):
        picture, scale, _ = scene(elevation, roll, aim)
        whole = fit_graduations(picture, scale, focal=(FOCAL, 0.05))
        assert whole is not None
        seen = recentred(whole)
        assert not seen.cut
        np.testing.assert_allclose(seen.pose.params, whole.pose.params)
        assert seen.pose.elevation_sd_deg(42.0) < whole.pose.elevation_sd_deg(42.0) + 0.5

    @pytest.mark.slow
    @pytest.mark.parametrize("elevation", [-14.0, 3.0, 12.0])
    @pytest.mark.parametrize(("left", "top"), [(0, 0), (96, 144), (20, 110)])
    def test_a_part_of_a_camera_s_shape_is_not_surer_than_it_may_be(self, elevation, left, top):
        """Four fifths of a photo, off its middle, that still states the lens of the whole."""
        picture, scale, _ = scene(elevation, 1.0, 0.0)
        part = np.ascontiguousarray(picture[top:top + 576, left:left + 384])
        found = fit_graduations(part, scale, focal=(FOCAL * 0.8, 0.05))
        assert found is not None
        seen = recentred(found).pose
        off = abs(np.degrees(float(seen.elevation_rad(42.0))) - elevation)
        assert off < 2.0 * seen.elevation_sd_deg(42.0)

    @pytest.mark.slow
    @pytest.mark.parametrize("elevation", [-9.0, -3.0, 4.0, 12.0])
    def test_both_rows_of_a_stepped_scale_decide_its_numbering(self, elevation):
        """The upper row of 38 marks alone could be numbered one mark off as well."""
        scale = load_scale("slate-50")
        camera = camera_towards(elevation, 150.0, (0, 0, 42.0), roll_deg=1.0, aim_deg=(2.0, 1.0),
                                focal_px=FOCAL, size=SIZE)
        picture = paint_tube(camera, SIZE, scale.outer_radius_mm, printed(scale))
        fit = fit_graduations(picture, scale, focal=(FOCAL, 0.05))
        assert fit is not None
        assert np.abs(marks_on_wall(fit, camera)).max() < PLACE_MM

    @pytest.mark.slow
    @pytest.mark.parametrize("elevation", [-24.0, -5.0, 3.0, 12.0, 20.0])
    def test_a_tube_whose_outside_is_stepped(self, elevation):
        """The narrow part's marks stand 8 mm farther away than the wide part's."""
        scale = parse_scale(STEPPED)
        camera = camera_towards(elevation, 150.0, (0, 0, 42.0), roll_deg=2.0, aim_deg=(2.0, 1.0),
                                focal_px=FOCAL, size=SIZE)
        picture = paint_tube(camera, SIZE, 0.0, printed(scale), parts=[
            (10.5, -10.0, 29.0), (18.5, 31.0, 95.0)])
        rng = np.random.default_rng(5)
        picture = picture + rng.normal(0, 1.5, picture.shape).astype(np.float32)
        fit = fit_graduations(picture, scale, focal=(FOCAL, 0.02))
        assert fit is not None
        assert np.abs(marks_on_wall(fit, camera)).max() < PLACE_MM
        assert np.degrees(fit.pose.elevation_rad(42.0)) == pytest.approx(elevation, abs=1.0)

    @pytest.mark.slow
    @pytest.mark.parametrize("elevation", [-12.0, 4.0, 12.0])
    def test_most_of_the_upper_row_covered(self, elevation):
        """What is left of it fits the lower row's places, far off, nearly as well."""
        scale = load_scale("slate-50")
        camera = camera_towards(elevation, 150.0, (0, 0, 42.0), roll_deg=1.0, aim_deg=(2.0, 1.0),
                                focal_px=FOCAL, size=SIZE)
        values = [m.value for m in scale.marks]
        hidden = [i for i, v in enumerate(values) if 21 <= v <= 45]
        picture = paint_tube(camera, SIZE, scale.outer_radius_mm, printed(scale, hidden=hidden))
        rng = np.random.default_rng(5)
        picture = picture + rng.normal(0, 2.0, picture.shape).astype(np.float32)
        fit = fit_graduations(picture, scale, focal=(FOCAL, 0.05))
        assert fit is not None
        assert np.abs(marks_on_wall(fit, camera)).max() < 2 * PLACE_MM

    @pytest.mark.slow
    def test_rows_in_the_grain_are_worth_less_than_the_ladder(self):
        """A row of a few pixels is never far off in pixels."""
        picture, scale, _ = scene(5.0, 1.0, 0.0)
        true = fit_graduations(picture, scale, focal=(FOCAL, 0.02))
        assert true is not None
        small = replace(true, pose=replace(true.pose.with_params(
            true.pose.params + np.array([0, 0, 0, 0, 0, -1.4])), residual_px=true.pose.residual_px))
        assert small.pitch_px == pytest.approx(true.pitch_px * np.exp(-1.4), rel=1e-6)
        assert small.log_likelihood < true.log_likelihood - 10.0

    @pytest.mark.slow
    def test_a_typed_number_moves_the_numbering(self):
        # an evenly divided scale whose ends are covered: any shift by five fits
        picture, scale, camera = scene(5.0, 1.0, 0.0, (*range(0, 15), *range(45, 61)))
        at = tuple(camera.project(np.array([[0.0, -16.5, float(scale.height_mm(30))]]))[0])
        for typed in (20.0, 35.0):
            fit = fit_graduations(picture, scale, focal=(FOCAL, 0.02), fixed=(typed, at))
            assert fit is not None
            _, z = fit.pose.wall_coordinates(np.array([at]))
            assert scale.value_at(float(z[0])) == pytest.approx(typed, abs=0.1)

    @pytest.mark.slow
    def test_covered_ends_leave_the_count_open(self):
        whole = fit_graduations(*scene(5.0, 1.0, 0.0)[:2], focal=(FOCAL, 0.02))
        part = fit_graduations(*scene(5.0, 1.0, 0.0, (*range(0, 15), *range(45, 61)))[:2],
                           focal=(FOCAL, 0.02))
        assert whole is not None and part is not None
        assert whole.evidence.margin(0) > 6.0
        assert part.evidence.margin(0) < 6.0


@pytest.mark.slow
def test_another_ladder_is_noticed():
    scale = even_scale()
    colour = printed(scale)
    pictures = [paint_tube(camera_towards(3.0, 130.0, (0, 0, 22.0), aim_deg=(a, 0), focal_px=FOCAL,
                                          size=(260, 480)), (260, 480), 16.5, colour)
                for a in (0.0, 1.0)]
    alone = fit_graduations(pictures[0], scale)
    both = fit_graduations(np.hstack(pictures), scale)
    assert alone is not None and both is not None
    assert both.rival > 0.55 > alone.rival
    assert both.rival_px is not None
    first = fit_graduations(np.hstack(pictures), scale, near=(130.0, 240.0))
    second = fit_graduations(np.hstack(pictures), scale, near=(390.0, 240.0))
    assert first is not None and second is not None
    middles = [float(lad.pose.project(np.array([[0.0, 0.0, 22.0]]))[0, 0])
               for lad in (first, second)]
    assert middles[0] < 260 < middles[1]


def test_a_pose_with_no_mark_in_the_picture_is_no_ladder():
    """A row of chance can lead to a view in which every mark lies beside the picture."""
    picture, scale, _ = scene(4.0, 0.5, 0.0)
    fit = fit_graduations(picture, scale)
    away = fit.pose.params.copy()
    away[1] += 5000.0
    assert shift_evidence(picture, fit.pose.with_params(away), scale, fit.core_rad) is None


@lru_cache(maxsize=1)
def tapered() -> tuple[np.ndarray, Scale]:
    """A picture of a tube whose bore widens upwards, so that no two gaps are alike."""
    scale = tapered_scale()
    camera = camera_towards(5.0, 230.0, (0, 0, 40.0), focal_px=1000.0, size=(420, 640))
    picture = paint_tube(camera, (420, 640), scale.outer_radius_mm, printed(scale))
    return picture + np.random.default_rng(5).normal(0, 1.5, picture.shape), scale


@pytest.mark.slow
@pytest.mark.parametrize("said", [13.0, 13.5, 14.0])
def test_every_numbering_of_an_uneven_scale_is_weighed(said):
    """No run of even gaps is long enough to tell its numbering: no other numbering was compared,
    and a count that was compared with nothing settled it."""
    picture, scale = tapered()
    picture = picture.astype(np.float32)
    right = fit_graduations(picture, scale, focal=(1000.0, 0.02))
    assert right is not None and len(right.evidence.shifts) > 20
    assert right.evidence.best_shift == 0 and 6.0 < right.evidence.margin(0) < np.inf
    mark = next(m for m in scale.marks if m.value == 13.5)
    at = right.pose.project(right.pose.on_wall(np.zeros(1), np.array([mark.height_mm])))[0]
    told = fit_graduations(picture, scale, focal=(1000.0, 0.02),
                           fixed=(said, (float(at[0]), float(at[1]))))
    assert told is not None
    # the marks say by how many places the one that was pointed at was called wrongly
    assert told.evidence.best_shift == round((13.5 - said) / 0.5)
    found = float(told.pose.elevation_rad(40.0))
    if said == 13.5:
        assert np.degrees(found) == pytest.approx(5.0, abs=1.0)


def test_a_row_that_reaches_behind_the_camera_is_not_in_sight():
    """As fitted to the outline of a drinking glass: the scale's lower end lay behind the eye."""
    fit = fit_graduations(*scene(5.0, 1.0, 0.0)[:2], focal=(FOCAL, 0.02))
    assert fit.in_sight
    pose = fit.pose
    near = pose.params.copy()
    near[0], near[3] = 1.02 * pose.radius_mm, np.radians(80.0)  # close to the wall, along it
    assert not replace(fit, pose=pose.with_params(near)).in_sight
