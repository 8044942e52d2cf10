"""Inner wall, liquid surface and print, compiled: see ``bore.Bore`` and ``ink.Ink``.

Each function is the method of the same name there, for one ray or point.  ``tube`` is a
packed ``TubeTable`` and ``a`` the numbers to which its places point (``tables.packed``).
"""

from __future__ import annotations

import math
from typing import Any

from vision.synthetic.chamber.bore import FAR, NEWTON_STEPS
from vision.synthetic.chamber.compiled.room_rays import clip1, inlined
from vision.synthetic.chamber.glyphs import COLS, ROWS


@inlined
def _lookup(tube: Any, a: Any, x: Any, y: Any) -> Any:
    """Distance from the axis, place in the table, share of the step beyond it, height there and
    steepness of the surface."""
    rho = math.sqrt(x * x + y * y)
    at = rho / tube.step
    i = min(int(at), tube.rise_n - 2)
    here = a[tube.rise + i]
    piece = a[tube.rise + i + 1] - here
    return rho, i, at - i, here + piece * (at - i), piece / tube.step


@inlined
def above(tube: Any, a: Any, x: Any, y: Any, z: Any) -> Any:
    """Height of a point above the liquid surface."""
    return z - tube.level - a[tube.tilt] * x - a[tube.tilt + 1] * y - _lookup(tube, a, x, y)[3]


@inlined
def normal(tube: Any, a: Any, x: Any, y: Any) -> Any:
    """Unit normal of the surface, upwards."""
    rho, i, part, _, _ = _lookup(tube, a, x, y)
    part = clip1(part)
    slope = a[tube.slope + i] * (1 - part) + a[tube.slope + i + 1] * part
    over = slope / max(rho, 1e-4)
    nx, ny = -(a[tube.tilt] + over * x), -(a[tube.tilt + 1] + over * y)
    inv = 1.0 / math.sqrt(nx * nx + ny * ny + 1.0)
    return nx * inv, ny * inv, inv


@inlined
def meet(tube: Any, a: Any, o: Any, d: Any, leave: Any, in_air: Any) -> Any:
    """Distance to the surface for a ray inside the bore, FAR where it is not met."""
    z1 = o[2] + leave * d[2]
    if not (min(o[2], z1) < a[tube.band + 1] and max(o[2], z1) > a[tube.band]):
        return FAR
    if in_air and not above(tube, a, o[0] + leave * d[0], o[1] + leave * d[1], z1) < 0:
        return FAR
    t, live, gap, rate = (leave if in_air else 0.0), True, 0.0, 0.0
    for _ in range(NEWTON_STEPS):
        x, y, z = o[0] + t * d[0], o[1] + t * d[1], o[2] + t * d[2]
        rho, _, _, rise, steep = _lookup(tube, a, x, y)
        gap = z - tube.level - a[tube.tilt] * x - a[tube.tilt + 1] * y - rise
        rate = (d[2] - a[tube.tilt] * d[0] - a[tube.tilt + 1] * d[1]
                - steep * (x * d[0] + y * d[1]) / max(rho, 1e-5))
        good = rate < -1e-6 if in_air else rate > 1e-6
        live = live and (good or abs(gap) < 1e-4)
        if good:
            t -= gap / rate
        t = min(max(t, -1.0), leave + 1.0)
    if not (live and t > (1e-3 if in_air else -1e-3) and t < leave and abs(gap) < 0.05):
        return FAR
    if in_air:
        return t
    return max(t, 0.0) if rate > 0 else FAR


@inlined
def wall(tube: Any, a: Any, o: Any, d: Any, inside: Any) -> Any:
    """Distance to the inner wall from inside the bore or from the plastic (FAR: none)."""
    dd, od = d[0] * d[0] + d[1] * d[1], o[0] * d[0] + o[1] * d[1]
    oo = o[0] * o[0] + o[1] * o[1]
    if tube.straight:
        radius = a[tube.pieces + 1]
        disc = od * od - dd * (oo - radius * radius)
        if disc <= 0:
            return FAR
        root, dd = math.sqrt(disc), max(dd, 1e-9)
        if inside:
            return (root - od) / dd
        near = -(od + root) / dd
        if near > 2e-3:
            return near
        later = (root - od) / dd
        return later if later > 2e-3 else FAR
    best = FAR
    for k in range(tube.pieces_n):
        at = tube.pieces + 4 * k
        z0, r0, z1, lean = a[at], a[at + 1], a[at + 2], a[at + 3]
        w = r0 + lean * (o[2] - z0)
        s = lean * d[2]
        qa, qb, qc = dd - s * s, od - w * s, oo - w * w
        disc = qb * qb - qa * qc
        if not disc > 0:
            continue
        root = math.sqrt(disc)
        qa = 1e-9 if abs(qa) < 1e-9 else qa
        for t in (-(qb + root) / qa, (root - qb) / qa):
            z = o[2] + t * d[2]
            if not (t > 2e-3 and t < best and z > z0 - 1e-3 and z < z1 + 1e-3):
                continue
            x, y = o[0] + t * d[0], o[1] + t * d[1]
            outward = x * d[0] + y * d[1] - lean * (w + lean * t * d[2]) * d[2]
            if (outward > 0) == inside and outward != 0:
                best = t
    return best


@inlined
def wall_normal(tube: Any, a: Any, x: Any, y: Any, z: Any) -> Any:
    """Unit normal of the inner wall, away from the axis."""
    inv = 1.0 / max(math.sqrt(x * x + y * y), 1e-6)
    lean = 0.0
    if not tube.straight:
        for k in range(tube.pieces_n):
            at = tube.pieces + 4 * k
            if a[at] <= z < a[at + 2]:
                lean = a[at + 3]
    size = 1.0 / math.sqrt(1 + lean * lean)
    return x * inv * size, y * inv * size, -lean * size


@inlined
def bent_normal(tube: Any, a: Any, bumps: Any, x: Any, y: Any, z: Any) -> Any:
    """The same where the wall is in air: bent by drops (``ChamberTracer._wall_normal``)."""
    n = wall_normal(tube, a, x, y, z)
    if not tube.columns:
        return n
    angle = math.atan2(x, -y) * (tube.columns / (2 * math.pi)) + tube.columns / 2
    i = min(max(int(angle), 0), tube.columns - 1)
    j = min(max(int((z - tube.low) / tube.bump_step), 0), tube.rows - 1)
    along = float(bumps[0, j * tube.columns + i])
    u = float(bumps[1, j * tube.columns + i])
    if along == 0 and u == 0:
        return n
    bx, by, bz = n[0] - along * n[1], n[1] + along * n[0], n[2] + u
    inv = 1.0 / math.sqrt(bx * bx + by * by + bz * bz)
    return bx * inv, by * inv, bz * inv


@inlined
def _place(a: Any, start: Any, count: Any, z: Any) -> Any:
    """How many of the sorted heights lie below z."""
    low, high = 0, count
    while low < high:
        k = (low + high) // 2
        if a[start + k] < z:
            low = k + 1
        else:
            high = k
    return low


@inlined
def coverage(ink: Any, a: Any, arc: Any, z: Any, footprint: Any) -> Any:
    """Share of ink at a point on the front, softened over the footprint."""
    f = 1.0 / max(footprint, 1e-3)
    i = _place(a, ink.between, ink.between_n, z)
    across = a[ink.half + i] - abs(z - a[ink.mark_z + i])
    along = min(arc - a[ink.left + i], a[ink.right + i] - arc)
    cover = clip1(0.5 + f * across) * clip1(0.5 + f * along)
    if ink.spine:
        side = ink.stroke / 2 - abs(arc - ink.spine_at)
        ends = min(z - ink.low, ink.high - z) + ink.stroke / 2
        cover = max(cover, clip1(0.5 + f * side) * clip1(0.5 + f * ends))
    return max(cover, _figures(ink, a, arc, z, f)) if ink.text else cover


@inlined
def _figures(ink: Any, a: Any, arc: Any, z: Any, f: Any) -> Any:
    h = ink.letter
    i = _place(a, ink.text_between, ink.text_between_n, z)
    y = (z - a[ink.text_z + i]) / h + 0.5
    x = (arc - a[ink.text_start + i]) / h + ink.gap / 2
    if not -0.19 < y < 1.19:
        return 0.0
    before = math.floor(x / ink.advance)
    column = int(before)
    if column < 0 or column >= ink.longest:
        return 0.0
    sign = int(a[ink.codes + i * ink.longest + column])
    if sign < 0:
        return 0.0
    gx = min(max((x / ink.advance - before) * COLS - 0.5, 0.0), COLS - 1.001)
    gy = min(max((y + 0.2) / 1.4 * ROWS - 0.5, 0.0), ROWS - 1.001)
    ix, iy = int(gx), int(gy)
    fx, fy = gx - ix, gy - iy
    at = ink.field + (sign * ROWS + iy) * COLS + ix
    near = a[at] * (1 - fx) + a[at + 1] * fx
    far = a[at + COLS] * (1 - fx) + a[at + COLS + 1] * fx
    return clip1(0.5 + f * h * (ink.pen / 2 - (near * (1 - fy) + far * fy)))


@inlined
def printed(tube: Any, a: Any, x: Any, y: Any, z: Any) -> Any:
    """(share stopped, sticker number or -1) at a point of the outer wall."""
    stopped, label = 0.0, -1
    stickers = tube.stickers_n
    if y < tube.print_y or stickers:
        arc = tube.outer * math.atan2(x, -y)
        if y < tube.print_y and abs(arc) < tube.ink.reach:
            stopped = coverage(tube.ink, a, arc, z, tube.footprint) * tube.ink.opacity
        for i in range(stickers):
            s = tube.stickers + 7 * i
            if a[s] < arc < a[s + 1] and a[s + 2] < z < a[s + 3]:
                stopped, label = 1.0, i
    return stopped, label
