"""What may stand behind a chamber: pictures put together by chance.

Networks that are taught before plain panels take a book or a blind that shows through a tube for a
surface.  Overlapping shapes of many sizes ("dead leaves") have edges as photographs have
them and teach networks to see in their stead (M. Baradad Jurjo and others, *Learning to See by
Looking at Noise*, Advances in Neural Information Processing Systems 34, 2021).  Beside those
stand repeated things as rooms have them: slats, bricks, books, figured paper, lines of writing.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

import cv2
import numpy as np

#: Cells of a collage either way; beyond them it is repeated.
CELLS = 320
_Canvas = np.ndarray
_Dice = np.random.Generator


def _colour(rng: _Dice) -> tuple[float, float, float]:
    """Any colour, greys and dull ones oftener than bright ones."""
    light = float(rng.uniform(0.02, 0.95))
    tint = rng.uniform(-1, 1, 3) * float(rng.uniform(0, 0.5)) * min(light, 1 - light) * 1.6
    red, green, blue = np.clip(light + tint, 0.01, 0.97)
    return float(red), float(green), float(blue)


def _leaves(rng: _Dice) -> _Canvas:
    """Shapes over shapes, many small ones for each large one."""
    image = np.full((CELLS, CELLS, 3), _colour(rng), np.float32)
    largest = float(rng.uniform(20, 110))
    for _ in range(int(rng.integers(60, 420))):
        size = max(largest * float(rng.random()) ** 2.5, 1.5)
        x, y = (int(v) for v in rng.uniform(0, CELLS, 2))
        kind, colour = rng.random(), _colour(rng)
        long = max(int(size * rng.uniform(0.15, 1.0)), 1)
        if kind < 0.35:
            cv2.ellipse(image, (x, y), (int(size) + 1, long), float(rng.uniform(0, 180)), 0, 360,
                        colour, -1, cv2.LINE_AA)
        elif kind < 0.8:
            turn = float(rng.choice([0.0, 90.0, rng.uniform(0, 180)]))
            box = cv2.boxPoints(((float(x), float(y)), (2 * size, 2.0 * long), turn))
            cv2.fillPoly(image, [box.astype(np.int32)], colour, cv2.LINE_AA)
        else:
            angle = float(rng.choice([0.0, math.pi / 2, rng.uniform(0, math.pi)]))
            end = (int(x + 3 * size * math.cos(angle)), int(y + 3 * size * math.sin(angle)))
            cv2.line(image, (x, y), end, colour, int(rng.integers(1, 5)), cv2.LINE_AA)
    return image


def _slats(rng: _Dice) -> _Canvas:
    """Even strips that change their light from edge to edge, as blinds and grilles do."""
    period, share = float(rng.uniform(5, 60)), float(rng.uniform(0.3, 0.95))
    slat, gap = np.array(_colour(rng)), np.array(_colour(rng))
    tilt = math.radians(float(rng.choice([0.0, 90.0])) + float(rng.normal(0, 2.0)))
    x, y = np.meshgrid(np.arange(CELLS), np.arange(CELLS))
    at = ((y * math.cos(tilt) + x * math.sin(tilt)) / period) % 1.0
    shade = 1.0 + float(rng.uniform(-0.7, 0.7)) * (at / share - 0.5)
    return np.asarray(np.where((at < share)[..., None], slat * shade[..., None], gap), np.float32)


def _bricks(rng: _Dice) -> _Canvas:
    """Courses of blocks, each of its own shade, in joints of another colour."""
    image = np.full((CELLS, CELLS, 3), _colour(rng), np.float32)
    high, joint = int(rng.integers(8, 50)), int(rng.integers(1, 5))
    wide = max(int(high * rng.uniform(1.0, 3.5)), 6)
    colour, spread = np.array(_colour(rng)), float(rng.uniform(0.02, 0.25))
    for row in range(CELLS // high + 1):
        start = -int(rng.integers(0, wide)) if rng.random() < 0.3 else -(row % 2) * wide // 2
        for left in range(start, CELLS, wide):
            tint = np.clip(colour * (1 + rng.normal(0, spread)) + rng.normal(0, spread / 4, 3),
                           0.01, 0.97)
            cv2.rectangle(image, (left, row * high), (left + wide - joint - 1,
                                                      (row + 1) * high - joint - 1),
                          tint.tolist(), -1)
    return image


def _books(rng: _Dice) -> _Canvas:
    """Things side by side on boards, with the dark over them."""
    back = _colour(rng)
    image = np.full((CELLS, CELLS, 3), [0.3 * c for c in back], np.float32)
    high, board = int(rng.integers(40, 160)), int(rng.integers(3, 14))
    for top in range(-int(rng.integers(0, high)), CELLS, high):
        left, foot = 0, top + high - board
        while left < CELLS:
            wide, tall = int(rng.integers(4, 32)), int(high * rng.uniform(0.45, 0.9))
            cv2.rectangle(image, (left, foot - tall), (left + wide - 1, foot), _colour(rng), -1)
            for _ in range(int(rng.integers(0, 4))):
                at = int(foot - tall * rng.random())
                cv2.rectangle(image, (left, at), (left + wide - 1, at + int(rng.integers(0, 4))),
                              _colour(rng), -1)
            left += wide + int(rng.random() < 0.15) * int(rng.integers(1, 20))
        cv2.rectangle(image, (0, foot), (CELLS, foot + board), back, -1)
    return image


def _paper(rng: _Dice) -> _Canvas:
    """A small picture again and again."""
    side = int(rng.integers(16, 90))
    left, top = (int(v) for v in rng.integers(0, CELLS - side, 2))
    motif = _leaves(rng)[top:top + side, left:left + side]
    if rng.random() < 0.6:
        motif = np.concatenate([motif, motif[:, ::-1]], axis=1)
    times = (CELLS // motif.shape[0] + 1, CELLS // motif.shape[1] + 1, 1)
    return np.asarray(np.tile(motif, times)[:CELLS, :CELLS])


def _writing(rng: _Dice) -> _Canvas:
    """Lines of strokes on paper of one colour, and a rule here and there."""
    image = np.full((CELLS, CELLS, 3), _colour(rng), np.float32)
    ink, step = _colour(rng), int(rng.integers(7, 34))
    for line in range(int(rng.integers(0, step)), CELLS, step):
        x = int(rng.integers(0, 40))
        if rng.random() < 0.12:
            cv2.line(image, (0, line), (CELLS, line), ink, int(rng.integers(1, 4)))
            continue
        while x < CELLS - 20:
            wide = int(rng.integers(2, max(step // 2, 4)))
            if rng.random() < 0.8:
                cv2.rectangle(image, (x, line - int(step * rng.uniform(0.2, 0.6))),
                              (x + max(wide // 2, 1), line), ink, -1)
            x += wide
    return image


def _clouds(rng: _Dice) -> _Canvas:
    """Soft shades without an edge: light falls off with the size of what differs."""
    across = np.hypot(*np.meshgrid(np.fft.fftfreq(CELLS), np.fft.fftfreq(CELLS)))
    weight = np.maximum(across, 1 / CELLS) ** -float(rng.uniform(0.8, 1.8))
    layers = np.stack([np.fft.ifft2(np.fft.fft2(rng.standard_normal((CELLS, CELLS))) * weight).real
                       for _ in range(2)])
    layers /= layers.std(axis=(1, 2), keepdims=True)
    colours = np.array([_colour(rng), _colour(rng)]) - 0.5
    return np.asarray(0.5 + 0.5 * np.tensordot(layers.transpose(1, 2, 0), colours, 1), np.float32)


_KINDS: tuple[tuple[Callable[[_Dice], _Canvas], float], ...] = (
    (_leaves, 0.3), (_slats, 0.15), (_bricks, 0.13), (_books, 0.14), (_paper, 0.12),
    (_writing, 0.1), (_clouds, 0.06))


@lru_cache(maxsize=8)
def collage(seed: int) -> np.ndarray:
    """Colours (3, CELLS, CELLS), float32 linear 0..1, of a picture drawn from a seed.

    The second axis runs upwards.  The same seed gives the same picture.
    """
    rng = np.random.default_rng(seed)
    makers, shares = zip(*_KINDS, strict=True)

    def one() -> _Canvas:
        return makers[int(rng.choice(len(makers), p=shares))](rng)

    image = one()
    if rng.random() < 0.4:  # part of it is another
        x0, x1 = sorted(int(v) for v in rng.integers(0, CELLS, 2))
        y0, y1 = sorted(int(v) for v in rng.integers(0, CELLS, 2))
        image[y0:y1, x0:x1] = one()[y0:y1, x0:x1]
    if rng.random() < 0.25:  # of one hue
        grey = image.mean(axis=2, keepdims=True)
        image = np.asarray(grey * np.array(_colour(rng)) * 1.6, np.float32)
    if rng.random() < 0.5:  # out of focus
        image = cv2.GaussianBlur(image, (0, 0), float(np.exp(rng.uniform(-0.5, 1.6))))
    contrast = float(rng.uniform(0.25, 1.0))
    middle = image.mean(axis=(0, 1), keepdims=True)
    image = middle + contrast * (image - middle)
    slope = np.linspace(1 - (fall := float(rng.uniform(0, 0.4))), 1 + fall, CELLS)
    image = image * (slope[:, None, None] if rng.random() < 0.5 else slope[None, :, None])
    return np.ascontiguousarray(np.clip(image, 0.005, 0.98)[::-1].transpose(2, 0, 1), np.float32)
