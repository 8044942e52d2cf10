"""Rays through the chamber: wall, air, liquid surface, liquid, wall, and out again.

Rays travel in batches of one medium.  At each interface both the refracted and
the reflected ray go on, as long as they still carry enough light; nothing is
drawn by lot, so a picture is the same every time.  Most rays are faint (a wall mirrors 4 %): where
several rays are cast for a pixel, it may do to follow the faint ones of one of them.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from vision.synthetic.chamber.bore import FAR, Bore
from vision.synthetic.chamber.ink import Ink
from vision.synthetic.chamber.model import ChamberScene
from vision.synthetic.chamber.optics import INDEX_AIR, split
from vision.synthetic.chamber.room import RoomShader

WALL, AIR, LIQUID = 0, 1, 2
MAX_ROUNDS = 14
#: Rays that carry less than this share of their pixel's light are let go.
LEAST_WEIGHT = 0.015
#: Rays that carry less than this are faint: the first reflections and what comes after.
FAINT_WEIGHT = 0.06


class ChamberTracer:
    """Traces rays that have met the tube of one scene."""

    def __init__(self, scene: ChamberScene, room: RoomShader, xp: Any,
                 footprint_mm: float = 0.05) -> None:
        self.scene, self.room, self.xp = scene, room, xp
        self.ink, self.bore = Ink(scene, xp), Bore(scene, xp)
        self.outer = float(scene.scale.outer_radius_mm)
        self.low, self.high = float(scene.tube.floor_mm), float(scene.tube.lid_mm)
        self.index, self.fluid_index = float(scene.tube.index), float(scene.fluid.index)
        self.footprint = float(footprint_mm)
        # Light on lid and floor as seen inside the tube: some from above, some from the front.
        one, none = xp.ones(1, dtype=xp.float32), xp.zeros(1, dtype=xp.float32)
        above = [float(v[0]) for v in room.lit((none, none, one))]
        facing = [float(v[0]) for v in room.lit((none, -one, none))]
        self.inside_light = [0.28 * a + 0.35 * b for a, b in zip(above, facing, strict=True)]
        self.front_light = facing
        self.bumps = _bump_map(scene, self.bore, xp)

    # ------------------------------------------------------------ bookkeeping
    def trace(self, rays: Any, pixels: Any, count: int, chosen: Any = None) -> tuple[Any, Any]:
        """Colours (3, count) that rays bring to their pixels, and those of faint rays on their own.

        ``rays`` is (9, N): a point on the outer wall, a unit direction (towards
        the tube), weights for red, green, blue; ``pixels`` (N,) in 0..count-1.  Where ``chosen``
        (count,) is given, rays that become faint are followed only for the pixels chosen, and what
        they bring is told apart; without it all are followed and there is nothing to tell apart.
        """
        xp = self.xp
        # faint rays go to pixels of their own, behind the others
        self.count, self.bins = count, count if chosen is None else 2 * count
        self.followed = None if chosen is None else xp.concatenate([chosen, chosen | True])
        self.total = xp.zeros((3, self.bins), dtype=xp.float64)
        self.queue: dict[int | None, list[tuple[Any, Any]]] = {
            WALL: [], AIR: [], LIQUID: [], None: []}  # None: outside
        self._enter(rays, pixels)
        steps = {WALL: self._in_wall, AIR: self._in_air, LIQUID: self._in_liquid}
        for _ in range(MAX_ROUNDS):
            if not any(self.queue[medium] for medium in steps):
                break
            for medium, step in steps.items():
                waiting = self.queue[medium]
                if waiting:
                    self.queue[medium] = []
                    step(*_joined(waiting, xp))
        for medium in steps:  # what still wanders in the wall glows like the room
            if self.queue[medium]:
                rays, pixels = _joined(self.queue[medium], xp)
                self._deposit(pixels, [rays[6 + k] * (0.4 * self.front_light[k])
                                       for k in range(3)])
        if self.queue[None]:
            rays, pixels = _joined(self.queue[None], xp)
            colour, _, _ = self.room.shade((rays[0], rays[1], rays[2]),
                                           (rays[3], rays[4], rays[5]))
            self._deposit(pixels, [rays[6 + k] * colour[k] for k in range(3)])
        strong = self.total[:, :count]
        return strong, 0.0 * strong if chosen is None else self.total[:, count:]

    def _deposit(self, pixels: Any, colour: list[Any]) -> None:
        for k in range(3):
            self.total[k] += self.xp.bincount(pixels, weights=colour[k], minlength=self.bins)

    def _send(self, where: int | None, point: Any, direction: Any, weights: list[Any],
              pixels: Any) -> None:
        """Queue rays for a medium (None: outside), dropping what carries too little."""
        xp = self.xp
        strongest = xp.maximum(xp.maximum(weights[0], weights[1]), weights[2])
        keep = strongest > LEAST_WEIGHT
        if self.followed is not None:
            faint = strongest <= FAINT_WEIGHT
            keep &= ~faint | self.followed.take(pixels)
            pixels = pixels + self.count * (faint & (pixels < self.count))
        keep = xp.nonzero(keep)[0]
        if keep.shape[0]:
            packed = xp.zeros((9, keep.shape[0]), dtype=strongest.dtype)
            for row, a in zip(packed, (*point, *direction, *weights), strict=True):
                row[:] = a.take(keep)
            self.queue[where].append((packed, pixels.take(keep)))

    # ----------------------------------------------------------------- events
    def _printed(self, x: Any, y: Any, z: Any) -> tuple[Any, Any] | None:
        """(share stopped, sticker number or -1) by what is printed at outer wall points."""
        xp = self.xp
        arc = self.outer * xp.arctan2(x, -y)
        stopped = xp.zeros(x.shape, dtype=x.dtype)
        close = xp.nonzero(xp.abs(arc) < self.ink.reach)[0]
        if close.shape[0]:
            cover = self.ink.coverage(arc.take(close), z.take(close), self.footprint)
            stopped[close] = cover * float(self.scene.print.opacity)
        label = xp.full(x.shape, -1, dtype=xp.int8)
        for i, s in enumerate(self.scene.stickers):
            on = (arc > s.left_mm) & (arc < s.right_mm) & (z > s.low_mm) & (z < s.high_mm)
            label = xp.where(on, i, label).astype(xp.int8)
        if self.scene.stickers:
            stopped = xp.where(label >= 0, 1.0, stopped).astype(x.dtype)
        return stopped, label

    def _show_print(self, weights: Any, pixels: Any, stopped: Any, label: Any,
                    normal: Any, behind: bool) -> None:
        """Light that print and stickers send back to the eye."""
        xp = self.xp
        on = xp.nonzero(stopped > 1e-3)[0]
        if not on.shape[0]:
            return
        light = self.room.lit(self.room.turned(tuple(n.take(on) for n in normal)))
        label = label.take(on)
        dim = 0.25 if behind else 1.0
        colours = []
        for k in range(3):
            tint = xp.full(on.shape, float(self.scene.print.ink_rgb[k]), dtype=stopped.dtype)
            for i, s in enumerate(self.scene.stickers):
                tint = xp.where(label == i, float(s.rgb[k]), tint)
            colours.append(weights[k].take(on) * stopped.take(on) * tint * light[k] * dim)
        self._deposit(pixels.take(on), colours)

    def _enter(self, rays: Any, pixels: Any) -> None:
        """From outside through the front of the outer wall."""
        x, y, z = rays[0], rays[1], rays[2]
        d = (rays[3], rays[4], rays[5])
        normal = (x / self.outer, y / self.outer, 0.0 * z)
        into, mirrored, share = split(d, normal, INDEX_AIR / self.index, self.xp)
        stopped, label = self._printed(x, y, z)  # type: ignore[misc]
        self._show_print(rays[6:], pixels, stopped * (1 - share), label, normal, behind=False)
        # Ink has less gloss than the bare wall.
        back = share * (1 - 0.5 * stopped)
        self._send(None, (x, y, z), mirrored, [rays[6 + k] * back for k in range(3)], pixels)
        on = (1 - share) * (1 - stopped)
        self._send(WALL, (x, y, z), into, [rays[6 + k] * on for k in range(3)], pixels)

    def _in_wall(self, rays: Any, pixels: Any) -> None:
        xp = self.xp
        o, d = (rays[0], rays[1], rays[2]), (rays[3], rays[4], rays[5])
        qa = d[0] * d[0] + d[1] * d[1] + 1e-9
        qb = o[0] * d[0] + o[1] * d[1]
        qc = o[0] * o[0] + o[1] * o[1] - self.outer**2
        t_out = (-qb + xp.sqrt(xp.maximum(qb * qb - qa * qc, 0))) / qa
        t_in = self.bore.wall(o, d, inside=False)
        t_end = self._ends(o, d)
        t = xp.minimum(xp.minimum(t_out, t_in), t_end)
        point = tuple(o[k] + t * d[k] for k in range(3))
        ended = t_end <= t
        self._show_end(rays, pixels, point, ended)
        self._leave(rays, pixels, point, d, xp.nonzero((t_out <= t) & ~ended)[0])
        pick = xp.nonzero((t_in <= t) & (t_in < t_out) & ~ended)[0]
        if not pick.shape[0]:
            return
        p, v = tuple(a.take(pick) for a in point), tuple(a.take(pick) for a in d)
        wet = self.bore.above(*p) < 0
        eta = xp.where(wet, self.index / self.fluid_index, self.index / INDEX_AIR)
        normal = self._wall_normal(p, wet)
        into, mirrored, share = split(v, normal, eta.astype(rays.dtype), xp)
        w = [rays[6 + k].take(pick) for k in range(3)]
        pix = pixels.take(pick)
        self._send(WALL, p, mirrored, [a * share for a in w], pix)
        for medium, mask in ((LIQUID, wet), (AIR, ~wet)):
            m = xp.nonzero(mask)[0]
            if m.shape[0]:
                on = 1 - share.take(m)
                self._send(medium, tuple(a.take(m) for a in p), tuple(a.take(m) for a in into),
                           [a.take(m) * on for a in w], pix.take(m))

    def _leave(self, rays: Any, pixels: Any, point: Any, d: Any, pick: Any) -> None:
        """From the wall out through the outer surface."""
        if not pick.shape[0]:
            return
        p, v = tuple(a.take(pick) for a in point), tuple(a.take(pick) for a in d)
        normal = (p[0] / self.outer, p[1] / self.outer, 0.0 * p[2])
        onward, mirrored, share = split(v, normal, self.index / INDEX_AIR, self.xp)
        w = [rays[6 + k].take(pick) for k in range(3)]
        pix = pixels.take(pick)
        self._send(WALL, p, mirrored, [a * share for a in w], pix)
        stopped, label = self._printed(*p)  # type: ignore[misc]
        self._show_print(w, pix, stopped * (1 - share), label, normal, behind=True)
        on = (1 - share) * (1 - stopped)
        self._send(None, p, onward, [a * on for a in w], pix)

    def _in_air(self, rays: Any, pixels: Any) -> None:
        self._in_bore(rays, pixels, in_air=True)

    def _in_liquid(self, rays: Any, pixels: Any) -> None:
        self._in_bore(rays, pixels, in_air=False)

    def _in_bore(self, rays: Any, pixels: Any, in_air: bool) -> None:
        xp = self.xp
        o, d = (rays[0], rays[1], rays[2]), (rays[3], rays[4], rays[5])
        t_wall = self.bore.wall(o, d, inside=True)
        t_end = self._ends(o, d)
        t = xp.minimum(t_wall, t_end)
        tip = self._tip(o, d) if in_air else None
        if tip is not None:
            t = xp.minimum(t, tip[0])
        t_top = self.bore.meet(o, d, xp.minimum(t, 1e3), in_air)
        t = xp.minimum(t, t_top)
        lost = t > 1e6
        t = t * ~lost
        if not in_air:
            rays = self._through_liquid(rays, pixels, o, d, t)
        point = tuple(o[k] + t * d[k] for k in range(3))
        ended = (t_end <= t) | lost
        self._show_end(rays, pixels, point, ended)
        if tip is not None:
            met = (tip[0] <= t) & ~ended
            self._show_tip(rays, pixels, point, tip[1], met)
            ended = ended | met
        index = INDEX_AIR if in_air else self.fluid_index
        pick = xp.nonzero((t_top <= t) & ~ended)[0]
        if pick.shape[0]:
            p, v = tuple(a.take(pick) for a in point), tuple(a.take(pick) for a in d)
            normal = self.bore.normal(p[0], p[1])
            other = self.fluid_index if in_air else INDEX_AIR
            onward, mirrored, share = split(v, normal, index / other, xp)
            w, pix = [rays[6 + k].take(pick) for k in range(3)], pixels.take(pick)
            here, there = (AIR, LIQUID) if in_air else (LIQUID, AIR)
            self._send(here, p, mirrored, [a * share for a in w], pix)
            self._send(there, p, onward, [a * (1 - share) for a in w], pix)
        pick = xp.nonzero((t_wall <= t) & (t_top > t) & ~ended)[0]
        if pick.shape[0]:
            p, v = tuple(a.take(pick) for a in point), tuple(a.take(pick) for a in d)
            normal = self._wall_normal(p, xp.full(pick.shape, not in_air))
            onward, mirrored, share = split(v, normal, index / self.index, xp)
            w, pix = [rays[6 + k].take(pick) for k in range(3)], pixels.take(pick)
            self._send(AIR if in_air else LIQUID, p, mirrored, [a * share for a in w], pix)
            self._send(WALL, p, onward, [a * (1 - share) for a in w], pix)

    # ------------------------------------------------------------ inner parts
    def _ends(self, o: Any, d: Any) -> Any:
        """Distance to the lid's underside or the floor."""
        xp = self.xp
        middle, half = (self.high + self.low) / 2, (self.high - self.low) / 2
        safe = xp.copysign(xp.maximum(xp.abs(d[2]), 1e-7), d[2])
        return xp.maximum((middle + xp.copysign(half, safe) - o[2]) / safe, 0.0)

    def _show_end(self, rays: Any, pixels: Any, point: Any, ended: Any) -> None:
        xp, tube = self.xp, self.scene.tube
        pick = xp.nonzero(ended)[0]
        if not pick.shape[0]:
            return
        x, y, z = (a[pick] for a in point)
        top = z > (self.low + self.high) / 2
        rho = xp.sqrt(x * x + y * y) / self.outer
        relief = 0.8 + 0.2 * xp.clip((1.0 - rho) * 6, 0, 1)
        self._deposit(pixels[pick], [
            rays[6 + k][pick] * relief * self.inside_light[k]
            * xp.where(top, 0.8 * float(tube.lid_rgb[k]), float(tube.collar_rgb[k]))
            for k in range(3)])

    def _tip(self, o: Any, d: Any) -> tuple[Any, Any] | None:
        """The drip tip under the lid: distance (FAR: missed) and whether its end face."""
        tube, xp = self.scene.tube, self.xp
        if tube.drip_tip_mm <= 0:
            return None
        r, end = float(tube.drip_tip_radius_mm), self.high - float(tube.drip_tip_mm)
        qa = d[0] * d[0] + d[1] * d[1] + 1e-9
        qb = o[0] * d[0] + o[1] * d[1]
        disc = qb * qb - qa * (o[0] * o[0] + o[1] * o[1] - r * r)
        t = (-qb - xp.sqrt(xp.maximum(disc, 0))) / qa
        t = xp.where((disc > 0) & (t > 1e-3) & (o[2] + t * d[2] > end), t, FAR)
        safe = xp.where(d[2] < 1e-6, 1e-6, d[2])
        td = (end - o[2]) / safe
        x, y = o[0] + td * d[0], o[1] + td * d[1]
        face = (d[2] > 1e-6) & (td > 1e-3) & (td < t) & (x * x + y * y < r * r)
        return xp.where(face, td, t), face

    def _show_tip(self, rays: Any, pixels: Any, point: Any, face: Any, met: Any) -> None:
        xp, tube = self.xp, self.scene.tube
        pick = xp.nonzero(met)[0]
        if not pick.shape[0]:
            return
        x, y = point[0][pick], point[1][pick]
        inv = 1.0 / float(tube.drip_tip_radius_mm)
        flat = xp.where(face[pick], -1.0, 0.0).astype(rays.dtype)
        side = 1.0 + flat
        light = self.room.lit(self.room.turned((x * inv * side, y * inv * side, flat)))
        self._deposit(pixels[pick], [rays[6 + k][pick] * light[k] * (0.8 * float(tube.tip_rgb[k]))
                                     for k in range(3)])

    def _through_liquid(self, rays: Any, pixels: Any, o: Any, d: Any, t: Any) -> Any:
        """Beer-Lambert absorption, and the light the liquid itself scatters back."""
        xp, fluid = self.xp, self.scene.fluid
        if not any(fluid.absorption_per_mm) and not fluid.scatter_per_mm:
            return rays
        length = t
        if fluid.sediment_factor != 1.0:
            z0, z1 = o[2], o[2] + t * d[2]
            low, high = xp.minimum(z0, z1), xp.maximum(z0, z1)
            under = xp.clip((float(fluid.sediment_mm) - low + 0.15) / (high - low + 0.3), 0, 1)
            length = t * (1 + under * (float(fluid.sediment_factor) - 1))
        weights = []
        glow = []
        for k in range(3):
            a, s = float(fluid.absorption_per_mm[k]), float(fluid.scatter_per_mm)
            through = xp.exp(-(a + s) * length)
            if s:
                glow.append(rays[6 + k] * (1 - through) * (s / (a + s)) * (
                    0.8 * float(fluid.scatter_rgb[k]) * self.front_light[k]))
            weights.append(rays[6 + k] * through)
        if glow:
            self._deposit(pixels, glow)
        return xp.concatenate([rays[:6], xp.stack(weights)])

    def _wall_normal(self, p: Any, wet: Any) -> Any:
        """Normal of the inner wall, bent by drops where the wall is in air."""
        normal = self.bore.wall_normal(*p)
        if self.bumps is None:
            return normal
        xp = self.xp
        across, upward, columns, rows, step = self.bumps
        angle = xp.arctan2(p[0], -p[1]) * (columns / (2 * math.pi)) + columns / 2
        i = xp.clip(angle.astype(xp.int32), 0, columns - 1)
        j = xp.clip(((p[2] - self.low) / step).astype(xp.int32), 0, rows - 1)
        at = j * columns + i
        a, u = across.take(at) * ~wet, upward.take(at) * ~wet
        nx, ny, nz = normal
        # A slope along the arc and along the axis tips the normal the other way.
        tx, ty = -ny, nx
        bx, by, bz = nx + a * tx, ny + a * ty, nz + u
        inv = 1.0 / xp.sqrt(bx * bx + by * by + bz * bz)
        return bx * inv, by * inv, bz * inv


def _joined(waiting: list[tuple[Any, Any]], xp: Any) -> tuple[Any, Any]:
    if len(waiting) == 1:
        return waiting[0]
    return (xp.concatenate([r for r, _ in waiting], axis=1),
            xp.concatenate([p for _, p in waiting]))


def _bump_map(scene: ChamberScene, bore: Bore, xp: Any) -> Any:
    """Slopes of the drops on the inner wall on a grid of angle and height."""
    if not scene.drops:
        return None
    step = 0.08
    radius = max(r0 for _, r0, _, _ in bore.pieces)
    columns = int(2 * math.pi * radius / step)
    low, high = scene.tube.floor_mm, scene.tube.lid_mm
    rows = int((high - low) / step) + 1
    across = np.zeros((rows, columns), np.float32)
    upward = np.zeros((rows, columns), np.float32)
    for drop in scene.drops:
        r = drop.radius_mm
        j0, j1 = (int((drop.height_mm - low + s * 1.4 * r) / step) for s in (-1, 1))
        centre = (drop.angle_deg / 360 + 0.5) * columns
        i0, i1 = int(centre - r / step) - 1, int(centre + r / step) + 2
        js = np.arange(max(j0, 0), min(j1 + 1, rows))
        cols = np.arange(i0, i1)
        dz = (js[:, None] * step + low - drop.height_mm) / (
            1 + 0.35 * (js[:, None] * step + low > drop.height_mm))  # longer above: it runs down
        ds = (cols[None] - centre) * step
        q = (dz**2 + ds**2) / r**2
        # A cap of height b: slope 2 b x / r^2, a spherical bowl seen from inside.
        lean = np.where(q < 1, 2 * drop.bulge_mm / r**2, 0.0)
        upward[js[:, None], cols[None] % columns] += (lean * dz).astype(np.float32)
        across[js[:, None], cols[None] % columns] += (lean * ds).astype(np.float32)
    return xp.asarray(across.ravel()), xp.asarray(upward.ravel()), columns, rows, step
