"""Pictures for surfaces of the room: (H, W, 3) linear colours, top row first."""

from __future__ import annotations

import cv2
import numpy as np
from PIL import Image, ImageDraw


def tinted(rng: np.random.Generator, low: float, high: float, spread: float = 0.15) -> np.ndarray:
    """A colour of some brightness."""
    return np.asarray(np.clip(rng.uniform(low, high) * (1 + rng.normal(0, spread, 3)), .01, .92))


def stained(rng: np.random.Generator, shape: tuple[int, int], depth: float) -> np.ndarray:
    """(H, W, 1) unevenness about one, coarse and fine."""
    out = np.ones(shape, np.float32)
    for cells, share in ((5, 0.6), (24, 0.3), (120, 0.25)):
        coarse = rng.standard_normal((cells, cells)).astype(np.float32)
        out += depth * share * cv2.resize(coarse, shape[::-1], interpolation=cv2.INTER_CUBIC)
    return np.clip(out, 0.2, 1.8)[..., None]


def courses(rng: np.random.Generator, rows: int, columns: int, base: np.ndarray,
            joint: np.ndarray, *, staggered: bool, spread: float, gap: int = 4) -> np.ndarray:
    """Bricks or tiles, each a little different, with joints between."""
    size = 1024
    picture = np.broadcast_to(joint, (size, size, 3)).astype(np.float32).copy()
    tall, wide = size / rows, size / columns
    for i in range(rows):
        shift = 0.5 * (i % 2) if staggered else 0.0
        for j in range(-1, columns + 1):
            colour = base * (1 + spread * rng.normal()) * (1 + 0.3 * spread * rng.normal(size=3))
            y0, y1 = round(i * tall) + gap // 2, round((i + 1) * tall) - gap // 2
            x0, x1 = round((j + shift) * wide) + gap // 2, round((j + 1 + shift) * wide) - gap // 2
            picture[y0:y1, max(x0, 0):max(x1, 0)] = colour
    return np.asarray(np.clip(picture * stained(rng, (size, size), 0.12), 0.005, 0.93))


def paper_pattern(rng: np.random.Generator) -> np.ndarray:
    """Wallpaper: rosettes in rows over a ground."""
    ground, motif, line = (tinted(rng, 0.15, 0.8, 0.14) for _ in range(3))
    size, repeat = 1024, int(rng.choice([64, 102, 128, 204]))
    image = Image.new("RGB", (size, size), tuple(int(255 * c) for c in ground))
    pen = ImageDraw.Draw(image)
    petals, reach = int(rng.integers(4, 9)), repeat * float(rng.uniform(0.25, 0.42))
    for i, y in enumerate(range(0, size + repeat, repeat)):
        for x in range(-repeat, size + repeat, repeat):
            cx = x + (i % 2) * repeat / 2
            for k in range(petals):
                t = 2 * np.pi * k / petals
                px, py = cx + 0.6 * reach * np.cos(t), y + 0.6 * reach * np.sin(t)
                pen.ellipse((px - reach / 3, py - reach / 4, px + reach / 3, py + reach / 4),
                            fill=tuple(int(255 * c) for c in motif))
            pen.ellipse((cx - reach / 4, y - reach / 4, cx + reach / 4, y + reach / 4),
                        outline=tuple(int(255 * c) for c in line), width=3)
        if repeat > 100:
            pen.line((0, y + repeat // 2, size, y + repeat // 2),
                     fill=tuple(int(255 * c) for c in line), width=4)
    return np.asarray(image, np.float32) / 255 * stained(rng, (size, size), 0.05)


def notice(rng: np.random.Generator, wide: int, tall: int) -> np.ndarray:
    """A board with columns of print, lines and a coloured heading."""
    ground = np.clip(rng.uniform(120, 225) + rng.normal(0, 14, 3), 0, 235)
    image = Image.new("RGB", (wide, tall), tuple(int(c) for c in ground))
    pen = ImageDraw.Draw(image)
    pen.rectangle((0, 0, wide, int(tall * rng.uniform(0.03, 0.1))),
                  fill=tuple(int(c) for c in rng.uniform(20, 200, 3)))
    words = ["Bett 4", "drain", "hold", "cm", "zero line", "open", "closed", "ward", "0", "5", "10"]
    for _ in range(int(rng.integers(6, 26))):
        x, y = rng.uniform(0, wide * 0.85), rng.uniform(0.1 * tall, tall)
        pen.text((x, y), str(rng.choice(words)), fill=(30, 30, 40))
    for _ in range(int(rng.integers(0, 12))):
        y = rng.uniform(0.1 * tall, tall)
        x = rng.choice([0.02, 0.7]) * wide
        pen.line((x, y, x + wide * rng.uniform(0.1, 0.28), y), fill=(40, 40, 50), width=2)
    return np.asarray((np.asarray(image, np.float32) / 255) ** 2.2)
