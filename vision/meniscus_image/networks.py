"""The two small networks that look at the surface, run by OpenCV.

They were taught on ray-traced scenes only (``vision/training``).  The row network says
in which row the front contact line runs.  The offset network looks closely at one place: it
says whether the line is there at all, and how far below it the level lies, as a
probability, since that is what the shape of the meniscus and the lean of the chamber
decide and what no single edge shows.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import cv2
import numpy as np

from vision.meniscus_image.features import (
    BIN_CENTRES_MM,
    HIDDEN_COOLING,
    is_hard,
    is_hidden,
    maybe_flat,
    offset_net_facts,
    row_net_facts,
    standardised,
)
from vision.meniscus_image.views import WINDOW_COLUMNS, WINDOW_ROWS
from vision.small_network import run_network

#: The odds that the offset network was taught with: windows of the line to windows of other things.
TAUGHT_ODDS = 1.75
#: Beyond this the logit of "it is here" says nothing more, and the largest odds that follow.
_SUREST = 12.0
MOST_ODDS = math.exp(_SUREST) / TAUGHT_ODDS


@dataclass(frozen=True)
class OffsetPosterior:
    """What the offset network says of one place.

    ``probability`` (bins,) over ``BIN_CENTRES_MM``; ``odds`` how many times likelier the
    picture is with the front contact line there than with something else; ``hidden`` whether
    the liquid hides its meniscus.
    """

    probability: np.ndarray
    odds: float
    hidden: bool = False

    @property
    def mean_mm(self) -> float:
        """Mean height of the window's middle above the level."""
        return float(BIN_CENTRES_MM @ self.probability)


@lru_cache(maxsize=1)
def _temperatures() -> dict[str, float]:
    """How much surer the networks sound than they are, found on scenes kept from teaching.

    Dividing the logits by it calibrates the probability (C. Guo et al., *On
    Calibration of Modern Neural Networks*, ICML 2017) and leaves its place alone.
    """
    text = (files("vision") / "data" / "meniscus" / "temperatures.json").read_text("utf-8")
    return {str(name): float(value) for name, value in json.loads(text).items()}


def _run(name: str, planes: np.ndarray) -> np.ndarray:
    """The network's logits."""
    return run_network(f"meniscus/{name}", planes[None]).reshape(-1).astype(float)


def _softmax(logits: np.ndarray, temperature: float) -> np.ndarray:
    p = np.exp((logits - logits.max()) / temperature)
    return p / p.sum()


def _with_numbers(picture: np.ndarray, numbers: np.ndarray) -> np.ndarray:
    h, w = picture.shape[1:]
    return np.concatenate([picture, np.broadcast_to(numbers[:, None, None], (len(numbers), h, w))])


def row_probability(whole: np.ndarray, elevation_deg: float, radius_mm: float, step_mm: float
              ) -> tuple[np.ndarray, float]:
    """Probability of each row of the WHOLE view, and of no surface in sight."""
    z, _, _ = standardised(filled(whole))
    p = _softmax(_run("row_net", _with_numbers(
        z, row_net_facts(elevation_deg, radius_mm, step_mm))), _temperatures()["row_net"])
    return p[:-1], float(p[-1])


@dataclass(frozen=True)
class CloseLook:
    """A place as the offset network sees it: ``seen`` (rows, columns, 3) is the WINDOW view,
    ``planes`` are both views as the network is given them, whatever the sight line."""

    seen: np.ndarray
    planes: np.ndarray


def close_look(close: np.ndarray, whole: np.ndarray) -> CloseLook:
    """``close`` (rows, columns, 3) is the WINDOW view, ``whole`` the WHOLE one."""
    seen = filled(close)
    z, mean, sd = standardised(seen)
    far = np.asarray(cv2.resize(filled(whole), (WINDOW_COLUMNS, WINDOW_ROWS),
                                interpolation=cv2.INTER_LINEAR)).transpose(2, 0, 1) / 255.0
    return CloseLook(seen, np.concatenate([z, (far - mean) / sd]))


def mirrored(look: CloseLook) -> CloseLook:
    """The same place with left and right changed over, which changes nothing of the level."""
    return CloseLook(look.seen[:, ::-1], np.ascontiguousarray(look.planes[..., ::-1]))


def offset_posterior(
    look: CloseLook, elevation_deg: float, radius_mm: float,
    wall_mm: float, height_over_lowest_mm: float, px_per_mm: float,
) -> OffsetPosterior:
    """Whether the front contact line is in the middle of the look, and how far above the level."""
    said = _run("offset_net", _with_numbers(
        look.planes,
        offset_net_facts(elevation_deg, radius_mm, wall_mm, height_over_lowest_mm, px_per_mm)))
    cooled = _temperatures()
    heat = cooled["hard bins" if is_hard(elevation_deg, wall_mm) else "bins"]
    hidden = is_hidden(look.seen, elevation_deg)
    if hidden:
        heat *= HIDDEN_COOLING
    here = np.clip(said[-1] / cooled["here"], -_SUREST, _SUREST)
    offset = _softmax(said[:-1], heat)
    return OffsetPosterior(maybe_flat(offset) if hidden else offset,
                           float(np.exp(here) / TAUGHT_ODDS), hidden)


def filled(view: np.ndarray) -> np.ndarray:
    """The view with what lies outside the photo replaced by its mean colour."""
    bad = ~np.isfinite(view)
    if not bad.any():
        return view.astype(np.float32)
    mean = np.nanmean(view, axis=(0, 1)) if (~bad).any() else np.zeros(view.shape[2])
    return np.where(bad, mean, view).astype(np.float32)
