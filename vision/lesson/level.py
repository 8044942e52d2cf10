"""The level lesson: what a raised pole, a turned bed or a moved patient does to a drain.

Heights and the threshold follow ``vision.hydrostatics``.  The drain of
``drain_course`` is a teaching model and nothing else: one store of fluid with one
stiffness, a steady inflow, one resistance.  It knows no heartbeat, no brain, no
absorption, and says nothing about any patient.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from vision.constants import DRAIN_LINE_RESISTANCE_LIMIT
from vision.errors import InputError
from vision.hydrostatics.threshold import Threshold, effective_threshold
from vision.hydrostatics.torso import landmark_height_cm
from vision.hydrostatics.units import CM_H2O_CODE, MM_HG_CODE, convert, require_finite
from vision.lesson.rounds import TASKS_IN_A_ROUND, Verdict, judge, only_wrong

#: A steady inflow of 20 mL/h: the usual textbook figure for adults; estimates differ
#: up to ten-fold by method (Liu et al., Fluids Barriers CNS 2022;19:101).
INFLOW_ML_H = 20.0
#: 1 cmH2O for each mL, the order of a pressure-volume index of 25 mL near 10 mmHg
#: (Marmarou, Shulman, LaMorgese, J Neurosurg 1975;43:523, from memory).
STIFFNESS_CM_H2O_PER_ML = 1.0

IGNORED, TURNED = "offset left out", "offset counted the wrong way"
UNIT = "unit mixed up"
BED_OUT, POLE_OUT = "bed or patient left out", "pole left out"
#: Causes of a wrong threshold, and what each means.
LEVEL_CAUSES: dict[str, str] = {
    IGNORED: "the setting was taken as if the system still hung level",
    TURNED: "a system that hangs too high opens later, one that hangs too low opens sooner",
    UNIT: "centimetres were counted as mmHg, or mmHg as cmH2O",
    BED_OUT: "only what happened at the pole was counted",
    POLE_OUT: "only what happened in the bed was counted",
}


@dataclass(frozen=True)
class BedView:
    """A drain that was levelled once, and what has been moved since.

    ``pole_cm`` is how far the system was raised, ``slid_cm`` how far the patient slid
    down the mattress, ``bed_cm`` how far the whole bed was raised.  The landmark lay
    ``along_cm`` from the hinge and ``above_cm`` off the mattress when it was levelled.
    """

    setting: float
    unit: str
    pole_cm: float = 0.0
    bed_from_deg: float = 30.0
    bed_to_deg: float = 30.0
    slid_cm: float = 0.0
    bed_cm: float = 0.0
    along_cm: float = 60.0
    above_cm: float = 10.0

    @property
    def landmark_rise_cm(self) -> float:
        """How far the landmark has risen since the system was levelled."""
        return (landmark_height_cm(self.bed_to_deg, self.along_cm - self.slid_cm, self.above_cm)
                - landmark_height_cm(self.bed_from_deg, self.along_cm, self.above_cm)
                + self.bed_cm)

    @property
    def offset_cm(self) -> float:
        """Zero reference over landmark: what the pole gained less what the landmark gained."""
        return self.pole_cm - self.landmark_rise_cm


def level_threshold(view: BedView) -> Threshold:
    """The effective threshold of the view; ``InputError`` for impossible numbers."""
    return effective_threshold(view.setting, view.unit, view.offset_cm)


# ------------------------------------------------------------------ teaching model
@dataclass(frozen=True)
class DrainModel:
    """The teaching model: pressures in cm[H2O] at the landmark.

    Nothing drains while the pressure is at or below the threshold; above it,
    (pressure - threshold) / resistance.  ``inflow_ml_h`` fills the store,
    ``stiffness_cm_h2o_per_ml`` says how its pressure answers (0: held constant).
    """

    pressure_cm_h2o: float
    threshold_cm_h2o: float
    resistance_mm_hg_min_per_ml: float = DRAIN_LINE_RESISTANCE_LIMIT.value
    inflow_ml_h: float = INFLOW_ML_H
    stiffness_cm_h2o_per_ml: float = STIFFNESS_CM_H2O_PER_ML

    def __post_init__(self) -> None:
        require_finite(self.pressure_cm_h2o, "A pressure", -50, 150, "cmH2O")
        require_finite(self.threshold_cm_h2o, "A threshold", -200, 300, "cmH2O")
        require_finite(self.resistance_mm_hg_min_per_ml, "A resistance", 0.01, 1000,
                       "mmHg min/mL")
        require_finite(self.inflow_ml_h, "An inflow", 0, 200, "mL/h")
        require_finite(self.stiffness_cm_h2o_per_ml, "A stiffness", 0, 50, "cmH2O/mL")

    @property
    def resistance_cm_h2o_h_per_ml(self) -> float:
        """The resistance in cm[H2O] for each mL/h."""
        return float(convert(self.resistance_mm_hg_min_per_ml, MM_HG_CODE, CM_H2O_CODE)) / 60


@dataclass(frozen=True)
class DrainCourse:
    """What the model does: hours (N,), pressure (N,) in cm[H2O], drained mL (N,)."""

    hours: np.ndarray
    pressure_cm_h2o: np.ndarray
    drained_ml: np.ndarray

    @property
    def total_ml(self) -> float:
        """What has drained at the end."""
        return float(self.drained_ml[-1])


def drain_course(model: DrainModel, hours: float = 1.0, points: int = 61) -> DrainCourse:
    """The model's course in closed form.

    Closed: pressure rises with inflow times stiffness until it reaches the threshold.
    Open: it nears threshold + inflow x resistance with the time constant
    resistance / stiffness; once open it stays open.
    """
    if not (0 < hours <= 48 and 2 <= points <= 5000):
        raise InputError("The course runs over up to 48 hours and has 2 points or more.")
    t = np.linspace(0.0, hours, points)
    p0, top = model.pressure_cm_h2o, model.threshold_cm_h2o
    stiff, inflow, r = (model.stiffness_cm_h2o_per_ml, model.inflow_ml_h,
                        model.resistance_cm_h2o_h_per_ml)
    if stiff == 0:  # the pressure is held, whatever flows
        return DrainCourse(t, np.full(points, p0), max(p0 - top, 0.0) / r * t)
    rise = inflow * stiff
    wait = 0.0 if p0 >= top else ((top - p0) / rise if rise > 0 else math.inf)
    since = np.maximum(t - wait, 0.0) if math.isfinite(wait) else np.zeros(points)
    end, start = top + inflow * r, max(p0, top)
    open_pressure = end + (start - end) * np.exp(-since * stiff / r)
    pressure = np.where(t < wait, p0 + rise * t, open_pressure)
    # What came in and is not in the store any more has drained.
    drained = np.where(t <= wait, 0.0, inflow * t - (pressure - p0) / stiff)
    return DrainCourse(t, pressure, drained)


# ------------------------------------------------------------------ tasks
@dataclass(frozen=True)
class LevelTask:
    """One situation; the threshold is asked in the unit of the setting."""

    view: BedView
    trap: str

    @property
    def truth(self) -> float:
        """The effective threshold in the unit of the setting."""
        return in_unit(level_threshold(self.view).value_cm_h2o, self.view.unit)

    @property
    def sentences(self) -> tuple[str, ...]:
        """What happened, for the learner; heights are given, the sum is not."""
        v = self.view
        words = "cmH2O" if v.unit == CM_H2O_CODE else "mmHg"
        out = [f"The panel is set to {v.setting:g} {words}. The system was levelled with the "
               f"head of the bed at {v.bed_from_deg:g} degrees."]
        rise = v.landmark_rise_cm
        if v.bed_to_deg != v.bed_from_deg or v.slid_cm:
            slid = f" and the patient slid {v.slid_cm:g} cm down the bed" if v.slid_cm else ""
            way = "rose" if rise >= 0 else "sank"
            out.append(f"Since then the head of the bed went to {v.bed_to_deg:g} degrees{slid}: "
                       f"the landmark {way} by {abs(rise):.1f} cm.")
        if v.pole_cm:
            way = "raised" if v.pole_cm > 0 else "lowered"
            out.append(f"Since then the system was {way} by {abs(v.pole_cm):g} cm on its pole.")
        return tuple(out)


def in_unit(value_cm_h2o: float, unit: str) -> float:
    """A pressure in the unit of the panel."""
    return float(convert(value_cm_h2o, CM_H2O_CODE, unit))


def wrong_thresholds(view: BedView) -> dict[str, tuple[float, ...]]:
    """What each cause of error would make of a view, in the unit of the setting.

    Values within half a unit of the truth are left out: they would be right.
    """

    def at(offset_cm: float) -> float:
        return in_unit(effective_threshold(view.setting, view.unit, offset_cm).value_cm_h2o,
                       view.unit)

    offset, rise = view.offset_cm, view.landmark_rise_cm
    out: dict[str, tuple[float, ...]] = {}
    if offset:
        out[IGNORED] = (view.setting,)
        out[TURNED] = (at(-offset),)
    if view.unit == MM_HG_CODE and offset:
        out[UNIT] = (view.setting + offset, float(convert(at(offset), MM_HG_CODE, CM_H2O_CODE)))
    elif offset:
        out[UNIT] = (float(convert(at(offset), CM_H2O_CODE, MM_HG_CODE)),)
    if rise and view.pole_cm:
        out[BED_OUT] = (at(view.pole_cm),)
        out[POLE_OUT] = (at(-rise),)
    truth = at(offset)
    return only_wrong(out, truth, 1.0)


def level_tasks(seed: int, count: int = TASKS_IN_A_ROUND) -> tuple[LevelTask, ...]:
    """``count`` situations, every cause as often as can be, in an order of the seed's own."""
    if seed < 0 or not 1 <= count <= 200:
        raise InputError("A round has 1 to 200 tasks and its seed is 0 or more.")
    rng = np.random.default_rng([8, seed])
    causes = list(LEVEL_CAUSES)
    first = int(rng.integers(len(causes)))
    traps = [causes[(first + i) % len(causes)] for i in range(count)]
    order = rng.permutation(count)
    return tuple(_task(np.random.default_rng([8, seed, n]), traps[int(k)])
                 for n, k in enumerate(order))


def _task(rng: np.random.Generator, trap: str) -> LevelTask:
    def one(*items: Any) -> Any:
        return items[int(rng.integers(len(items)))]

    while True:
        bed = trap in (BED_OUT, POLE_OUT) or rng.random() < 0.5
        pole = trap in (BED_OUT, POLE_OUT) or not bed
        view = BedView(
            setting=float(one(8, 10, 12, 15)), unit=one(CM_H2O_CODE, MM_HG_CODE)
            if trap != UNIT else MM_HG_CODE,
            pole_cm=float(one(-6, -5, -4, -3, 3, 4, 5, 6)) if pole else 0.0,
            bed_from_deg=float(one(20, 30)),
            bed_to_deg=float(one(15, 25, 35, 40)) if bed else 30.0,
            slid_cm=float(one(0, 0, 5, 8)) if bed else 0.0)
        if not bed:
            view = BedView(view.setting, view.unit, view.pole_cm)
        truth = in_unit(level_threshold(view).value_cm_h2o, view.unit)
        wrong = wrong_thresholds(view)
        # Each wrong way must end well away from the truth, or it could not be told.
        if trap in wrong and all(abs(w - truth) > 1.2 for w in wrong[trap]):
            return LevelTask(view, trap)


def judge_level(answer: float, task: LevelTask) -> Verdict:
    """The verdict on a threshold, in the unit of the setting; one "division" is one unit."""
    return judge(answer, task.truth, 1.0, wrong_thresholds(task.view), task.trap)
