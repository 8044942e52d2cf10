"""What the numerals beside a flat scale say about the ways of numbering it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.graduations.numeral_reader import NumeralEvidence, read_numerals
from vision.parameters import FLAT_HOPELESS_LOG_ODDS, FLAT_NUMERALS_LOG_ODDS
from vision.pressure_panel.planar_scale import FlatLadder
from vision.robust import fit_linear

#: Half heights of the patches tried, in mm: the size of the print is not in the scale file.
_HALF_MM = (3.0, 5.2)
_ASPECT = 2.4
#: Middle of a numeral that stands on its mark, in half heights of its patch.
_RAISED = 0.8
_GAP_MM = 0.5
#: Probability from which a free reading counts as a label that is there.
_CLEARLY = 0.5
#: So many labels are enough to find where the labels stand.
_PROBES = 3


@dataclass(frozen=True)
class FlatNumerals:
    """``chosen`` is the likeliest numbering; ``proven`` says that the numerals prove it,
    ``contradicted`` that they fit none."""

    chosen: FlatLadder
    proven: bool
    contradicted: bool


def weigh_numberings(grey: np.ndarray, ways: list[FlatLadder]) -> FlatNumerals:
    """Read the labels and weigh every numbering in ``ways`` (of one ladder) with them."""
    base = ways[0]
    ways = [w for w in ways if w.score > base.score - FLAT_HOPELESS_LOG_ODDS]
    texts = sorted({m.text for m in base.scale.marks if m.label})
    if not texts or not len(_label_strokes([base])):
        return FlatNumerals(base, False, False)
    first: FlatNumerals | None = None
    for above in (False, True):
        found = _weighed(grey, ways, _best_place(grey, base, texts, above), texts)
        if found.proven:
            return found
        first = first or found
    assert first is not None
    return first


def _weighed(grey: np.ndarray, ways: list[FlatLadder], place: _Place, texts: list[str]
             ) -> FlatNumerals:
    """The outcome when the labels stand at ``place``."""
    strokes = _label_strokes(ways)
    evidence = _read(grey, ways[0], strokes, place, texts)
    totals = [_total(evidence, _expected(way, strokes)) for way in ways]
    readable = sum(bool(p.text) and p.confidence > _CLEARLY for p in evidence.patches)
    ranked = sorted(range(len(ways)), key=lambda i: -(totals[i] + ways[i].score))
    first = ranked[0]
    lead = totals[first] - max((totals[i] for i in ranked[1:]), default=-np.inf)
    proof = readable >= 2 and totals[first] > 3.0 and lead >= FLAT_NUMERALS_LOG_ODDS
    return FlatNumerals(ways[first], proof, readable >= 2 and max(totals) <= -3.0)


@dataclass(frozen=True)
class _Place:
    """Where labels stand: left or right (-1, 1) of the marks, how far beyond the short
    ones their patch begins, half its height, and how far above the mark its middle lies
    (numerals may stand on a long mark instead of beside it)."""

    side: int
    start_mm: float
    half_mm: float
    raised_mm: float = 0.0


def _best_place(grey: np.ndarray, base: FlatLadder, texts: list[str], above: bool) -> _Place:
    """The side and size at which most labels of this scale can be read, wherever they stand."""
    own = _label_strokes([base])
    some = own[np.unique(np.linspace(0, len(own) - 1, _PROBES).round().astype(int))]
    found: list[tuple[float, _Place]] = []
    for side in (-1, 1):
        start = _GAP_MM + _start_mm(grey, base, own, side, above)
        for half_mm in _HALF_MM:
            place = _Place(side, start, half_mm, _RAISED * half_mm if above else 0.0)
            evidence = _read(grey, base, some, place, texts)
            found.append((sum(p.confidence for p in evidence.patches if p.text in texts), place))
    return max(found, key=lambda pair: pair[0])[1]


def _start_mm(grey: np.ndarray, base: FlatLadder, own: np.ndarray, side: int, above: bool
              ) -> float:
    """Where labels begin, in mm beyond the short marks' ends: after the labelled mark itself,
    or, standing on it, after the long marks that carry no label."""
    if not above:
        return _long_end_mm(grey, base, own, side)
    marks = [base.scale.marks[i] for i in base.mark]
    plain = np.array([m.length == "long" and not m.label for m in marks])
    if plain.sum() < 3:
        return 0.0
    return _long_end_mm(grey, base, base.centre_px[plain][:24], side)


def _read(grey: np.ndarray, base: FlatLadder, strokes: np.ndarray, place: _Place,
          texts: list[str]) -> NumeralEvidence:
    patches = _patches(grey, base, strokes, place)
    return read_numerals(patches, [texts] * len(patches))


def _total(evidence: NumeralEvidence, texts: list[str | None]) -> float:
    """Evidence in nats for these texts.  Bare paper where nothing is expected says nothing:
    grain alone is often taken for the trace of a digit."""
    total = 0.0
    for patch, text in zip(evidence.patches, texts, strict=True):
        if text is not None:
            total += patch.scores[text]
        elif patch.text and patch.confidence > _CLEARLY:
            total += patch.scores[""]
    return total


def _label_strokes(ways: list[FlatLadder]) -> np.ndarray:
    """(N, 2) centres of every stroke that some numbering gives a label."""
    seen: dict[tuple[float, float], None] = {}
    for way in ways:
        for mark, centre in zip(way.mark, way.centre_px, strict=True):
            if way.scale.marks[mark].label:
                seen[(float(centre[0]), float(centre[1]))] = None
    return np.array(list(seen)).reshape(-1, 2)


def _expected(way: FlatLadder, strokes: np.ndarray) -> list[str | None]:
    """The text that each label stroke would carry under a numbering."""
    at = {(float(c[0]), float(c[1])): way.scale.marks[mark]
          for mark, c in zip(way.mark, way.centre_px, strict=True)}
    marks = [at.get((s[0], s[1])) for s in strokes.tolist()]
    return [m.text if m is not None and m.label else None for m in marks]


def _short_edge(ladder: FlatLadder, side: int) -> tuple[float, float]:
    """Line x = p + q y along the ends of the short marks (of all, without short ones)."""
    ends = ladder.left_px if side < 0 else ladder.right_px
    short = np.array([ladder.scale.marks[i].length == "short" for i in ladder.mark])
    rows = short if short.sum() >= 4 else np.ones(len(ends), bool)
    x, y = ends[rows, 0], ends[rows, 1]
    p, q = fit_linear(np.column_stack([np.ones(len(x)), y]), x, turn=2.5, least_spread=0.2,
                      rounds=6).parameters
    return float(p), float(q)


def _long_end_mm(grey: np.ndarray, ladder: FlatLadder, strokes: np.ndarray, side: int) -> float:
    """How far the labelled marks reach beyond the short ones, in mm.

    Followed in the picture: a stroke may have run together with its numeral, but
    between the two lies a gap of paper.
    """
    reach = np.arange(-1.5, 25.0, 0.2)
    rows = []
    for x, y in strokes:
        base, along, down, px_mm = _frame(ladder, float(x), float(y), side, 0.0)
        away = np.outer(reach * px_mm * side, along) + base
        here, up, low = (_sampled(grey, away + shift * px_mm * down) for shift in (0.0, -2.5, 2.5))
        rows.append((up + low) / 2 - here)
    # Beyond the photo's edge there is nothing dark.
    dark = np.median(np.nan_to_num(np.array(rows), nan=0.0), axis=0)
    full = float(np.median(dark[reach < -0.3]))
    gone = np.flatnonzero((reach > 0) & ~(dark > 0.35 * full))
    return float(reach[gone[0]]) if full > 0 and len(gone) else 0.0


def _frame(ladder: FlatLadder, x: float, y: float, side: int, beyond_mm: float,
           ) -> tuple[np.ndarray, np.ndarray, np.ndarray, float]:
    """Point beyond the short marks' end beside a stroke, unit vectors along and down, px/mm."""
    p, q = _short_edge(ladder, side)
    edge_x = p + q * y
    slope = float(ladder.slope(y))
    along = np.array([1.0, slope]) / np.hypot(1.0, slope)
    down = np.array([-along[1], along[0]])
    base = np.array([edge_x, y + slope * (edge_x - x)])
    upright = ladder.map_at(edge_x)
    px_mm = upright.px_per_mm(upright.height(float(base[1])))
    return base + side * beyond_mm * px_mm * along, along, down, px_mm


def _sampled(grey: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Grey levels at (N, 2) points, NaN outside the picture."""
    got = cv2.remap(grey, points[:, 0].astype(np.float32)[None],
                    points[:, 1].astype(np.float32)[None], cv2.INTER_LINEAR,
                    borderMode=cv2.BORDER_CONSTANT, borderValue=float("nan"))
    return np.asarray(got[0], dtype=float)


def _patches(grey: np.ndarray, ladder: FlatLadder, strokes: np.ndarray, place: _Place,
             ) -> list[np.ndarray | None]:
    """Upright patches beside the strokes; None where one leaves the photo."""
    h, w = grey.shape
    out: list[np.ndarray | None] = []
    for x, y in strokes:
        start, along, down, px_mm = _frame(ladder, float(x), float(y), place.side,
                                           place.start_mm)
        start = start - place.raised_mm * px_mm * down
        half, width = place.half_mm * px_mm, 2 * place.half_mm * _ASPECT * px_mm
        left = start if place.side > 0 else start - along * width
        corners = np.array([left - down * half, left + along * width - down * half,
                            left + down * half, left + along * width + down * half], np.float32)
        if corners.min() < 0 or corners[:, 0].max() >= w or corners[:, 1].max() >= h:
            out.append(None)
            continue
        size = (int(np.clip(width, 8, 400)), int(np.clip(2 * half, 8, 160)))
        target = np.array([[0, 0], [size[0] - 1, 0], [0, size[1] - 1]], np.float32)
        affine = cv2.getAffineTransform(corners[:3], target)
        out.append(cv2.warpAffine(grey, affine, size, flags=cv2.INTER_LINEAR))
    return out
