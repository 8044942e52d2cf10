"""Rays outside the tube, compiled: see :class:`vision.synthetic.chamber.room.RoomShader`.

Each function is the one of the same name there, for one ray.  ``room`` is a packed ``RoomTable``
and ``a`` the numbers to which its places point (``tables.packed``).
"""

from __future__ import annotations

import math
from typing import Any

from numba import njit

from vision.synthetic.chamber.collage import CELLS as COLLAGE_CELLS
from vision.synthetic.chamber.compiled.tables import CELLS
from vision.synthetic.chamber.room import BOX, FAR, PANEL, ROD, WALL

#: Sums and quotients may be taken in another order; what is not finite stays as it is.
_LOOSE = {"nsz", "arcp", "contract", "afn", "reassoc"}
#: Functions that are called as they are, and those that become part of what calls them: else a
#: third of the time goes into handing over coordinates.
quick: Any = njit(cache=True, error_model="numpy", fastmath=_LOOSE)
inlined: Any = njit(cache=True, error_model="numpy", fastmath=_LOOSE, forceinline=True)


@inlined
def clip1(x: Any) -> Any:
    """Between 0 and 1."""
    return min(max(x, 0.0), 1.0)


@inlined
def turned(room: Any, a: Any, x: Any, y: Any, z: Any) -> Any:
    """A direction in the room's frame."""
    m = room.turn
    return (a[m] * x + a[m + 1] * y + a[m + 2] * z,
            a[m + 3] * x + a[m + 4] * y + a[m + 5] * z,
            a[m + 6] * x + a[m + 7] * y + a[m + 8] * z)


@quick
def surroundings(room: Any, a: Any, x: Any, y: Any, z: Any) -> Any:
    """Radiance of the far room in a direction of its frame."""
    up = room.floor + (1.0 - room.floor) * clip1(0.5 + z * room.horizon)
    red, green, blue = up * a[room.ambient], up * a[room.ambient + 1], up * a[room.ambient + 2]
    az, el, known = 0.0, 0.0, False
    for k in range(room.lamps_n):
        lamp = room.lamps + 18 * k
        if not a[lamp + 11] < z < a[lamp + 12]:
            continue
        if not known:
            az, el, known = math.atan2(x, -y), math.asin(min(max(z, -1.0), 1.0)), True
        gap = abs(az - a[lamp + 6])
        gap = min(gap, 2 * math.pi - gap)
        w = a[lamp + 8] - gap
        inside = clip1(0.5 + a[lamp + 10] * (a[lamp + 9] - abs(el - a[lamp + 7]))) * clip1(
            0.5 + a[lamp + 10] * w)
        if inside <= 0.0:
            continue
        if a[lamp + 13] > 1:
            pane = 2 * a[lamp + 8] / a[lamp + 13]
            at = (w + 10 * pane) / pane
            bar = abs(at - math.floor(at + 0.5)) * pane
            inside *= clip1(0.5 + a[lamp + 10] * (bar - 0.06 * pane))
        red += inside * a[lamp + 14]
        green += inside * a[lamp + 15]
        blue += inside * a[lamp + 16]
    return (max(red, 0.0) * room.gain, max(green, 0.0) * room.gain, max(blue, 0.0) * room.gain)


@inlined
def lit(room: Any, a: Any, x: Any, y: Any, z: Any) -> Any:
    """Light arriving on a matt surface with that normal."""
    up = room.floor + (1.0 - room.floor) * (0.5 + 0.5 * z)
    red, green, blue = up * a[room.ambient], up * a[room.ambient + 1], up * a[room.ambient + 2]
    for k in range(room.lamps_n):
        lamp = room.lamps + 18 * k
        facing = a[lamp] * x + a[lamp + 1] * y + a[lamp + 2] * z
        if facing > 0.0:
            red += facing * a[lamp + 3]
            green += facing * a[lamp + 4]
            blue += facing * a[lamp + 5]
    return red * room.gain, green * room.gain, blue * room.gain


@inlined
def _pattern(a: Any, flat: Any, u: Any, v: Any) -> Any:
    size = flat.size
    if flat.pattern == 1:
        step = v / size
        whole = math.floor(step + 0.5)
        wide = 8.0 if whole % 5 == 0 else 5.0
        on = abs(step - whole) * size < 0.45 and abs(u - flat.x) < wide and abs(v) < 95
        return 0.9 if on else 0.0
    if flat.pattern == 2:
        return 0.5 if math.floor(v / size) % 2 == 0 else 0.0
    if flat.pattern == 3:
        line = min(abs(u / size - math.floor(u / size + 0.5)),
                   abs(v / size - math.floor(v / size + 0.5)))
        return clip1(1.5 - line * size / 0.8) * 0.8
    if flat.pattern == 4:
        i = min(max(int(math.floor(u / size)) + CELLS, 0), 2 * CELLS - 1)
        j = min(max(int(math.floor(v / (0.6 * size))) + CELLS, 0), 2 * CELLS - 1)
        return a[flat.cells + 2 * CELLS * i + j]
    if flat.pattern == 5:
        wave = math.sin(u / size * 7.1 + 2.0 * math.sin(v / size * 5.3))
        other = math.sin(v / size * 6.3 + 2.0 * math.sin(u / size * 4.1))
        return (0.5 + 0.5 * wave * other) * 0.35
    return 0.0


@inlined
def _collage(a: Any, cells: Any, u: Any, v: Any) -> Any:
    n = COLLAGE_CELLS
    i, j = math.floor(v), math.floor(u)
    fv, fu = v - i, u - j
    i0, j0 = (int(i) + n // 2) % n, (int(j) + n // 2) % n
    i1, j1 = (i0 + 1) % n, (j0 + 1) % n
    w00, w01, w10, w11 = (1 - fu) * (1 - fv), fu * (1 - fv), (1 - fu) * fv, fu * fv
    a0, a1, b0, b1 = (cells + i0 * n + j0, cells + i0 * n + j1, cells + i1 * n + j0,
                      cells + i1 * n + j1)
    m = n * n
    return (w00 * a[a0] + w01 * a[a1] + w10 * a[b0] + w11 * a[b1],
            w00 * a[a0 + m] + w01 * a[a1 + m] + w10 * a[b0 + m] + w11 * a[b1 + m],
            w00 * a[a0 + 2 * m] + w01 * a[a1 + 2 * m] + w10 * a[b0 + 2 * m] + w11 * a[b1 + 2 * m])


@inlined
def _shadow(room: Any, a: Any, lamp: Any, x: Any, y: Any, z: Any) -> Any:
    across = a[lamp] * a[lamp] + a[lamp + 1] * a[lamp + 1]
    s = -(x * a[lamp] + y * a[lamp + 1]) / across
    if s <= 0:
        return 1.0
    gap = abs(x * a[lamp + 1] - y * a[lamp]) / math.sqrt(across)
    soft = 1.0 + 0.5 * s * a[lamp + 17]
    body = clip1(0.5 + (room.outer + 1.5 - gap) / (2 * soft))
    if body <= 0.0:
        return 1.0
    high = abs(z + s * a[lamp + 2])
    body *= clip1(0.5 + (room.half + room.lid - high) / (2 * soft))
    if body <= 0.0:
        return 1.0
    rim = clip1(0.5 + (high - room.half) / (2 * soft))
    q = gap / (0.25 * room.outer + soft)
    return 1.0 - room.shadow * body * (0.45 + 0.55 * rim - 0.35 * math.exp(-q * q) * (1 - rim))


@inlined
def _flat(room: Any, a: Any, flat: Any, x: Any, y: Any, z: Any) -> Any:
    """Colour of a point on a surface square to y."""
    up = room.floor + (1.0 - room.floor) * 0.5
    red, green, blue = up * a[room.ambient], up * a[room.ambient + 1], up * a[room.ambient + 2]
    for k in range(room.lamps_n):
        lamp = room.lamps + 18 * k
        facing = max(-a[lamp + 1], 0.0)
        if facing > 0.0:
            if a[lamp + 17] >= 0:
                facing *= _shadow(room, a, lamp, x, y, z)
            red += facing * a[lamp + 3]
            green += facing * a[lamp + 4]
            blue += facing * a[lamp + 5]
    rgb, other, gain = flat.rgb, flat.other, room.gain
    if flat.pattern == 6:
        tint = _collage(a, flat.cells, x / flat.size, z / flat.size)
        return tint[0] * (red * gain), tint[1] * (green * gain), tint[2] * (blue * gain)
    share = _pattern(a, flat, x, z)
    return ((a[rgb] + share * (a[other] - a[rgb])) * (red * gain),
            (a[rgb + 1] + share * (a[other + 1] - a[rgb + 1])) * (green * gain),
            (a[rgb + 2] + share * (a[other + 2] - a[rgb + 2])) * (blue * gain))


@inlined
def _paint(room: Any, a: Any, n: Any, red: Any, green: Any, blue: Any, gloss: Any, d: Any) -> Any:
    """Matt colour with a glossy coat (room's frame)."""
    light = lit(room, a, n[0], n[1], n[2])
    along = d[0] * n[0] + d[1] * n[1] + d[2] * n[2]
    shine = surroundings(room, a, d[0] - 2 * along * n[0], d[1] - 2 * along * n[1],
                         d[2] - 2 * along * n[2])
    steep = 1.0 - min(abs(along), 1.0)
    share = gloss + (1 - gloss) * 0.5 * steep**5
    return ((1 - share) * red * light[0] + share * shine[0],
            (1 - share) * green * light[1] + share * shine[1],
            (1 - share) * blue * light[2] + share * shine[2])


@inlined
def _box(a: Any, box: Any, o: Any, d: Any, far: Any) -> Any:
    """Where a ray enters a box (FAR: not before ``far``), and by which side."""
    enter, leave, axis = -FAR, FAR, 0
    for k in range(3):
        safe = 1e-6 if abs(d[k]) < 1e-6 else d[k]
        first, last = (a[box + k] - o[k]) / safe, (a[box + 3 + k] - o[k]) / safe
        near = min(first, last)
        if k == 0 or near > enter:
            enter, axis = near, k
        leave = max(first, last) if k == 0 else min(leave, max(first, last))
        if k and not (enter < leave and enter < far and leave > 1e-3):
            return FAR, 0
    if not enter > 1e-3:
        return FAR, 0
    return enter, axis


@inlined
def _rod(a: Any, rod: Any, o: Any, d: Any) -> Any:
    """Where a ray meets a rod or its round ends (FAR: nowhere)."""
    ax, ay, az = a[rod + 3], a[rod + 4], a[rod + 5]
    length, r2 = a[rod + 6], a[rod + 7] * a[rod + 7]
    x, y, z = o[0] - a[rod], o[1] - a[rod + 1], o[2] - a[rod + 2]
    nx, ny, nz = d[1] * az - d[2] * ay, d[2] * ax - d[0] * az, d[0] * ay - d[1] * ax
    gap = x * nx + y * ny + z * nz
    if not gap * gap < r2 * 1.01 * (nx * nx + ny * ny + nz * nz) + 1e-6:
        return FAR
    ld, lo = d[0] * ax + d[1] * ay + d[2] * az, x * ax + y * ay + z * az
    px, py, pz = d[0] - ld * ax, d[1] - ld * ay, d[2] - ld * az
    qx, qy, qz = x - lo * ax, y - lo * ay, z - lo * az
    qa = px * px + py * py + pz * pz + 1e-12
    qb, qc = px * qx + py * qy + pz * qz, qx * qx + qy * qy + qz * qz - r2
    disc = qb * qb - qa * qc
    t = (-qb - math.sqrt(disc)) / qa if disc > 0 else FAR
    s = lo + t * ld
    if 0 <= s <= length:
        return t
    end = 0.0 if s < 0 else length
    x, y, z = x - end * ax, y - end * ay, z - end * az
    eb = d[0] * x + d[1] * y + d[2] * z
    disc = eb * eb - (x * x + y * y + z * z - r2)
    return -eb - math.sqrt(disc) if disc > 0 else FAR


@inlined
def _round(a: Any, part: Any, o: Any, d: Any) -> Any:
    """Where a ray meets a solid cylinder on the axis (chamber's frame), and by which face."""
    radius, low, high = a[part], a[part + 1], a[part + 2]
    qa = d[0] * d[0] + d[1] * d[1]
    aside = o[0] * d[1] - o[1] * d[0]
    if not aside * aside < radius * radius * 1.01 * qa + 1e-3:
        return FAR, 0.0
    qa += 1e-12
    qb = o[0] * d[0] + o[1] * d[1]
    disc = qb * qb - qa * (o[0] * o[0] + o[1] * o[1] - radius * radius)
    root = math.sqrt(max(disc, 0.0))
    t, leave = -(qb + root) / qa, (root - qb) / qa
    first, last = o[2] + max(t, 0.0) * d[2], o[2] + leave * d[2]
    if not (leave > 0 and max(first, last) > low - 0.01 and min(first, last) < high + 0.01):
        return FAR, 0.0
    z = o[2] + t * d[2]
    flat = 0.0
    if not (disc > 0 and low <= z <= high and t > 1e-3):
        t = FAR
    safe = 1e-7 if abs(d[2]) < 1e-7 else d[2]
    for face in (1.0, -1.0):
        td = ((high if face > 0 else low) - o[2]) / safe
        x, y = o[0] + td * d[0], o[1] + td * d[1]
        if td > 1e-3 and td < t and x * x + y * y < radius * radius and d[2] * face < 0:
            t, flat = td, face
    return t, flat


@quick
def shade(room: Any, a: Any, o: Any, d: Any, met: Any) -> Any:
    """Colour (3), distance and kind of what one ray meets (chamber's frame).

    ``met`` as in ``RoomShader.shade``.
    """
    chamber_o, chamber_d = o, d
    o = turned(room, a, o[0] + a[room.shift], o[1] + a[room.shift + 1], o[2] + a[room.shift + 2])
    d = turned(room, a, d[0], d[1], d[2])
    # What is nearest first: colours are worked out for that only.
    kind, far, fade = WALL, min(met, FAR), 2.0
    ahead = max(d[1], 1e-4)
    flat, t = room.wall, (room.wall.y - o[1]) / ahead
    u, v, y = o[0] + t * d[0], o[2] + t * d[2], o[1] + t * d[1]
    if not met < t:
        fade = clip1(2.0 - (abs(u) + abs(v)) * (1 / 1500.0)) if d[1] > 1e-4 else 0.0
        if fade > 0.0:
            far = t
    if room.panel.there:
        panel = room.panel
        t = (panel.y - o[1]) / ahead
        if d[1] > 1e-4 and t > 0 and t < far:
            x, z = o[0] + t * d[0], o[2] + t * d[2]
            cos, sin, k = a[panel.turn], a[panel.turn + 1], panel.edges
            pu, pv = cos * x + sin * z, cos * z - sin * x
            if a[k] < pu < a[k + 1] and a[k + 2] < pv < a[k + 3]:
                flat, u, v, y = panel, pu, pv, o[1] + t * d[1]
                far, kind, fade = t, PANEL, 1.0
    n, red, green, blue, gloss = (0.0, 0.0, 0.0), 0.0, 0.0, 0.0, 0.03
    for k in range(room.boxes_n):
        box = room.boxes + 9 * k
        t, axis = _box(a, box, o, d, far)
        if t < far:
            way = d[axis]
            sign = -1.0 if way > 0 else (1.0 if way < 0 else 0.0)
            n = (sign if axis == 0 else 0.0, sign if axis == 1 else 0.0,
                 sign if axis == 2 else 0.0)
            red, green, blue = a[box + 6], a[box + 7], a[box + 8]
            far, kind = t, BOX
    for k in range(room.rods_n):
        rod = room.rods + 12 * k
        t = _rod(a, rod, o, d)
        if t > 1e-3 and t < far:
            x, y, z = (o[0] - a[rod] + t * d[0], o[1] - a[rod + 1] + t * d[1],
                       o[2] - a[rod + 2] + t * d[2])
            s = min(max(x * a[rod + 3] + y * a[rod + 4] + z * a[rod + 5], 0.0), a[rod + 6])
            inv = 1.0 / a[rod + 7]
            n = ((x - s * a[rod + 3]) * inv, (y - s * a[rod + 4]) * inv, (z - s * a[rod + 5]) * inv)
            red, green, blue, gloss = a[rod + 9], a[rod + 10], a[rod + 11], a[rod + 8]
            far, kind = t, ROD
    for k in range(room.rounds_n):
        body = room.rounds + 7 * k
        t, face = _round(a, body, chamber_o, chamber_d)
        if t < far:
            side = (1.0 - abs(face)) / a[body]
            n = turned(room, a, (chamber_o[0] + t * chamber_d[0]) * side,
                       (chamber_o[1] + t * chamber_d[1]) * side, face)
            red, green, blue, gloss = a[body + 4], a[body + 5], a[body + 6], 0.03
            far, kind = t, int(a[body + 3])
    if kind != WALL and kind != PANEL:
        red, green, blue = _paint(room, a, n, red, green, blue, gloss, d)
        return red, green, blue, far, kind
    if fade < 1.0:
        sky = surroundings(room, a, d[0], d[1], d[2])
        red, green, blue = (1 - fade) * sky[0], (1 - fade) * sky[1], (1 - fade) * sky[2]
    if 0.0 < fade <= 1.0:
        plain = _flat(room, a, flat, u, y, v)
        red, green, blue = red + fade * plain[0], green + fade * plain[1], blue + fade * plain[2]
    return red, green, blue, far, kind


@quick
def shade_all(room: Any, a: Any, o: Any, d: Any, met: Any, colour: Any, far: Any, kind: Any
              ) -> None:
    """``shade`` for rays (N,) each, into ``colour`` (3, N), ``far`` (N,) and ``kind`` (N,)."""
    for i in range(far.shape[0]):
        colour[0, i], colour[1, i], colour[2, i], far[i], kind[i] = shade(
            room, a, (float(o[0][i]), float(o[1][i]), float(o[2][i])),
            (float(d[0][i]), float(d[1][i]), float(d[2][i])), float(met[i]))
