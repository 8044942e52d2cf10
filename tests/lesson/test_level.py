"""The level lesson: heights and thresholds by hand, the teaching model by another solver."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from vision.errors import InputError
from vision.lesson.level import (
    BED_OUT,
    IGNORED,
    LEVEL_CAUSES,
    POLE_OUT,
    TURNED,
    UNIT,
    BedView,
    DrainModel,
    drain_course,
    judge_level,
    level_tasks,
    level_threshold,
    wrong_thresholds,
)
from vision.lesson.rounds import RIGHT

# 1 cm of cerebrospinal fluid at 37 degC: 1.00059 g/mL (Can J Anaesth 1998, PMID 9597201) x
# 9.80665 m/s2 = 98.124 Pa = 1.0006 cmH2O = 0.7360 mmHg.
CM_H2O_PER_CM = 1.00059
MM_HG_PER_CM = 0.7360


def test_a_pole_raised_by_five_centimetres_by_hand():
    now = level_threshold(BedView(10, "cm[H2O]", pole_cm=5))
    assert now.value_cm_h2o == pytest.approx(15 * CM_H2O_PER_CM, abs=1e-3)
    # 5 cm are 3.68 mmHg (0.7360 x 5).
    mm_hg = level_threshold(BedView(10, "mm[Hg]", pole_cm=5)).value_cm_h2o * 0.735559
    assert mm_hg == pytest.approx(10 * CM_H2O_PER_CM + 5 * MM_HG_PER_CM, abs=5e-3)


def test_bed_and_patient_by_hand():
    # 60 (sin 45 - sin 30) + 10 (cos 45 - cos 30) = 12.426 - 1.589 cm.
    v = BedView(10, "cm[H2O]", bed_to_deg=45)
    assert v.landmark_rise_cm == pytest.approx(10.837, abs=2e-3)
    assert v.offset_cm == -v.landmark_rise_cm, "the landmark rose, the system hangs too low"
    # A patient who slides 10 cm down a bed at 30 degrees sinks by 10 sin 30 = 5 cm.
    assert BedView(10, "cm[H2O]", slid_cm=10).landmark_rise_cm == pytest.approx(-5.0)
    assert BedView(10, "cm[H2O]", bed_cm=7, pole_cm=7).offset_cm == pytest.approx(0.0)


# ------------------------------------------------------------------ the teaching model
@settings(max_examples=40, deadline=None)
@given(pressure=st.floats(0, 30), threshold=st.floats(-5, 30), resistance=st.floats(0.5, 10),
       inflow=st.floats(0, 40), stiffness=st.floats(0.2, 5))
def test_the_closed_form_agrees_with_an_independent_solver(pressure, threshold, resistance, inflow,
                                                          stiffness):
    # the solver's own step control fails on a start like 1e-308; such a pressure is none
    pressure = round(pressure, 9)
    model = DrainModel(pressure, threshold, resistance, inflow, stiffness)
    course = drain_course(model, 1.0, 31)
    r = resistance * 1.35951 / 60  # mmHg min/mL into cmH2O h/mL

    def rate(_, y):
        flow = max(y[0] - threshold, 0.0) / r
        return [stiffness * (inflow - flow), flow]

    solved = solve_ivp(rate, (0, 1), [pressure, 0.0], t_eval=course.hours, method="LSODA",
                       rtol=1e-8, atol=1e-9, max_step=0.005)
    assert course.pressure_cm_h2o == pytest.approx(solved.y[0], abs=2e-3)
    assert course.drained_ml == pytest.approx(solved.y[1], abs=5e-3)


def test_nothing_drains_at_or_below_the_threshold():
    for pressure in (4.0, 10.0):
        course = drain_course(DrainModel(pressure, 10.0, inflow_ml_h=0.0))
        assert (course.drained_ml == 0).all() and (course.pressure_cm_h2o == pressure).all()


def test_what_came_in_has_drained_or_is_still_there():
    course = drain_course(DrainModel(12.0, 8.0, inflow_ml_h=20.0, stiffness_cm_h2o_per_ml=2.0))
    stored = (course.pressure_cm_h2o - 12.0) / 2.0
    assert course.drained_ml + stored == pytest.approx(20.0 * course.hours, abs=1e-9)
    assert (np.diff(course.drained_ml) > 0).all()
    # In the end inflow runs through the resistance: threshold + F R; by hand, the model's own
    # 3.5 mmHg min/mL at 20 mL/h is 1.17 mmHg = 1.59 cmH2O.
    assert course.pressure_cm_h2o[-1] == pytest.approx(8.0 + 1.586, abs=2e-3)


def test_a_held_pressure_drains_evenly():
    # (12 - 8) cmH2O / (3.5 mmHg min/mL): 50.4 mL/h, worked by hand.
    course = drain_course(DrainModel(12.0, 8.0, 3.5, 20.0, 0.0))
    assert course.total_ml == pytest.approx(4 / (3.5 * 1.35951) * 60, rel=1e-5)
    assert np.ptp(np.diff(course.drained_ml)) < 1e-9


def test_a_lower_hanging_system_never_drains_less():
    totals = [drain_course(DrainModel(12.0, t)).total_ml for t in np.linspace(30, 0, 16)]
    assert all(b >= a for a, b in zip(totals, totals[1:], strict=False))


@pytest.mark.parametrize("fields", [{"pressure_cm_h2o": math.nan}, {"inflow_ml_h": -1.0},
                                    {"resistance_mm_hg_min_per_ml": 0.0},
                                    {"stiffness_cm_h2o_per_ml": -0.1}])
def test_numbers_out_of_reason_are_refused(fields):
    with pytest.raises(InputError):
        DrainModel(**{"pressure_cm_h2o": 12.0, "threshold_cm_h2o": 10.0, **fields})
    with pytest.raises(InputError):
        drain_course(DrainModel(12.0, 10.0), hours=0)


# ------------------------------------------------------------------ tasks
def test_wrong_thresholds_by_hand():
    wrong = wrong_thresholds(BedView(10, "mm[Hg]", pole_cm=5))
    assert wrong[IGNORED] == (10,)
    assert wrong[TURNED][0] == pytest.approx(10 - 5 * MM_HG_PER_CM, abs=0.01)
    assert wrong[UNIT][0] == 15, "five centimetres counted as five mmHg"
    assert BED_OUT not in wrong and POLE_OUT not in wrong, "only one thing moved"
    both = wrong_thresholds(BedView(10, "cm[H2O]", pole_cm=5, bed_cm=2))
    assert both[BED_OUT][0] == pytest.approx(15, abs=0.02)
    assert both[POLE_OUT][0] == pytest.approx(8, abs=0.02)


@pytest.mark.parametrize("seed", range(5))
def test_rounds_hold_every_cause_twice_and_each_can_be_told(seed):
    tasks = level_tasks(seed)
    assert sorted(t.trap for t in tasks) == sorted([*LEVEL_CAUSES, *LEVEL_CAUSES])
    for task in tasks:
        assert judge_level(task.truth, task).cause == RIGHT
        for value in wrong_thresholds(task.view)[task.trap]:
            assert judge_level(value, task).cause == task.trap
    assert level_tasks(seed) == tasks


@pytest.mark.slow
def test_no_wrong_threshold_that_is_listed_would_be_right():
    for seed in range(200):
        for task in level_tasks(seed):
            for values in wrong_thresholds(task.view).values():
                assert all(judge_level(v, task).cause != RIGHT for v in values), task


def test_the_words_of_a_task_are_enough_to_work_it_out():
    for task in level_tasks(3):
        text = " ".join(task.sentences)
        assert f"{task.view.setting:g} " in text
        offset = task.view.pole_cm - task.view.landmark_rise_cm
        if task.view.landmark_rise_cm:
            assert f"{abs(task.view.landmark_rise_cm):.1f} cm" in text
        per_cm = CM_H2O_PER_CM if task.view.unit == "cm[H2O]" else MM_HG_PER_CM
        assert task.truth == pytest.approx(task.view.setting + per_cm * offset, abs=0.05)
