"""The bodies of clear matter: wall, liquid, film, drops, bubbles.

Bodies overlap: liquid, film and drops reach into the wall, bubbles into the liquid.  Where they
do, the medium of higher priority is the one that is there (wall before bubble before liquid), so
that every boundary that light meets is that of two media in contact, without gap or doubling.
"""

from __future__ import annotations

import math

import numpy as np

from vision.training.fourth.facts import Facts
from vision.training.fourth.scales import bore_at, outside_at
from vision.training.fourth.solids import ROUND, Solid, around, ball, together, wall_drop
from vision.training.fourth.truth import surface_of

#: Thickness of the chamber's floor.
_FLOOR_MM = 2.5
#: Skin of a cloudy liquid that does not scatter.
_SKIN_MM = 0.03
#: Below the lowest point the tilt has gone after this: no step of the bore is so near.
_BENDS_MM = 3.5
#: Least radius on the axis, so that triangles there keep an area.
_AXIS_MM = 1e-3


def into_wall(facts: Facts) -> float:
    """How far (mm) liquid bodies reach into the wall."""
    return 0.4 * facts.scale.wall_mm


def _rows(facts: Facts, low: float, high: float, count: int) -> np.ndarray:
    """Heights from low to high with every bend of bore and outside among them."""
    bends = [float(facts.scale.height_mm(v)) for v, _ in (*facts.scale.diameter_knots,
                                                          *facts.scale.outer_knots)]
    return np.unique([*np.linspace(low, high, count), *(b for b in bends if low < b < high)])


def tube(facts: Facts) -> Solid:
    """The wall with its floor, open above."""
    low, high = facts.floor_mm, facts.rim_mm
    y_out = _rows(facts, low - _FLOOR_MM, high, 100)
    y_in = _rows(facts, low, high, 100)[::-1]
    outer, bore = outside_at(facts.scale, y_out), bore_at(facts.scale, y_in)
    return together([
        around(np.array([_AXIS_MM, outer[0]]), np.full(2, low - _FLOOR_MM)),
        around(outer, y_out), around(np.array([outer[-1], bore[0]]), np.full(2, high)),
        around(bore, y_in), around(np.array([bore[-1], _AXIS_MM]), np.full(2, low))])


def body_of_liquid(facts: Facts) -> Solid:
    """The liquid with its surface at rest; its plane follows gravity."""
    assert facts.level_mm is not None
    r, u = surface_of(facts)
    deep, contact = into_wall(facts), facts.level_mm + float(u[-1])
    bottom = facts.floor_mm - 0.4 * _FLOOR_MM
    y = _rows(facts, bottom, contact, 120)
    side = bore_at(facts.scale, y) + deep
    below = [around(np.array([_AXIS_MM, side[0]]), np.full(2, bottom)), around(side, y)]
    edge = around(np.array([side[-1], r[-1]]), np.full(2, contact))
    top = around(np.maximum(r[::-1], _AXIS_MM), facts.level_mm + u[::-1])
    return together([*(_sheared(p, facts, facts.level_mm - _BENDS_MM, contact) for p in below),
                     *(_sheared(p, facts) for p in (edge, top))])


def cloudy_core(facts: Facts) -> Solid:
    """The part of a cloudy liquid that scatters: all but a skin too thin to see.

    LuxCore draws one chance for how far light gets in a cloudy medium and for whether it is
    mirrored where it gets out, so that too little would get out.  Between the skin and the core
    there is no change of index, nothing is mirrored, and a new chance is drawn.
    """
    assert facts.level_mm is not None
    r, u = surface_of(facts)
    psi = np.arctan(np.gradient(u, r))
    r, u = r + _SKIN_MM * np.sin(psi), u - _SKIN_MM * np.cos(psi)
    wall = float(bore_at(facts.scale, facts.level_mm)) - _SKIN_MM
    inside = r < wall - 1e-3
    u, r = np.append(u[inside], np.interp(wall, r, u)), np.append(r[inside], wall)
    bottom, contact = facts.floor_mm + _SKIN_MM, facts.level_mm + float(u[-1])
    y = _rows(facts, bottom, contact, 120)
    side = bore_at(facts.scale, y) - _SKIN_MM
    side[-1] = r[-1]
    below = [around(np.array([_AXIS_MM, side[0]]), np.full(2, bottom)), around(side, y)]
    top = around(np.maximum(r[::-1], _AXIS_MM), facts.level_mm + u[::-1])
    return together([*(_sheared(p, facts, facts.level_mm - _BENDS_MM, contact)
                       for p in below), _sheared(top, facts)])


def _sheared(part: Solid, facts: Facts, none_at: float | None = None, full_at: float = 0.0
             ) -> Solid:
    """Heights raised along the liquid's tilt, fully or growing from one height to another."""
    p = part.points.copy()
    share = np.ones(len(p)) if none_at is None else np.clip(
        (p[:, 1] - none_at) / (full_at - none_at), 0, 1)
    p[:, 1] += share * (facts.tilt[0] * p[:, 0] + facts.tilt[1] * p[:, 2])
    n = part.normals.copy()
    n[:, 0] -= facts.tilt[0] * part.normals[:, 1]
    n[:, 2] -= facts.tilt[1] * part.normals[:, 1]
    n /= np.linalg.norm(n, axis=1, keepdims=True)
    return Solid(p, n, part.uv, part.triangles)


def film(facts: Facts) -> Solid | None:
    """Liquid left on the wall over the contact line, thicker along its torn upper edge."""
    top = facts.inside.film_top_mm
    if top is None or facts.level_mm is None:
        return None
    rng = np.random.default_rng([facts.seed, 11])
    a = np.linspace(-math.pi, math.pi, ROUND + 1)
    torn = sum(rng.normal() * np.sin(k * a + rng.uniform(0, 7)) / k for k in range(1, 8))
    tilt = facts.tilt[0] * np.sin(a) + facts.tilt[1] * np.cos(a)
    start = (facts.level_mm + float(surface_of(facts)[1][-1]) + 0.4
             + float(bore_at(facts.scale, facts.level_mm)) * tilt)
    end = np.maximum(top + 1.3 * torn, start + 1.0)
    share = np.linspace(1, 0, 120)[:, None]
    y = start + share * (end - start)
    bore = bore_at(facts.scale, y)
    swollen = 0.1 * np.exp(-(((end - y - 0.7) / 0.5) ** 2))
    ends = np.clip(np.minimum(end - y, y - start) / 0.5, 0, 1)
    thick = 0.002 + (0.035 + swollen) * np.sqrt(ends)
    deep = into_wall(facts)
    inner = around(bore - thick, y)  # downward: outside is towards the axis
    outer = around(bore[::-1] + deep, y[::-1])
    lids = [around(np.stack([(bore - thick)[k], bore[k] + deep][::way]), np.stack([y[k], y[k]]))
            for k, way in ((0, -1), (-1, 1))]
    return together([inner, outer, *lids])


def drops(facts: Facts) -> Solid | None:
    """Drops on the dry wall."""
    kept = facts.inside.drops
    film_top = facts.inside.film_top_mm
    if film_top is not None and facts.level_mm is not None:
        kept = tuple(d for d in kept if d[1] - d[3] > film_top + 4)
    kept = tuple(d for d in kept if np.ptp(bore_at(  # none hangs over a step
        facts.scale, np.linspace(d[1] - 1.2 * d[3], d[1] + 1.2 * d[3], 9)))
        < 0.15 * facts.scale.wall_mm)
    if not kept:
        return None
    return together([wall_drop(a, y, (w, h), bulge, float(bore_at(facts.scale, y)),
                               into_wall(facts)) for a, y, w, h, bulge in kept])


def bubbles(facts: Facts) -> tuple[Solid, Solid] | None:
    """Foam: skins of liquid, and the air in them."""
    if not facts.inside.bubbles or facts.level_mm is None:
        return None
    r, u = surface_of(facts)
    where = [((x, facts.level_mm + float(np.interp(math.hypot(x, z), r, u)) + y
               + facts.tilt[0] * x + facts.tilt[1] * z, z), radius)
             for x, y, z, radius in facts.inside.bubbles]
    return (together([ball(c, radius) for c, radius in where]),
            together([ball(c, radius - 0.05) for c, radius in where]))
