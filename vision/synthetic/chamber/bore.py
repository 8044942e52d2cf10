"""The inner wall and the liquid surface as shapes a ray can meet."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from vision.synthetic.chamber.camera import room_axes
from vision.synthetic.chamber.meniscus import MeniscusProfile, meniscus_profile
from vision.synthetic.chamber.model import ChamberScene

FAR = 1e9
#: The same in single precision, which a truth value times it then keeps.
_FAR = np.float32(FAR)
NEWTON_STEPS = 7


def bore_profile(scene: ChamberScene) -> np.ndarray:
    """(N, 2) knots (height, radius) of the inner wall in mm, straight between them."""
    scale = scene.scale
    values = np.array([v for v, _ in scale.diameter_knots])
    radii = np.array([d / 2 for _, d in scale.diameter_knots])
    heights = np.asarray(scale.height_mm(values), float).reshape(-1)
    order = np.argsort(heights)
    heights, radii = heights[order], radii[order]
    low, high = scene.tube.floor_mm - 1.0, scene.tube.lid_mm + 1.0
    z = [low, *heights[(heights > low) & (heights < high)], high]
    return np.stack([z, np.interp(z, heights, radii)], 1)


def scene_meniscus(scene: ChamberScene) -> MeniscusProfile:
    """The surface profile of a scene, for the bore at its level.

    Where the wall tapers, the contact angle is taken against the wall as it
    stands there; a surface that would have to bend down at the wall is taken
    as flat.
    """
    knots = bore_profile(scene)
    level = scene.level_mm
    radius = float(np.interp(level, knots[:, 0], knots[:, 1]))
    step = 0.5
    taper = math.degrees(math.atan2(
        float(np.interp(level + step, knots[:, 0], knots[:, 1])) - radius, step))
    angle = min(max(scene.contact_angle_deg + taper, 3.0), 90.0)
    return meniscus_profile(radius, angle)


def across_axis(o: Any, d: Any) -> tuple[Any, Any, Any]:
    """Of rays square to the axis: direction squared, place times direction, place squared."""
    return d[0] * d[0] + d[1] * d[1], o[0] * d[0] + o[1] * d[1], o[0] * o[0] + o[1] * o[1]


class Bore:
    """Inner wall and surface of one scene on an array module."""

    def __init__(self, scene: ChamberScene, xp: Any) -> None:
        self.xp = xp
        knots = bore_profile(scene)
        self.pieces: list[tuple[float, float, float, float]] = []
        for (z0, r0), (z1, r1) in zip(knots[:-1], knots[1:], strict=True):
            k = float((r1 - r0) / max(z1 - z0, 1e-6))
            if self.pieces and abs(self.pieces[-1][3] - k) < 1e-6:
                z0, r0 = self.pieces.pop()[:2]
            self.pieces.append((float(z0), float(r0), float(z1), k))
        self.straight = len(self.pieces) == 1 and abs(self.pieces[0][3]) < 1e-9
        profile = scene_meniscus(scene)
        self.level = scene.level_mm
        up = room_axes(scene)[2]
        self.tilt_x, self.tilt_y = float(-up[0] / up[2]), float(-up[1] / up[2])
        self.radius = float(profile.bore_radius_mm)
        self.step = self.radius / (len(profile.rise_mm) - 1)
        self.last = len(profile.rise_mm) - 2
        self.rise = xp.asarray(profile.rise_mm.astype(np.float32))
        self.pieces_up = self.rise[1:] - self.rise[:-1]
        self.slope = xp.asarray(profile.slope.astype(np.float32))
        tallest = math.hypot(self.tilt_x, self.tilt_y) * self.radius * 1.1
        self.band_low = self.level - tallest - 0.01
        self.band_high = self.level + tallest + profile.rim_mm * 1.05 + 0.3

    # --------------------------------------------------------------- surface
    def _lookup(self, x: Any, y: Any) -> tuple[Any, Any, Any, Any, Any]:
        """Distance from the axis, place in the table and share of the step beyond it, height and
        steepness of the surface there."""
        xp = self.xp
        rho = xp.sqrt(x * x + y * y)
        at = rho * (1.0 / self.step)
        i = xp.minimum(at.astype(xp.int32), self.last)
        # A whole number less a single-precision one would be double: twice the work, and all that
        # these rays meet later would be worked out in double precision, too.
        part = at - i.astype(at.dtype)
        piece = self.pieces_up.take(i)
        return rho, i, part, self.rise.take(i) + piece * part, piece * (1.0 / self.step)

    def above(self, x: Any, y: Any, z: Any) -> Any:
        """Height of points above the liquid surface (negative: in the liquid)."""
        _, _, _, rise, _ = self._lookup(x, y)
        return z - self.level - self.tilt_x * x - self.tilt_y * y - rise

    def normal(self, x: Any, y: Any) -> tuple[Any, Any, Any]:
        """Unit normal of the surface, upwards."""
        xp = self.xp
        rho, i, part, _, _ = self._lookup(x, y)
        part = xp.clip(part, 0, 1)
        slope = self.slope.take(i) * (1 - part) + self.slope.take(i + 1) * part
        over = slope / xp.maximum(rho, 1e-4)
        nx, ny = -(self.tilt_x + over * x), -(self.tilt_y + over * y)
        inv = 1.0 / xp.sqrt(nx * nx + ny * ny + 1.0)
        return nx * inv, ny * inv, inv

    def meet(self, o: Any, d: Any, leave: Any, in_air: bool) -> Any:
        """Distance to the surface for rays inside the bore, FAR where it is not met.

        The surface is convex, so along a ray its gap (height above it) is
        concave: Newton's method from the end that lies in the liquid runs
        straight to the crossing next to it, without overshoot.
        """
        xp = self.xp
        x1, y1, z1 = (o[k] + leave * d[k] for k in range(3))
        low, high = xp.minimum(o[2], z1), xp.maximum(o[2], z1)
        near = (low < self.band_high) & (high > self.band_low)
        out = xp.full(leave.shape, FAR, dtype=leave.dtype)
        pick = xp.nonzero(near)[0]
        if not pick.shape[0]:
            return out
        if in_air:
            pick = pick[self.above(x1.take(pick), y1.take(pick), z1.take(pick)) < 0]
        if not pick.shape[0]:
            return out
        ox, oy, oz, dx, dy, dz = (a.take(pick) for a in (*o, *d))
        end = leave.take(pick)
        t = end if in_air else xp.zeros_like(end)
        live = xp.ones(end.shape, dtype=bool)
        for _ in range(NEWTON_STEPS):
            x, y, z = ox + t * dx, oy + t * dy, oz + t * dz
            rho, _, _, rise, steep = self._lookup(x, y)
            gap = z - self.level - self.tilt_x * x - self.tilt_y * y - rise
            rate = (dz - self.tilt_x * dx - self.tilt_y * dy
                    - steep * (x * dx + y * dy) / xp.maximum(rho, 1e-5))
            good = rate < -1e-6 if in_air else rate > 1e-6
            live = live & (good | (xp.abs(gap) < 1e-4))
            move = xp.where(good, gap / xp.where(good, rate, 1.0), 0.0)
            t = xp.clip(t - move, -1.0, end + 1.0)
        fits = live & (t > (1e-3 if in_air else -1e-3)) & (t < end) & (xp.abs(gap) < 0.05)
        if not in_air:
            t = xp.maximum(t, 0.0)
            fits = fits & (rate > 0)
        out[pick] = xp.where(fits, t, FAR)
        return out

    # ------------------------------------------------------------ inner wall
    def wall(self, o: Any, d: Any, inside: bool, across: tuple[Any, Any, Any] | None = None
             ) -> Any:
        """Distance to the inner wall from inside the bore or from the plastic (FAR: none).

        ``across`` is what :func:`across_axis` says of the rays, where the caller has it.
        """
        dd, od, oo = across or across_axis(o, d)
        if self.straight:
            return self._straight_wall(dd, od, oo, inside)
        xp = self.xp
        best = None
        for z0, r0, z1, k in self.pieces:
            w = r0 + k * (o[2] - z0)
            s = k * d[2]
            qa, qb, qc = dd - s * s, od - w * s, oo - w * w
            disc = qb * qb - qa * qc
            root = xp.sqrt(xp.maximum(disc, 0))
            qa = xp.where(xp.abs(qa) < 1e-9, 1e-9, qa)
            for candidate in (-(qb + root) / qa, (root - qb) / qa):
                z = o[2] + candidate * d[2]
                # A wall is met only from the side on which the ray travels.
                x, y = o[0] + candidate * d[0], o[1] + candidate * d[1]
                outward = x * d[0] + y * d[1] - k * (w + k * candidate * d[2]) * d[2]
                ok = ((disc > 0) & (candidate > 2e-3) & (z > z0 - 1e-3) & (z < z1 + 1e-3)
                      & ((outward > 0) if inside else (outward < 0)))
                # What is not met is put far away by adding: several times quicker than a choice.
                t = xp.abs(candidate) + _FAR * ~ok
                best = t if best is None else xp.minimum(best, t)
        return best

    def _straight_wall(self, dd: Any, od: Any, oo: Any, inside: bool) -> Any:
        """The same for a cylinder."""
        xp = self.xp
        radius = xp.float32(self.pieces[0][1])
        disc = od * od - dd * (oo - radius * radius)
        root = xp.sqrt(xp.maximum(disc, 0))
        dd = xp.maximum(dd, 1e-9)
        missed = disc <= 0
        if inside:
            return (root - od) / dd + _FAR * missed
        near = -(od + root) / dd
        out = near + _FAR * (missed | (near <= 2e-3))
        # The later one counts where drops on the wall have turned a ray inwards.
        again = xp.nonzero(~missed & (near <= 2e-3))[0]
        later = (root.take(again) - od.take(again)) / dd.take(again)
        out[again] = later + _FAR * (later <= 2e-3)
        return out

    def wall_normal(self, x: Any, y: Any, z: Any) -> tuple[Any, Any, Any]:
        """Unit normal of the inner wall, away from the axis."""
        xp = self.xp
        inv = 1.0 / xp.maximum(xp.sqrt(x * x + y * y), 1e-6)
        if self.straight:
            return x * inv, y * inv, 0.0 * z
        k = xp.zeros_like(z)
        for z0, _, z1, slope in self.pieces:
            k = xp.where((z >= z0) & (z < z1), slope, k)
        size = 1.0 / xp.sqrt(1 + k * k)
        return x * inv * size, y * inv * size, -k * size
