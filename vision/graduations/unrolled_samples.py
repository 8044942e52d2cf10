"""The wall unrolled: grey values round every mark, sampled through a pose.

All measuring on the marks happens here, in coordinates of the wall (azimuth and
height), so that perspective, roll and turn are already taken out.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import cv2
import numpy as np

from vision.graduations.cylinder_pose import CylinderPose
from vision.parameters import DARKEST_LEVEL
from vision.robust import median_along

#: Samples across a mark, in parts of the gap to its neighbours.
_ACROSS = np.linspace(-0.5, 0.5, 21)
_OUTER = np.flatnonzero(np.abs(_ACROSS) > 0.36)
_CORE = slice(*(int(k) for k in np.flatnonzero(np.abs(_ACROSS) < 0.3)[[0, -1]] + [0, 1]))
_AT_OUTER, _AT_CORE = (_ACROSS[k][:, None, None] for k in (_OUTER, _CORE))
#: Grey levels by which a mark and its surroundings differ, at least, to be compared.
_LEAST_CHANGE = 6.0


@dataclass(frozen=True)
class MarkSamples:
    """What was seen at each mark and azimuth.

    ``azimuth_rad`` (A,); ``depth`` (M, A) how much darker the mark is than its
    surroundings, grey levels; ``offset_mm`` (M, A) where the dark line lies
    against the expected height; ``background`` (M, A) grey level beside it;
    ``noise`` (M, A) roughness of the surroundings; ``gap_mm`` (M,).  ``backs`` (M, A) says where
    the back of another mark may show, so near that it moves the line; ``untold`` (M, A) where
    nothing is told of this mark for that reason (None: nowhere).
    """

    azimuth_rad: np.ndarray
    depth: np.ndarray
    offset_mm: np.ndarray
    background: np.ndarray
    noise: np.ndarray
    gap_mm: np.ndarray
    backs: np.ndarray | None = None
    untold: np.ndarray | None = None

    def share(self, seen: np.ndarray, axis: int) -> np.ndarray:
        """Share along an axis of the places that tell of a mark at which it was ``seen`` (M, A)."""
        if self.untold is None:
            return np.asarray(seen.mean(axis=axis))
        told = ~self.untold
        return np.asarray((seen & told).sum(axis=axis) / np.maximum(told.sum(axis=axis), 1))

    def typical(self, values: np.ndarray, axis: int) -> np.ndarray:
        """Median along an axis of ``values`` (M, A) over the places that tell of a mark; 0 where
        there are none."""
        if self.untold is None:
            return median_along(values, axis)
        some = np.where(self.untold, np.nan, values)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)
            return np.asarray(np.nan_to_num(np.nanmedian(some, axis=axis)))

    def at(self, rows: np.ndarray | slice, columns: np.ndarray | slice) -> MarkSamples:
        """The same of some marks and azimuths."""
        def part(a: np.ndarray) -> np.ndarray:
            return a[rows][:, columns]
        return MarkSamples(self.azimuth_rad[columns], part(self.depth), part(self.offset_mm),
                           part(self.background), part(self.noise), self.gap_mm[rows],
                           *(None if a is None else part(a) for a in (self.backs, self.untold)))

    @property
    def ink_share(self) -> np.ndarray:
        """(M, A) share of the light that the mark takes away."""
        return np.asarray(self.depth / (self.background + DARKEST_LEVEL))


def sample(image: np.ndarray, points_px: np.ndarray) -> np.ndarray:
    """Bilinear samples of an (H, W) or (H, W, C) float32 image at (..., 2) pixels."""
    xy = np.ascontiguousarray(points_px, dtype=np.float32)
    flat = xy.reshape(1, -1, 2)
    rows = max(1, int(np.ceil(flat.shape[1] / 30000)))
    pad = (-flat.shape[1]) % rows
    if pad:
        flat = np.concatenate([flat, np.full((1, pad, 2), -1e4, np.float32)], axis=1)
    grid = flat.reshape(rows, -1, 2)
    out = cv2.remap(image, grid, None, cv2.INTER_LINEAR,  # type: ignore[call-overload]
                    borderMode=cv2.BORDER_CONSTANT, borderValue=(np.nan,) * 4)
    channels = out.shape[2:] if out.ndim == 3 else ()
    out = out.reshape(-1, *channels)
    if pad:
        out = out[:-pad]
    return out.reshape(*xy.shape[:-1], *channels)


def gaps_mm(height_mm: np.ndarray) -> np.ndarray:
    """Room round each mark: the smaller distance to its two neighbours."""
    d = np.diff(height_mm)
    left = np.concatenate([[np.inf], np.abs(d)])
    right = np.concatenate([np.abs(d), [np.inf]])
    return np.minimum(left, right)


def sample_marks(
    grey: np.ndarray, pose: CylinderPose, height_mm: np.ndarray, gap_mm: np.ndarray,
    azimuth_rad: np.ndarray,
) -> MarkSamples:
    """Look at every mark along the wall.  ``grey`` is (H, W) float32."""
    m, a, s = len(height_mm), len(azimuth_rad), len(_ACROSS)
    # the places across a mark first: sums over them are then sums of whole pictures
    h = height_mm + gap_mm * _ACROSS[:, None]
    points = pose.project_wall(azimuth_rad, h.ravel())
    value = sample(grey, points).reshape(s, m, a)
    outer = value[_OUTER]
    # a straight line through the surroundings takes out shading across the mark
    mean = outer.mean(axis=0)
    tilt = (outer * _AT_OUTER).sum(axis=0) / (_AT_OUTER * _AT_OUTER).sum()
    rough = np.sqrt(np.mean((outer - (mean + tilt * _AT_OUTER)) ** 2, axis=0))
    core = mean + tilt * _AT_CORE
    core -= value[_CORE]
    np.maximum(core, 0.0, out=core)
    peak = core.max(axis=0)
    # only the darker half of the line counts for its place: the flanks carry
    # the neighbouring print
    weight = np.subtract(core, 0.4 * peak, out=core)
    np.maximum(weight, 0.0, out=weight)
    total = weight.sum(axis=0)
    offset = (weight * _AT_CORE).sum(axis=0) / np.maximum(total, 1e-6)
    return MarkSamples(azimuth_rad, peak, offset * gap_mm[:, None], mean, rough, gap_mm)


def lightness(grey: np.ndarray, pose: CylinderPose, samples: MarkSamples, used: np.ndarray,
              height_mm: np.ndarray) -> float:
    """Mean grey from half a gap below to half a gap above the marks that were used, in the median:
    0 as dark as the mark, 1 as light as what is beside it.  1 where there is nothing to go by."""
    columns = used.any(axis=0)
    h = height_mm[:, None] + samples.gap_mm[:, None] * _ACROSS[None, :]
    points = pose.project_wall(samples.azimuth_rad[columns], h.ravel())
    value = sample(grey, points).reshape(len(height_mm), len(_ACROSS), -1)
    value = value.transpose(0, 2, 1)[used[:, columns]]
    value = value[np.isfinite(value).all(axis=1)]
    dark, light = (value.min(axis=1), value.max(axis=1)) if len(value) else (np.zeros(0),) * 2
    clear = light - dark > _LEAST_CHANGE
    share = (value[clear].mean(axis=1) - dark[clear]) / (light - dark)[clear]
    return float(np.median(share)) if len(share) else 1.0
