"""A picture under way: exact projection of flat things, with what lies behind the lens cut off.

Everything is painted in linear light at twice the size and then averaged down,
which is what a sensor does.
"""

from __future__ import annotations

import cv2
import numpy as np

from vision.synthetic.bedside.geometry import Board, View

OVERSAMPLE = 2
_SHIFT = 6
#: So many rows are worked out at a time, colour by colour, where a step goes over the whole
#: picture: what they need then stays near the processor, and is a quarter of the time.
ROWS_AT_ONCE = 64


class Canvas:
    """A linear-light picture under way, (H, W, 3) float32 at twice the size."""

    def __init__(self, view: View) -> None:
        k = OVERSAMPLE
        self.view = View(view.position, view.axes, view.focal_px * k, view.width * k,
                         view.height * k)
        self.light = np.zeros((view.height * k, view.width * k, 3), np.float32)

    def polygon(self, points: np.ndarray, colour: np.ndarray) -> None:
        """Fill a convex polygon of (N, 3) world points, cut at the lens plane."""
        p = _in_front(self.view.to_camera(points))
        if len(p) < 3:
            return
        v = self.view
        xy = np.column_stack([v.focal_px * p[:, 0] / p[:, 2] + (v.width - 1) / 2,
                              v.focal_px * p[:, 1] / p[:, 2] + (v.height - 1) / 2])
        xy = np.clip(xy, -20000, 20000)
        cv2.fillConvexPoly(self.light, np.rint(xy * (1 << _SHIFT)).astype(np.int32),
                           tuple(float(c) for c in colour), cv2.LINE_AA, _SHIFT)

    def textured(self, board: Board, texture: np.ndarray, alpha: np.ndarray) -> None:
        """Lay a texture (h, w, 3) with (h, w) alpha over the whole of a board."""
        target = self.view.project(board.corners())
        h, w = alpha.shape
        low = np.maximum(np.floor(target.min(axis=0)).astype(int) - 2, 0)
        high = np.minimum(np.ceil(target.max(axis=0)).astype(int) + 3,
                          [self.light.shape[1], self.light.shape[0]])
        if np.any(high <= low):
            return
        source = np.array([[-.5, -.5], [w - .5, -.5], [w - .5, h - .5], [-.5, h - .5]], np.float32)
        m = cv2.getPerspectiveTransform(source, (target - low).astype(np.float32))
        size = (int(high[0] - low[0]), int(high[1] - low[1]))
        scale = np.linalg.norm(target[1] - target[0]) / w
        if scale < 1:
            # The texture is finer than the picture: average it before sampling.
            sigma = 0.35 / scale
            alpha = cv2.GaussianBlur(alpha, (0, 0), sigma)
            texture = cv2.GaussianBlur(texture, (0, 0), sigma)
        picture = cv2.warpPerspective(texture, m, size, flags=cv2.INTER_LINEAR,
                                      borderMode=cv2.BORDER_REPLICATE)
        cover = cv2.warpPerspective(alpha, m, size, flags=cv2.INTER_LINEAR)[..., None]
        part = self.light[low[1]:high[1], low[0]:high[0]]
        part[:] = part * (1 - cover) + picture * cover

    def finished(self) -> np.ndarray:
        """(H, W, 3) float32 at the photo's own size."""
        # One part after the other: the same to the digit as a mean over two axes of a
        # (h, k, w, k, 3) view, in a fifth of the time.
        k = OVERSAMPLE
        height, width = self.light.shape[0] // k, self.light.shape[1] // k
        out = np.empty((height, width, 3), np.float32)
        for top in range(0, height, ROWS_AT_ONCE):
            light = self.light[k * top: k * min(top + ROWS_AT_ONCE, height)]
            for colour in range(3):
                first, *others = (light[i::k, j::k, colour] for i in range(k) for j in range(k))
                total = first.copy()
                for part in others:
                    total += part
                total /= np.float32(k * k)
                out[top: top + ROWS_AT_ONCE, :, colour] = total
        return out


def _in_front(p: np.ndarray, near: float = 30.0) -> np.ndarray:
    """A convex polygon cut at z = near (camera frame)."""
    out = []
    for a, b in zip(p, np.roll(p, -1, axis=0), strict=True):
        if a[2] >= near:
            out.append(a)
        if (a[2] >= near) != (b[2] >= near):
            t = (near - a[2]) / (b[2] - a[2])
            out.append(a + t * (b - a))
    return np.array(out).reshape(-1, 3)
