"""A scene's picture."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np

from vision.synthetic.chamber.camera import View, view_of
from vision.synthetic.chamber.compiled import shaders
from vision.synthetic.chamber.develop import develop, margin_px
from vision.synthetic.chamber.model import ChamberScene
from vision.synthetic.chamber.room import FAR
from vision.synthetic.chamber.tracer import BATCH, ChamberTracer

#: Kind of pixel that shows the tube (the room's kinds are in ``room``).
TUBE = 9
#: Rays handled at a time on a graphics card; a processor takes ``BATCH``.
BATCH_DEVICE = 2_000_000
#: Batches of rays that are traced together: where few are left of each they join.
TOGETHER = 3
#: Where the rays of a pixel pierce it, by their number.
PIERCED = {
    1: ((0.0, 0.0),),
    2: ((-0.25, -0.25), (0.25, 0.25)),
    4: ((-0.25, -0.25), (0.25, -0.25), (-0.25, 0.25), (0.25, 0.25)),
}

#: Where rays are saved (``sparing``); all are shares of the light at a pixel, and ``DARK`` more of
#: white.  A pixel that differs by no more than ``EVEN`` from those beside keeps its first ray, and
#: one whose first two rays differ by no more than ``PLAIN``, and it by no more than
#: ``BESIDE`` from those beside, gets no more.  Faint rays are followed of one ray where they bring
#: what they bring beside, to ``GLOW``.  What more would change is less than grain:
#: ``tests/synthetic`` measures it.  Our choice; a thin glint shows in one of the
#: pixels beside, or brings faint light.
EVEN, PLAIN, BESIDE, GLOW, DARK = 0.01, 0.02, 0.05, 0.025, 0.1

Window = tuple[int, int, int, int]


class Painter:
    """Colours of pixels of one scene, as ``samples`` rays a pixel see them.

    ``pixels`` is how many there will be, by which the quickest way is chosen."""

    def __init__(self, scene: ChamberScene, view: View, xp: Any, samples: int,
                 pixels: int = 0) -> None:
        self.xp, self.view, self.scene = xp, view, scene
        self.chunk = BATCH if xp is np else BATCH_DEVICE
        shader, tube = shaders(xp, pixels)
        self.room = shader(scene, xp)
        footprint = scene.camera.distance_mm / view.focal_px / math.sqrt(samples)
        self.tracer = tube(scene, self.room, xp, footprint, self.chunk)
        #: Every chamber in the picture: where it hangs, its outside and its inside.
        self.chambers = [((0.0, 0.0, 0.0), self.room, self.tracer)]
        if scene.neighbour is not None:
            other = replace(scene.neighbour, room=scene.room, lean_deg=scene.lean_deg,
                            room_turn_deg=scene.room_turn_deg)
            offset = (*scene.neighbour_mm, scene.middle_mm - other.middle_mm)
            # The room's origin stays on the first chamber.
            room = shader(other, xp, (offset[0], offset[1], 0.0))
            tracer = tube(other, room, xp, footprint, self.chunk)
            self.chambers.append((offset, room, tracer))

    def rays(self, x: Any, y: Any) -> Any:
        """Unit directions (3, N) of pixel positions, chamber's frame."""
        v, xp = self.view, self.xp
        u, w = (x - v.cx) / v.focal_px, (y - v.cy) / v.focal_px
        a = v.axes
        d = [float(a[0, k]) * u + float(a[1, k]) * w + float(a[2, k]) for k in range(3)]
        inv = 1.0 / xp.sqrt(d[0] * d[0] + d[1] * d[1] + d[2] * d[2])
        return [c * inv for c in d]

    def __call__(self, x: Any, y: Any, chosen: Any = None) -> tuple[Any, Any, Any]:
        """Colours (3, N), those of faint rays (3, N) and kinds (N,) at pixel positions.

        With ``chosen`` (N,) faint rays are followed for those only and told apart, see
        ``ChamberTracer.trace``; without it they are part of the colours.
        """
        xp, n = self.xp, x.shape[0]
        colour, faint = (xp.zeros((3, n), dtype=xp.float32) for _ in range(2))
        kind = xp.zeros(n, dtype=xp.int8)
        met: list[list[tuple[Any, Any]]] = [[] for _ in self.chambers]
        for i in range(0, n, self.chunk):
            end = i + self.chunk
            colour[:, i:end], kind[i:end], tubes = self._room(x[i:end], y[i:end])
            for waiting, (hit, start) in zip(met, tubes, strict=True):
                if hit.shape[0]:
                    waiting.append((i + hit, start))
        for waiting, (_, _, tracer) in zip(met, self.chambers, strict=True):
            if waiting:  # only a part of each piece of the picture: traced together, it is quicker
                hits = xp.concatenate([hit for hit, _ in waiting])
                starts = xp.concatenate([start for _, start in waiting], axis=1)
                kind[hits] = TUBE
                some = TOGETHER * self.chunk
                for i in range(0, hits.shape[0], some):
                    hit = hits[i:i + some]
                    colour[:, hit], faint[:, hit] = self._trace(
                        starts[:, i:i + some], tracer,
                        None if chosen is None else chosen.take(hit))
        return colour, faint, kind

    def _room(self, x: Any, y: Any) -> tuple[Any, Any, list[tuple[Any, Any]]]:
        """Colours and kinds of what stands before and behind the tubes, and for each tube which
        rays meet it (M,) with where they start, where to and how far it is (7, M)."""
        xp, n = self.xp, x.shape[0]
        d = self.rays(x, y)
        o = [xp.full(n, float(c), dtype=xp.float32) for c in self.view.centre]
        # The tubes first: what lies behind them is not seen past them.
        met = xp.full(n, FAR, dtype=xp.float32)
        whose = xp.full(n, -1, dtype=xp.int8)
        for i, (offset, _, tracer) in enumerate(self.chambers):
            self._meet(tuple(o[k] - offset[k] for k in range(3)), d, tracer, met, whose, i)
        within = partial(self._within, x, y)
        colour, far, kind = self.room.shade(tuple(o), tuple(d), met,  # type: ignore[arg-type]
                                            within)
        for offset, room, _ in self.chambers[1:]:
            here = [o[k] - offset[k] for k in range(3)]
            room.shade_rounds(
                tuple(here), tuple(d), colour, far, kind,  # type: ignore[arg-type]
                lambda corners, at=offset: within(corners + np.array(at)))  # type: ignore[misc]
        tubes = []
        for i, (offset, _, _) in enumerate(self.chambers):
            hit = xp.nonzero((whose == i) & (far >= met))[0]
            tubes.append((hit, xp.stack([*((o[k] - offset[k]).take(hit) for k in range(3)),
                                         *(c.take(hit) for c in d), met.take(hit)])))
        return colour, kind, tubes

    def _within(self, x: Any, y: Any, corners: np.ndarray) -> Any:
        """Which pixel positions lie in the frame round (M, 3) corners; None where one of them
        is beside or behind the camera."""
        view = self.view
        if ((corners - view.centre) @ view.axes[2]).min() < 1.0:
            return None
        (x0, y0), (x1, y1) = (f(view.project(corners), axis=0) for f in (np.min, np.max))
        if float(y.max()) < y0 - 1 or float(y.min()) > y1 + 1:
            return self.xp.zeros(0, dtype=self.xp.int32)
        return self.xp.nonzero((x > x0 - 1) & (x < x1 + 1) & (y > y0 - 1) & (y < y1 + 1))[0]

    def _meet(self, o: Any, d: Any, tracer: ChamberTracer, met: Any, whose: Any,
              number: int) -> None:
        """Where rays meet a tube's outer wall between floor and lid, if nothing is nearer."""
        xp = self.xp
        qa = d[0] * d[0] + d[1] * d[1] + 1e-12
        # The discriminant from the axis distance: stable in single precision.
        miss = (o[0] * d[1] - o[1] * d[0]) ** 2
        disc = qa * tracer.outer**2 - miss
        near = xp.nonzero(disc > 0)[0]
        o, d = [c.take(near) for c in o], [c.take(near) for c in d]
        t = (-(o[0] * d[0] + o[1] * d[1]) - xp.sqrt(disc.take(near))) / qa.take(near)
        z = o[2] + t * d[2]
        on = xp.nonzero((t > 1e-3) & (t < met.take(near)) & (z > tracer.low)
                        & (z < tracer.high))[0]
        hit = near.take(on)
        met[hit] = t.take(on)
        whose[hit] = number

    def _trace(self, start: Any, tracer: ChamberTracer, chosen: Any) -> tuple[Any, Any]:
        """Colours of rays that meet a tube, and of faint ones; ``start`` as from ``_room``."""
        xp, n = self.xp, start.shape[1]
        o, d, t = start[:3], start[3:6], start[6]
        px, py = o[0] + t * d[0], o[1] + t * d[1]
        grow = tracer.outer / xp.sqrt(px * px + py * py)
        rays = xp.stack([px * grow, py * grow, o[2] + t * d[2], *d,
                         *(xp.ones(n, dtype=xp.float32) for _ in range(3))])
        return tracer.trace(rays, xp.arange(n), n, chosen)


def _contrast(picture: Any, xp: Any) -> Any:
    """(H, W) largest difference of a pixel of (K, H, W) from the four beside it."""
    out = xp.zeros(picture.shape[1:], dtype=picture.dtype)
    for plane in picture:  # one after the other: a plane stays near the processor
        across = xp.abs(plane[:, 1:] - plane[:, :-1])
        down = xp.abs(plane[1:] - plane[:-1])
        for part, step in ((out[:, 1:], across), (out[:, :-1], across), (out[1:], down),
                           (out[:-1], down)):
            part[...] = xp.maximum(part, step)
    return out


def _contrasts(pictures: tuple[Any, ...], which: Any, xp: Any) -> list[Any]:
    """``_contrast`` of each of some (K, H, W) at the pixels ``which`` (N,), row by row."""
    w = pictures[0].shape[2]
    if not which.shape[0]:
        return [xp.zeros(0, dtype=xp.float32) for _ in pictures]
    y, x = which // w, which % w
    # what is beside them is looked at, no more
    left, right = max(int(x.min()) - 1, 0), int(x.max()) + 2
    top, below = max(int(y.min()) - 1, 0), int(y.max()) + 2
    at = (y - top) * (min(right, w) - left) + (x - left)
    return [_contrast(p[:, top:below, left:right], xp).ravel()[at] for p in pictures]


def _sparingly(paint: Painter, x: Any, y: Any, others: Any, colour: Any, faint: Any,
               edge: Any, beside: Any, faint_beside: Any) -> Any:
    """Light (3, N) of pixels of which one ray brought ``colour`` and, by faint rays, ``faint``.

    ``edge`` (N,) is where another thing shows beside the pixel; ``beside`` and ``faint_beside``
    are how much the two differ from those beside.  The last of the ``others`` is across from the
    first.
    """
    xp, (*between, last) = paint.xp, others
    unit = DARK + colour.max(axis=0)
    # a lamp mirrored faintly is bright all the same
    glint = edge | (faint_beside > GLOW * unit)
    second = xp.nonzero(glint | (xp.maximum(beside, faint_beside) > EVEN * unit))[0]
    across, faint_across, _ = paint(x[second] + last[0], y[second] + last[1], glint[second])
    apart = xp.abs(colour[:, second] - across).max(axis=0)
    rough = glint | (beside > BESIDE * unit)
    rough[second] |= apart > PLAIN * unit[second]
    total, glow = colour + 0.0, faint + 0.0
    total[:, second] += across
    glow[:, second] += faint_across
    fine = xp.nonzero(rough)[0]
    for dx, dy in between:
        more, faint_more, _ = paint(x[fine] + dx, y[fine] + dy, glint[fine])
        total[:, fine] += more
        glow[:, fine] += faint_more
    samples = len(others) + 1.0
    cast = xp.ones(x.shape, dtype=xp.float32)
    cast[second] = 2.0
    cast = xp.where(rough, samples, cast).astype(xp.float32)
    return total / cast + glow / xp.where(glint, samples, 1.0).astype(xp.float32)


def render_light(scene: ChamberScene, size: tuple[int, int] | None = None,
                 window: Window | None = None, xp: Any = np, samples: int = 4,
                 sparing: bool = False) -> tuple[Any, Any]:
    """Linear light (H, W, 3) before the lens and kinds (H, W) of what each pixel shows.

    ``size`` is (width, height) of the whole picture (default: the scene's),
    ``window`` (x0, y0, x1, y1) the part wanted (it may reach beyond the
    picture).  Where the tube or an edge shows, ``samples`` (1, 2 or 4) rays are
    cast per pixel.  ``sparing`` casts only two where these and the neighbours agree, and follows
    faint rays of one only where those of the neighbours agree.
    """
    width, height = size or (scene.camera.width, scene.camera.height)
    x0, y0, x1, y1 = window or (0, 0, width, height)
    view = view_of(scene, (width, height))
    w, h = x1 - x0, y1 - y0
    paint = Painter(scene, view, xp, samples, w * h)
    xs = xp.tile(xp.arange(x0, x1, dtype=xp.float32), h)
    ys = xp.repeat(xp.arange(y0, y1, dtype=xp.float32), w)
    first, *others = PIERCED[samples]
    sparing = sparing and bool(others)
    colour, faint, kind = paint(xs + first[0], ys + first[1],
                                xp.ones(xs.shape, dtype=bool) if sparing else None)
    picture = kind.reshape(h, w)
    if others:
        edge = (_contrast(picture[None], xp) > 0).ravel()
        again = xp.nonzero(edge | (kind == TUBE))[0]
        x, y = xs[again], ys[again]
        if sparing:
            contrasts = _contrasts(tuple(c.reshape(3, h, w) for c in (colour, faint)), again, xp)
            colour[:, again] = _sparingly(paint, x, y, others, colour[:, again], faint[:, again],
                                          edge[again], *contrasts)
        else:
            for dx, dy in others:
                colour[:, again] += paint(x + dx, y + dy)[0]
            colour[:, again] /= float(samples)
    return colour.T.reshape(h, w, 3), picture


def render_scene(scene: ChamberScene, size: tuple[int, int] | None = None,
                 window: Window | None = None, xp: Any = np, samples: int | None = None) -> Any:
    """The photo of a scene: (H, W, 3) uint8 RGB, on the array module ``xp``.

    ``size`` (width, height) renders the same view with other pixels (blur and
    noise are rescaled with it); ``window`` (x0, y0, x1, y1) renders only that
    part.  ``samples`` rays per pixel of tube (1, 2 or 4); by default fewer where
    pixels are small or plain, and faint ones of one of them only.
    """
    width, height = size or (scene.camera.width, scene.camera.height)
    sparing = samples is None
    samples = samples or (2 if max(width, height) >= 1500 else 4)
    capture = scene.capture
    ratio = math.hypot(width, height) / math.hypot(scene.camera.width, scene.camera.height)
    if abs(ratio - 1) > 1e-6:
        capture = replace(capture, blur_px=capture.blur_px * ratio,
                          motion_px=capture.motion_px * ratio)
    x0, y0, x1, y1 = window or (0, 0, width, height)
    m = margin_px(capture)
    light, _ = render_light(scene, (width, height), (x0 - m, y0 - m, x1 + m, y1 + m), xp, samples,
                            sparing)
    image = develop(light, capture, scene.seed, xp, (x0 - m, y0 - m, width, height))
    return image[m:-m, m:-m]
