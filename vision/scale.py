"""The scale file: what is printed on a chamber and what it means.

``Scale`` is frozen; ``parse_scale`` refuses impossible content with the field's
name.  Heights are in mm above the file's own datum, along the chamber axis.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any, Literal

import numpy as np

from vision.errors import ScaleFileError


@dataclass(frozen=True)
class Mark:
    """One printed graduation."""

    value: float
    height_mm: float
    length: Literal["short", "long"]
    label: bool

    @property
    def text(self) -> str:
        """The numeral printed beside a labelled mark."""
        return f"{self.value:g}"


@dataclass(frozen=True)
class Scale:
    """A chamber's scale (or a flat pressure scale, then without a diameter).

    ``height_knots`` and ``diameter_knots`` are (N, 2) tuples of (value, mm),
    strictly increasing in value.  ``marks`` are sorted by value.
    """

    name: str
    unit: str
    direction: Literal["up", "down"]
    capacity: float
    height_knots: tuple[tuple[float, float], ...]
    marks: tuple[Mark, ...]
    diameter_knots: tuple[tuple[float, float], ...] = ()
    wall_mm: float = 0.0
    tolerance: float | None = None
    reading_point: Literal["lowest", "highest"] = "lowest"

    @property
    def flat(self) -> bool:
        """True for a scale printed on a flat panel (no liquid, no bore)."""
        return not self.diameter_knots

    def height_mm(self, value: float | np.ndarray) -> Any:
        """Height of a value; straight continuation beyond the outer knots."""
        v, h = (np.array(c, dtype=float) for c in zip(*self.height_knots, strict=True))
        return _piecewise(value, v, h)

    def value_at(self, height_mm: float | np.ndarray) -> Any:
        """Value at a height; straight continuation beyond the outer knots."""
        v, h = (np.array(c, dtype=float) for c in zip(*self.height_knots, strict=True))
        return _piecewise(height_mm, h, v) if h[-1] > h[0] else _piecewise(
            height_mm, h[::-1], v[::-1])

    def inner_radius_mm(self, value: float) -> float:
        """Bore radius at a value."""
        v, d = (np.array(c, dtype=float) for c in zip(*self.diameter_knots, strict=True))
        return float(np.interp(value, v, d)) / 2

    @property
    def outer_radius_mm(self) -> float:
        """Largest outer radius: the wall on which the marks are printed."""
        return max(d for _, d in self.diameter_knots) / 2 + self.wall_mm

    @property
    def lowest_mark(self) -> Mark:
        """The mark with the smallest value."""
        return self.marks[0]

    @property
    def highest_mark(self) -> Mark:
        """The mark with the largest value."""
        return self.marks[-1]

    def division_at(self, value: float) -> float:
        """The interval between the two marks around ``value`` (the smallest there is,
        where the value lies outside the marks or in a gap without marks)."""
        values = np.array([m.value for m in self.marks])
        steps = np.diff(values)
        i = int(np.searchsorted(values, value, side="right")) - 1
        i = min(max(i, 0), len(steps) - 1)
        near = steps[max(0, i - 1): i + 2]
        return float(near.min())


def _piecewise(x: float | np.ndarray, xs: np.ndarray, ys: np.ndarray) -> Any:
    """Piecewise linear with straight continuation of the end pieces."""
    x = np.asarray(x, dtype=float)
    y = np.interp(x, xs, ys)
    low = ys[0] + (x - xs[0]) * (ys[1] - ys[0]) / (xs[1] - xs[0])
    high = ys[-1] + (x - xs[-1]) * (ys[-1] - ys[-2]) / (xs[-1] - xs[-2])
    y = np.where(x < xs[0], low, np.where(x > xs[-1], high, y))
    return float(y) if y.ndim == 0 else y


def parse_scale(content: dict[str, Any]) -> Scale:
    """Build a scale from the contract's JSON object (to be hardened with field checks)."""
    c = content
    diameter = c.get("inner_diameter_mm")
    if isinstance(diameter, (int, float)):
        diameter = [[0.0, float(diameter)], [float(c["capacity"]), float(diameter)]]
    knots = tuple((float(a), float(b)) for a, b in c["height_mm"])
    at: dict[float, tuple[str, bool]] = {}
    for run in c["marks"]:
        n = int(math.floor((run["to"] - run["from"]) / run["step"] + 1e-6)) if run["step"] else 0
        for k in range(n + 1):
            value = round(run["from"] + k * run["step"], 9)
            at[value] = (run["length"], bool(run.get("label", False)))
    bare = Scale(
        name=c["name"], unit=c["unit"], direction=c.get("direction", "up"),
        capacity=float(c["capacity"]), height_knots=knots, marks=(),
        diameter_knots=tuple((float(a), float(b)) for a, b in diameter or ()),
        wall_mm=float(c.get("wall_mm", 0.0)), tolerance=c.get("tolerance"),
        reading_point=c.get("reading_point", "lowest"),
    )
    marks = tuple(
        Mark(v, float(bare.height_mm(v)), length, label)  # type: ignore[arg-type]
        for v, (length, label) in sorted(at.items())
    )
    return Scale(**{**bare.__dict__, "marks": marks})


def shipped_scales() -> dict[str, Path]:
    """Name -> file of the scales that come with the package."""
    folder = Path(str(files("vision"))) / "data" / "scales"
    return {p.stem: p for p in sorted(folder.glob("*.json"))}


def load_scale(where: str | Path) -> Scale:
    """Load a scale by file path or by the name of a shipped scale."""
    shipped = shipped_scales()
    path = shipped.get(str(where), Path(where))
    try:
        content = json.loads(Path(path).read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise ScaleFileError(
            f"There is no scale named '{where}'; 'countersight scales' lists the ones there are."
        ) from None
    return parse_scale(content)
