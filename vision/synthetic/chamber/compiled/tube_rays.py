"""A ray through the chamber to all its ends, compiled: see ``tracer.ChamberTracer``.

Where that takes batches of rays from medium to medium, here one ray is followed, with those that
part from it waiting on a stack.  What is done at each interface is the same.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from vision.synthetic.chamber.bore import FAR
from vision.synthetic.chamber.compiled.bore_rays import (
    above,
    bent_normal,
    meet,
    normal,
    printed,
    wall,
    wall_normal,
)
from vision.synthetic.chamber.compiled.room_rays import clip1, inlined, lit, quick, shade, turned
from vision.synthetic.chamber.optics import INDEX_AIR
from vision.synthetic.chamber.tracer import (
    AIR,
    FAINT_WEIGHT,
    LEAST_WEIGHT,
    LIQUID,
    MAX_ROUNDS,
    WALL,
)

#: Rays that may wait: each round of each medium leaves one more at the most.
_MOST_WAITING = 4 * MAX_ROUNDS
#: The room, as a medium.
_OUTSIDE = -1


@inlined
def _fresnel(cos_in: Any, eta: Any) -> Any:
    cos_out = math.sqrt(max(1.0 - eta * eta * (1.0 - cos_in * cos_in), 0.0))
    across = (eta * cos_in - cos_out) / (eta * cos_in + cos_out + 1e-30)
    along = (cos_in - eta * cos_out) / (cos_in + eta * cos_out + 1e-30)
    return 0.5 * (across * across + along * along), cos_out


@inlined
def _deposit(light: Any, faint: Any, red: Any, green: Any, blue: Any) -> None:
    k = 3 if faint else 0
    light[k] += red
    light[k + 1] += green
    light[k + 2] += blue


@inlined
def _send(stack: Any, n: Any, medium: Any, after: Any, turns: Any, p: Any, d: Any, w: Any,
          share: Any, faint: Any, told: Any, chosen: Any) -> Any:
    """Put a ray on the stack for a medium if it carries enough to go on; returns how many wait.

    ``after`` is the medium it leaves and ``turns`` the round: one that comes to a medium which has
    had its turn waits for the next.
    """
    strongest = max(max(w[0], w[1]), w[2]) * share
    if not strongest > LEAST_WEIGHT:
        return n
    if told and strongest <= FAINT_WEIGHT:
        if not faint and not chosen:
            return n
        faint = True
    row = stack[n]
    row[0], row[1], row[2] = p
    row[3], row[4], row[5] = d
    row[6], row[7], row[8] = w[0] * share, w[1] * share, w[2] * share
    row[9], row[10], row[11] = medium, turns if medium > after else turns + 1, faint
    return n + 1


@inlined
def _mirrored(d: Any, n: Any, along: Any) -> Any:
    twice = -2.0 * along
    return d[0] + twice * n[0], d[1] + twice * n[1], d[2] + twice * n[2]


@inlined
def _refracted(d: Any, n: Any, eta: Any, along: Any, cos_out: Any) -> Any:
    k = math.copysign(cos_out, along) - eta * along
    return eta * d[0] + k * n[0], eta * d[1] + k * n[1], eta * d[2] + k * n[2]


@inlined
def _show_print(tube: Any, a: Any, room: Any, light: Any, faint: Any, w: Any, stopped: Any,
                label: Any, n: Any, behind: Any) -> None:
    if not stopped > 1e-3:
        return
    way = turned(room, a, n[0], n[1], n[2])
    there = lit(room, a, way[0], way[1], way[2])
    share = stopped * (0.25 if behind else 1.0)
    tint = tube.ink.rgb if label < 0 else tube.stickers + 7 * label + 4
    _deposit(light, faint, w[0] * share * a[tint] * there[0],
             w[1] * share * a[tint + 1] * there[1], w[2] * share * a[tint + 2] * there[2])


@inlined
def _end(tube: Any, o: Any, d: Any) -> Any:
    """Distance to the lid's underside or the floor."""
    middle, half = (tube.high + tube.low) / 2, (tube.high - tube.low) / 2
    safe = math.copysign(max(abs(d[2]), 1e-7), d[2])
    return max((middle + math.copysign(half, safe) - o[2]) / safe, 0.0)


@inlined
def _show_end(tube: Any, a: Any, light: Any, faint: Any, p: Any, w: Any) -> None:
    rho = math.sqrt(p[0] * p[0] + p[1] * p[1]) / tube.outer
    relief = 0.8 + 0.2 * clip1((1.0 - rho) * 6)
    top = p[2] > (tube.low + tube.high) / 2
    rgb = tube.lid_rgb if top else tube.collar_rgb
    relief *= 0.8 if top else 1.0
    _deposit(light, faint, w[0] * relief * a[tube.inside_light] * a[rgb],
             w[1] * relief * a[tube.inside_light + 1] * a[rgb + 1],
             w[2] * relief * a[tube.inside_light + 2] * a[rgb + 2])


@inlined
def _tip(tube: Any, o: Any, d: Any) -> Any:
    """The drip tip under the lid: distance (FAR: missed) and whether its end face."""
    if tube.tip <= 0:
        return FAR, False
    r, end = tube.tip_radius, tube.high - tube.tip
    qa = d[0] * d[0] + d[1] * d[1] + 1e-9
    qb = o[0] * d[0] + o[1] * d[1]
    disc = qb * qb - qa * (o[0] * o[0] + o[1] * o[1] - r * r)
    t = FAR
    if disc > 0:
        near = (-qb - math.sqrt(disc)) / qa
        if near > 1e-3 and o[2] + near * d[2] > end:
            t = near
    if d[2] > 1e-6:
        td = (end - o[2]) / d[2]
        x, y = o[0] + td * d[0], o[1] + td * d[1]
        if td > 1e-3 and td < t and x * x + y * y < r * r:
            return td, True
    return t, False


@inlined
def _show_tip(tube: Any, a: Any, room: Any, light: Any, faint: Any, p: Any, w: Any, face: Any
              ) -> None:
    inv = 0.0 if face else 1.0 / tube.tip_radius
    way = turned(room, a, p[0] * inv, p[1] * inv, -1.0 if face else 0.0)
    there = lit(room, a, way[0], way[1], way[2])
    k = tube.tip_rgb
    _deposit(light, faint, w[0] * there[0] * 0.8 * a[k], w[1] * there[1] * 0.8 * a[k + 1],
             w[2] * there[2] * 0.8 * a[k + 2])


@inlined
def _through_liquid(tube: Any, a: Any, light: Any, faint: Any, z: Any, dz: Any, t: Any, w: Any
                    ) -> Any:
    """Weights after a way through the liquid; what it scatters back is noted."""
    s = tube.scatter
    k = tube.absorption
    red, green, blue = a[k], a[k + 1], a[k + 2]
    if not s and not red and not green and not blue:
        return w
    length = t
    if tube.sediment_factor != 1.0:
        low, high = min(z, z + t * dz), max(z, z + t * dz)
        under = clip1((tube.sediment - low + 0.15) / (high - low + 0.3))
        length = t * (1 + under * (tube.sediment_factor - 1))
    r, g, b = (math.exp(-(red + s) * length), math.exp(-(green + s) * length),
               math.exp(-(blue + s) * length))
    if s:
        c, f = tube.scatter_rgb, tube.front_light
        _deposit(light, faint, w[0] * (1 - r) * (s / (red + s)) * 0.8 * a[c] * a[f],
                 w[1] * (1 - g) * (s / (green + s)) * 0.8 * a[c + 1] * a[f + 1],
                 w[2] * (1 - b) * (s / (blue + s)) * 0.8 * a[c + 2] * a[f + 2])
    return w[0] * r, w[1] * g, w[2] * b


@inlined
def _step(tube: Any, room: Any, a: Any, bumps: Any, stack: Any, n: Any, light: Any, told: Any,
          chosen: Any) -> Any:
    """Take the last ray of the stack to what it meets next; returns how many wait then."""
    n -= 1
    row = stack[n]
    o, d = (row[0], row[1], row[2]), (row[3], row[4], row[5])
    w = (row[6], row[7], row[8])
    medium, turns, faint = int(row[9]), int(row[10]), row[11] > 0
    if medium == _OUTSIDE:
        red, green, blue, _, _ = shade(room, a, o, d, FAR)
        _deposit(light, faint, w[0] * red, w[1] * green, w[2] * blue)
        return n
    if turns >= MAX_ROUNDS:  # what still wanders in the wall glows like the room
        f = tube.front_light
        _deposit(light, faint, 0.4 * w[0] * a[f], 0.4 * w[1] * a[f + 1], 0.4 * w[2] * a[f + 2])
        return n
    t_end = _end(tube, o, d)
    out = False
    tip, face = FAR, False
    t_top = FAR
    if medium == WALL:
        qa = d[0] * d[0] + d[1] * d[1] + 1e-9
        qb = o[0] * d[0] + o[1] * d[1]
        qc = o[0] * o[0] + o[1] * o[1] - tube.outer * tube.outer
        t_out = (-qb + math.sqrt(max(qb * qb - qa * qc, 0.0))) / qa
        t_wall = wall(tube, a, o, d, False)
        t = min(min(t_out, t_wall), t_end)
        out = t_out <= t
        ended = t_end <= t
    else:
        in_air = medium == AIR
        t_wall = wall(tube, a, o, d, True)
        t = min(t_wall, t_end)
        if in_air:
            tip, face = _tip(tube, o, d)
            t = min(t, tip)
        t_top = meet(tube, a, o, d, min(t, 1e3), in_air)
        t = min(t, t_top)
        lost = t > 1e6
        if lost:
            t = 0.0
        if not in_air:
            w = _through_liquid(tube, a, light, faint, o[2], d[2], t, w)
        ended = t_end <= t or lost
    p = (o[0] + t * d[0], o[1] + t * d[1], o[2] + t * d[2])
    if ended:
        _show_end(tube, a, light, faint, p, w)
        return n
    if tip <= t:
        _show_tip(tube, a, room, light, faint, p, w, face)
        return n
    stopped, there = 0.0, WALL
    if out:
        nrm, eta = (p[0] / tube.outer, p[1] / tube.outer, 0.0), tube.wall_index / INDEX_AIR
        there = _OUTSIDE
    elif medium == WALL:
        wet = above(tube, a, p[0], p[1], p[2]) < 0
        there = LIQUID if wet else AIR
        eta = tube.wall_index / (tube.fluid_index if wet else INDEX_AIR)
        nrm = wall_normal(tube, a, p[0], p[1], p[2]) if wet else bent_normal(
            tube, a, bumps, p[0], p[1], p[2])
    else:
        here = INDEX_AIR if medium == AIR else tube.fluid_index
        if t_top <= t:
            there = LIQUID if medium == AIR else AIR
            nrm = normal(tube, a, p[0], p[1])
            eta = here / (tube.fluid_index if medium == AIR else INDEX_AIR)
        else:
            nrm = bent_normal(tube, a, bumps, p[0], p[1], p[2]) if medium == AIR else wall_normal(
                tube, a, p[0], p[1], p[2])
            eta = here / tube.wall_index
    along = d[0] * nrm[0] + d[1] * nrm[1] + d[2] * nrm[2]
    share, cos_out = _fresnel(min(abs(along), 1.0), eta)
    if out:
        stopped, label = printed(tube, a, p[0], p[1], p[2])
        _show_print(tube, a, room, light, faint, w, stopped * (1 - share), label, nrm, True)
    n = _send(stack, n, medium, medium, turns, p, _mirrored(d, nrm, along), w, share, faint,
              told, chosen)
    return _send(stack, n, there, medium, turns, p, _refracted(d, nrm, eta, along, cos_out), w,
                 (1 - share) * (1 - stopped), faint, told, chosen)


@quick
def trace_all(tube: Any, room: Any, a: Any, bumps: Any, rays: Any, told: Any, chosen: Any,
              strong: Any, weak: Any) -> None:
    """Follow rays (9, N) as ``ChamberTracer.trace`` takes them; light into ``strong`` (3, N) and,
    where faint light is ``told`` apart, ``weak`` (3, N).  ``chosen`` (N,) is looked at then only.
    """
    stack = np.empty((_MOST_WAITING, 12))
    light = np.empty(6)
    eta = INDEX_AIR / tube.wall_index
    for i in range(rays.shape[1]):
        light[:] = 0.0
        p = (float(rays[0, i]), float(rays[1, i]), float(rays[2, i]))
        d = (float(rays[3, i]), float(rays[4, i]), float(rays[5, i]))
        w = (float(rays[6, i]), float(rays[7, i]), float(rays[8, i]))
        picked = told and chosen[i]
        nrm = (p[0] / tube.outer, p[1] / tube.outer, 0.0)
        along = d[0] * nrm[0] + d[1] * nrm[1]
        share, cos_out = _fresnel(min(abs(along), 1.0), eta)
        stopped, label = printed(tube, a, p[0], p[1], p[2])
        _show_print(tube, a, room, light, False, w, stopped * (1 - share), label, nrm, False)
        # Ink has less gloss than the bare wall.
        n = _send(stack, 0, _OUTSIDE, _OUTSIDE, 0, p, _mirrored(d, nrm, along), w,
                  share * (1 - 0.5 * stopped), False, told, picked)
        n = _send(stack, n, WALL, _OUTSIDE, 0, p, _refracted(d, nrm, eta, along, cos_out), w,
                  (1 - share) * (1 - stopped), False, told, picked)
        while n:
            n = _step(tube, room, a, bumps, stack, n, light, told, picked)
        for k in range(3):
            strong[k, i] = light[k]
            weak[k, i] = light[3 + k]
