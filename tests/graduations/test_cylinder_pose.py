"""Camera against chamber: projections by OpenCV, and poses found again from their marks."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from drawn_ladders import PinholeCamera, camera_towards, wall_point
from hypothesis import given, settings
from hypothesis import strategies as st

from vision.graduations.cylinder_pose import CylinderPose, MarkPoints, fit_pose
from vision.scale_file.outline import Outline

RADIUS = 16.5
CENTRE = (449.5, 599.5)
HEIGHTS = np.linspace(0.0, 85.0, 61)


def pose_of(distance=300.0, height=60.0, yaw=0.0, pitch=0.0, roll=0.0, focal=1500.0
            ) -> CylinderPose:
    return CylinderPose(np.array([distance, height, yaw, pitch, roll, np.log(focal)]),
                        np.zeros((6, 6)), RADIUS, CENTRE, 0.0)


poses = st.builds(
    pose_of, distance=st.floats(110, 500), height=st.floats(-120, 200),
    yaw=st.floats(-0.2, 0.2), pitch=st.floats(-0.5, 0.5), roll=st.floats(-0.18, 0.18),
    focal=st.floats(700, 3000))


class TestProjection:
    @settings(max_examples=60, deadline=None)
    @given(pose=poses, azimuth=st.floats(-1.0, 1.0), height=st.floats(0, 90))
    def test_as_opencv_projects(self, pose, azimuth, height):
        distance, up, yaw, pitch, roll, _ = pose.params
        # turn about the camera's upright axis, then across, then along the sight line
        rest = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])
        turn = (cv2.Rodrigues(np.array([0, 0, roll]))[0] @ cv2.Rodrigues(np.array([pitch, 0, 0]))[0]
                @ cv2.Rodrigues(np.array([0, yaw, 0]))[0] @ rest)
        k = np.array([[pose.focal_px, 0, CENTRE[0]], [0, pose.focal_px, CENTRE[1]], [0, 0, 1]])
        camera = PinholeCamera(turn, np.array([0, -distance, up]), k)
        point = wall_point(azimuth, height, RADIUS)
        assert pose.on_wall(np.array([azimuth]), np.array([height])) == pytest.approx(point)
        assert pose.project(point)[0] == pytest.approx(camera.project(point)[0], abs=1e-6)

    @settings(max_examples=60, deadline=None)
    @given(pose=poses, share=st.floats(-0.97, 0.97), height=st.floats(0, 90))
    def test_pixel_and_wall_there_and_back(self, pose, share, height):
        azimuth = share * pose.limb_azimuth_rad()
        pixel = pose.project(pose.on_wall(np.array([azimuth]), np.array([height])))
        a, z = pose.wall_coordinates(pixel)
        assert a[0] == pytest.approx(azimuth, abs=1e-6)
        assert z[0] == pytest.approx(height, abs=1e-5)
        assert pose.project(pose.on_wall(a, z)) == pytest.approx(pixel, abs=1e-5)

    @settings(max_examples=60, deadline=None)
    @given(pose=poses, azimuth=st.floats(-1.0, 1.0), height=st.floats(0, 90))
    def test_a_wall_of_uneven_outline(self, pose, azimuth, height):
        outline = Outline((30.0, 60.0), (RADIUS - 6.0, RADIUS))
        uneven = replace(pose, outline=outline)
        point = wall_point(azimuth, height, float(np.interp(height, [30, 60],
                                                            [RADIUS - 6, RADIUS])))
        assert uneven.on_wall(np.array([azimuth]), np.array([height])) == pytest.approx(point)
        net = uneven.project_wall(np.array([azimuth]), np.array([height]))
        pixel = pose.project(point)
        assert net[0] == pytest.approx(pixel, rel=1e-5)
        if abs(pose.elevation_rad(height)) < 0.7 and abs(azimuth) < 0.5:
            a, z = uneven.wall_coordinates(pixel)
            assert (a[0], z[0]) == pytest.approx((azimuth, height), abs=0.02)

    def test_rays_pass_through_what_they_show(self):
        pose = pose_of(height=130.0, pitch=0.3, roll=0.1)
        points = pose.on_wall(np.array([-0.5, 0.0, 0.7]), np.array([10.0, 40.0, 80.0]))
        rays = pose.rays(pose.project(points))
        away = points - pose.camera_centre_mm()
        cross = np.cross(rays, away) / np.linalg.norm(away, axis=1)[:, None]
        assert np.abs(cross).max() < 1e-9

    @settings(max_examples=30, deadline=None)
    @given(pose=poses, height=st.floats(0, 90))
    def test_elevation_is_the_angle_of_the_triangle(self, pose, height):
        d, up = pose.params[:2]
        assert np.tan(pose.elevation_rad(height)) == pytest.approx((up - height) / d, abs=1e-9)

    def test_size_and_outline_in_front(self):
        pose = pose_of(distance=300, height=40, focal=1500)
        # similar triangles: the front of the wall is one radius nearer than the axis
        assert pose.px_per_mm(40.0) == pytest.approx(1500 / (300 - RADIUS), rel=1e-4)
        # the outline is where the sight line touches: half width f R / sqrt(d^2 - R^2)
        limb = pose.limb_azimuth_rad()
        edge = pose.project(pose.on_wall(np.array([limb]), np.array([40.0])))[0, 0] - CENTRE[0]
        assert edge == pytest.approx(1500 * RADIUS / np.sqrt(300**2 - RADIUS**2), rel=1e-6)

    def test_what_lies_behind_the_camera_has_no_place(self):
        assert np.isnan(pose_of().project(np.array([[0.0, -900.0, 60.0]]))).all()


def seen_marks(camera: PinholeCamera, rng: np.random.Generator, noise_px: float,
               drop: float = 0.0) -> MarkPoints:
    """Points on every mark between two azimuths, and the ends of the marks, with noise."""
    heights = HEIGHTS[rng.random(len(HEIGHTS)) >= drop]
    azimuth = np.linspace(-0.35, 0.45, 7)
    z = np.repeat(heights, len(azimuth))
    points = camera.project(wall_point(np.tile(azimuth, len(heights)), z, RADIUS))
    ends = np.concatenate([camera.project(wall_point(np.full(len(heights), a), heights, RADIUS))
                           for a in (-0.35, 0.45)])
    kind = np.repeat([0, 1], len(heights))
    return MarkPoints(points + rng.normal(0, noise_px, points.shape), z,
                      ends + rng.normal(0, 4 * noise_px, ends.shape), kind, np.tile(heights, 2))


def elevation_and_sd_deg(pose: CylinderPose, level_mm: float) -> tuple[float, float]:
    """By numerical derivatives of the two parameters that decide it."""
    g = np.zeros(6)
    for k in range(2):
        step = np.zeros(6)
        step[k] = 1e-3
        g[k] = (pose.with_params(pose.params + step).elevation_rad(level_mm)
                - pose.with_params(pose.params - step).elevation_rad(level_mm)) / 2e-3
    return (float(np.degrees(pose.elevation_rad(level_mm))),
            float(np.degrees(np.sqrt(g @ pose.covariance @ g))))


class TestFound:
    """Poses drawn at random; the camera is OpenCV's, the noise Gaussian.

    The focal length told to the fit is off by a random error of the stated size.
    """

    @staticmethod
    def draw(seed: int, focal_sd: float, noise_px: float = 0.15, drop: float = 0.0):
        rng = np.random.default_rng([31, seed])
        elevation, level = rng.uniform(-28, 28), rng.uniform(10, 75)
        camera = camera_towards(elevation, rng.uniform(140, 400), (0, 0, level),
                                roll_deg=rng.uniform(-8, 8), aim_deg=rng.uniform(-5, 5, 2),
                                focal_px=1500.0)
        marks = seen_marks(camera, rng, noise_px, drop)
        told = 1500.0 * float(np.exp(rng.normal(0, focal_sd)))
        pose = fit_pose(marks, RADIUS, CENTRE, told, focal_sd)
        at, sd = elevation_and_sd_deg(pose, level)
        return at - elevation, sd, pose, camera

    def test_without_noise_exactly(self):
        for seed in range(6):
            error, _, pose, camera = self.draw(seed, 1e-4, noise_px=0.0)
            assert abs(error) < 0.05
            there = wall_point(np.array([0.0, 0.3]), np.array([5.0, 70.0]), RADIUS)
            assert pose.project(there) == pytest.approx(camera.project(there), abs=0.1)

    @pytest.mark.slow
    @pytest.mark.parametrize("focal_sd", [0.02, 0.06])
    def test_errors_agree_with_the_stated_uncertainty(self, focal_sd):
        found = [self.draw(seed, focal_sd)[:2] for seed in range(40)]
        error, sd = np.array(found).T
        assert np.abs(error).mean() < 0.6
        # 40 standardised errors: 95 % of them within 2 sd, with binomial room
        # (P(fewer than 34 of 40 | p = 0.95) < 0.5 %), and none beyond 4.
        z = error / sd
        assert (np.abs(z) < 2).sum() >= 34
        assert np.abs(z).max() < 4

    def test_a_third_of_the_marks_covered(self):
        error, sd = np.array([self.draw(s, 0.03, drop=0.35)[:2] for s in range(20)]).T
        assert (np.abs(error) < 3 * sd).all()

    def test_unknown_focal_length_widens_the_uncertainty(self):
        for seed in range(5):
            known, unknown = self.draw(seed, 0.015)[1], self.draw(seed, 0.35)[1]
            assert unknown > known

    def test_some_wild_points_do_no_harm(self):
        rng = np.random.default_rng(8)
        camera = camera_towards(12.0, 250.0, (0, 0, 40.0))
        marks = seen_marks(camera, rng, 0.15)
        points = marks.points_px.copy()
        wild = rng.choice(len(points), len(points) // 10, replace=False)
        points[wild] += rng.uniform(-15, 15, (len(wild), 2))
        pose = fit_pose(MarkPoints(points, marks.height_mm, marks.ends_px, marks.end_kind,
                                   marks.end_height_mm),
                        RADIUS, CENTRE, 1500.0, 0.02)
        at, sd = elevation_and_sd_deg(pose, 40.0)
        assert at == pytest.approx(12.0, abs=max(3 * sd, 0.5))

    @pytest.mark.parametrize("elevation", [-34.0, -27.0, 27.0, 34.0])
    @pytest.mark.parametrize("turn", [-0.5, 0.5])
    def test_from_close_by_a_steep_and_turned_view_is_found_too(self, elevation, turn):
        rng = np.random.default_rng(5)
        camera = camera_towards(elevation, 175.0, (0, 0, 30.0), roll_deg=-9.0, focal_px=1500.0)
        azimuth = turn + np.linspace(-0.25, 0.25, 7)
        z = np.repeat(HEIGHTS, len(azimuth))
        points = camera.project(wall_point(np.tile(azimuth, len(HEIGHTS)), z, RADIUS))
        ends = np.concatenate([camera.project(wall_point(np.full(len(HEIGHTS), a), HEIGHTS, RADIUS))
                               for a in azimuth[[0, -1]]])
        marks = MarkPoints(points + rng.normal(0, 0.15, points.shape), z, ends,
                           np.repeat([0, 1], len(HEIGHTS)), np.tile(HEIGHTS, 2))
        pose = fit_pose(marks, RADIUS, CENTRE, 1500.0, 0.05, point_sd_px=0.5)
        at, sd = elevation_and_sd_deg(pose, 30.0)
        assert at == pytest.approx(elevation, abs=max(3 * sd, 0.5))
        assert pose.residual_px < 0.5

    def test_covariance_is_symmetric_and_not_negative(self):
        pose = self.draw(3, 0.03)[2]
        assert pose.covariance == pytest.approx(pose.covariance.T)
        assert np.linalg.eigvalsh(pose.covariance).min() > -1e-9
        assert pose.residual_px == pytest.approx(0.15, abs=0.06)
