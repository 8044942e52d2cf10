"""The two small networks that look at the surface, run by OpenCV.

They were taught on ray-traced scenes only (``vision/training``).  The finder says
in which row the front contact line runs.  The gauge looks closely at one place: it
says whether the line is there at all, and how far below it the level lies, as a
probability, since that is what the shape of the meniscus and the lean of the chamber
decide and what no single edge shows.
"""

from __future__ import annotations

import json
import threading
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any

import cv2
import numpy as np

from vision.surface_grid import WINDOW_COLUMNS, WINDOW_ROWS, WINDOW_STEP_MM
from vision.surface_input import (
    BIN_CENTRES_MM,
    finder_facts,
    gauge_facts,
    is_hard,
    standardised,
)

#: The windows that are cut higher and lower differ by so many rows: a third of a
#: millimetre, as far as the contact line is placed wrong at worst.
SPARE_ROWS = 3
#: The odds that the gauge was taught with: windows of the line to windows of other things.
TAUGHT_ODDS = 1.75
_LOCK = threading.Lock()


@lru_cache(maxsize=2)
def _net(name: str) -> Any:
    path = files("vision") / "data" / "surface" / f"surface_{name}.onnx"
    return cv2.dnn.readNetFromONNX(str(path))


@dataclass(frozen=True)
class CloseLook:
    """What the gauge says of one place.

    ``probability`` (bins,) over ``BIN_CENTRES_MM``; ``odds`` how many times likelier the
    picture is with the front contact line there than with something else.
    """

    probability: np.ndarray
    odds: float


@lru_cache(maxsize=1)
def _temperatures() -> dict[str, float]:
    """How much surer the networks sound than they are, found on scenes kept from teaching.

    Dividing the logits by it calibrates the probability (C. Guo et al., *On
    Calibration of Modern Neural Networks*, ICML 2017) and leaves its place alone.
    """
    text = (files("vision") / "data" / "surface" / "temperatures.json").read_text("utf-8")
    return {str(name): float(value) for name, value in json.loads(text).items()}


def _run(name: str, planes: np.ndarray) -> np.ndarray:
    """The network's logits.  OpenCV's networks keep state: one at a time."""
    with _LOCK:
        net = _net(name)
        net.setInput(np.ascontiguousarray(planes[None], dtype=np.float32))
        return np.asarray(net.forward()).reshape(-1).astype(float)


def _softmax(logits: np.ndarray, temperature: float) -> np.ndarray:
    p = np.exp((logits - logits.max()) / temperature)
    return p / p.sum()


def _with_numbers(picture: np.ndarray, numbers: np.ndarray) -> np.ndarray:
    h, w = picture.shape[1:]
    return np.concatenate([picture, np.broadcast_to(numbers[:, None, None], (len(numbers), h, w))])


def find_rows(whole: np.ndarray, elevation_deg: float, radius_mm: float, step_mm: float
              ) -> tuple[np.ndarray, float]:
    """Probability of each row of the WHOLE view, and of no surface in sight."""
    z, _, _ = standardised(filled(whole))
    p = _softmax(_run("finder", _with_numbers(
        z, finder_facts(elevation_deg, radius_mm, step_mm))), _temperatures()["finder"])
    return p[:-1], float(p[-1])


def gauge_level(
    close: np.ndarray, whole: np.ndarray, elevation_deg: float, radius_mm: float,
    wall_mm: float, height_over_lowest_mm: float, px_per_mm: float,
) -> CloseLook:
    """Whether the front contact line is in the middle of ``close``, and how far above the level.

    ``close`` is the WINDOW view with ``SPARE_ROWS`` more rows above and below: the
    level is the same wherever the window was cut, and physics does not know left
    from right, so a window cut a little lower and a mirrored one cut a little higher
    are two opinions.  Their mean is taken.
    """
    near, around = filled(close), filled(whole)
    far = np.asarray(cv2.resize(around, (WINDOW_COLUMNS, WINDOW_ROWS),
                                interpolation=cv2.INTER_LINEAR)).transpose(2, 0, 1) / 255.0
    cooled = _temperatures()
    hard = is_hard(elevation_deg, wall_mm)
    total, here = np.zeros(len(BIN_CENTRES_MM)), 0.0
    for rows, mirrored in ((-SPARE_ROWS, False), (SPARE_ROWS, True)):
        cut = near[SPARE_ROWS + rows:SPARE_ROWS + rows + WINDOW_ROWS]
        z, mean, sd = standardised(cut)
        both = np.concatenate([z, (far - mean) / sd])
        lower_mm = WINDOW_STEP_MM * rows
        numbers = gauge_facts(elevation_deg, radius_mm, wall_mm,
                              height_over_lowest_mm - lower_mm, px_per_mm)
        said = _run("gauge", _with_numbers(both[:, :, ::-1] if mirrored else both, numbers))
        p = _softmax(said[:-1], cooled["hard bins" if hard else "bins"])
        # this window's middle lies so much lower, and is so much less above the level
        total += np.interp(BIN_CENTRES_MM, BIN_CENTRES_MM + lower_mm, p, left=0.0, right=0.0)
        here += 0.5 * float(said[-1]) / cooled["here"]
    return CloseLook(total / total.sum(), float(np.exp(np.clip(here, -12, 12)) / TAUGHT_ODDS))


def filled(view: np.ndarray) -> np.ndarray:
    """The view with what lies outside the photo replaced by its mean colour."""
    bad = ~np.isfinite(view)
    if not bad.any():
        return view.astype(np.float32)
    mean = np.nanmean(view, axis=(0, 1)) if (~bad).any() else np.zeros(view.shape[2])
    return np.where(bad, mean, view).astype(np.float32)
