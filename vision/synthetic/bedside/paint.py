"""Painting a world, far things first."""

from __future__ import annotations

import numpy as np

from vision.fiducials.cards import card_modules
from vision.synthetic.bedside.canvas import ROWS_AT_ONCE, Canvas
from vision.synthetic.bedside.chamber import paint_chamber
from vision.synthetic.bedside.geometry import Board
from vision.synthetic.bedside.world import World

_TEXTURE = 40  # texture pixels per module of a card


def paint(world: World, rng: np.random.Generator) -> np.ndarray:
    """(H, W, 3) float32 linear light of a world, before lens and sensor."""
    c = Canvas(world.view)
    wall, floor = world.colours["wall"], world.colours["floor"]
    c.light[0] = wall
    c.light[1:] = c.light[0]
    far = 4000.0
    fy = world.floor_y
    c.polygon(np.array([[-far, fy, 0], [far, fy, 0], [far, fy, far], [-far, fy, far]]), floor)
    for board in world.wall_boards:
        c.polygon(board.corners(), board.colour)
    for top, low, width in world.strings:
        _string(c, top, low, width, np.full(3, 0.03))
    for centre, rotation, size in world.boxes:
        _box(c, centre, rotation, size, world.colours["bed"])
    _pole_and_panel(c, world, rng)
    _head(c, *world.head, world.colours["skin"])
    if world.kind in ("tap", "horizon"):
        _dot(c, world)
    if world.landmark is not None:
        _card(c, world.landmark, world.landmark_mm, 1)
    _lamp(c, rng)
    return c.finished()


def _pole_and_panel(c: Canvas, world: World, rng: np.random.Generator) -> None:
    """Pole, panel, zero card, chamber and cord; the cord in front."""
    if world.pole is not None:
        _pole(c, *world.pole, rng)
    if world.panel is not None:
        c.polygon(world.panel.corners(), world.panel.colour)
    if world.kind != "nozero":
        _card(c, world.zero, world.zero_mm, 0)
    if world.chamber is not None:
        hook = world.chamber.foot + world.chamber.axis * world.chamber.length_mm
        _string(c, hook + world.chamber.axis * world.chamber.hook_mm, hook, 1.5, np.full(3, 0.04))
        paint_chamber(c, world.chamber)
    if world.cord is not None:
        top, low, width, radius = world.cord
        _string(c, top, low, width, np.full(3, 0.02))
        _head(c, low - np.array([0, radius, 0]), radius, np.array([0.12, 0.1, 0.05]))


def _string(c: Canvas, top: np.ndarray, low: np.ndarray, width: float, colour: np.ndarray) -> None:
    sight = (top + low) / 2 - c.view.position
    side = np.cross(low - top, sight)
    side *= width / 2 / np.linalg.norm(side)
    c.polygon(np.array([top - side, top + side, low + side, low - side]), colour)


def _box(c: Canvas, centre: np.ndarray, rotation: np.ndarray, size: tuple[float, float, float],
         colour: np.ndarray) -> None:
    """The faces of a box that look at the camera, shaded by their direction."""
    half = np.array(size) / 2
    light = np.array([0.3, 0.8, 0.5])
    for axis in range(3):
        for sign in (-1.0, 1.0):
            normal = rotation[:, axis] * sign
            middle = centre + normal * half[axis]
            if normal @ (c.view.position - middle) <= 0:
                continue
            u, v = rotation[:, (axis + 1) % 3], rotation[:, (axis + 2) % 3]
            a, b = half[(axis + 1) % 3], half[(axis + 2) % 3]
            corners = np.array([middle - u * a - v * b, middle + u * a - v * b,
                                middle + u * a + v * b, middle - u * a + v * b])
            shade = 0.55 + 0.45 * max(0.0, float(normal @ light))
            c.polygon(corners, colour * shade)


def _pole(c: Canvas, foot: np.ndarray, axis: np.ndarray, radius: float, rng: np.random.Generator
          ) -> None:
    """A round pole as narrow strips, half paint and half mirror of the room."""
    paint_colour = rng.uniform(0.25, 0.7) * np.ones(3)
    shine = rng.uniform(0.0, 0.9)
    lamps = [(rng.uniform(-1.4, 1.4), rng.uniform(0.05, 0.3), rng.uniform(0.3, 2.0))
             for _ in range(2)]
    sight = foot - c.view.position
    back = sight - axis * (sight @ axis)
    back /= np.linalg.norm(back)
    side = np.cross(axis, back)
    n = 48
    angle = np.linspace(-np.pi / 2, np.pi / 2, n + 1)
    for lower, upper, tone in ((-1500.0, 0.0, rng.uniform(0.4, 1.0)), (0.0, 1500.0, 1.0)):
        for a, b in zip(angle[:-1], angle[1:], strict=True):
            mid = (a + b) / 2
            mirror = sum(s * np.exp(-0.5 * ((mid - at) / w) ** 2) for at, w, s in lamps)
            edge = np.abs(np.sin(mid)) ** 4  # grazing: a mirror of the wall beside
            value = (paint_colour * (0.5 + 0.5 * np.cos(mid)) * (1 - shine)
                     + shine * (0.35 + mirror * (1 - edge))) * tone
            arms = [radius * (np.sin(t) * side - np.cos(t) * back) for t in (a, b)]
            c.polygon(np.array([foot + arms[0] + axis * upper, foot + arms[1] + axis * upper,
                                foot + arms[1] + axis * lower, foot + arms[0] + axis * lower]),
                      value)


def _head(c: Canvas, centre: np.ndarray, radius: float, colour: np.ndarray) -> None:
    """A shaded ball by exact ray intersection."""
    v = c.view
    p = v.to_camera(centre)[0]
    reach = v.focal_px * radius / max(p[2] - radius, 50.0) * 1.3 + 4
    x0, y0 = v.project(centre)[0]
    xs = np.arange(max(0, int(x0 - reach)), min(v.width, int(x0 + reach) + 1))
    ys = np.arange(max(0, int(y0 - reach)), min(v.height, int(y0 + reach) + 1))
    if len(xs) == 0 or len(ys) == 0:
        return
    gx, gy = np.meshgrid((xs - (v.width - 1) / 2) / v.focal_px,
                         (ys - (v.height - 1) / 2) / v.focal_px)
    ray = np.dstack([gx, gy, np.ones_like(gx)])
    ray /= np.linalg.norm(ray, axis=2, keepdims=True)
    along = ray @ p
    gap = radius**2 - (p @ p - along**2)
    hit = gap > 0
    t = along - np.sqrt(np.where(hit, gap, 0))
    normal = (ray * t[..., None] - p) / radius
    light = v.axes @ np.array([0.3, 0.75, 0.6])
    shade = 0.5 + 0.5 * np.clip(normal @ light, 0, 1)
    part = c.light[ys[0]: ys[-1] + 1, xs[0]: xs[-1] + 1]
    part[hit] = (colour * shade[..., None])[hit]


def _dot(c: Canvas, world: World) -> None:
    """A coloured dot on the head at the landmark."""
    _head(c, world.landmark_point, 3.0, np.array([0.02, 0.05, 0.35]))


def _card(c: Canvas, board: Board, side_mm: float, code: int) -> None:
    """A printed card: black square with its pattern on white paper; pointer on the landmark's."""
    paper = board.size[0]
    px_per_mm = _TEXTURE * 8 / side_mm
    arm = 35.0 * side_mm / 40.0 if code == 1 else 0.0
    wide = max(paper / 2, arm + 2) * 2
    w, h = int(round(wide * px_per_mm)), int(round(paper * px_per_mm))
    texture = np.full((h, w, 3), 0.82, np.float32)
    alpha = np.zeros((h, w), np.float32)
    cx, cy = w / 2, h / 2
    half = paper / 2 * px_per_mm
    alpha[:, int(cx - half): int(cx + half)] = 1
    modules = np.kron(card_modules(code), np.ones((_TEXTURE, _TEXTURE)))
    s = int(round(cx - _TEXTURE * 4)), int(round(cy - _TEXTURE * 4))
    texture[s[1]: s[1] + 8 * _TEXTURE, s[0]: s[0] + 8 * _TEXTURE] = np.where(
        modules > 0, 0.82, 0.03)[..., None]
    if code == 1:
        x0, x1 = int(cx - arm * px_per_mm), int(cx - half + 4)
        thick = max(int(0.6 * px_per_mm), 1)
        texture[int(cy) - thick: int(cy) + thick, x0:x1] = 0.03
        alpha[int(cy) - thick: int(cy) + thick, x0:x1] = 1
    c.textured(Board(board.centre, board.rotation, (w / px_per_mm, h / px_per_mm), board.colour),
               texture, alpha)


def _lamp(c: Canvas, rng: np.random.Generator) -> None:
    """Uneven light over the whole picture."""
    h, w = c.light.shape[:2]
    x = np.linspace(-1, 1, w, dtype=np.float32)[None, :]
    y = np.linspace(-1, 1, h, dtype=np.float32)[:, None]
    a, b, q = rng.uniform(-0.2, 0.2, 3)
    for top in range(0, h, ROWS_AT_ONCE):
        rows = slice(top, top + ROWS_AT_ONCE)
        part = y[rows]
        lamp = (1 + a * x + b * part - abs(q) * (x * x + part * part)).astype(np.float32)
        for k in range(3):
            c.light[rows, :, k] *= lamp
