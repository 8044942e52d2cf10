"""The pole on which the system hangs.

Found are straight edges near the zero card that run far past it.  Two that can
be the sides of one pole are followed over the whole photo; where only one side
stands out, the other is looked for at the distances that poles have.
"""

from __future__ import annotations

import math

import numpy as np

from vision.fiducials.cards import CardSeen
from vision.parameters import POLE_BESIDE_MM, POLE_MM
from vision.vertical.cue import PlumbCue, RoughDown, cue_of, line_x, meeting_axis, shared_y
from vision.vertical.line_segments import StraightEdge
from vision.vertical.panel import off_mm, on_card
from vision.vertical.pole_silhouette import (
    OutlineSide,
    leans_like_a_pole,
    pole_outline,
    slant_sd_px,
)
from vision.vertical.pole_texture import follow_band
from vision.vertical.tone_steps import step_share

#: Shading moves the seen edge of a round pole along its length by about this much; it
#: also stands for the reflection that is now and then taken for an outline.
_SHADING_PX = 0.45
#: An edge that is known to this over the height of the photo is followed in its own direction: the
#: outline is looked for four times as far to either side (px).
_FOLLOWED_PX = 4.0
#: So many pairs of edges are followed over the photo.
_TRIED = 4
#: Two edges that say their lean no better than this say nothing, degrees.
_ROUGH_DEG = 6.0
#: Tones that differ by less are the same thing, code values of 255.
_SAME_TONE = 3.0
#: A side of a pole is a border along this much of what is seen of it; shorter than so many
#: px it does not tell.
_BORDER, _LEAST_PX = 0.5, 48.0
#: Tones along a pair are compared in so many pieces.
_TONE_PIECES = 10


def find_pole(rgb: np.ndarray, edges: list[StraightEdge], card: CardSeen, down: RoughDown,
              px_per_mm: float, panel: list[StraightEdge]) -> PlumbCue | None:
    """The pole that runs past the zero card, or None.

    The sides of a real pole converge as the rough direction ``down`` asks, to its doubt.
    ``panel`` holds the sides of the panel, if seen: it covers the pole, and a
    single edge (which could be a door) only counts when it passes behind it.
    """
    y_card = float(card.centre_px[1])
    near = [e for e in edges if abs(off_mm(e, y_card, card, px_per_mm)) < POLE_BESIDE_MM
            and e.seen_px > 1.3 * card.side_px and e.sd_px < 0.4
            and not on_card(e, card, px_per_mm) and not _before_panel(e, panel, card)]
    hidden = _hidden(panel, card)
    pairs = [(a, b, hidden or _covered(a, b, card)) for a in near for b in near
             if _can_pair(a, b, px_per_mm, card) and _converge(a, b, down)]
    pairs.sort(key=lambda p: (not _one_body(rgb, *p),
                              -p[0].seen_px - p[1].seen_px - 2 * _gap_px(p[0], p[1], y_card)))
    height = rgb.shape[0]
    outlined: list[PlumbCue] = []
    pairs = [(a, b, cover) for a, b, cover in pairs if _a_body(rgb, a, b, cover)
             and _borders(rgb, a, cover, px_per_mm) and _borders(rgb, b, cover, px_per_mm)]
    for a, b, cover in pairs[:_TRIED]:
        found = pole_outline(rgb, _extended(a, height, down), _extended(b, height, down),
                             cover, down, 0.7 * POLE_MM[0] * px_per_mm,
                             [(e.ends_px, e.sd_px) for e in (a, b)])
        if found is None:
            continue
        cue = _from_outline(a, b, found, height)
        if any(_alike(cue, other) for other in outlined):
            continue
        outlined.append(cue)
        # Which edges stand out most is chance; what runs along the pole tells the same
        # lean from wherever it is followed, so the next two may show it as well.
        surer = _by_stripes(rgb, cue, cue.lines_px[0], cue.lines_px[1], cover, down)
        if surer is not cue:
            return surer
    if outlined:
        return outlined[0]
    for a, b, cover in pairs:
        if (_noise_deg(a, b, down.camera) < _ROUGH_DEG
                and _goes_on(rgb, a, b, hidden, px_per_mm, 0.5 * card.side_px)):
            # Not followed all along: good for the lean sideways only.
            y = shared_y(a.ends_px, b.ends_px)
            middle = np.column_stack([(a.x_at(y) + b.x_at(y)) / 2, y])
            sideways = cue_of("pole", [(middle, float(np.hypot(a.sd_px, b.sd_px) / 2 + 0.2))])
            return _by_stripes(rgb, sideways, _extended(a, height, down),
                               _extended(b, height, down), cover, down)
    behind = [e for e in near if _passes_behind(e, panel, card)]
    if not behind:
        return None
    return _one_sided(rgb, max(behind, key=lambda e: e.seen_px), down, px_per_mm, hidden)


def _hidden(panel: list[StraightEdge], card: CardSeen) -> tuple[float, float] | None:
    """(top, bottom) of what the panel covers, with a margin, pixels."""
    ends = [float(y) for e in panel for y in e.ends_px[:, 1]]
    margin = 0.15 * card.side_px
    return (min(ends) - margin, max(ends) + margin) if ends else None


def _covered(a: StraightEdge, b: StraightEdge, card: CardSeen) -> tuple[float, float] | None:
    """(top, bottom), px, between which neither of two edges is seen about the height of the card.

    A panel whose own sides are not seen covers the pole behind it all the same.  None where one
    of them is seen to run past the card, and where nothing is seen on the other side of it: a tube
    or a book ends there.
    """
    x, y = (float(v) for v in card.centre_px)
    top, low = card.corners_px[:, 1].min(), card.corners_px[:, 1].max()
    above, below = -math.inf, math.inf
    for e in (a, b):
        # What is seen on the card, or in line with it, is the card's own.
        on_card = abs(float(e.x_at(y)) - x) < 0.65 * card.side_px
        pieces = e.ends_px[0, 1] + np.array(e.pieces) * np.ptp(e.ends_px[:, 1])
        for start, stop in pieces.tolist():
            if on_card and start < low and stop > top and stop - start < 2.0 * card.side_px:
                continue
            if start < y < stop:
                return None
            above, below = (max(above, stop), below) if stop <= y else (above, min(below, start))
    margin = 0.15 * card.side_px
    return (above - margin, below + margin) if math.isfinite(below - above) else None


def _before_panel(e: StraightEdge, panel: list[StraightEdge], card: CardSeen) -> bool:
    """True when an edge is seen on the panel's face: the pole stands behind it, a tube before."""
    if len(panel) < 2:
        return False
    # The panel's borders run from the ends of the one side to those of the other.
    left, right = sorted((p.ends_px for p in panel[:2]), key=lambda p: float(p[:, 0].mean()))
    x = float(e.ends_px[:, 0].mean())
    across = (x - left[:, 0].mean()) / (right[:, 0].mean() - left[:, 0].mean())
    if not 0 < across < 1:
        return False
    margin = 0.15 * card.side_px
    top, low = left[:, 1] + across * (right[:, 1] - left[:, 1]) + [margin, -margin]
    whole = e.ends_px[0, 1] + np.array(e.pieces) * np.ptp(e.ends_px[:, 1])
    # What lies on the card, or in line with it, is the card's own.
    card_y = card.corners_px[:, 1]
    on = np.clip(whole, card_y.min() - 0.3 * card.side_px, card_y.max() + 0.3 * card.side_px)
    face = np.diff(np.clip(whole, top, low), axis=1) - np.diff(on, axis=1)
    near = np.clip(whole, top - 2 * margin, low + 2 * margin)
    off = np.diff(whole, axis=1) - np.diff(near, axis=1)
    # Other things on the panel may lie in line with the pole; but the pole is not seen to pass
    # over the panel's border.
    least = 0.2 * card.side_px
    over = bool(((face > least) & (off > least)).any())
    return over or bool(face.sum() > max(least, float(off.sum())))


def _one_body(rgb: np.ndarray, a: StraightEdge, b: StraightEdge,
              hidden: tuple[float, float] | None) -> bool:
    """True when the same thing is seen left and right of two edges, and another between.

    A strip of wall between a door and a pole has two good edges as well, but on one
    side of it is the door and on the other the pole.
    """
    tones = _tones(rgb, a, b, hidden)
    if tones is None:
        return False
    before, inside, after = tones
    alike = np.linalg.norm(before - after, axis=1)
    other = np.minimum(np.linalg.norm(inside - before, axis=1),
                       np.linalg.norm(inside - after, axis=1))
    return bool(np.median(alike) < 0.5 * np.median(other))


def _a_body(rgb: np.ndarray, a: StraightEdge, b: StraightEdge,
            hidden: tuple[float, float] | None) -> bool:
    """True when what is between two edges differs from what is beside either of them.

    Between a cable and a picture there is the same wall as on the cable's other side.
    """
    tones = _tones(rgb, a, b, hidden)
    if tones is None:
        return True
    before, inside, after = tones
    # In pieces, against noise; and not in all of them, for a panel may cover the rest.
    off = sorted(float(np.quantile([np.linalg.norm(piece.mean(axis=0)) for piece in
                                    np.array_split(inside - side, _TONE_PIECES)], 0.75))
                 for side in (before, after))
    return off[0] > max(_SAME_TONE, 0.1 * off[1])


def _borders(rgb: np.ndarray, e: StraightEdge, hidden: tuple[float, float] | None,
             px_per_mm: float) -> bool:
    """True when an edge parts one tone from another, outside of what the panel covers.

    A cable beside the side of a panel is no pole with it.
    """
    top, low = (float(v) for v in e.ends_px[:, 1])
    parts = [(top, low)] if hidden is None else [(top, min(low, hidden[0])),
                                                 (max(top, hidden[1]), low)]
    seen = [(max(b - a, 0.0), step_share(rgb, e.ends_px, a, b, px_per_mm)) for a, b in parts]
    length = sum(n for n, _ in seen)
    return length < _LEAST_PX or sum(n * s for n, s in seen) > _BORDER * length


def _goes_on(rgb: np.ndarray, a: StraightEdge, b: StraightEdge,
             hidden: tuple[float, float] | None, px_per_mm: float, step_px: float) -> bool:
    """True when two edges go on at one end at least, out of the photo or behind the panel.

    Followed by ``step_px`` at a time as long as both part two tones; a tube, a book or a
    frame ends in the photo above and below.
    """
    low_most = rgb.shape[0] - 1.0
    for end, way in ((0, -1.0), (1, 1.0)):
        at = float(np.mean([e.ends_px[end, 1] for e in (a, b)]))
        while True:
            top, low = sorted((at, at + way * step_px))
            if hidden is not None and top < hidden[1] and low > hidden[0]:
                return True
            top, low = max(top, 0.0), min(low, low_most)
            if low - top < 0.5 * step_px:
                return True  # the photo ends there
            if min(step_share(rgb, e.ends_px, top, low, px_per_mm) for e in (a, b)) <= _BORDER:
                break
            at += way * step_px
    return False


def _tones(rgb: np.ndarray, a: StraightEdge, b: StraightEdge, hidden: tuple[float, float] | None
           ) -> tuple[np.ndarray, np.ndarray, np.ndarray] | None:
    """(n, 3) tones left of, between and right of two edges, or None when hardly to be seen."""
    top, low = shared_y(a.ends_px, b.ends_px)
    y = np.linspace(top, low, 80)
    if hidden is not None:
        y = y[(y < hidden[0]) | (y > hidden[1])]
    left, right = a.x_at(y), b.x_at(y)
    gap = right - left
    share = np.linspace(0.3, 0.7, 5)
    beside = (left[:, None] - 3 - share * gap[:, None], left[:, None] + share * gap[:, None],
              right[:, None] + 3 + share * gap[:, None])
    whole = (beside[0].min(axis=1) >= 0) & (beside[2].max(axis=1) <= rgb.shape[1] - 1)
    rows = np.clip(np.rint(y[whole]).astype(int), 0, rgb.shape[0] - 1)
    if len(rows) < 10:
        return None
    before, inside, after = (
        rgb[rows[:, None], np.rint(x[whole]).astype(int)].astype(float).mean(axis=1)
        for x in beside)
    return before, inside, after


def _gap_px(a: StraightEdge, b: StraightEdge, y: float) -> float:
    return float(b.x_at(y) - a.x_at(y))


def _can_pair(a: StraightEdge, b: StraightEdge, px_per_mm: float, card: CardSeen) -> bool:
    """Left and right edge, seen side by side, as far apart as a pole is thick."""
    if a is b:
        return False
    y = shared_y(a.ends_px, b.ends_px)
    if y[1] - y[0] < 1.3 * card.side_px:
        return False
    gap = b.x_at(y) - a.x_at(y)
    return bool(gap.min() > POLE_MM[0] * px_per_mm and gap.max() < POLE_MM[1] * px_per_mm
                and gap.max() < 1.6 * gap.min())


def _converge(a: StraightEdge, b: StraightEdge, down: RoughDown) -> bool:
    """True when two edges meet about where verticals meet."""
    axis = meeting_axis(a.ends_px, b.ends_px, down.camera)
    off = float(np.degrees(np.arccos(np.clip(abs(axis @ down.direction), -1, 1))))
    return off < 5.0 + 2 * _noise_deg(a, b, down.camera)


def _noise_deg(a: StraightEdge, b: StraightEdge, camera: np.ndarray) -> float:
    """By how much half a pixel tilts the direction in which two edges meet."""
    length = min(a.length_px, b.length_px)
    gap = abs(_gap_px(a, b, float((a.ends_px[:, 1].mean() + b.ends_px[:, 1].mean()) / 2)))
    return float(np.degrees(0.5 / gap * camera[0, 0] / length))


def _extended(e: StraightEdge, height: int, down: RoughDown) -> np.ndarray:
    """A line to follow: the edge itself if it says where it goes, else through it to the
    vanishing point, which a pole that leans misses by its lean."""
    far = np.array([0.0, float(height)])
    if slant_sd_px(e.ends_px, math.hypot(e.sd_px, _SHADING_PX), far) < _FOLLOWED_PX:
        return e.ends_px
    return _towards(e.ends_px.mean(axis=0), down.vanishing)


def _towards(point: np.ndarray, vanishing: np.ndarray) -> np.ndarray:
    """(2, 2) line from a point towards a vanishing point."""
    towards = vanishing[:2] - point * vanishing[2]
    towards = towards * np.sign(towards[1] if towards[1] != 0 else 1.0)
    return np.array([point, point + 100 * towards / np.linalg.norm(towards)])


def _from_outline(a: StraightEdge, b: StraightEdge, pair: tuple[OutlineSide, OutlineSide],
                  height: int) -> PlumbCue:
    """The edges' middle line for the lean sideways, the outline's gap for the other lean.

    Reflections move both sides of an outline together, so its middle is worth
    less than that of two long edges.
    """
    far = pair[0].ends_px[:, 1]
    gap = line_x(pair[1].ends_px, far) - line_x(pair[0].ends_px, far)
    # Both run along one pole and so widen alike; as far as they do not, by more than the
    # edges' own noise, the lean is in doubt.  The widening is made of four ends.
    apart = float(np.diff(gap)[0] - np.diff(b.x_at(far) - a.x_at(far))[0])
    noise = math.hypot(*(slant_sd_px(e.ends_px, e.sd_px, far) for e in (a, b)))
    doubt = math.sqrt(max(apart**2 - noise**2, 0.0)) / 2
    y = shared_y(a.ends_px, b.ends_px)
    if y[1] - y[0] < 0.3 * height:
        return cue_of("pole", [(s.ends_px, math.hypot(s.sd_px, _SHADING_PX, doubt)) for s in pair])
    middle = np.column_stack([(a.x_at(y) + b.x_at(y)) / 2, y])
    centre = line_x(middle, far)
    sd = math.hypot(pair[0].sd_px / math.sqrt(2), pair[1].sd_px / math.sqrt(2), _SHADING_PX, doubt)
    return cue_of("pole", [(np.column_stack([centre + h * gap, far]), sd) for h in (-0.5, 0.5)])


def _alike(cue: PlumbCue, other: PlumbCue) -> bool:
    """True when two poles have the same outline."""
    return all(float(np.abs(line_x(m, n[:, 1]) - n[:, 0]).max()) < 0.5
               for m, n in zip(cue.lines_px, other.lines_px, strict=True))


def _by_stripes(rgb: np.ndarray, cue: PlumbCue, left_px: np.ndarray, right_px: np.ndarray,
                hidden: tuple[float, float] | None, down: RoughDown) -> PlumbCue:
    """The pole with the lean that the stripes about two lines show, where they agree on one.

    A lean that no pole has comes from stripes of something else.
    """
    band = follow_band(rgb, left_px, right_px, hidden)
    if band is None or (len(cue.lines_px) > 1 and band.sd_px > min(cue.line_sd_px)):
        return cue
    if not leans_like_a_pole(band.left_px, band.right_px, band.sd_px, down):
        return cue
    return cue_of("pole", [(band.left_px, band.sd_px), (band.right_px, band.sd_px)])


def _passes_behind(e: StraightEdge, panel: list[StraightEdge], card: CardSeen) -> bool:
    """True when an edge is seen above and below the panel and runs behind it."""
    if len(panel) < 2:
        return False
    top = max(float(p.ends_px[0, 1]) for p in panel)
    low = min(float(p.ends_px[1, 1]) for p in panel)
    y = (top + low) / 2
    inside = float(panel[0].x_at(y)) < float(e.x_at(y)) < float(panel[1].x_at(y))
    reach = 0.7 * card.side_px
    return bool(inside and e.ends_px[0, 1] < top - reach and e.ends_px[1, 1] > low + reach
                and e.seen_px > 3 * card.side_px)


def _one_sided(rgb: np.ndarray, e: StraightEdge, down: RoughDown, px_per_mm: float,
               hidden: tuple[float, float] | None) -> PlumbCue:
    """A pole of which one side stands out: look for the other, else count the one."""
    middle = e.ends_px.mean(axis=0)
    best: tuple[OutlineSide, OutlineSide] | None = None
    for gap_mm in (14.0, 24.0, 36.0):
        for side in (-1, 1):
            other = _towards(middle + np.array([side * gap_mm * px_per_mm, 0.0]), down.vanishing)
            lines = (e.ends_px, other) if side > 0 else (other, e.ends_px)
            found = pole_outline(rgb, lines[0], lines[1], hidden, down,
                                 0.7 * POLE_MM[0] * px_per_mm, [(e.ends_px, e.sd_px)])
            if found is not None and (best is None or sum(s.support for s in found)
                                      > sum(s.support for s in best)):
                best = found
    if best is not None:
        cue = cue_of("pole", [(s.ends_px, float(np.hypot(s.sd_px, _SHADING_PX))) for s in best])
        return _by_stripes(rgb, cue, cue.lines_px[0], cue.lines_px[1], hidden, down)
    return cue_of("pole", [(e.ends_px, float(np.hypot(e.sd_px, _SHADING_PX)))], widen=1.4)
