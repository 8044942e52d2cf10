"""What a ray sees outside the tube: lid, collar, panel, pole, boxes, fingers, wall, lights."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from typing import Any

import numpy as np

from vision.synthetic.chamber.camera import room_axes
from vision.synthetic.chamber.collage import CELLS, collage
from vision.synthetic.chamber.model import AreaLight, ChamberScene

#: What kind of thing a ray met (see ``RoomShader.shade``).
WALL, PANEL, ROD, BOX, LID, COLLAR, STEM = 0, 1, 2, 3, 4, 5, 6
FAR = 1e9
Triple = tuple[Any, Any, Any]
#: Which rays may meet what lies between corners: their numbers, or None where that is not known.
Within = Callable[[np.ndarray], Any]


def direction_of(light: AreaLight) -> np.ndarray:
    """Unit vector towards a light, room's frame."""
    az, el = math.radians(light.azimuth_deg), math.radians(light.elevation_deg)
    return np.array([math.sin(az) * math.cos(el), -math.cos(az) * math.cos(el), math.sin(el)])


class RoomShader:
    """Colours of rays that travel outside the tube; rays come in the chamber's frame.

    ``offset`` is where this chamber stands in the frame of the scene's first
    one (for a neighbour that hangs in the same room).
    """

    def __init__(self, scene: ChamberScene, xp: Any,
                 offset: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> None:
        self.scene, self.xp, self.offset = scene, xp, offset
        self.to_room = [[float(v) for v in row] for row in room_axes(scene)]
        self.middle = scene.middle_mm
        self.outer = float(scene.scale.outer_radius_mm)
        t = scene.tube
        lid_r, collar_r = self.outer + t.lid_overhang_mm, self.outer + t.collar_overhang_mm
        low = t.floor_mm - t.collar_height_mm
        #: (kind, radius, low, high, colour) of the round parts on the chamber's axis.
        self.rounds = [
            (LID, lid_r, t.lid_mm, t.lid_mm + t.lid_height_mm, t.lid_rgb),
            (COLLAR, collar_r, low, t.floor_mm, t.collar_rgb),
            (STEM, t.stem_radius_mm, low - t.stem_length_mm, low, t.tip_rgb),
        ]
        self.lamps = []
        for light in scene.room.lights:
            solid = 4 * math.radians(light.half_width_deg) * math.radians(light.half_height_deg)
            solid *= math.cos(math.radians(light.elevation_deg)) * 0.3 + 0.7
            power = [max(float(c), 0.0) * min(solid, 3.0) / math.pi for c in light.radiance]
            self.lamps.append(([float(v) for v in direction_of(light)], power, light))
        # Exposure: a white card facing the marks is to land at 1.
        facing = self._irradiance_facing()
        self.gain = 1.0 / max(facing, 1e-6)

    def _irradiance_facing(self) -> float:
        room = self.scene.room
        total = sum(room.ambient) / 3 * (0.5 + 0.5 * room.floor_ambient)
        for direction, power, _ in self.lamps:
            total += sum(power) / 3 * max(-direction[1], 0.0)
        return total

    # ---------------------------------------------------------------- frames
    def turned(self, v: Triple) -> Triple:
        """A direction from the chamber's frame to the room's."""
        m = self.to_room
        return tuple(m[i][0] * v[0] + m[i][1] * v[1] + m[i][2] * v[2]  # type: ignore[return-value]
                     for i in range(3))

    def moved(self, p: Triple) -> Triple:
        """A point from the chamber's frame to the room's."""
        dx, dy, dz = self.offset
        return self.turned((p[0] + dx, p[1] + dy, p[2] + (dz - self.middle)))

    # ---------------------------------------------------------------- lights
    def surroundings(self, d: Triple) -> Triple:
        """Radiance of the far room in a direction (room's frame), scaled to the exposure."""
        xp, room = self.xp, self.scene.room
        up = xp.clip(0.5 + d[2] * float(room.horizon), 0, 1)
        up = room.floor_ambient + (1.0 - room.floor_ambient) * up
        out = [up * float(a) for a in room.ambient]
        for _, _, light in self.lamps:
            self._lamp(d, light, out)
        return tuple(xp.maximum(c, 0) * self.gain for c in out)  # type: ignore[return-value]

    def _lamp(self, d: Triple, light: AreaLight, out: list[Any]) -> None:
        """Add a lamp's light for directions (room's frame) that meet it or its soft edge."""
        xp = self.xp
        reach = math.radians(light.half_height_deg + 0.51 * light.edge_deg)
        middle = math.radians(light.elevation_deg)
        # Angles are dear: they are worked out for the band of heights in which it stands only.
        low, high = (math.sin(min(max(middle + way * reach, -math.pi / 2), math.pi / 2))
                     for way in (-1, 1))
        band = xp.nonzero((d[2] > low - 1e-5) & (d[2] < high + 1e-5))[0]
        if not band.shape[0]:
            return
        az = xp.arctan2(d[0].take(band), -d[1].take(band))
        el = xp.arcsin(xp.clip(d[2].take(band), -1, 1))
        soft = 1.0 / math.radians(light.edge_deg)
        gap = xp.abs(az - math.radians(light.azimuth_deg))
        gap = xp.minimum(gap, 2 * math.pi - gap)
        h = math.radians(light.half_height_deg) - xp.abs(el - middle)
        w = math.radians(light.half_width_deg) - gap
        inside = xp.clip(0.5 + soft * h, 0, 1) * xp.clip(0.5 + soft * w, 0, 1)
        if light.bars > 1:
            pane = 2 * math.radians(light.half_width_deg) / light.bars
            at = (w + 10 * pane) / pane
            bar = xp.abs(at - xp.floor(at + 0.5)) * pane
            inside = inside * xp.clip(0.5 + soft * (bar - 0.06 * pane), 0, 1)
        for k in range(3):
            out[k][band] += inside * float(light.radiance[k])

    def lit(self, normal: Triple, shade: list[Any] | None = None) -> Triple:
        """Light arriving on a matt surface (room's frame), scaled to the exposure."""
        xp, room = self.xp, self.scene.room
        up = room.floor_ambient + (1.0 - room.floor_ambient) * (0.5 + 0.5 * normal[2])
        out = [up * float(a) for a in room.ambient]
        for i, (direction, power, _) in enumerate(self.lamps):
            facing = xp.maximum(
                direction[0] * normal[0] + direction[1] * normal[1] + direction[2] * normal[2], 0)
            if shade is not None and shade[i] is not None:
                facing = facing * shade[i]
            for k in range(3):
                out[k] = out[k] + facing * power[k]
        return tuple(c * self.gain for c in out)  # type: ignore[return-value]

    # ---------------------------------------------------------------- shading
    def shade(self, origin: Triple, direction: Triple, met: Any = None,
              within: Within | None = None) -> tuple[Any, Any, Any]:
        """Colour, distance and kind of what each ray meets: (3, N), (N,), (N,) arrays.

        ``met`` (N,) is where a tube ends a ray's way (``FAR``: nowhere): the wall and all else
        behind it stay out of the colours, and ``met`` stays its distance.  ``within`` tells
        which rays may meet what lies between (M, 3) corners (the chamber's frame, before the
        offset): a cheap answer saves asking each ray.
        """
        xp, room = self.xp, self.scene.room
        o, d = self.moved(origin), self.turned(direction)
        n = d[0].shape[0]
        kind = xp.full(n, WALL, dtype=xp.int8)
        far = xp.full(n, FAR, dtype=d[0].dtype)
        # Rays that go away from the wall meet it nowhere near.
        t = (room.wall_y_mm - o[1]) / xp.maximum(d[1], 1e-4)
        # The wall is lit by this room up to about 1.5 m off, then merges with the far room.
        x, z = o[0] + t * d[0], o[2] + t * d[2]
        fade = xp.clip(2.0 - (xp.abs(x) + xp.abs(z)) * (1 / 1500.0), 0, 1) * (d[1] > 1e-4)
        colour = xp.zeros((3, n), dtype=d[0].dtype)
        if met is not None:
            far = xp.minimum(met, FAR)
            fade = xp.where(met < t, 2.0, fade)  # neither wall nor far room
        open_ = xp.nonzero(fade < 1.0)[0]
        if open_.shape[0]:
            sky = self.surroundings(tuple(c.take(open_) for c in d))  # type: ignore[arg-type]
            part = 1.0 - fade.take(open_)
            for k in range(3):
                colour[k, open_] = part * sky[k]
        hit = xp.nonzero((fade > 0.0) & (fade <= 1.0))[0]
        if hit.shape[0]:
            th, fh = t.take(hit), fade.take(hit)
            p = [x.take(hit), o[1].take(hit) + th * d[1].take(hit), z.take(hit)]
            wall = self._flat(p, room.wall_rgb, room.wall_pattern, room.wall_pattern_rgb,
                              room.wall_pattern_mm, 0.0, room.wall_pattern_seed)
            for k in range(3):
                colour[k, hit] += fh * wall[k]
            far[hit] = th
        if room.panel is not None:
            self._panel(o, d, colour, far, kind)
        seen = (colour, far, kind)
        for box in room.boxes:
            self._some(within, self._corners(np.array([box.low, box.high])), self._box, o, d, box,
                       seen)
        for rod in room.rods:
            ends = np.array([rod.start, rod.end])
            span = np.array([ends.min(0) - rod.radius_mm, ends.max(0) + rod.radius_mm])
            self._some(within, self._corners(span), self._rod, o, d, rod, seen)
        self.shade_rounds(origin, direction, colour, far, kind, within)
        return colour, far, kind

    def _corners(self, span: np.ndarray) -> np.ndarray:
        """(8, 3) corners of a block of the room's frame, in that of the rays."""
        corners = np.array(list(itertools.product(*span.T))) @ np.array(self.to_room)
        return corners + np.array([0.0, 0.0, self.middle]) - np.array(self.offset)

    def _some(self, within: Within | None, corners: np.ndarray, shade: Any, o: Triple, d: Triple,
              part: Any, seen: tuple[Any, Any, Any]) -> None:
        """``shade`` a part for those rays that may meet it."""
        which = within(corners) if within else None
        if which is None:
            shade(o, d, part, *seen)
        elif which.shape[0]:
            colour, far, kind = seen
            few = (self.xp.stack([c.take(which) for c in colour]), far.take(which),
                   kind.take(which))
            shade(tuple(c.take(which) for c in o), tuple(c.take(which) for c in d), part, *few)
            for k in range(3):
                colour[k, which] = few[0][k]
            far[which], kind[which] = few[1], few[2]

    def shade_rounds(self, origin: Triple, direction: Triple, colour: Any, far: Any,
                     kind: Any, within: Within | None = None) -> None:
        """Put this chamber's lid, collar and stem into what rays see, where they are nearer."""
        for part in self.rounds:
            _, radius, low, high, _ = part
            span = np.array([[-radius, -radius, low], [radius, radius, high]])
            corners = np.array(list(itertools.product(*span.T)))
            self._some(within, corners, self._round, origin, direction, part, (colour, far, kind))

    def _pattern(self, u: Any, v: Any, name: str, size: float, x: float) -> Any:
        """Share (0..1) of the pattern's colour at panel places (mm)."""
        xp = self.xp
        if name == "rules":
            beside = xp.abs(u - x)
            step = v / size
            rule = xp.abs(step - xp.floor(step + 0.5)) * size
            tall = xp.floor(step + 0.5) % 5 == 0
            printed = (rule < 0.45) & (beside < xp.where(tall, 8.0, 5.0)) & (xp.abs(v) < 95)
            return printed * xp.float32(0.9)
        if name == "stripes":
            return (xp.floor(v / size) % 2 == 0) * xp.float32(0.5)
        if name == "tiles":
            line = xp.minimum(xp.abs(u / size - xp.floor(u / size + 0.5)),
                              xp.abs(v / size - xp.floor(v / size + 0.5)))
            return xp.clip(1.5 - line * size / 0.8, 0, 1) * 0.8
        if name == "blocks":
            cell = xp.sin(xp.floor(u / size) * 12.9898 + xp.floor(v / (0.6 * size)) * 78.233)
            share = cell * 43758.547
            return (share - xp.floor(share) > 0.7) * xp.float32(0.6)
        if name == "speckle":
            wave = xp.sin(u / size * 7.1 + 2.0 * xp.sin(v / size * 5.3))
            return (0.5 + 0.5 * wave * xp.sin(v / size * 6.3 + 2.0 * xp.sin(u / size * 4.1))) * 0.35
        return None

    def _collage(self, u: Any, v: Any, seed: int) -> list[Any]:
        """Colours of a collage at places counted in its cells from the middle."""
        xp, picture = self.xp, self.xp.asarray(collage(seed))
        i, j = xp.floor(v), xp.floor(u)
        fv, fu = v - i, u - j
        i, j = (xp.asarray(c, dtype=xp.int32) + CELLS // 2 for c in (i, j))
        i0, i1, j0, j1 = i % CELLS, (i + 1) % CELLS, j % CELLS, (j + 1) % CELLS
        return [(c[i0, j0] * (1 - fu) + c[i0, j1] * fu) * (1 - fv)
                + (c[i1, j0] * (1 - fu) + c[i1, j1] * fu) * fv for c in picture]

    def _flat(self, p: list[Any], rgb: Any, pattern: str, other: Any, size: float,
              x: float, seed: int = 0) -> list[Any]:
        """Colours of points on a surface square to y (facing the camera)."""
        light = self.lit((0.0, -1.0, 0.0), self._shadows(p))
        if pattern == "collage":
            return [tint * light[k] for k, tint in enumerate(self._collage(
                p[0] / size, p[2] / size, seed))]
        share = self._pattern(p[0], p[2], pattern, size, x)
        out = []
        for k in range(3):
            albedo = float(rgb[k])
            tint = albedo if share is None else albedo + share * (float(other[k]) - albedo)
            out.append(tint * light[k])
        return out

    def _shadows(self, p: list[Any]) -> list[Any]:
        """How much of each lamp reaches points behind the chamber (soft, approximate)."""
        xp, room, t = self.xp, self.scene.room, self.scene.tube
        half = (t.lid_mm - t.floor_mm) / 2
        out: list[Any] = []
        for direction, _, light in self.lamps:
            if direction[1] > -0.1 or max(light.radiance) <= 0:
                out.append(None)
                continue
            # Nearest approach of the ray towards the lamp to the chamber's axis.
            across = direction[0] ** 2 + direction[1] ** 2
            s = -(p[0] * direction[0] + p[1] * direction[1]) / across
            gap = xp.abs(p[0] * direction[1] - p[1] * direction[0]) / math.sqrt(across)
            z = p[2] + s * direction[2]
            soft = 1.0 + 0.5 * xp.maximum(s, 0.0) * math.radians(
                min(light.half_width_deg + light.half_height_deg, 60.0))
            body = xp.clip(0.5 + (self.outer + 1.5 - gap) / (2 * soft), 0, 1) * xp.clip(
                0.5 + (half + t.lid_height_mm - xp.abs(z)) / (2 * soft), 0, 1)
            rim = xp.clip(0.5 + (xp.abs(z) - half) / (2 * soft), 0, 1)
            focus = xp.exp(-((gap / (0.25 * self.outer + soft)) ** 2))
            dark = room.shadow * body * (0.45 + 0.55 * rim - 0.35 * focus * (1 - rim))
            out.append(1.0 - xp.where(s > 0, dark, 0.0))
        return out

    def _panel(self, o: Triple, d: Triple, colour: Any, far: Any, kind: Any) -> None:
        xp, panel = self.xp, self.scene.room.panel
        assert panel is not None
        t = (panel.y_mm - o[1]) / xp.maximum(d[1], 1e-4)
        x, z = o[0] + t * d[0], o[2] + t * d[2]
        c, s = math.cos(math.radians(panel.tilt_deg)), math.sin(math.radians(panel.tilt_deg))
        u, v = c * x + s * z, c * z - s * x
        hit = xp.nonzero((d[1] > 1e-4) & (t > 0) & (t < far)
                         & (u > panel.left_mm) & (u < panel.right_mm)
                         & (v > panel.low_mm) & (v < panel.high_mm))[0]
        if not hit.shape[0]:
            return
        th = t.take(hit)
        p = [u.take(hit), o[1].take(hit) + th * d[1].take(hit), v.take(hit)]
        rgb = self._flat(p, panel.rgb, panel.pattern, panel.pattern_rgb, panel.pattern_mm,
                         panel.pattern_x_mm, panel.pattern_seed)
        for k in range(3):
            colour[k, hit] = rgb[k]
        far[hit] = th
        kind[hit] = PANEL

    def _paint(self, hit: Any, normal: Triple, rgb: Any, gloss: float, d: Triple,
               colour: Any) -> None:
        """Matt colour with a glossy coat at the hits (room's frame)."""
        light = self.lit(normal)
        along = d[0] * normal[0] + d[1] * normal[1] + d[2] * normal[2]
        mirror = (d[0] - 2 * along * normal[0], d[1] - 2 * along * normal[1],
                  d[2] - 2 * along * normal[2])
        shine = self.surroundings(mirror)
        steep = 1.0 - self.xp.minimum(self.xp.abs(along), 1.0)
        grazing = steep * steep
        grazing = grazing * grazing * steep
        share = gloss + (1 - gloss) * 0.5 * grazing
        for k in range(3):
            colour[k, hit] = (1 - share) * float(rgb[k]) * light[k] + share * shine[k]

    def _box(self, o: Triple, d: Triple, box: Any, colour: Any, far: Any, kind: Any) -> None:
        xp = self.xp
        # Slab by slab: most rays are past it sideways, and need not be asked about its height.
        some, enter, leave, axis = None, None, None, None
        for k in (0, 1, 2):
            dk, ok = (d[k], o[k]) if some is None else (d[k].take(some), o[k].take(some))
            safe = xp.where(xp.abs(dk) < 1e-6, 1e-6, dk)
            a, b = (box.low[k] - ok) / safe, (box.high[k] - ok) / safe
            near, out = xp.minimum(a, b), xp.maximum(a, b)
            if enter is None:
                enter, leave, axis = near, out, xp.zeros(near.shape, dtype=xp.int8)
            else:
                axis = xp.where(near > enter, k, axis).astype(xp.int8)
                enter, leave = xp.maximum(enter, near), xp.minimum(leave, out)
            if k:
                nearest = far if some is None else far.take(some)
                left = (enter < leave) & (enter < nearest) & (leave > 1e-3)
                left = xp.nonzero(left if k == 1 else left & (enter > 1e-3))[0]
                if not left.shape[0]:
                    return
                some = left if some is None else some.take(left)
                enter, leave, axis = enter.take(left), leave.take(left), axis.take(left)
        hit = some
        dirs = tuple(d[k].take(hit) for k in range(3))
        normal = tuple(xp.where(axis == k, -xp.sign(dirs[k]), 0.0) for k in range(3))
        self._paint(hit, normal, box.rgb, 0.03, dirs, colour)  # type: ignore[arg-type]
        far[hit] = enter
        kind[hit] = BOX

    def _rod(self, o: Triple, d: Triple, rod: Any, colour: Any, far: Any, kind: Any) -> None:
        xp = self.xp
        a = np.array(rod.start, float)
        axis = np.array(rod.end, float) - a
        length = float(np.linalg.norm(axis))
        ax, ay, az = (float(v) for v in axis / length)
        r2 = float(rod.radius_mm) ** 2
        rel = [o[k] - float(a[k]) for k in range(3)]
        # Rays that pass the rod's line by more than its radius cannot meet it.
        nx, ny, nz = (d[1] * az - d[2] * ay, d[2] * ax - d[0] * az, d[0] * ay - d[1] * ax)
        gap = rel[0] * nx + rel[1] * ny + rel[2] * nz
        near = xp.nonzero(gap * gap < r2 * 1.01 * (nx * nx + ny * ny + nz * nz) + 1e-6)[0]
        if not near.shape[0]:
            return
        rel = [c[near] for c in rel]
        d = (d[0][near], d[1][near], d[2][near])
        ld = d[0] * ax + d[1] * ay + d[2] * az
        lo = rel[0] * ax + rel[1] * ay + rel[2] * az
        pd = [d[0] - ld * ax, d[1] - ld * ay, d[2] - ld * az]
        po = [rel[0] - lo * ax, rel[1] - lo * ay, rel[2] - lo * az]
        qa = pd[0] ** 2 + pd[1] ** 2 + pd[2] ** 2 + 1e-12
        qb = pd[0] * po[0] + pd[1] * po[1] + pd[2] * po[2]
        qc = po[0] ** 2 + po[1] ** 2 + po[2] ** 2 - r2
        disc = qb * qb - qa * qc
        t = xp.where(disc > 0, (-qb - xp.sqrt(xp.maximum(disc, 0))) / qa, FAR)
        s = lo + t * ld
        end = xp.where(s < 0, 0.0, length)
        beyond = (s < 0) | (s > length)
        # The round ends: spheres about the end points.
        e = [rel[0] - end * ax, rel[1] - end * ay, rel[2] - end * az]
        eb = d[0] * e[0] + d[1] * e[1] + d[2] * e[2]
        ec = e[0] ** 2 + e[1] ** 2 + e[2] ** 2 - r2
        edisc = eb * eb - ec
        te = xp.where(edisc > 0, -eb - xp.sqrt(xp.maximum(edisc, 0)), FAR)
        t = xp.where(beyond, te, t)
        hit = xp.nonzero((t > 1e-3) & (t < far[near]))[0]
        if not hit.shape[0]:
            return
        th = t[hit]
        p = [rel[k][hit] + th * d[k][hit] for k in range(3)]
        s = xp.clip(p[0] * ax + p[1] * ay + p[2] * az, 0, length)
        inv = 1.0 / float(rod.radius_mm)
        normal = ((p[0] - s * ax) * inv, (p[1] - s * ay) * inv, (p[2] - s * az) * inv)
        dirs = tuple(d[k][hit] for k in range(3))
        hit = near[hit]
        self._paint(hit, normal, rod.rgb, rod.gloss, dirs, colour)  # type: ignore[arg-type]
        far[hit] = th
        kind[hit] = ROD

    def _round(self, o: Triple, d: Triple, part: Any, colour: Any, far: Any, kind: Any) -> None:
        """A solid cylinder on the chamber's axis (rays in the chamber's frame)."""
        xp = self.xp
        code, radius, low, high, rgb = part
        # Few rays rise or sink enough to reach its height while they are near the axis.
        qa = d[0] * d[0] + d[1] * d[1]
        climb = (low + high) / 2 - o[2]
        away = xp.maximum(xp.abs(climb) - (high - low) / 2, 0.0)
        reach2 = 2.1 * (o[0] * o[0] + o[1] * o[1] + radius**2)
        near = xp.nonzero((d[2] * d[2] * reach2 >= away * away * qa)
                          & ((d[2] * climb > 0) | (away <= 0.01)))[0]
        if not near.shape[0]:
            return
        x, y, dx, dy, qa = (a.take(near) for a in (o[0], o[1], d[0], d[1], qa))
        aside = x * dy - y * dx
        some = xp.nonzero(aside * aside < radius**2 * 1.01 * qa + 1e-3)[0]
        if not some.shape[0]:
            return
        near, x, y, dx, dy, qa = (a.take(some) for a in (near, x, y, dx, dy, qa))
        qa, qb = qa + 1e-12, x * dx + y * dy
        z, dz = o[2].take(near), d[2].take(near)
        disc = qb * qb - qa * (x * x + y * y - radius**2)
        root = xp.sqrt(xp.maximum(disc, 0))
        enter, leave = -(qb + root) / qa, (root - qb) / qa
        # Most of them are above or below it all the way through the endless cylinder.
        first, last = z + xp.maximum(enter, 0.0) * dz, z + leave * dz
        some = xp.nonzero((xp.maximum(first, last) > low - 0.01) & (leave > 0)
                          & (xp.minimum(first, last) < high + 0.01))[0]
        if not some.shape[0]:
            return
        near, disc, t = near.take(some), disc.take(some), enter.take(some)
        o, d = tuple(c.take(near) for c in o), tuple(c.take(near) for c in d)  # type: ignore[assignment]
        z = o[2] + t * d[2]
        side = (disc > 0) & (z >= low) & (z <= high) & (t > 1e-3)
        t = xp.where(side, t, FAR)
        flat = 0.0 * t
        safe = xp.where(xp.abs(d[2]) < 1e-7, 1e-7, d[2])
        for height, face in ((high, 1.0), (low, -1.0)):
            td = (height - o[2]) / safe
            x, y = o[0] + td * d[0], o[1] + td * d[1]
            ok = (td > 1e-3) & (td < t) & (x * x + y * y < radius**2) & (d[2] * face < 0)
            t = xp.where(ok, td, t)
            flat = xp.where(ok, face, flat)
        hit = xp.nonzero(t < far.take(near))[0]
        if not hit.shape[0]:
            return
        th, fh = t.take(hit), flat.take(hit)
        dirs = tuple(d[k].take(hit) for k in range(3))
        x, y = o[0].take(hit) + th * dirs[0], o[1].take(hit) + th * dirs[1]
        wall = (1.0 - xp.abs(fh)) / radius
        hit = near[hit]
        normal = self.turned((x * wall, y * wall, fh))
        self._paint(hit, normal, rgb, 0.03, self.turned(dirs), colour)  # type: ignore[arg-type]
        far[hit] = th
        kind[hit] = code
