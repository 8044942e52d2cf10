"""A scene's picture."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np

from vision.synthetic.chamber.camera import View, view_of
from vision.synthetic.chamber.develop import develop, margin_px
from vision.synthetic.chamber.model import ChamberScene
from vision.synthetic.chamber.room import FAR, RoomShader
from vision.synthetic.chamber.tracer import ChamberTracer

#: Kind of pixel that shows the tube (the room's kinds are in ``room``).
TUBE = 9
#: Rays handled at a time: small enough for a processor's cache.
CHUNK_NUMPY, CHUNK_DEVICE = 40_000, 2_000_000
#: Where the rays of a pixel pierce it, by their number.
PIERCED = {
    1: ((0.0, 0.0),),
    2: ((-0.25, -0.25), (0.25, 0.25)),
    4: ((-0.25, -0.25), (0.25, -0.25), (-0.25, 0.25), (0.25, 0.25)),
}

Window = tuple[int, int, int, int]


class Painter:
    """Colours of pixels of one scene, as ``samples`` rays a pixel see them."""

    def __init__(self, scene: ChamberScene, view: View, xp: Any, samples: int) -> None:
        self.xp, self.view, self.scene = xp, view, scene
        self.room = RoomShader(scene, xp)
        footprint = scene.camera.distance_mm / view.focal_px / math.sqrt(samples)
        self.tracer = ChamberTracer(scene, self.room, xp, footprint)
        #: Every chamber in the picture: where it hangs, its outside and its inside.
        self.chambers = [((0.0, 0.0, 0.0), self.room, self.tracer)]
        if scene.neighbour is not None:
            other = replace(scene.neighbour, room=scene.room, lean_deg=scene.lean_deg,
                            room_turn_deg=scene.room_turn_deg)
            offset = (*scene.neighbour_mm, scene.middle_mm - other.middle_mm)
            # The room's origin stays on the first chamber.
            room = RoomShader(other, xp, (offset[0], offset[1], 0.0))
            self.chambers.append((offset, room, ChamberTracer(other, room, xp, footprint)))
        self.chunk = CHUNK_NUMPY if xp is np else CHUNK_DEVICE

    def rays(self, x: Any, y: Any) -> Any:
        """Unit directions (3, N) of pixel positions, chamber's frame."""
        v, xp = self.view, self.xp
        u, w = (x - v.cx) / v.focal_px, (y - v.cy) / v.focal_px
        a = v.axes
        d = [float(a[0, k]) * u + float(a[1, k]) * w + float(a[2, k]) for k in range(3)]
        inv = 1.0 / xp.sqrt(d[0] * d[0] + d[1] * d[1] + d[2] * d[2])
        return [c * inv for c in d]

    def __call__(self, x: Any, y: Any) -> tuple[Any, Any]:
        """Colours (3, N) and kinds (N,) at pixel positions."""
        xp = self.xp
        if not x.shape[0]:
            return xp.zeros((3, 0), dtype=xp.float32), xp.zeros(0, dtype=xp.int8)
        colours, kinds = [], []
        for i in range(0, x.shape[0], self.chunk):
            c, k = self._some(x[i:i + self.chunk], y[i:i + self.chunk])
            colours.append(c)
            kinds.append(k)
        return xp.concatenate(colours, axis=1), xp.concatenate(kinds)

    def _some(self, x: Any, y: Any) -> tuple[Any, Any]:
        xp, n = self.xp, x.shape[0]
        d = self.rays(x, y)
        o = [xp.full(n, float(c), dtype=xp.float32) for c in self.view.centre]
        # The tubes first: what lies behind them is not seen past them.
        met = xp.full(n, FAR, dtype=xp.float32)
        whose = xp.full(n, -1, dtype=xp.int8)
        for i, (offset, _, tracer) in enumerate(self.chambers):
            self._meet(tuple(o[k] - offset[k] for k in range(3)), d, tracer, met, whose, i)
        colour, far, kind = self.room.shade(tuple(o), tuple(d), met)  # type: ignore[arg-type]
        for offset, room, _ in self.chambers[1:]:
            here = [o[k] - offset[k] for k in range(3)]
            room.shade_rounds(tuple(here), tuple(d), colour, far, kind)  # type: ignore[arg-type]
        for i, (offset, _, tracer) in enumerate(self.chambers):
            hit = xp.nonzero((whose == i) & (far >= met))[0]
            if hit.shape[0]:
                start = [(o[k] - offset[k]).take(hit) for k in range(3)]
                self._trace(start, [c.take(hit) for c in d], met.take(hit), tracer, colour, hit)
                kind[hit] = TUBE
        return colour, kind

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

    def _trace(self, o: Any, d: Any, t: Any, tracer: ChamberTracer, colour: Any, hit: Any) -> None:
        """Colours of rays that meet a tube after ``t``."""
        xp, n = self.xp, int(hit.shape[0])
        px, py = o[0] + t * d[0], o[1] + t * d[1]
        grow = tracer.outer / xp.sqrt(px * px + py * py)
        rays = xp.stack([px * grow, py * grow, o[2] + t * d[2], *d,
                         *(xp.ones(n, dtype=xp.float32) for _ in range(3))])
        colour[:, hit] = tracer.trace(rays, xp.arange(n), n).astype(colour.dtype)


def render_light(scene: ChamberScene, size: tuple[int, int] | None = None,
                 window: Window | None = None, xp: Any = np, samples: int = 4) -> tuple[Any, Any]:
    """Linear light (H, W, 3) before the lens and kinds (H, W) of what each pixel shows.

    ``size`` is (width, height) of the whole picture (default: the scene's),
    ``window`` (x0, y0, x1, y1) the part wanted (it may reach beyond the
    picture).  Where the tube or an edge shows, ``samples`` (1, 2 or 4) rays are
    cast per pixel.
    """
    width, height = size or (scene.camera.width, scene.camera.height)
    x0, y0, x1, y1 = window or (0, 0, width, height)
    view = view_of(scene, (width, height))
    paint = Painter(scene, view, xp, samples)
    w, h = x1 - x0, y1 - y0
    xs = xp.tile(xp.arange(x0, x1, dtype=xp.float32), h)
    ys = xp.repeat(xp.arange(y0, y1, dtype=xp.float32), w)
    first, *others = PIERCED[samples]
    colour, kind = paint(xs + first[0], ys + first[1])
    picture = kind.reshape(h, w)
    if samples > 1:
        busy = picture == TUBE
        busy[:, 1:] |= picture[:, 1:] != picture[:, :-1]
        busy[:, :-1] |= picture[:, 1:] != picture[:, :-1]
        busy[1:] |= picture[1:] != picture[:-1]
        busy[:-1] |= picture[1:] != picture[:-1]
        again = xp.nonzero(busy.ravel())[0]
        total = colour[:, again]
        for dx, dy in others:
            total = total + paint(xs[again] + dx, ys[again] + dy)[0]
        colour[:, again] = total / float(samples)
    return colour.T.reshape(h, w, 3), picture


def render_scene(scene: ChamberScene, size: tuple[int, int] | None = None,
                 window: Window | None = None, xp: Any = np, samples: int | None = None) -> Any:
    """The photo of a scene: (H, W, 3) uint8 RGB, on the array module ``xp``.

    ``size`` (width, height) renders the same view with other pixels (blur and
    noise are rescaled with it); ``window`` (x0, y0, x1, y1) renders only that
    part.  ``samples`` rays per pixel of tube (1, 2 or 4; by default fewer where
    pixels are small).
    """
    width, height = size or (scene.camera.width, scene.camera.height)
    samples = samples or (2 if max(width, height) >= 1500 else 4)
    capture = scene.capture
    ratio = math.hypot(width, height) / math.hypot(scene.camera.width, scene.camera.height)
    if abs(ratio - 1) > 1e-6:
        capture = replace(capture, blur_px=capture.blur_px * ratio,
                          motion_px=capture.motion_px * ratio)
    x0, y0, x1, y1 = window or (0, 0, width, height)
    m = margin_px(capture)
    light, _ = render_light(scene, (width, height), (x0 - m, y0 - m, x1 + m, y1 + m), xp, samples)
    image = develop(light, capture, scene.seed, xp, (x0 - m, y0 - m, width, height))
    return image[m:-m, m:-m]
