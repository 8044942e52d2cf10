"""Columns of fluid: pressure from height, and height errors as pressure errors.

Heights are in cm, pressures in conventional cm[H2O] unless the name says
otherwise.  No image, no advice.  The threshold of a drain is in
``vision.hydrostatics.threshold``, the bed's head in ``vision.hydrostatics.torso``.
"""

from __future__ import annotations

from typing import Any

from vision.constants import CM_H2O, DRAIN_LINE_RESISTANCE_LIMIT, STANDARD_GRAVITY
from vision.hydrostatics.density import Liquid, density_kg_m3
from vision.hydrostatics.units import CM_H2O_CODE, MM_HG_CODE, convert

#: Temperature at which the density of cerebrospinal fluid was measured.
BODY_TEMPERATURE_C = 37.0


def column_pressure_pa(height_cm: Any, density: float,
                       gravity: float = STANDARD_GRAVITY.value) -> Any:
    """rho g h in Pa of a column ``height_cm`` high (may be negative), density in kg/m3."""
    return density * gravity * height_cm / 100


def column_cm_h2o(height_cm: Any, liquid: Liquid = "csf",
                  temperature_c: float = BODY_TEMPERATURE_C) -> Any:
    """Pressure of a column of fluid in cm[H2O]: within 0.7 % the same number as its height."""
    return column_pressure_pa(height_cm, density_kg_m3(liquid, temperature_c)) / CM_H2O.value


def column_mm_hg(height_cm: Any, liquid: Liquid = "csf",
                 temperature_c: float = BODY_TEMPERATURE_C) -> Any:
    """Pressure of a column of fluid in mm[Hg]: about 0.74 for each cm."""
    return convert(column_cm_h2o(height_cm, liquid, temperature_c), CM_H2O_CODE, MM_HG_CODE)


def height_for_pressure_cm(pressure_cm_h2o: Any, liquid: Liquid = "csf",
                           temperature_c: float = BODY_TEMPERATURE_C) -> Any:
    """Height of the column of fluid that makes a pressure: the inverse of ``column_cm_h2o``."""
    return pressure_cm_h2o / column_cm_h2o(1.0, liquid, temperature_c)


def transducer_error_mm_hg(transducer_above_landmark_cm: Any, liquid: Liquid = "csf",
                           temperature_c: float = BODY_TEMPERATURE_C) -> Any:
    """What a pressure transducer shows too much, in mm[Hg], when it is off its height.

    A transducer that hangs too high carries less of the column and shows too
    little: the sign is opposite to the height's.
    """
    return -column_mm_hg(transducer_above_landmark_cm, liquid, temperature_c)


def line_pressure_drop_mm_hg(flow_ml_h: Any,
                             resistance: float = DRAIN_LINE_RESISTANCE_LIMIT.value) -> Any:
    """Pressure used up in the line at a flow, in mm[Hg]; resistance in mm[Hg].min/mL.

    The pressure in the patient stays above the threshold by this much while the
    drain runs.  The default is the largest of five measured systems (Czosnyka et
    al., Neurosurgery 2003;52:619), so the result is a bound and not a measurement.
    """
    return resistance * flow_ml_h / 60
