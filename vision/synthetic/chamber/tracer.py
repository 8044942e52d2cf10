"""Rays through the chamber: wall, air, liquid surface, liquid, wall, and out again.

Rays travel in batches of one medium.  At each interface both the refracted and
the reflected ray go on, as long as they still carry enough light; nothing is
drawn by lot, so a picture is the same every time.  Most rays are faint (a wall mirrors 4 %): where
several rays are cast for a pixel, it may do to follow the faint ones of one of them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from vision.synthetic.chamber.bore import FAR, Bore, across_axis
from vision.synthetic.chamber.ink import Ink
from vision.synthetic.chamber.model import ChamberScene
from vision.synthetic.chamber.optics import INDEX_AIR, meet, reflected, refracted
from vision.synthetic.chamber.room import RoomShader

WALL, AIR, LIQUID = 0, 1, 2
MAX_ROUNDS = 14
#: Rays that carry less than this share of their pixel's light are let go.
LEAST_WEIGHT = 0.015
#: Rays that carry less than this are faint: the first reflections and what comes after.
FAINT_WEIGHT = 0.06
#: Rays handled at a time: few enough for a processor's cache, enough that a call is worth its cost.
BATCH = 40_000


class ChamberTracer:
    """Traces rays that have met the tube of one scene."""

    def __init__(self, scene: ChamberScene, room: RoomShader, xp: Any,
                 footprint_mm: float = 0.05, batch: int = BATCH) -> None:
        self.batch = batch
        self.scene, self.room, self.xp = scene, room, xp
        self.ink, self.bore = Ink(scene, xp), Bore(scene, xp)
        self.outer = float(scene.scale.outer_radius_mm)
        self.low, self.high = float(scene.tube.floor_mm), float(scene.tube.lid_mm)
        self.index, self.fluid_index = float(scene.tube.index), float(scene.fluid.index)
        self.footprint = float(footprint_mm)
        #: All print lies on the wall nearer than this, with a little to spare.
        self.print_y = -self.outer * math.cos(
            min(self.ink.reach / self.outer, math.pi)) + 1e-3 * self.outer
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
        self.brought: list[tuple[Any, list[Any]]] = []
        self.queue: dict[int | None, list[tuple[Any, Any]]] = {
            WALL: [], AIR: [], LIQUID: [], None: []}  # None: outside
        for i in range(0, rays.shape[1], self.batch):
            self._enter(rays[:, i:i + self.batch], pixels[i:i + self.batch])
        steps = {WALL: self._in_wall, AIR: self._in_air, LIQUID: self._in_liquid}
        for _ in range(MAX_ROUNDS):
            if not any(self.queue[medium] for medium in steps):
                break
            for medium, step in steps.items():
                for rays, pixels in self._batches(medium):
                    step(rays, pixels)
            self._outside()
        for medium in steps:  # what still wanders in the wall glows like the room
            for rays, pixels in self._batches(medium):
                self._deposit(pixels, [rays[6 + k] * (0.4 * self.front_light[k])
                                       for k in range(3)])
        self._outside()
        self._settle()
        strong = self.total[:, :count]
        return strong, 0.0 * strong if chosen is None else self.total[:, count:]

    def _batches(self, medium: int | None) -> Iterator[tuple[Any, Any]]:
        """The rays that wait in a medium, put together to batches; they wait no longer."""
        waiting, self.queue[medium] = self.queue[medium], []
        group: list[tuple[Any, Any]] = []
        size = 0
        for entry in waiting:
            if group and size + entry[1].shape[0] > self.batch:
                yield _joined(group, self.xp)
                group, size = [], 0
            group.append(entry)
            size += entry[1].shape[0]
        if group:
            yield _joined(group, self.xp)

    def _outside(self) -> None:
        """What rays that have left the tube see of the room."""
        for rays, pixels in self._batches(None):
            colour, _, _ = self.room.shade((rays[0], rays[1], rays[2]),
                                           (rays[3], rays[4], rays[5]))
            self._deposit(pixels, [rays[6 + k] * colour[k] for k in range(3)])

    def _deposit(self, pixels: Any, colour: list[Any]) -> None:
        """Note light for pixels; it is added up where enough has come together."""
        self.brought.append((pixels, colour))
        if sum(p.shape[0] for p, _ in self.brought) > max(self.bins, self.batch):
            self._settle()

    def _settle(self) -> None:
        if self.brought:
            pixels = self.xp.concatenate([p for p, _ in self.brought])
            for k in range(3):
                self.total[k] += self.xp.bincount(
                    pixels, weights=self.xp.concatenate([c[k] for _, c in self.brought]),
                    minlength=self.bins)
            self.brought = []

    def _kept(self, strongest: Any, pixels: Any) -> tuple[Any, Any]:
        """(which rays carry enough to go on, the pixels to which they then belong)."""
        keep = strongest > LEAST_WEIGHT
        if self.followed is not None:
            faint = strongest <= FAINT_WEIGHT
            keep &= ~faint | self.followed.take(pixels)
            pixels = pixels + self.count * (faint & (pixels < self.count))
        return keep, pixels

    def _send(self, where: int | None, point: Any, direction: Any, weights: Any, share: Any,
              pixels: Any) -> None:
        """Queue rays of (M,) arrays for a medium (None: outside) with a share of their weights."""
        if pixels.shape[0]:
            packed = self.xp.zeros((9, pixels.shape[0]), dtype=share.dtype)
            for row, a in zip(packed, (*point, *direction), strict=False):
                row[:] = a
            for row, a in zip(packed[6:], weights, strict=True):
                row[:] = a * share
            self.queue[where].append((packed, pixels))

    def _part(self, p: Any, v: Any, normal: Any, eta: Any, weights: Any, pixels: Any,
              met: tuple[Any, Any, Any], back: tuple[int | None, Any],
              onward: list[tuple[int | None, Any, Any]]) -> None:
        """Send on what an interface mirrors and what it lets through.

        All are (N,) arrays or triples of them; ``met`` is what ``optics.meet`` said.  ``back`` is
        the medium of the mirrored rays and their share, ``onward`` holds medium, share and mask
        (None: all) of those that go through.
        """
        xp = self.xp
        along, cos_out, _ = met
        strongest = xp.maximum(xp.maximum(weights[0], weights[1]), weights[2])
        ways = [(*back, None, True), *((*way, False) for way in onward)]
        for where, share, mask, mirrored in ways:
            keep, pix = self._kept(strongest * share, pixels)
            m = xp.nonzero(keep if mask is None else keep & mask)[0]
            if not m.shape[0]:
                continue
            # Directions are worked out for those that go on only.
            d, n, a = ([c.take(m) for c in v], [c.take(m) for c in normal], along.take(m))
            if mirrored:
                d = reflected(d, n, a)
            else:
                behind = eta if isinstance(eta, float) else eta.take(m)
                d = refracted(d, n, behind, a, cos_out.take(m), xp)
            self._send(where, [c.take(m) for c in p], d, [w.take(m) for w in weights],
                       share.take(m), pix.take(m))

    # ----------------------------------------------------------------- events
    def _printed(self, x: Any, y: Any, z: Any) -> tuple[Any, Any] | None:
        """(share stopped, sticker number or -1) by what is printed at outer wall points."""
        xp = self.xp
        stopped = xp.zeros(x.shape, dtype=x.dtype)
        label = xp.full(x.shape, -1, dtype=xp.int8)
        # No print behind this line; an angle is worked out for the rest only.
        close = xp.nonzero(y < self.print_y)[0]
        if close.shape[0]:
            arc = self.outer * xp.arctan2(x.take(close), -y.take(close))
            cover = self.ink.coverage(arc, z.take(close), self.footprint)
            stopped[close] = (cover * float(self.scene.print.opacity)
                              * (xp.abs(arc) < self.ink.reach))
        if self.scene.stickers:
            arc = self.outer * xp.arctan2(x, -y)
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
        eta = INDEX_AIR / self.index
        met = meet(d, normal, eta, self.xp)
        share = met[2]
        stopped, label = self._printed(x, y, z)  # type: ignore[misc]
        self._show_print(rays[6:], pixels, stopped * (1 - share), label, normal, behind=False)
        # Ink has less gloss than the bare wall.
        self._part((x, y, z), d, normal, eta, rays[6:], pixels, met,
                   (None, share * (1 - 0.5 * stopped)),
                   [(WALL, (1 - share) * (1 - stopped), None)])

    def _in_wall(self, rays: Any, pixels: Any) -> None:
        xp = self.xp
        o, d = (rays[0], rays[1], rays[2]), (rays[3], rays[4], rays[5])
        across = across_axis(o, d)
        qa, qb = across[0] + 1e-9, across[1]
        qc = across[2] - self.outer**2
        t_out = (-qb + xp.sqrt(xp.maximum(qb * qb - qa * qc, 0))) / qa
        t_in = self.bore.wall(o, d, False, across)
        t_end = self._ends(o, d)
        t = xp.minimum(xp.minimum(t_out, t_in), t_end)
        ended = t_end <= t
        self._show_end(rays, pixels, t, ended)
        self._leave(rays, pixels, t, xp.nonzero((t_out <= t) & ~ended)[0])
        pick = xp.nonzero((t_in <= t) & (t_in < t_out) & ~ended)[0]
        if not pick.shape[0]:
            return
        p, v = self._moved(rays, t, pick)
        wet = self.bore.above(*p) < 0
        eta = xp.where(wet, self.index / self.fluid_index,
                       self.index / INDEX_AIR).astype(rays.dtype)
        normal = self._wall_normal(p, wet)
        met = meet(v, normal, eta, xp)
        on = 1 - met[2]
        self._part(p, v, normal, eta, [w.take(pick) for w in rays[6:]], pixels.take(pick), met,
                   (WALL, met[2]), [(LIQUID, on, wet), (AIR, on, ~wet)])

    def _moved(self, rays: Any, t: Any, pick: Any) -> tuple[Any, Any]:
        """Points (a triple) where the picked rays are after ``t``, and their directions."""
        v = tuple(a.take(pick) for a in rays[3:6])
        t = t.take(pick)
        return tuple(a.take(pick) + t * b for a, b in zip(rays[:3], v, strict=True)), v

    def _leave(self, rays: Any, pixels: Any, t: Any, pick: Any) -> None:
        """From the wall out through the outer surface."""
        if not pick.shape[0]:
            return
        p, v = self._moved(rays, t, pick)
        normal = (p[0] / self.outer, p[1] / self.outer, 0.0 * p[2])
        eta = self.index / INDEX_AIR
        met = meet(v, normal, eta, self.xp)
        share = met[2]
        w = [a.take(pick) for a in rays[6:]]
        pix = pixels.take(pick)
        stopped, label = self._printed(*p)  # type: ignore[misc]
        self._show_print(w, pix, stopped * (1 - share), label, normal, behind=True)
        self._part(p, v, normal, eta, w, pix, met, (WALL, share),
                   [(None, (1 - share) * (1 - stopped), None)])

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
        ended = (t_end <= t) | lost
        self._show_end(rays, pixels, t, ended)
        if tip is not None:
            met_tip = (tip[0] <= t) & ~ended
            self._show_tip(rays, pixels, t, tip[1], met_tip)
            ended = ended | met_tip
        index = INDEX_AIR if in_air else self.fluid_index
        here, there = (AIR, LIQUID) if in_air else (LIQUID, AIR)
        top = t_top <= t
        for pick, beyond in ((xp.nonzero(top & ~ended)[0], there),
                             (xp.nonzero((t_wall <= t) & ~top & ~ended)[0], WALL)):
            if not pick.shape[0]:
                continue
            p, v = self._moved(rays, t, pick)
            if beyond == WALL:
                normal = self._wall_normal(p, None if not in_air else xp.zeros(
                    pick.shape, dtype=bool))
                eta = index / self.index
            else:
                normal = self.bore.normal(p[0], p[1])
                eta = index / (self.fluid_index if in_air else INDEX_AIR)
            met = meet(v, normal, eta, xp)
            self._part(p, v, normal, eta, [w.take(pick) for w in rays[6:]], pixels.take(pick),
                       met, (here, met[2]), [(beyond, 1 - met[2], None)])

    # ------------------------------------------------------------ inner parts
    def _ends(self, o: Any, d: Any) -> Any:
        """Distance to the lid's underside or the floor."""
        xp = self.xp
        middle, half = (self.high + self.low) / 2, (self.high - self.low) / 2
        safe = xp.copysign(xp.maximum(xp.abs(d[2]), 1e-7), d[2])
        return xp.maximum((middle + xp.copysign(half, safe) - o[2]) / safe, 0.0)

    def _show_end(self, rays: Any, pixels: Any, t: Any, ended: Any) -> None:
        xp, tube = self.xp, self.scene.tube
        pick = xp.nonzero(ended)[0]
        if not pick.shape[0]:
            return
        (x, y, z), _ = self._moved(rays, t, pick)
        top = z > (self.low + self.high) / 2
        rho = xp.sqrt(x * x + y * y) / self.outer
        relief = 0.8 + 0.2 * xp.clip((1.0 - rho) * 6, 0, 1)
        self._deposit(pixels.take(pick), [
            rays[6 + k].take(pick) * relief * self.inside_light[k]
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

    def _show_tip(self, rays: Any, pixels: Any, t: Any, face: Any, met: Any) -> None:
        xp, tube = self.xp, self.scene.tube
        pick = xp.nonzero(met)[0]
        if not pick.shape[0]:
            return
        (x, y, _), _ = self._moved(rays, t, pick)
        inv = 1.0 / float(tube.drip_tip_radius_mm)
        flat = xp.where(face.take(pick), -1.0, 0.0).astype(rays.dtype)
        side = 1.0 + flat
        light = self.room.lit(self.room.turned((x * inv * side, y * inv * side, flat)))
        self._deposit(pixels.take(pick), [
            rays[6 + k].take(pick) * light[k] * (0.8 * float(tube.tip_rgb[k]))
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
        """Normal of the inner wall, bent by drops where the wall is in air (``wet`` is False;
        None: all of it is wet)."""
        normal = self.bore.wall_normal(*p)
        if self.bumps is None or wet is None:
            return normal
        xp = self.xp
        across, upward, columns, rows, step = self.bumps
        dry = xp.nonzero(~wet)[0]
        x, y, z = (c.take(dry) for c in p)
        angle = xp.arctan2(x, -y) * (columns / (2 * math.pi)) + columns / 2
        i = xp.clip(angle.astype(xp.int32), 0, columns - 1)
        j = xp.clip(((z - self.low) / step).astype(xp.int32), 0, rows - 1)
        at = j * columns + i
        a, u = across.take(at), upward.take(at)
        bent = xp.nonzero((a != 0) | (u != 0))[0]
        dry, a, u = dry.take(bent), a.take(bent), u.take(bent)
        nx, ny, nz = (c.take(dry) for c in normal)
        # A slope along the arc and along the axis tips the normal the other way.
        bx, by, bz = nx - a * ny, ny + a * nx, nz + u
        inv = 1.0 / xp.sqrt(bx * bx + by * by + bz * bz)
        for whole, part in zip(normal, (bx, by, bz), strict=True):
            whole[dry] = part * inv
        return normal


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
