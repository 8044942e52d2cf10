"""Where ink lies on the front of the wall: marks, figures, stickers."""

from __future__ import annotations

from typing import Any

import numpy as np

from vision.synthetic.chamber.glyphs import COLS, ROWS, SIGNS, distance_field
from vision.synthetic.chamber.model import ChamberScene


class Ink:
    """The print of one scene, ready to be sampled at (arc, height) in mm.

    Arc runs along the outer wall, 0 in front, positive to the right.
    """

    def __init__(self, scene: ChamberScene, xp: Any) -> None:
        p, marks = scene.print, scene.scale.marks
        self.xp, self.print = xp, p
        order = sorted(marks, key=lambda m: m.height_mm)
        heights = np.array([m.height_mm for m in order])
        long = np.array([m.length == "long" for m in order])
        left = np.full(len(order), p.offset_mm - p.long_mm / 2)
        right = left + p.long_mm
        spare = p.long_mm - p.short_mm
        cut_left = {"left": 0.0, "right": spare}.get(p.align, spare / 2)
        left[~long] += cut_left
        right[~long] -= spare - cut_left

        def table(a: Any) -> Any:
            return xp.asarray(np.ascontiguousarray(a, dtype=np.float32))

        self.between = table((heights[1:] + heights[:-1]) / 2)
        self.mark_z = table(heights)
        self.mark_left, self.mark_right = table(left), table(right)
        self.mark_half = table(np.where(long, p.long_stroke_mm, p.stroke_mm) / 2)
        self.low, self.high = float(heights[0]), float(heights[-1])
        spine_at = {"left": p.offset_mm - p.long_mm / 2, "right": p.offset_mm + p.long_mm / 2}
        self.spine = float(spine_at.get(p.align, p.offset_mm))

        h, hand = p.numeral_height_mm, p.lettering
        texts = [(m.height_mm, m.text) for m in order if m.label]
        if p.unit_text and texts:
            texts.append((texts[-1][0] + 1.9 * h, scene.scale.unit if
                          all(c in SIGNS for c in scene.scale.unit) else "mL"))
        self.any_text = bool(texts)
        self.reach = float(max(abs(left).max(), abs(right).max())) + 0.5
        if texts:
            signs = "".join(sorted({c for _, t in texts for c in t}))
            width = max(len(t) for _, t in texts)
            codes = np.full((len(texts), width), -1, dtype=np.int32)
            starts = np.zeros(len(texts))
            for i, (_, text) in enumerate(texts):
                codes[i, : len(text)] = [signs.index(c) for c in text]
                length = (len(text) * hand.advance - hand.gap) * h
                starts[i] = (p.offset_mm + p.long_mm / 2 + p.numeral_gap_mm
                             if p.numerals == "right" else
                             p.offset_mm - p.long_mm / 2 - p.numeral_gap_mm - length)
            z = np.array([a for a, _ in texts])
            self.codes, self.columns = xp.asarray(codes), width
            self.text_z, self.text_start = table(z), table(starts)
            self.text_between = table((z[1:] + z[:-1]) / 2)
            self.field = table(distance_field(hand, signs).ravel())
            ends = starts + width * hand.advance * h
            self.reach = float(max(self.reach, abs(starts).max() + 1, abs(ends).max() + 1))

    def coverage(self, arc: Any, z: Any, footprint_mm: float) -> Any:
        """Share of ink (0..1) at points on the front, softened over ``footprint_mm``."""
        xp, p = self.xp, self.print
        f = 1.0 / max(footprint_mm, 1e-3)
        i = xp.searchsorted(self.between, z)
        across = self.mark_half[i] - xp.abs(z - self.mark_z[i])
        along = xp.minimum(arc - self.mark_left[i], self.mark_right[i] - arc)
        cover = xp.clip(0.5 + f * across, 0, 1) * xp.clip(0.5 + f * along, 0, 1)
        if p.spine:
            side = p.stroke_mm / 2 - xp.abs(arc - self.spine)
            ends = xp.minimum(z - self.low, self.high - z) + p.stroke_mm / 2
            cover = xp.maximum(
                cover, xp.clip(0.5 + f * side, 0, 1) * xp.clip(0.5 + f * ends, 0, 1))
        if self.any_text:
            cover = xp.maximum(cover, self._figures(arc, z, f))
        return cover

    def _figures(self, arc: Any, z: Any, f: float) -> Any:
        xp, h, hand = self.xp, self.print.numeral_height_mm, self.print.lettering
        i = xp.searchsorted(self.text_between, z)
        y = (z - self.text_z[i]) / h + 0.5
        x = (arc - self.text_start[i]) / h + hand.gap / 2
        before = xp.floor(x / hand.advance)  # whole, and in single precision: see ``Bore._lookup``
        column = before.astype(xp.int32)
        inside = (column >= 0) & (column < self.columns) & (y > -0.19) & (y < 1.19)
        sign = self.codes[i, xp.clip(column, 0, self.columns - 1)]
        inside &= sign >= 0
        gx = xp.clip((x / hand.advance - before) * COLS - 0.5, 0, COLS - 1.001)
        gy = xp.clip((y + 0.2) / 1.4 * ROWS - 0.5, 0, ROWS - 1.001)
        ix, iy = gx.astype(xp.int32), gy.astype(xp.int32)
        fx, fy = gx - ix.astype(gx.dtype), gy - iy.astype(gy.dtype)
        at = (xp.maximum(sign, 0) * ROWS + iy) * COLS + ix
        d = self.field
        near = d[at] * (1 - fx) + d[at + 1] * fx
        far = d[at + COLS] * (1 - fx) + d[at + COLS + 1] * fx
        distance = near * (1 - fy) + far * fy
        cover = xp.clip(0.5 + f * h * (hand.stroke / 2 - distance), 0, 1)
        return xp.where(inside, cover, 0.0).astype(arc.dtype)
