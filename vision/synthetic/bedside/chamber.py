"""A graduated chamber that hangs beside or below the zero card, drawn ray by ray.

Our own invention: a clear tube with lid and base, coloured water and marks all the
way up, on a short string.  It hangs nearly plumb: hook, string and stiff tubing pull
it off by about half a degree each way.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.synthetic.bedside.canvas import Canvas
from vision.synthetic.bedside.geometry import turn_x, turn_y, turn_z

#: How far such a chamber hangs off plumb, each way, one sigma, degrees (our assumption).
HANG_SD_DEG = 0.5


@dataclass(frozen=True)
class HungChamber:
    """A tube from ``foot`` (3,), mm, along the unit vector ``axis`` (3,) that points up.

    ``fill`` is the share of its length that is full; marks ``step_mm`` apart, each fifth
    long, start ``face_rad`` round the tube from ``front`` (3,), a unit vector square to
    the axis.  ``taper`` is by how much the radius grows from foot to lid, as a share.
    """

    foot: np.ndarray
    axis: np.ndarray
    front: np.ndarray
    length_mm: float
    radius_mm: float
    taper: float
    fill: float
    step_mm: float
    face_rad: float
    water: np.ndarray
    cap: np.ndarray
    ink: float
    gleam_rad: float
    hook_mm: float

    def outline(self, position: np.ndarray) -> np.ndarray:
        """(2, 2, 3) left and right outline, foot and lid end of each, from ``position`` (3,)."""
        sides = []
        for sign in (-1.0, 1.0):
            ends = []
            for share in (0.0, 1.0):
                point = self.foot + share * self.length_mm * self.axis
                radius = self.radius_mm * (1 + self.taper * share)
                back = position - point
                back = back - self.axis * (back @ self.axis)
                away = float(np.linalg.norm(back))
                across = np.cross(self.axis, back / away)
                sine = radius / away
                ends.append(point + radius * (sign * np.sqrt(1 - sine**2) * across
                                              + sine * back / away))
            sides.append(ends)
        return np.array(sides)


def random_chamber(rng: np.random.Generator, zero_at: np.ndarray, panel_wide: float,
                   turn_deg: float) -> tuple[HungChamber, tuple[float, float]]:
    """A chamber near the zero card and its hang, degrees sideways and out."""
    hang = rng.normal(0, HANG_SD_DEG, 2)
    axis = turn_z(hang[0]) @ turn_x(hang[1]) @ np.array([0, 1.0, 0])
    radius, length = rng.uniform(12, 21), rng.uniform(110, 190)
    panel_axes = turn_y(turn_deg)
    # In front of the panel below the card, or on a hook at the panel's side.
    if rng.random() < 0.6:
        across = rng.uniform(-1, 1) * max(panel_wide / 2 - radius - 12, 0.0)
        drop = 55 + length + rng.uniform(0, 30)
    else:
        across = rng.choice([-1, 1]) * (panel_wide / 2 + radius + rng.uniform(8, 40))
        drop = length * rng.uniform(0.3, 1.2)
    foot = zero_at + panel_axes @ np.array([across, 0, radius + rng.uniform(6, 25)])
    foot[1] -= drop
    front = panel_axes[:, 2] - axis * float(panel_axes[:, 2] @ axis)
    return HungChamber(
        foot, axis, front / np.linalg.norm(front), length, radius, rng.uniform(0, 0.03),
        rng.uniform(0.05, 0.9), rng.choice([1.4, 2.0, 2.8, 4.0]), rng.uniform(-0.6, 0.2),
        rng.uniform(0.05, 0.8, 3), rng.uniform(0.05, 0.7) * np.ones(3), rng.uniform(0.5, 0.95),
        rng.uniform(-1.0, 1.0), rng.uniform(15, 45)), (float(hang[0]), float(hang[1]))


def paint_chamber(c: Canvas, chamber: HungChamber) -> None:
    """Lay the chamber over what is painted already."""
    lid = chamber.foot + chamber.axis * chamber.length_mm
    pixels = _Pixels(c, np.vstack([chamber.foot, lid]), 2.0 * chamber.radius_mm + 20)
    if pixels.empty:
        return
    pixels.pass_by(chamber.foot, chamber.axis)
    _tube(pixels, chamber)
    wide = chamber.radius_mm * (1.1 + chamber.taper)
    _cap(pixels, chamber, -10.0, 0.0, chamber.radius_mm * 1.1)
    _cap(pixels, chamber, chamber.length_mm, chamber.length_mm + 12.0, wide)


class _Pixels:
    """The sight lines about a stretch of a canvas."""

    def __init__(self, c: Canvas, points: np.ndarray, reach_mm: float) -> None:
        v = c.view
        depth = max(float(v.to_camera(points)[:, 2].min()), 100.0)
        reach = v.focal_px * reach_mm / depth + 4
        p = v.project(points)
        self.x0, self.y0 = (max(0, int(a)) for a in p.min(axis=0) - reach)
        x1, y1 = (int(a) for a in p.max(axis=0) + reach)
        self.part = c.light[self.y0: max(y1, 0), self.x0: max(x1, 0)]
        self.empty = self.part.size == 0
        ys, xs = np.mgrid[self.y0: self.y0 + self.part.shape[0],
                          self.x0: self.x0 + self.part.shape[1]]
        ray = np.dstack([(xs - (v.width - 1) / 2) / v.focal_px,
                         (ys - (v.height - 1) / 2) / v.focal_px, np.ones(xs.shape)])
        self.ray = ray @ v.axes
        self.position = v.position
        self.px_per_mm = v.focal_px / depth

    def lay(self, colour: np.ndarray, alpha: np.ndarray) -> None:
        """Blend a (3,) or (h, w, 3) colour in with (h, w) alpha."""
        rest = 1 - alpha
        for k in range(3):
            self.part[..., k] = self.part[..., k] * rest + colour[..., k] * alpha

    def pass_by(self, foot: np.ndarray, axis: np.ndarray) -> None:
        """Work out once how the sight lines pass the axis that cylinders stand about."""
        w = self.position - foot
        across = self.ray - (self.ray @ axis)[..., None] * axis
        w_across = w - (w @ axis) * axis
        self.size = (across**2).sum(axis=-1)
        self.nearest = -(across @ w_across) / self.size
        miss = w_across + self.nearest[..., None] * across
        side = np.cross(axis, w_across / np.linalg.norm(w_across))
        self.off = np.sign(miss @ side) * np.sqrt((miss**2).sum(axis=-1))
        self.foot, self.axis = foot, axis

    def on_cylinder(self, radius: np.ndarray | float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(offset from the axis in mm, height of the near hit, the hit itself) per pixel."""
        t = self.nearest - np.sqrt(np.maximum(np.square(radius) - self.off**2, 0) / self.size)
        hit = self.position + t[..., None] * self.ray
        return self.off, (hit - self.foot) @ self.axis, hit


def _tube(px: _Pixels, m: HungChamber) -> None:
    """Wall, water, gleam and marks."""
    _, height, _ = px.on_cylinder(m.radius_mm)
    radius = m.radius_mm * (1 + m.taper * np.clip(height / m.length_mm, 0, 1))
    off, height, hit = px.on_cylinder(radius)
    s = off / radius
    soft = np.clip((radius - np.abs(off)) * px.px_per_mm + 0.5, 0, 1)
    body = soft * ((height > -2) & (height < m.length_mm + 2))
    wet = body * np.clip((0.93 - np.abs(s)) * m.radius_mm * px.px_per_mm + 0.5, 0, 1) * np.clip(
        (m.fill * m.length_mm - height) * px.px_per_mm + 0.5, 0, 1)
    px.lay(m.water, 0.6 * wet)
    # Seen edge on the wall is long in the line of sight: dark at the outline.
    px.lay(np.full(3, 0.12), body * (0.04 + 0.55 * np.clip(np.abs(s), 0, 1) ** 10))
    turn = np.arcsin(np.clip(s, -1, 1))
    px.lay(np.ones(3), body * 0.5 * np.exp(-0.5 * ((turn - m.gleam_rad) / 0.08) ** 2))
    out = hit - m.foot - height[..., None] * m.axis
    at = np.arctan2(out @ np.cross(m.axis, m.front), out @ m.front) - m.face_rad
    count = np.rint(height / m.step_mm)
    near = np.clip((0.25 - np.abs(height - count * m.step_mm)) * px.px_per_mm + 0.5, 0, 1)
    long = np.where(count % 5 == 0, 0.9, 0.5)
    ink = near * (at > 0) * (at < long) * (count > 1) * (height < m.length_mm - 4)
    px.lay(np.full(3, 0.03), m.ink * body * ink * min(1.0, 0.5 * px.px_per_mm + 0.3))


def _cap(px: _Pixels, m: HungChamber, low: float, high: float, radius: float) -> None:
    """Lid or base: an opaque disc of some height."""
    off, height, hit = px.on_cylinder(radius)
    on_side = (np.abs(off) < radius) & (height > low) & (height < high)
    shade = 0.6 + 0.4 * np.sqrt(np.clip(1 - (off / radius) ** 2, 0, 1))
    px.lay(m.cap * shade[..., None], on_side.astype(float))
    eye = float((px.position - m.foot) @ m.axis)
    face = high if eye > high else low if eye < low else None
    if face is None:
        return
    t = (face - eye) / (px.ray @ m.axis)
    point = px.position + t[..., None] * px.ray - m.foot - face * m.axis
    on_face = (t > 0) & ((point**2).sum(axis=-1) < radius**2)
    px.lay(m.cap * (1.15 if face == high else 0.7), on_face.astype(float))
