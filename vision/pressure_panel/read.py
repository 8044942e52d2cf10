"""Where the chamber's pointer stands on the flat pressure scale of the panel."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from vision.budget import NORMAL_95, BudgetTerm, combined_standard_uncertainty
from vision.errors import InputError
from vision.flags import describe
from vision.hydrostatics.units import CM_H2O_CODE, MM_HG_CODE, PASCAL_PER
from vision.imaging.photo import Photo
from vision.imaging.quality import measure_quality, quality_flags
from vision.parameters import COUNT_LOG_ODDS
from vision.pressure_panel.numbering import weigh_numberings
from vision.pressure_panel.planar_scale import (
    FlatLadder,
    UprightMap,
    division_ratio,
    find_flat_ladders,
    same_ladder,
)
from vision.reading import Annotation, AnnotationRole, Question, VolumeReading
from vision.scale_file.scale import Scale

#: A tapped pixel is uncertain by this share of the photo's diagonal unless stated.
TAP_SHARE = 0.001
#: How far a pointer may stand in front of the print, and how steeply that is seen
#: (half widths; our assumption, common panels, no source).
POINTER_DEPTH_MM, VIEW_DEG = 5.0, 15.0
#: Two units side by side: the ratio of one step of mm[Hg] to one of cm[H2O].
_UNIT_RATIO = PASCAL_PER[MM_HG_CODE] / PASCAL_PER[CM_H2O_CODE]
_OTHER_STEP = {CM_H2O_CODE: _UNIT_RATIO, MM_HG_CODE: 1 / _UNIT_RATIO}
_RATIO_TOLERANCE = 0.05
_BEYOND_DIVISIONS = 1.5


@dataclass(frozen=True)
class SettingReading(VolumeReading):
    """A reading of the pressure scale; the fields are those of a chamber's reading.

    ``surface_px`` is the pointer; there is no naive value and no elevation.
    """

    def as_json(self) -> dict[str, object]:
        """The object that ``countersight setting --json`` prints."""
        out = super().as_json()
        for name in ("naive_value", "elevation_deg", "elevation_sd_deg", "candidates"):
            out.pop(name)
        out["pointer_px"] = out.pop("surface_px")
        return out | {"kind": "setting"}


def read_setting(
    photo: Photo, scale: Scale, pointer: tuple[float, float], *,
    number: tuple[float, tuple[float, float]] | None = None, pointer_sd_px: float | None = None,
) -> SettingReading:
    """Read the pointer at ``pointer`` (x, y in pixels of the upright photo) on a flat scale.

    ``number`` is (value, (x, y)): a value typed by a person for the mark nearest
    that point.  ``pointer_sd_px`` is how well the point was tapped (standard
    uncertainty, px of the photo).  An honest "no reading" is a result.  InputError for
    a scale with a bore, or a point outside the photo.
    """
    _check(photo, scale, pointer, number)
    if pointer_sd_px is None:
        pointer_sd_px = TAP_SHARE * math.hypot(photo.width, photo.height)
    return _Reader(photo, scale, pointer, number, pointer_sd_px).read()


def _check(photo: Photo, scale: Scale, pointer: tuple[float, float],
           number: tuple[float, tuple[float, float]] | None) -> None:
    if not scale.flat:
        raise InputError(f"The scale '{scale.name}' belongs to a chamber: choose the flat pressure "
                         "scale of the panel.")
    for x, y in (pointer, *([number[1]] if number else [])):
        if not (0 <= x < photo.width and 0 <= y < photo.height):
            raise InputError("The point lies outside the photo: tap inside the picture.")
    if number is not None and not any(abs(m.value - number[0]) < 1e-6 for m in scale.marks):
        raise InputError(f"The scale '{scale.name}' has no mark {number[0]:g}: "
                         "type the value of a printed mark.")


class _Reader:
    """One reading in the making."""

    def __init__(self, photo: Photo, scale: Scale, pointer: tuple[float, float],
                 number: tuple[float, tuple[float, float]] | None, pointer_sd_px: float) -> None:
        self.photo, self.scale, self.pointer, self.number = photo, scale, pointer, number
        self.factor = photo.working_scale
        self.tap_sd = pointer_sd_px / self.factor
        self.flags: list[str] = []
        self.reasons: list[str] = []
        self.division = float(min(np.diff([m.value for m in scale.marks])))

    def read(self) -> SettingReading:
        grey = cv2.cvtColor(self.photo.working_rgb, cv2.COLOR_RGB2GRAY).astype(np.float32)
        near = self._to_work(self.pointer)
        ways = self._ways(grey, near)
        if not ways:
            self._note("scale-not-found")
            for name in quality_flags(measure_quality(self.photo.working_gray)):
                self._note(name)
            return self._result("refused")
        chosen = self._numbered(grey, ways)
        if isinstance(chosen, Question):
            return self._result("refused", ladder=ways[0], question=chosen)
        if not (self.unit_shown or chosen.ends_seen):
            # Without the ends, a row in the other unit with the same numbers looks alike.
            self._note("scale-cut-off")
            return self._result("refused", ladder=chosen)
        return self._value(chosen, near)

    # ------------------------------------------------------------ which ladder
    def _ways(self, grey: np.ndarray, near: tuple[float, float]) -> list[FlatLadder]:
        """Numberings of the ladder in this scale's unit, the likeliest first."""
        found = find_flat_ladders(grey, self.scale, near)
        light = find_flat_ladders(255.0 - grey, self.scale, near) if (
            not found or not found[0].complete) else []
        if light and (not found or light[0].score > found[0].score):
            found, self.light_print = light, True
        if not found:
            return []
        first = found[0]
        other = next((w for w in found if not same_ladder(w, first)), None)
        if other is not None and self.scale.unit in _OTHER_STEP:
            ratio, own = division_ratio(first, other), _OTHER_STEP[self.scale.unit]
            if abs(ratio * own - 1) < _RATIO_TOLERANCE:
                first = other  # the row beside it has this scale's step
                self.unit_shown = True
            elif abs(ratio / own - 1) < _RATIO_TOLERANCE:
                self.unit_shown = True
        return [w for w in found if same_ladder(w, first)]

    light_print = False
    #: True when a row in the other unit stands beside this one: their steps tell which is which.
    unit_shown = False

    def _numbered(self, grey: np.ndarray, ways: list[FlatLadder]) -> FlatLadder | Question:
        """The numbering that is settled, or what has to be asked."""
        if self.number is not None:
            value, at = self.number
            for way in ways:
                if self._value_nearest(way, self._to_work(at)) == value:
                    self._note("number-given")
                    return way
            self._note("wrong-scale")
            return Question("number", "No numbering of the chosen scale gives the tapped mark "
                                      f"{value:g}. Check the scale; tap a mark and type its value.")
        ask = Question("number", "Tap one printed mark and type its value.")
        seen = weigh_numberings(255.0 - grey if self.light_print else grey, ways)
        chosen = seen.chosen
        behind = max((w.score for w in ways if w is not chosen), default=-math.inf)
        if seen.contradicted:
            self._note("numerals-disagree")
            return ask
        if chosen.strangers > 2 or chosen.missed > 0.25 * len(self.scale.marks):
            self._note("wrong-scale")
            return ask
        if seen.settled:
            return chosen
        if chosen.complete and chosen.score - behind >= COUNT_LOG_ODDS:
            self._note("numerals-unread")
            return chosen
        self._note("numbering-unsettled")
        return ask

    def _value_nearest(self, way: FlatLadder, at: tuple[float, float]) -> float:
        height = way.map_at(at[0]).height(at[1])
        return min(self.scale.marks, key=lambda m: abs(m.height_mm - height)).value

    # --------------------------------------------------------------- the value
    def _value(self, ladder: FlatLadder, near: tuple[float, float]) -> SettingReading:
        upright = ladder.map_at(near[0])
        height = upright.height(near[1])
        value = float(self.scale.value_at(height))
        low, high = self.scale.lowest_mark.value, self.scale.highest_mark.value
        room = _BEYOND_DIVISIONS * self.division
        if not low - room <= value <= high + room:
            self._note("pointer-off-scale")
            return self._result("refused", ladder=ladder)
        budget = self._budget(upright, height)
        half = NORMAL_95 * combined_standard_uncertainty(budget)
        if half > 2.5 * self.division:
            self._note("few-pixels")
            return self._result("refused", ladder=ladder)
        return self._result("read", ladder=ladder, value=value,
                            interval=(value - half, value + half), budget=budget)

    def _budget(self, upright: UprightMap, height: float) -> tuple[BudgetTerm, ...]:
        per_mm = abs(float(self.scale.value_at(height + 0.5) - self.scale.value_at(height - 0.5)))
        per_px = per_mm / upright.px_per_mm(height)
        depth = POINTER_DEPTH_MM * math.tan(math.radians(VIEW_DEG)) / math.sqrt(3)
        unit = self.scale.unit
        terms = [
            BudgetTerm("tapped point", self.tap_sd * per_px, unit, "standard uncertainty of a tap"),
            BudgetTerm("marks of the scale", upright.sd_px(height) * per_px, unit,
                       f"fit through {upright.marks} marks"),
            BudgetTerm("direction of the marks", upright.direction_sd_px * per_px, unit,
                       "from the marks across to the pointer"),
            BudgetTerm("pointer in front of the print", depth * per_mm, unit,
                       f"up to {POINTER_DEPTH_MM:g} mm, seen up to {VIEW_DEG:g} degrees off"),
        ]
        if self.scale.tolerance:
            terms.append(BudgetTerm("printed scale", self.scale.tolerance / math.sqrt(3), unit,
                                    "tolerance of the scale file"))
        return tuple(terms)

    # ------------------------------------------------------------- the outcome
    def _to_work(self, point: tuple[float, float]) -> tuple[float, float]:
        x, y = (np.asarray(point, float) + 0.5) / self.factor - 0.5
        return float(x), float(y)

    def _note(self, name: str) -> None:
        if name not in self.flags:
            flag = describe(name)
            self.flags.append(name)
            self.reasons.append(f"{flag.short}. {flag.advice}".strip() if flag.advice
                                else f"{flag.short}.")

    def _result(self, status: str, *, ladder: FlatLadder | None = None,
                question: Question | None = None, value: float | None = None,
                interval: tuple[float, float] | None = None,
                budget: tuple[BudgetTerm, ...] = ()) -> SettingReading:
        annotations = [] if ladder is None else self._traces(ladder, value)
        return SettingReading(
            status=status,  # type: ignore[arg-type]
            unit=self.scale.unit, division=self.division, scale=self.scale.name, value=value,
            interval=interval, surface_px=self.pointer, flags=tuple(self.flags),
            reasons=tuple(self.reasons), budget=budget, question=question,
            annotations=tuple(annotations))

    def _traces(self, ladder: FlatLadder, value: float | None) -> list[Annotation]:
        out = []
        for i, left, right in zip(ladder.mark, ladder.left_px, ladder.right_px, strict=True):
            mark = self.scale.marks[i]
            role: AnnotationRole = "mark-long" if mark.length == "long" else "mark-short"
            points = (np.array([left, right]) + 0.5) * self.factor - 0.5
            out.append(Annotation(role, points, mark.text if mark.label else ""))
        if value is not None:
            x, y = self._to_work(self.pointer)
            edge = float(ladder.centre_px[:, 0].mean())
            line = np.array([[x, y], [edge, y + (edge - x) * float(ladder.slope(y))]])
            out.append(Annotation("reading", (line + 0.5) * self.factor - 0.5, f"{value:.1f}"))
        return out
