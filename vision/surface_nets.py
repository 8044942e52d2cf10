"""The two small networks that look at the surface, run by OpenCV.

They were taught on ray-traced scenes only (``vision/training``).  The finder says
in which row the front contact line runs; the gauge says how far below it the
level lies, as a probability, since that is what the shape of the meniscus and
the lean of the chamber decide and what no single edge shows.
"""

from __future__ import annotations

import json
import threading
from functools import lru_cache
from importlib.resources import files
from typing import Any

import cv2
import numpy as np

from vision.surface_grid import WINDOW_COLUMNS, WINDOW_ROWS
from vision.surface_input import BIN_CENTRES_MM, finder_facts, gauge_facts, standardised

_LOCK = threading.Lock()


@lru_cache(maxsize=2)
def _net(name: str) -> Any:
    path = files("vision") / "data" / "surface" / f"surface_{name}.onnx"
    return cv2.dnn.readNetFromONNX(str(path))


@lru_cache(maxsize=1)
def _temperature() -> float:
    """How much surer the gauge sounds than it is, found on scenes kept from teaching.

    Dividing the logits by it calibrates the probability (C. Guo et al., *On
    Calibration of Modern Neural Networks*, ICML 2017) and leaves its place alone.
    """
    text = (files("vision") / "data" / "surface" / "gauge.json").read_text(encoding="utf-8")
    return float(json.loads(text)["temperature"])


def _run(name: str, planes: np.ndarray, temperature: float = 1.0) -> np.ndarray:
    """Softmax of the network's answer.  OpenCV's networks keep state: one at a time."""
    with _LOCK:
        net = _net(name)
        net.setInput(np.ascontiguousarray(planes[None], dtype=np.float32))
        logits = np.asarray(net.forward()).reshape(-1).astype(float) / temperature
    p = np.exp(logits - logits.max())
    return p / p.sum()


def _with_numbers(picture: np.ndarray, numbers: np.ndarray) -> np.ndarray:
    h, w = picture.shape[1:]
    return np.concatenate([picture, np.broadcast_to(numbers[:, None, None], (len(numbers), h, w))])


def find_rows(whole: np.ndarray, elevation_deg: float, radius_mm: float, step_mm: float
              ) -> tuple[np.ndarray, float]:
    """Probability of each row of the WHOLE view, and of no surface in sight."""
    z, _, _ = standardised(filled(whole))
    p = _run("finder", _with_numbers(z, finder_facts(elevation_deg, radius_mm, step_mm)))
    return p[:-1], float(p[-1])


def gauge_level(
    window: np.ndarray, whole: np.ndarray, elevation_deg: float, radius_mm: float,
    wall_mm: float, height_over_lowest_mm: float, px_per_mm: float,
) -> np.ndarray:
    """Probability over ``BIN_CENTRES_MM`` of the window's middle above the level."""
    z, mean, sd = standardised(filled(window))
    far = cv2.resize(filled(whole), (WINDOW_COLUMNS, WINDOW_ROWS), interpolation=cv2.INTER_LINEAR)
    far = (far.transpose(2, 0, 1) / 255.0 - mean) / sd
    numbers = gauge_facts(elevation_deg, radius_mm, wall_mm, height_over_lowest_mm, px_per_mm)
    both = np.concatenate([z, far])
    # Physics does not know left from right: the mirrored view is a second opinion.
    p = 0.5 * (_run("gauge", _with_numbers(both, numbers), _temperature())
               + _run("gauge", _with_numbers(both[:, :, ::-1], numbers), _temperature()))
    assert len(p) == len(BIN_CENTRES_MM)
    return p


def filled(view: np.ndarray) -> np.ndarray:
    """The view with what lies outside the photo replaced by its mean colour."""
    bad = ~np.isfinite(view)
    if not bad.any():
        return view.astype(np.float32)
    mean = np.nanmean(view, axis=(0, 1)) if (~bad).any() else np.zeros(view.shape[2])
    return np.where(bad, mean, view).astype(np.float32)
