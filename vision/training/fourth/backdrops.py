"""What stands behind the chamber.  Upright: it goes by gravity, not by the chamber's axis."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from vision.training.fourth.facts import Facts
from vision.training.fourth.luxcore import Stage
from vision.training.fourth.patterns import courses, notice, paper_pattern, stained, tinted
from vision.training.fourth.solids import Solid, block, rod, sheet, together, woven


class Place:
    """Puts things ``far`` behind the chamber, heights counted from its middle (mm); things may
    be turned about the vertical by ``yaw`` radians."""

    def __init__(self, stage: Stage, facts: Facts, rng: np.random.Generator) -> None:
        self.stage, self.facts, self.rng, self.yaw = stage, facts, rng, 0.0
        self.middle = 0.5 * (facts.floor_mm + facts.rim_mm)
        self.far = facts.scale.outer_radius_mm + float(np.exp(rng.uniform(
            math.log(90), math.log(900))))

    def put(self, solid: Solid, material: str) -> None:
        c, s = math.cos(self.yaw), math.sin(self.yaw)
        turn = np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]])
        at = self.facts.upright @ np.array([0.0, self.middle, 0.0])
        self.stage.put(solid.moved(self.facts.upright @ turn, at), material)

    def wall(self, picture: np.ndarray, width_mm: float, *, gloss: float = 0.0) -> None:
        """A wall across the view, the picture repeated every ``width_mm``."""
        half = 1600.0
        count = math.ceil(2 * half / width_mm)
        paint = self.stage.paint(self.stage.picture(picture), gloss=gloss, rough=0.08)
        tile = sheet((-half, -half, -self.far), (width_mm * count, 0, 0),
                     (0, width_mm * count, 0))
        self.put(Solid(tile.points, tile.normals, tile.uv * count, tile.triangles), paint)

    def plain_wall(self, low: float, high: float) -> None:
        """A painted wall."""
        colour = tinted(self.rng, low, high, 0.08)
        self.wall(colour * stained(self.rng, (256, 256), 0.05), 1100.0)


def furnish(stage: Stage, facts: Facts) -> None:
    """Add what is behind, a board and a pole."""
    rng = np.random.default_rng([facts.seed, 61])
    place = Place(stage, facts, rng)
    _BACKDROPS[facts.backdrop](place)
    place.yaw = 0.0
    outer = facts.scale.outer_radius_mm
    if facts.board:
        _board(place, outer)
    if rng.random() < 0.5:
        x = float(rng.uniform(-70, 70))
        z = -outer - float(rng.uniform(25, 80))
        steel = stage.metal(tinted(rng, 0.4, 0.7, 0.03), float(rng.uniform(0.05, 0.35)))
        place.put(rod((x, -900, z), (x, 900, z), float(rng.uniform(7, 15))), steel)


def _board(place: Place, outer: float) -> None:
    """A printed board that carries the chamber."""
    rng = place.rng
    wide, tall = 2 * outer + rng.uniform(20, 120), rng.uniform(180, 330)
    x = -wide / 2 + float(rng.uniform(-0.3, 0.3)) * (wide - 2 * outer)
    place.yaw = math.radians(place.facts.turn_deg)
    paint = place.stage.paint(place.stage.picture(notice(rng, int(3 * wide), int(3 * tall))),
                              gloss=0.03, rough=float(rng.uniform(0.1, 0.5)))
    place.put(sheet((x, -tall / 2, -outer - rng.uniform(3, 18)), (wide, 0, 0), (0, tall, 0)), paint)
    place.yaw = 0.0


def _brick(place: Place) -> None:
    rng = place.rng
    clay = rng.uniform([0.18, 0.06, 0.03], [0.5, 0.22, 0.14]) if rng.random() < 0.7 else tinted(
        rng, 0.4, 0.75, 0.05)
    place.yaw = float(rng.uniform(-0.5, 0.5))
    place.wall(courses(rng, 12, 4, clay, tinted(rng, 0.2, 0.5, 0.05), staggered=True,
                       spread=0.18, gap=14), 900.0)


def _tile(place: Place) -> None:
    rng = place.rng
    rows = int(rng.integers(4, 12))
    place.yaw = float(rng.uniform(-0.4, 0.4))
    place.wall(courses(rng, rows, rows, tinted(rng, 0.3, 0.8), tinted(rng, 0.15, 0.6, 0.03),
                       staggered=bool(rng.random() < 0.3), spread=0.04, gap=8), 900.0, gloss=0.05)


def _bookcase(place: Place) -> None:
    rng, far = place.rng, place.far + 120
    place.yaw = float(rng.uniform(-0.3, 0.3))
    wood = place.stage.paint(tinted(rng, 0.08, 0.5, 0.25))
    shelf = float(rng.uniform(180, 300))
    start = float(rng.uniform(-shelf, 0))
    piles: list[list[Solid]] = [[] for _ in range(9)]
    for k in range(-4, 5):
        y = start + k * shelf
        place.put(block((-1200, y, -far - 260), (1200, y + 22, -far)), wood)
        x = -900.0
        while x < 900:
            thick, tall = float(rng.uniform(12, 55)), shelf * float(rng.uniform(0.55, 0.88))
            if rng.random() < 0.9:
                deep = far + float(rng.uniform(5, 60))
                piles[int(rng.integers(9))].append(
                    block((x, y + 22, -deep - 150), (x + thick, y + 22 + tall, -deep)))
            x += thick + float(rng.uniform(0.5, 3))
    for pile in piles:
        place.put(together(pile), place.stage.paint(tinted(rng, 0.03, 0.6, 0.3), gloss=0.02))
    place.far = far + 262
    place.plain_wall(0.1, 0.4)


def _blinds(place: Place) -> None:
    rng, far = place.rng, place.far
    place.yaw = float(rng.uniform(-0.5, 0.5))
    sky = np.linspace(1.0, 0.45, 64)[:, None, None] * np.array([0.85, 0.97, 1.15])
    bright = place.stage.paint(place.stage.picture(sky * np.ones((64, 8, 1))),
                               gives=np.array([0.8, 0.95, 1.15]) * float(rng.uniform(0.8, 4)))
    place.put(sheet((-1500, -1500, -far - 120), (3000, 0, 0), (0, 3000, 0)), bright)
    apart, tilt = float(rng.uniform(22, 55)), math.radians(float(rng.uniform(10, 75)))
    rise, deep = 0.62 * apart * math.sin(tilt), 0.62 * apart * math.cos(tilt)
    slats = []
    for y in np.arange(-1000, 1000, apart):
        slats.append(sheet((-1400, y - rise, -far + deep), (2800, 0, 0), (0, 2 * rise, -2 * deep)))
    place.put(together(slats), place.stage.paint(tinted(rng, 0.35, 0.85, 0.06)))
    cords = [rod((x, -1000, -far + deep + 2), (x, 1000, -far + deep + 2), 1.2)
             for x in np.arange(-1200, 1200, 420) + rng.uniform(0, 400)]
    place.put(together(cords), place.stage.paint((0.7, 0.7, 0.7)))


def _corridor(place: Place) -> None:
    rng = place.rng
    place.yaw = float(rng.uniform(-0.35, 0.35))
    left, right = -float(rng.uniform(500, 1100)), float(rng.uniform(500, 1100))
    low, high, end = -float(rng.uniform(900, 1300)), float(rng.uniform(800, 1200)), -5200.0
    walls = place.stage.paint(tinted(rng, 0.35, 0.8, 0.06))
    place.put(together([sheet((left, low, 600), (0, 0, end), (0, high - low, 0)),
                        sheet((right, low, end), (0, 0, -end), (0, high - low, 0)),
                        sheet((left, low, end), (right - left, 0, 0), (0, high - low, 0))]), walls)
    checks = np.kron(np.indices((12, 6)).sum(0) % 2, np.ones((16, 16)))[..., None]
    floor = tinted(rng, 0.1, 0.3) * checks + tinted(rng, 0.25, 0.6) * (1 - checks)
    place.put(sheet((left, low, 0), (right - left, 0, 0), (0, 0, end)),
              place.stage.paint(place.stage.picture(floor), gloss=0.06, rough=0.1))
    place.put(sheet((left, high, end), (right - left, 0, 0), (0, 0, -end)),
              place.stage.paint(tinted(rng, 0.6, 0.85, 0.03)))
    doors, lamps = [], []
    for z in np.arange(-700, -5000, -1100.0):
        doors.append(block((left, low, z - 500), (left + 25, low + 1250, z)))
        doors.append(block((right - 25, low, z - 300), (right, low + 1250, z + 200)))
        lamps.append(sheet((-150, high - 4, z), (300, 0, 0), (0, 0, -500)).moved(np.eye(3)))
    place.put(together(doors), place.stage.paint(tinted(rng, 0.08, 0.5, 0.15), gloss=0.03))
    place.put(together(lamps), place.stage.paint((.8, .8, .8), gives=(5, 5, 4.6)))
    rail = [block((left, low + 480, end), (left + 40, low + 560, 0)),
            block((right - 40, low + 480, end), (right, low + 560, 0))]
    place.put(together(rail), place.stage.paint(tinted(rng, 0.05, 0.4, 0.15)))


def _plants(place: Place) -> None:
    rng = place.rng
    hidden = place.far
    place.far += 250
    place.plain_wall(0.3, 0.8)
    for _ in range(int(rng.integers(2, 5))):
        leaves = []
        root = np.array([rng.uniform(-300, 300), rng.uniform(-350, -60), -hidden - 100])
        for _ in range(int(rng.integers(25, 60))):
            way = np.array([rng.normal(0, 0.6), rng.uniform(0.2, 1.2), rng.normal(0, 0.4)])
            way /= np.linalg.norm(way)
            long, wide = float(rng.uniform(70, 260)), float(rng.uniform(6, 32))
            side = np.cross(way, [0.2, 0.1, 1.0])
            side /= np.linalg.norm(side)
            t = np.linspace(0, 1, 9)[:, None, None]
            droop = np.array([0, -0.5, 0]) * t**2 * long
            half = np.sin(np.pi * np.clip(t, 0.03, 0.97)) * wide
            across = np.linspace(-1, 1, 3)[None, :, None]
            foot = root + rng.normal(0, 25, 3)
            leaves.append(woven(foot + way * long * t + droop + side * half * across))
        green = np.array([0.05, 0.1, 0.03]) * rng.uniform(0.6, 2.0) * (1 + rng.normal(0, .2, 3))
        place.put(together(leaves), place.stage.paint(np.clip(green, .01, .6), gloss=.04, rough=.3))


def _wallpaper(place: Place) -> None:
    place.yaw = float(place.rng.uniform(-0.4, 0.4))
    place.wall(paper_pattern(place.rng), float(place.rng.uniform(250, 900)))


def _bedrail(place: Place) -> None:
    rng, far = place.rng, place.far
    y0 = float(rng.uniform(-120, 160))
    place.yaw = float(rng.uniform(-0.6, 0.6))
    bar = float(rng.uniform(9, 19))
    bars = [rod((-1000, y0 - k * 95, -far), (1000, y0 - k * 95, -far), bar) for k in range(4)]
    bars += [rod((x, y0 + 10, -far), (x, y0 - 320, -far), bar * 0.8)
             for x in np.arange(-900, 900, float(rng.uniform(140, 330))) + rng.uniform(0, 120)]
    shine = (place.stage.metal(tinted(rng, 0.45, 0.8, 0.03), 0.12) if rng.random() < 0.5
             else place.stage.paint(tinted(rng, 0.3, 0.85, 0.1), gloss=0.05, rough=0.15))
    place.put(together(bars), shine)
    x, z = np.meshgrid(np.linspace(-1200, 1200, 90), np.linspace(0, 1, 50))
    fold = sum(rng.uniform(6, 22) * np.sin(x / rng.uniform(40, 160) + rng.uniform(2, 9) * z
                                           + rng.uniform(0, 7)) for _ in range(4))
    cloth = np.stack([x, y0 - 420 + 560 * np.sqrt(z) + fold, -far - 40 - 500 * z], -1)
    place.put(woven(cloth), place.stage.paint(tinted(rng, 0.3, 0.85, 0.15)))
    place.far += 900
    place.plain_wall(0.25, 0.7)


_BACKDROPS: dict[str, Callable[[Place], None]] = {
    "brick": _brick, "tile": _tile, "bookcase": _bookcase, "blinds": _blinds,
    "corridor": _corridor, "plants": _plants, "wallpaper": _wallpaper, "bedrail": _bedrail}
