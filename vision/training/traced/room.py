"""What stands round a traced chamber: lights as an environment, and what is behind, as pictures."""

from __future__ import annotations

import numpy as np
from PIL import Image, ImageDraw, ImageFont


def environment(rng: np.random.Generator, light: str) -> np.ndarray:
    """(128, 256, 3) radiance of the far room: zenith on top, the middle column ahead (+y), the
    outer columns behind the camera."""
    h, w = 128, 256
    z = np.linspace(1, -1, h)[:, None]
    tint = rng.uniform(0.85, 1.1, 3)
    env = (0.28 + 0.22 * z)[..., None] * tint * np.ones((h, w, 1))
    for _ in range(int(rng.integers(2, 6))):  # furniture, doors, people
        x, y = int(rng.integers(0, w)), int(rng.integers(45, 100))
        env[y:y + int(rng.integers(8, 40)), x:x + int(rng.integers(4, 30))] *= rng.uniform(0.2, 1.6)

    def shine(x0: float, x1: float, y0: float, y1: float, power: float, bars: int = 1) -> None:
        cols = np.arange(int(x0 * w), max(int(x1 * w), int(x0 * w) + 2))
        keep = np.ones(len(cols), bool) if bars < 2 else (
            (np.arange(len(cols)) * bars / len(cols)) % 1 > 0.12)
        rows = slice(int(y0 * h), max(int(y1 * h), int(y0 * h) + 2))
        env[rows, cols[keep] % w] = power * rng.uniform(0.8, 1.15, 3)

    a = float(rng.uniform(-0.2, 0.2)) + (0.0 if rng.random() < 0.5 else 0.78)
    if light == "ceiling":
        for _ in range(int(rng.integers(1, 4))):
            b = float(rng.uniform(0, 0.9))
            shine(b, b + 0.12, 0.06, 0.16, 12.0)
    elif light == "window":
        shine(a, a + 0.1, 0.25, 0.52, 9.0, int(rng.integers(1, 4)))
    elif light == "lamp":
        shine(a, a + 0.03, 0.25, 0.31, 60.0)
    elif light == "back":
        b = 0.5 + float(rng.uniform(-0.12, 0.06))
        shine(b, b + float(rng.uniform(0.05, 0.12)), 0.3, 0.58, 5.0, int(rng.integers(1, 4)))
    return np.asarray(env, np.float32)


def backdrop(rng: np.random.Generator, kind: str, size_mm: tuple[float, float]) -> np.ndarray:
    """(H, W, 3) reflectance of the panel or whatever is behind, two pixels a mm."""
    w, h = (int(2 * s) for s in size_mm)
    base = np.array(rng.uniform(0.25, 0.8) * rng.uniform(0.85, 1.1, 3)).clip(0, 0.9)
    dark = base * rng.uniform(0.15, 0.7)
    image = np.tile(base, (h, w, 1))
    y, x = np.mgrid[:h, :w] / 2.0
    pitch = float(rng.uniform(3, 25))
    if kind == "stripes":
        t = np.radians(rng.uniform(0, 180))
        image[np.sin(2 * np.pi * (x * np.cos(t) + y * np.sin(t)) / pitch) > 0.3] = dark
    elif kind == "tiles":
        image[(x % (3 * pitch) < 1.2) | (y % (3 * pitch) < 1.2)] = dark
    elif kind == "curtain":
        fold = 0.55 + 0.45 * np.sin(2 * np.pi * x / (2 * pitch) + 0.6 * np.sin(y / 40))
        image = image * (0.4 + 0.6 * fold[..., None])
    elif kind == "shelf":
        for _ in range(int(rng.integers(1, 4))):
            at = float(rng.uniform(0.1, 0.9)) * h / 2
            image[np.abs(y - at) < rng.uniform(1, 8)] = dark
            image[(y > at) & (y < at + rng.uniform(5, 40))] *= rng.uniform(0.5, 1.3)
    elif kind == "bars":
        image[(x % (2 * pitch) < pitch * 0.4)] = dark
        image[np.abs(y - h * rng.uniform(0.1, 0.4)) < 3] = dark
    elif kind in ("rules", "words"):
        sheet = Image.fromarray((image * 255).astype(np.uint8))
        pen = ImageDraw.Draw(sheet)
        ink = tuple(int(255 * c) for c in dark)
        left = int(rng.uniform(0.1, 0.75) * w)
        for k in range(int(h / 2 / pitch) + 1):
            at = int(2 * pitch * k)
            if kind == "rules":
                pen.rectangle((left, at, left + (40 if k % 5 == 0 else 24), at + 1), fill=ink)
            else:
                pen.text((left + int(rng.integers(0, 30)), at), "".join(
                    rng.choice(list("abcdeghimnorstuv "), 14)), fill=ink,
                    font=ImageFont.load_default(max(6.0, pitch * 1.3)))
        image = np.asarray(sheet) / 255.0
    return np.asarray(image.clip(0.01, 0.92), np.float32)
