"""The drip chamber, to scale, filled to a level: heights in mm in, drawing out.

Heights are mm above any datum along the axis, as a scale file gives them; every mm is drawn
equally long in both directions.  Lid, drip tip and outlet are only drawn.  Lines and words carry
the meaning; there is one colour only, which the page sets.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from vision.drawing.svg import Drawing, along, drawing, element, path, words

_TALLEST = 300.0  # drawing units from the lowest to the highest mark
_TEXT, _STEP = 15.0, 19.0
_TOP, _BOTTOM = 62.0, 46.0
_LEFT = 14.0
_WORDS_WIDE = 212.0
#: Room in the chamber above the highest mark and below the lowest, mm (only drawn).
_HEAD_MM, _FOOT_MM = 7.0, 5.0
#: How far the surface stands higher at the wall, mm (only drawn).
_RISE_MM = 1.0


@dataclass(frozen=True)
class ChamberFace:
    """A chamber as it is looked at.

    ``marks`` are (height_mm, long, printed number or ""); ``bore`` pairs (height_mm,
    inner_radius_mm), at least one; ``level_mm`` the height of the surface, None where it
    is not known, with ``interval_mm`` where one is; ``level_words`` and ``limits`` (each a
    height_mm and its words) stand beside the chamber; ``title`` is said by a screen reader.
    """

    marks: Sequence[tuple[float, bool, str]]
    bore: Sequence[tuple[float, float]]
    wall_mm: float
    level_mm: float | None
    level_words: Sequence[str]
    title: str
    interval_mm: tuple[float, float] | None = None
    limits: Sequence[tuple[float, str]] = ()


def chamber_drawing(face: ChamberFace) -> Drawing:
    """Draw it."""
    return _Sheet(face).drawn()


class _Sheet:
    def __init__(self, face: ChamberFace) -> None:
        self.face = face
        heights = [h for h, _, _ in face.marks]
        self.low, self.high = min(heights), max(heights)
        radius = max(r for _, r in face.bore)
        self.unit = min(_TALLEST / (self.high - self.low), 110.0 / (2 * radius))
        self.middle = _LEFT + (radius + face.wall_mm) * self.unit + 26.0
        self.right = self.middle + (radius + face.wall_mm) * self.unit
        self.height = _TOP + (self.high - self.low + _HEAD_MM + _FOOT_MM) * self.unit + _BOTTOM

    def y(self, height_mm: float) -> float:
        """Down, in drawing units."""
        return _TOP + (self.high + _HEAD_MM - height_mm) * self.unit

    def radius(self, height_mm: float) -> float:
        """Of the bore, in drawing units; the nearest known one beyond its ends."""
        bore = sorted(self.face.bore)
        below = [p for p in bore if p[0] <= height_mm] or bore[:1]
        above = [p for p in bore if p[0] >= height_mm] or bore[-1:]
        (h0, r0), (h1, r1) = below[-1], above[0]
        share = 0.0 if h1 == h0 else (height_mm - h0) / (h1 - h0)
        return (r0 + share * (r1 - r0)) * self.unit

    def drawn(self) -> Drawing:
        parts = [*self._liquid(), *self._body(), *self._marks(), *self._beside()]
        return drawing(parts, self.face.title, self.right + 30.0 + _WORDS_WIDE, self.height)

    def _side(self, top: float, sign: int, wall: float = 0.0) -> list[tuple[float, float]]:
        """Points of one side of the bore from its foot up to ``top`` mm."""
        foot = self.low - _FOOT_MM
        stops = [foot, *(h for h, _ in sorted(self.face.bore) if foot < h < top), top]
        return [(self.middle + sign * (self.radius(h) + wall), self.y(h)) for h in stops]

    def _liquid(self) -> list[Markup]:
        """What stands in it; the lowest point of the surface is at the level (ISO 4787:2021)."""
        level = self.face.level_mm
        if level is None or level <= self.low - _FOOT_MM:
            return []
        left, right = self._side(level, -1), self._side(level, 1)
        sag = _RISE_MM * self.unit
        (x0, y), (x1, _) = left[-1], right[-1]
        surface = f"Q{self.middle:.1f} {y + sag:.1f} {x0:.1f} {y - sag:.1f}"
        body = along([*left[:1], *right[:-1], (x1, y - sag)]) + surface
        rest = "".join(f"L{a:.1f} {b:.1f}" for a, b in reversed(left[:-1])) + "z"
        return [path(body + rest, fill="currentColor", fill_opacity=0.3, stroke="none"),
                path(f"M{x1:.1f} {y - sag:.1f}{surface}", stroke_width=1.6)]

    def _body(self) -> list[Markup]:
        """Walls, lid with the drip tip, foot with the outlet."""
        top, wall = self.high + _HEAD_MM, self.face.wall_mm * self.unit
        walls = [path(along(self._side(top, sign, w)), stroke_width=1.4 if w else 1.0)
                 for sign in (-1, 1) for w in (0.0, max(wall, 2.5))]
        wide = self.radius(top) + max(wall, 2.5)
        y0, y1, m = self.y(top), self.y(self.low - _FOOT_MM), self.middle
        foot = self.radius(self.low - _FOOT_MM) + max(wall, 2.5)
        lid = element("rect", x=m - wide - 5, y=y0 - 16, width=2 * wide + 10, height=16, rx=5)
        tip = path(f"M{m - 5:.1f} {y0:.1f}v9l3 6h4l3 -6v-9M{m:.1f} {y0 - 16:.1f}v-22")
        floor = path(f"M{m - foot:.1f} {y1:.1f}l10 11H{m + foot - 10:.1f}l10 -11"
                     f"M{m - foot:.1f} {y1:.1f}H{m + foot:.1f}")
        outlet = path(f"M{m - 4:.1f} {y1 + 11:.1f}v22M{m + 4:.1f} {y1 + 11:.1f}v22")
        return [*walls, lid, tip, floor, outlet]

    def _marks(self) -> list[Markup]:
        found = []
        for height, long, number in self.face.marks:
            y, r = self.y(height), self.radius(height)
            found.append(path(f"M{self.middle - r:.1f} {y:.1f}h{r * (0.9 if long else 0.5):.1f}",
                              stroke_width=1.5 if long else 0.9, opacity=0.9))
            if number:
                found.append(words(self.middle - r - 10, y + 4.5, number, size=_TEXT - 2,
                                   anchor="end"))
        return found

    def _beside(self) -> list[Markup]:
        """The level with its interval and words, the limits with theirs; none over another."""
        face, x = self.face, self.right + 6
        rows: list[tuple[float, Sequence[str], bool]] = [
            (self.y(h), [said], False) for h, said in face.limits]
        if face.level_mm is not None:
            rows.append((self.y(face.level_mm), face.level_words, True))
        found = []
        if face.interval_mm is not None and face.level_mm is not None:
            a, b = (self.y(h) for h in face.interval_mm)
            found.append(path(f"M{x - 2:.1f} {a:.1f}h6m-3 0V{b:.1f}m-3 0h6", stroke_width=1.6))
        free = 12.0
        for y, said, level in sorted(rows, key=lambda row: row[0]):
            at = max(y, free)
            free = at + _STEP * len(said) + 3
            look = {"stroke_width": 1.8} if level else {
                "stroke_width": 1.5, "stroke_dasharray": "6 4"}
            start = x + 4 if level else self.middle - self.radius(self.low)
            found.append(path(f"M{start:.1f} {y:.1f}H{x + 10:.1f}"
                              f"L{x + 20:.1f} {at:.1f}", **look))
            found += [words(x + 24, at + 5 + k * _STEP, text, size=_TEXT,
                            weight=680 if level and k == 0 else 450)
                      for k, text in enumerate(said)]
        return found
