"""The scale file: what is printed on a chamber and what it means.

``Scale`` is frozen; ``parse_scale`` refuses impossible content with the field's
name.  Heights are in mm above the file's own datum, along the chamber axis.
"""

from __future__ import annotations

import difflib
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Any, Literal

import numpy as np

from vision.errors import ScaleFileError
from vision.scale_file import fields
from vision.scale_file.outline import Outline
from vision.scale_file.units import VOLUME_ML, suggested_unit, unit_kind


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
    strictly increasing in value.  ``outer_knots`` likewise, empty where the outside is one
    cylinder round the widest bore.  ``marks`` are sorted by value.
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
    outer_knots: tuple[tuple[float, float], ...] = ()

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
        if self.outer_knots:
            return max(d for _, d in self.outer_knots) / 2
        return max(d for _, d in self.diameter_knots) / 2 + self.wall_mm

    @cached_property
    def outline(self) -> Outline | None:
        """The outside where it is no even cylinder; None where it is one."""
        if not self.outer_knots or len({d for _, d in self.outer_knots}) == 1:
            return None
        knots = sorted((float(self.height_mm(v)), d / 2) for v, d in self.outer_knots)
        return Outline(tuple(h for h, _ in knots), tuple(r for _, r in knots))

    @property
    def outside_assumed(self) -> bool:
        """Whether the bore changes and the file does not say how wide the outside is: one even
        cylinder is then meant."""
        return not self.outer_knots and len({d for _, d in self.diameter_knots}) > 1

    def wall_at_mm(self, value: float) -> float:
        """Thickness of the wall at a value."""
        outer = self.outer_radius_mm
        if self.outer_knots:
            v, d = (np.array(c, dtype=float) for c in zip(*self.outer_knots, strict=True))
            outer = float(np.interp(value, v, d)) / 2
        return outer - self.inner_radius_mm(value)

    @property
    def lowest_mark(self) -> Mark:
        """The mark with the smallest value."""
        return self.marks[0]

    @property
    def highest_mark(self) -> Mark:
        """The mark with the largest value."""
        return self.marks[-1]

    @property
    def smallest_division(self) -> float:
        """The smallest interval between marks, in the scale's unit."""
        return float(min(np.diff([m.value for m in self.marks])))

    def division_at(self, value: float) -> float:
        """The interval between the two marks around ``value`` (the smallest there is,
        where the value lies outside the marks or in a gap without marks)."""
        return float(self.divisions_at(np.array([value]))[0])

    def divisions_at(self, value: np.ndarray) -> np.ndarray:
        """(N,) the same of values (N,)."""
        values = np.array([m.value for m in self.marks])
        steps = np.diff(values)
        last = len(steps) - 1
        i = np.clip(np.searchsorted(values, value, side="right") - 1, 0, last)
        return np.asarray(np.minimum(np.minimum(steps[np.maximum(i - 1, 0)], steps[i]),
                                     steps[np.minimum(i + 1, last)]))


def _piecewise(x: float | np.ndarray, xs: np.ndarray, ys: np.ndarray) -> Any:
    """Piecewise linear with straight continuation of the end pieces."""
    x = np.asarray(x, dtype=float)
    y = np.interp(x, xs, ys)
    low = ys[0] + (x - xs[0]) * (ys[1] - ys[0]) / (xs[1] - xs[0])
    high = ys[-1] + (x - xs[-1]) * (ys[-1] - ys[-2]) / (xs[-1] - xs[-2])
    y = np.where(x < xs[0], low, np.where(x > xs[-1], high, y))
    return float(y) if y.ndim == 0 else y


MAX_FILE_BYTES = 256 * 1024
MAX_MARKS = 2000
MAX_RUNS = 200
_FIELDS = ("name", "unit", "direction", "inner_diameter_mm", "outer_diameter_mm", "wall_mm",
           "capacity", "height_mm", "marks", "tolerance", "reading_point")
_RUN_FIELDS = ("from", "to", "step", "length", "label")
#: How far the bore that follows from the heights of three neighbouring marks may lie from the
#: one that is stated there, as a share; not asked where the stated bore itself changes by more
#: than the second share between them (a step).  Our choice: marks are printed to 0.05 mm, which
#: is 1.3 % of the bore where they stand 2 mm apart.
_BORE_SHARE, _STEP_SHARE = 0.03, 0.05
#: Between volume and bore, how far the two may disagree before one of them must be
#: wrong: a radius given for a diameter makes a factor of 4.
_BORE_FACTOR = 3.0
#: How far marks may stand beyond the outer heights, as a share of their span.
_CONTINUED_SHARE = 0.1


def parse_scale(content: Any) -> Scale:
    """Build a scale from the JSON object of a scale file.

    Raises ScaleFileError, naming the field, where the content is impossible.
    """
    if not isinstance(content, Mapping):
        raise ScaleFileError("A scale file must hold one JSON object in curly brackets.")
    _no_unknown_field(content, _FIELDS, "is not a field of a scale file")
    unit = fields.text(fields.needed(content, "unit"), "unit", 20)
    kind = unit_kind(unit)
    if kind is None:
        meant = suggested_unit(unit)
        hint = f"; write '{meant}'" if meant else ""
        raise fields.refuse("unit", f"'{unit}' is not a unit known here (UCUM codes such as mL,"
                                    f" cm[H2O], mm[Hg]){hint}.")
    direction = fields.choice(content.get("direction", "up"), "direction", ("up", "down"))
    capacity = fields.number(fields.needed(content, "capacity"), "capacity", above=0.0)
    heights = fields.knots(fields.needed(content, "height_mm"), "height_mm")
    _check_heights(heights, direction)
    bare = Scale(
        name=fields.text(fields.needed(content, "name"), "name", 60),
        unit=unit,
        direction=direction,  # type: ignore[arg-type]
        capacity=capacity,
        height_knots=heights,
        marks=(),
        diameter_knots=_diameters(content.get("inner_diameter_mm"), kind, heights, capacity),
        wall_mm=fields.number(content.get("wall_mm", 0.0), "wall_mm", low=0.0, high=30.0),
        tolerance=None if content.get("tolerance") is None
        else fields.number(content["tolerance"], "tolerance", low=0.0, high=capacity),
        reading_point=fields.choice(  # type: ignore[arg-type]
            content.get("reading_point", "lowest"), "reading_point", ("lowest", "highest")),
    )
    bare = replace(bare, outer_knots=_outer(content.get("outer_diameter_mm"), bare))
    if kind == "volume":
        _check_bore_holds_volume(bare)
    scale = replace(bare, marks=_marks(fields.needed(content, "marks"), bare, kind))
    if kind == "volume":
        _check_contradiction(scale)
    return scale


def _no_unknown_field(content: Mapping[str, Any], known: tuple[str, ...], sentence: str,
                      where: str = "") -> None:
    """A field that the format does not know would be dropped without a word."""
    for key in content:
        if key not in known:
            near = difflib.get_close_matches(str(key), known, n=1, cutoff=0.75)
            hint = f"; '{near[0]}' was probably meant" if near else ""
            raise fields.refuse(f"{where}{str(key)[:40]}", f"{sentence}{hint}.")


def _check_heights(heights: fields.Knots, direction: str) -> None:
    """Heights must rise with the values ("up") or fall with them ("down")."""
    sign = 1.0 if direction == "up" else -1.0
    for n, (a, b) in enumerate(zip(heights, heights[1:], strict=False), start=1):
        if (b[1] - a[1]) * sign <= 0:
            how = "rise" if direction == "up" else "fall"
            raise fields.refuse("height_mm", f"heights must {how} from pair to pair when direction"
                                             f" is '{direction}'; pair {n + 1} does not.")
    span = abs(heights[-1][1] - heights[0][1])
    if not 1.0 <= span <= 5000.0:
        raise fields.refuse("height_mm", f"the scale would be {span:g} mm long; heights are in mm.")


def _diameters(given: object, kind: str, heights: fields.Knots, capacity: float) -> fields.Knots:
    """Bore knots of a tube, none for a flat scale."""
    if given is None:
        if kind == "volume":
            raise fields.refuse("inner_diameter_mm", "is missing; a volume scale needs it.")
        return ()
    if kind == "pressure":
        raise fields.refuse("inner_diameter_mm", "does not belong to a pressure scale, which is"
                                                 " flat.")
    if isinstance(given, (list, tuple)):
        knots = fields.knots(given, "inner_diameter_mm")
    else:
        bore = fields.number(given, "inner_diameter_mm")
        knots = ((min(0.0, heights[0][0]), bore), (max(capacity, heights[-1][0]), bore))
    for _, bore in knots:
        fields.number(bore, "inner_diameter_mm", above=0.0, high=1000.0)
    return knots


def _outer(given: object, scale: Scale) -> fields.Knots:
    """Outer diameter where the file states it: nowhere less than the bore."""
    if given is None:
        return ()
    if scale.flat:
        raise fields.refuse("outer_diameter_mm", "does not belong to a pressure scale, which is"
                                                 " flat.")
    if isinstance(given, (list, tuple)):
        knots = fields.knots(given, "outer_diameter_mm")
    else:
        outside = fields.number(given, "outer_diameter_mm")
        knots = tuple((value, outside) for value, _ in scale.diameter_knots)
    for value, outside in knots:
        fields.number(outside, "outer_diameter_mm", above=0.0, high=1000.0)
        if outside <= 2 * scale.inner_radius_mm(value):
            raise fields.refuse("outer_diameter_mm", f"is no larger than the bore at {value:g}.")
    return knots


def _check_contradiction(scale: Scale) -> None:
    """The heights of three neighbouring marks and the bore there must tell the same volume."""
    wrong: list[tuple[float, float, float, float]] = []
    for first, last in zip(scale.marks, scale.marks[2:], strict=False):
        edges = np.linspace(first.height_mm, last.height_mm, 201)
        values = np.asarray(scale.value_at(0.5 * (edges[1:] + edges[:-1])))
        bore = np.interp(values, *np.array(scale.diameter_knots).T)
        if bore.max() > (1.0 + _STEP_SHARE) * bore.min():
            continue
        held = float(np.sum(math.pi / 4 * bore**2 * np.abs(np.diff(edges)))) / 1000.0
        share = math.sqrt((last.value - first.value) * VOLUME_ML[scale.unit] / held)
        if abs(share - 1.0) > _BORE_SHARE:
            wrong.append((first.value, last.value, float(bore.mean()),
                          float(bore.mean()) * share))
    if wrong:
        low, stated, asked = wrong[0][0], wrong[0][2], wrong[0][3]
        high = max(end for start, end, _, at in wrong if abs(at / asked - 1.0) < 0.1)
        raise fields.refuse(
            "height_mm", f"between {low:g} and {high:g} the heights ask for a bore of {asked:.1f}"
            f" mm, but inner_diameter_mm says {stated:.1f} mm there; one of the two is wrong.")


def _check_bore_holds_volume(scale: Scale) -> None:
    """The volume between two heights must roughly fit the bore between them."""
    values = np.linspace(scale.height_knots[0][0], scale.height_knots[-1][0], 201)
    heights = np.asarray(scale.height_mm(values))
    diameters = np.interp(values, *np.array(scale.diameter_knots).T)
    held_ml = float(np.sum(math.pi / 4 * ((diameters[1:] + diameters[:-1]) / 2) ** 2
                           * np.abs(np.diff(heights)))) / 1000.0
    printed_ml = (values[-1] - values[0]) * VOLUME_ML[scale.unit]
    if not 1 / _BORE_FACTOR <= held_ml / printed_ml <= _BORE_FACTOR:
        raise fields.refuse(
            "inner_diameter_mm", f"a bore of that diameter holds {held_ml:.3g} mL between the outer"
            f" heights, but the scale says {printed_ml:.3g} mL; give the diameter in mm.")


def _marks(given: object, scale: Scale, kind: str) -> tuple[Mark, ...]:
    """Marks of all runs, later runs over earlier ones, sorted by value."""
    at: dict[float, tuple[str, bool]] = {}
    for n, run in enumerate(fields.items(given, "marks", MAX_RUNS), start=1):
        where = f"marks entry {n}"
        if not isinstance(run, Mapping):
            raise fields.refuse(where, "must be an object with from, to, step and length.")
        _no_unknown_field(run, _RUN_FIELDS, "is not a field of a run of marks", f"{where} ")
        first, last, step = (
            fields.number(fields.needed(run, key, f"{where} {key}"), f"{where} {key}")
            for key in ("from", "to", "step"))
        length = fields.choice(fields.needed(run, "length", f"{where} length"),
                               f"{where} length", ("short", "long"))
        label = fields.flag(run.get("label", False), f"{where} label")
        if step <= 0:
            raise fields.refuse(f"{where} step", f"must be above zero, not {step:g}.")
        if last < first:
            raise fields.refuse(where, f"'from' ({first:g}) must not be above 'to' ({last:g}).")
        steps = (last - first) / step + 1e-6
        if steps > MAX_MARKS or len(at) > MAX_MARKS:
            raise fields.refuse(where, f"makes more than {MAX_MARKS} marks; the step is too small.")
        for k in range(math.floor(steps) + 1):
            at[round(first + k * step, 9)] = (length, label)
    values = sorted(at)
    if len(values) < 2:
        raise fields.refuse("marks", "needs at least two marks.")
    if len(values) > MAX_MARKS:
        raise fields.refuse("marks", f"makes more than {MAX_MARKS} marks.")
    _check_reach(values, scale, kind)
    return tuple(
        Mark(v, float(scale.height_mm(v)), at[v][0], at[v][1])  # type: ignore[arg-type]
        for v in values)


def _check_reach(values: list[float], scale: Scale, kind: str) -> None:
    """Marks must lie within the capacity and where heights are known."""
    slack = 1e-6 * max(1.0, abs(scale.capacity))
    if values[-1] > scale.capacity + slack:
        raise fields.refuse("marks", f"the mark {values[-1]:g} lies above the capacity"
                                     f" {scale.capacity:g}.")
    if kind == "volume" and values[0] < -slack:
        raise fields.refuse("marks", f"the mark {values[0]:g} lies below zero.")
    low, high = scale.height_knots[0][0], scale.height_knots[-1][0]
    beyond = (high - low) * _CONTINUED_SHARE + slack
    for value in (values[0], values[-1]):
        if not low - beyond <= value <= high + beyond:
            raise fields.refuse("height_mm", f"reaches from {low:g} to {high:g}, but there is a"
                                             f" mark at {value:g}.")
    heights = np.asarray(scale.height_mm(np.array(values)))
    if not float(np.min(np.abs(np.diff(heights)))) >= 0.05:  # nor where it is no number
        raise fields.refuse("marks", "two marks are less than 0.05 mm apart; nobody could print"
                                     " them.")


def parse_scale_text(text: str | bytes) -> Scale:
    """Build a scale from the text of a scale file (JSON, UTF-8)."""
    if len(text) > MAX_FILE_BYTES:
        raise ScaleFileError("The scale file is larger than 256 kB; it cannot be a scale file.")
    if not text.strip():
        raise ScaleFileError("The scale file is empty.")
    try:
        plain = text.decode("utf-8-sig") if isinstance(text, bytes) else text
        content = json.loads(plain, object_pairs_hook=_unique, parse_constant=_no_constant)
    except ScaleFileError:
        raise
    except UnicodeDecodeError:
        raise ScaleFileError("The scale file is not text in UTF-8; save it again as plain"
                             " text.") from None
    except json.JSONDecodeError as error:
        raise ScaleFileError(f"The scale file is not JSON: {error.msg.lower()} in line"
                             f" {error.lineno}, column {error.colno}.") from None
    except (ValueError, RecursionError):
        raise ScaleFileError("The scale file is not JSON that can be read.") from None
    return parse_scale(content)


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """A JSON object in which no key stands twice (one of the two would be lost)."""
    seen: dict[str, Any] = {}
    for key, value in pairs:
        if key in seen:
            raise fields.refuse(key[:40], "stands twice in the same object.")
        seen[key] = value
    return seen


def _no_constant(word: str) -> Any:
    raise ScaleFileError(f"The scale file holds {word}, which is not a number.")


def shipped_scales() -> dict[str, Path]:
    """Name -> file of the scales that come with the package."""
    folder = Path(str(files("vision"))) / "data" / "scales"
    return {p.stem: p for p in sorted(folder.glob("*.json"))}


def load_scale(where: str | Path) -> Scale:
    """Load a scale by file path or by the name of a shipped scale."""
    shipped = shipped_scales().get(str(where))
    return _read_scale(Path(where), where) if shipped is None else _shipped_scale(shipped)


@lru_cache  # a page asks for all of them whenever it is drawn
def _shipped_scale(path: Path) -> Scale:
    return _read_scale(path, path.stem)


def _read_scale(path: Path, where: str | Path) -> Scale:
    try:
        if path.is_dir():
            raise ScaleFileError(f"'{where}' is a folder; name a scale file.")
        if not path.exists():
            raise ScaleFileError(f"There is no scale named '{where}'; 'countersight scales' lists"
                                 " the ones there are.")
        if not path.is_file():
            raise ScaleFileError(f"'{where}' is not a file; name a scale file.")
        with path.open("rb") as stream:
            content = stream.read(MAX_FILE_BYTES + 1)
    except (OSError, ValueError):
        raise ScaleFileError(f"The scale file '{path.name}' cannot be read; check its name and"
                             " that you may open it.") from None
    return parse_scale_text(content)
