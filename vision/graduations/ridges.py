"""Short printed strokes in a photo: the raw material of the ladder.

A graduation is a thin line, darker than what lies above and below it (or
lighter, on a dark wall).  Nothing here knows about scales or chambers.
"""

from __future__ import annotations

import math
import threading
from dataclasses import dataclass

import cv2
import numpy as np

from vision.parameters import DARKEST_LEVEL

#: Grey level of a usual background, and the least response of a mark before it.
_USUAL_LEVEL, _LEAST_RESPONSE = 140.0, 2.5

#: Second threshold for faint strokes, and how many clear pixels hold them up.
_FAINT_SHARE, _CLEAR_PIXELS = 0.55, 3


#: Share of the pixels up to which they are few: then it pays to go from stretch to stretch.
_FEW = 0.02
#: Threshold in median absolute responses: of a picture as it is, and of a smeared one.
_GRAINS, _SMEARED_GRAINS = 6.0, 4.5
#: Bands of so many rows, so many of them, tell whether a picture is quiet, where the threshold that
#: they ask for is less than this share of the least.
_BAND_ROWS, _BANDS, _PLAINLY = 40, 6, 0.85
#: So many pixels are worked on at a time: what is made of them stays in the processor's own
#: memory, where it is several times as quick.
_STRIP_PIXELS = 100_000
#: Room to work in is kept from one look to the next up to so many pixels: memory that is new to
#: a process takes as long as the work itself.
_KEPT_PIXELS = 3_200_000


@dataclass(frozen=True)
class Strokes:
    """Line-like dark components, one row each.

    ``centre_px`` (N, 2) and ``left_px``/``right_px`` (N, 2) are (x, y) in pixels
    of the picture that was searched; ``length_px`` (N,) is the distance of the
    ends; ``strength`` (N,) is the mean ridge response in grey levels.
    """

    centre_px: np.ndarray
    left_px: np.ndarray
    right_px: np.ndarray
    length_px: np.ndarray
    strength: np.ndarray

    def __len__(self) -> int:
        return len(self.length_px)

    def take(self, index: np.ndarray) -> Strokes:
        """The strokes at ``index`` (integers or a mask)."""
        return Strokes(self.centre_px[index], self.left_px[index], self.right_px[index],
                       self.length_px[index], self.strength[index])


class _Room(threading.local):
    """Arrays to work in, each under its name; what was in them is gone at the next call."""

    def __init__(self) -> None:
        self.kept: dict[str, np.ndarray] = {}

    def array(self, name: str, shape: tuple[int, ...], dtype: type) -> np.ndarray:
        size = math.prod(shape)
        if size > _KEPT_PIXELS:
            return np.empty(shape, dtype)
        if name not in self.kept or self.kept[name].size < size:
            self.kept[name] = np.empty(size, dtype)
        return self.kept[name][:size].reshape(shape)


_ROOM = _Room()
_NONE = Strokes(np.zeros((0, 2)), np.zeros((0, 2)), np.zeros((0, 2)), np.zeros(0), np.zeros(0))


def ridge_response(grey: np.ndarray, sigma_px: float, room: np.ndarray | None = None
                   ) -> np.ndarray:
    """How much darker a pixel is than both its surroundings above and below.

    ``grey`` is (H, W) float32.  The smaller of the two differences is taken, so
    that a plain step (the edge of a lid) gives no response.  ``room`` (2, H or more, W) float32,
    where given, is worked in and holds what is returned.
    """
    rows = grey.shape[0]
    smooth, response = np.empty((2, *grey.shape), np.float32) if room is None else room[:, :rows]
    cv2.GaussianBlur(grey, (0, 0), sigma_px, dst=smooth)
    d = min(max(1, round(1.7 * sigma_px)), rows)
    response[:d] = response[rows - d:] = 0.0
    if rows > 2 * d:
        inner = response[d:-d]
        np.minimum(smooth[:-2 * d], smooth[2 * d:], out=inner)
        np.subtract(inner, smooth[d:-d], out=inner)
    return np.asarray(response)


def find_strokes(
    grey: np.ndarray, sigma_px: float, *, smear_px: int = 0, faint: bool = False,
    min_length_px: float = 7.0, max_slope: float = 0.9, quiet: bool = False,
) -> Strokes:
    """Components of the ridge response that are much longer than thick.

    ``grey`` is (H, W) float32 in grey levels.  Ink takes away a share of the
    light, so the response is put in proportion to the brightness around it: a
    mark in front of dark liquid counts like one in front of a pale panel.  The
    threshold adapts to the grain of the photo (six times the median absolute
    response).  ``smear_px`` averages that many pixels across first: grain goes,
    strokes, which lie across, stay.  ``faint`` also takes what is half as clear where
    it hangs together with something clear, which mends strokes broken by grain (two
    thresholds: J. Canny, *A Computational Approach to Edge Detection*, IEEE Trans.
    PAMI 8 (1986) 679).  ``quiet`` says that ``grey`` is a part of a picture without much grain:
    the least threshold does.
    """
    # an even picture: no line in it could respond; most show at a glance that they are none
    if all(float(np.ptp(part)) * _USUAL_LEVEL < _LEAST_RESPONSE * DARKEST_LEVEL
           for part in (grey[::16, ::16], grey)):
        return _NONE
    response = _proportioned_response(grey, sigma_px, smear_px)
    sample = np.abs(response[::4, ::4])
    # smeared grain is grain no longer, and what it still breaks is joined again
    times = _SMEARED_GRAINS if smear_px > 1 else _GRAINS
    quiet = quiet or 2 * np.count_nonzero(times * sample <= _LEAST_RESPONSE) > sample.size
    threshold = _LEAST_RESPONSE if quiet else max(
        _LEAST_RESPONSE, times * float(np.median(sample)))
    mask = np.greater(response, threshold, out=_ROOM.array("mask", response.shape, np.bool_)
                      ).view(np.uint8)
    if not mask.any():
        return _NONE
    if smear_px > 1:
        reach = np.ones((3, 2 * smear_px + 1), np.uint8)
        mask = np.asarray(cv2.morphologyEx(mask, cv2.MORPH_CLOSE, reach), dtype=np.uint8)
    whole = (response > _FAINT_SHARE * threshold).view(np.uint8) if faint else mask
    y, x, part, count = _components(whole)
    left, top = _least(x, part, count), _least(y, part, count)
    width = 1 - _least(-x, part, count) - left
    keep = (width >= min_length_px) & (np.bincount(part, minlength=count) < 0.5 * width**2)
    if faint:
        keep &= np.bincount(part[mask[y, x] > 0], minlength=count) >= _CLEAR_PIXELS
    inside = keep[part]
    x, y, part = x[inside], y[inside], (np.cumsum(keep) - 1)[part[inside]]
    return _described(x, y, part, response[y, x], left[keep], top[keep], width[keep],
                      max_slope) if inside.any() else _NONE


def is_quiet(grey: np.ndarray, sigma_px: float) -> bool:
    """Whether some bands of rows across a picture plainly show so little grain that the least
    threshold does for strokes of that width."""
    middle = slice(_BAND_ROWS // 3, 2 * _BAND_ROWS // 3)
    tops = np.linspace(0, max(len(grey) - _BAND_ROWS, 0), _BANDS).astype(int)
    sample = [np.abs(_proportioned_response(grey[top:top + _BAND_ROWS], sigma_px, 0)[middle, ::4])
              for top in tops]
    return bool(_GRAINS * np.median(sample) < _PLAINLY * _LEAST_RESPONSE)


def _proportioned_response(grey: np.ndarray, sigma_px: float, smear_px: int) -> np.ndarray:
    """The ridge response for the usual brightness, in an array that the next call uses again.

    A strip of rows at a time, in one place.
    """
    height, width = grey.shape
    around = cv2.blur(cv2.resize(grey, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA),
                      (5, 5))
    response = np.asarray(cv2.resize(
        around, (width, height), _ROOM.array("response", (height, width), np.float32),
        interpolation=cv2.INTER_LINEAR))
    # OpenCV's kernel for floats reaches 4 sigma; the ridge looks 1.7 sigma beyond that.
    beyond = math.ceil(6 * sigma_px) + 2
    rows = max(2 * beyond, _STRIP_PIXELS // width)
    work = _ROOM.array("work", (3, min(height, rows + 2 * beyond), width), np.float32)
    for top in range(0, height, rows):
        first, end = max(0, top - beyond), min(height, top + rows)
        strip = grey[first:min(height, end + beyond)]
        if smear_px > 1:
            strip = cv2.blur(strip, (smear_px, 1), dst=work[2, :len(strip)])
        ridge = ridge_response(strip, sigma_px, work[:2])
        here = response[top:end]
        np.add(here, DARKEST_LEVEL, out=here)
        np.divide(_USUAL_LEVEL, here, out=here)
        here *= ridge[top - first:end - first]
    return response


def _components(mask: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, int]:
    """Row, column and number of the component (touching at a corner is enough) of every pixel
    (P,) of a ``mask`` (H, W) uint8 that is not nought, row by row, and how many numbers there are.

    Where there are few such pixels the stretches that they form in the rows are laid together,
    which spares looking at all others; either way components are numbered in the same order.
    """
    width = mask.shape[1]
    # numpy looks for what is true much faster than for what is not nought
    at = np.flatnonzero(mask.view(bool))
    y, x = np.divmod(at, width)
    if len(at) > _FEW * mask.size:
        # OpenCV's own figures of the components cost five times as much as finding them.
        count, labels = cv2.connectedComponents(
            mask, _ROOM.array("labels", mask.shape, np.int32), connectivity=8)
        return y, x, labels[y, x], count
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    begins = (np.diff(at, prepend=-2) != 1) | (x == 0)
    first = np.flatnonzero(begins)
    last = np.append(first[1:], len(at)) - 1
    # places counted so that the ends of two rows never touch
    row, left, right = y[first] * (width + 2), x[first], x[last]
    above = np.searchsorted(row + right, row - (width + 2) + left - 1)
    beyond = np.searchsorted(row + left, row - (width + 2) + right + 1, side="right")
    touched = np.maximum(beyond - above, 0)
    here = np.repeat(np.arange(len(first)), touched)
    there = np.arange(len(here)) + np.repeat(above - (np.cumsum(touched) - touched), touched)
    count, of = connected_components(coo_array(
        (np.ones(len(here), bool), (here, there)), (len(first),) * 2), directed=False)
    # OpenCV numbers them as it meets them, two rows and two columns at a time
    met = np.full(count, mask.size)
    np.minimum.at(met, of, (y[first] // 2) * width + left // 2)
    number = np.empty(count, int)
    number[np.argsort(met)] = np.arange(count)
    return y, x, number[of][np.cumsum(begins) - 1], count


def _least(value: np.ndarray, part: np.ndarray, count: int) -> np.ndarray:
    """(count,) smallest value of the pixels of each part; 0 for those of none."""
    least = np.full(count, np.iinfo(np.int64).max)
    np.minimum.at(least, part, value)
    return np.where(least == np.iinfo(np.int64).max, 0, least)


def _described(x: np.ndarray, y: np.ndarray, part: np.ndarray, response: np.ndarray,
               left: np.ndarray, top: np.ndarray, width: np.ndarray, max_slope: float) -> Strokes:
    """Centre, ends, length and strength of each component.

    ``x``, ``y``, ``part`` and ``response`` (P,) are of the pixels, row by row; ``left``, ``top``
    and ``width`` (N,) of the components, whose columns are laid one after the other, an empty
    one before each: from nothing on ``reduceat`` adds as ``sum`` does, to the last bit.
    """
    first = np.cumsum(width + 1) - (width + 1)
    size = int((width + 1).sum())
    at = (first + 1 - left)[part] + x
    column = np.zeros(size, np.float32)
    np.add.at(column, at, response)
    y_mean = np.bincount(at, response * (y - top[part]), size) / np.maximum(column, 1e-9)
    owner = np.repeat(np.arange(len(width)), width + 1)
    across = np.arange(size) - (first + 1)[owner]
    total = np.add.reduceat(column, first)

    def mean(values: np.ndarray) -> np.ndarray:
        return np.asarray(np.add.reduceat(values * column, first) / total)

    xc, yc = mean(across), mean(y_mean)
    aside, aslant = across - xc[owner], y_mean - yc[owner]
    slope = np.add.reduceat(aside * aslant * column, first) / np.maximum(
        np.add.reduceat(aside**2 * column, first), 1e-9)
    pixels = np.bincount(part[response > 0], minlength=len(width))
    middle, last = top + yc, width - 1
    return Strokes(np.column_stack([left + xc, middle]),
                   np.column_stack([left, middle - slope * xc]),
                   np.column_stack([left + last, middle + slope * (last - xc)]),
                   np.hypot(last, slope * last), total / np.maximum(pixels, 1)).take(
                       np.abs(slope) <= max_slope)
