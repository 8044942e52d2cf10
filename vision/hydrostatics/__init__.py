"""Everything about columns of fluid behind one door; no images, no advice.

The parts: ``vision.hydrostatics.units`` (units), ``vision.hydrostatics.density`` (fluids),
``vision.hydrostatics.columns`` (rho g h), ``vision.hydrostatics.threshold`` (setting and offset),
``vision.hydrostatics.torso`` (head of the bed).
"""

from __future__ import annotations

from vision.hydrostatics.columns import (
    BODY_TEMPERATURE_C,
    column_cm_h2o,
    column_mm_hg,
    column_pressure_pa,
    height_for_pressure_cm,
    line_pressure_drop_mm_hg,
    transducer_error_mm_hg,
)
from vision.hydrostatics.density import LIQUIDS, Liquid, density_kg_m3, water_density_kg_m3
from vision.hydrostatics.threshold import (
    CAUTIONS,
    SettingArithmetic,
    Threshold,
    effective_threshold,
    setting_for_threshold,
)
from vision.hydrostatics.torso import HeadOfBedChange, head_of_bed_change, landmark_height_cm
from vision.hydrostatics.units import (
    CM_H2O_CODE,
    MM_HG_CODE,
    PASCAL_PER,
    WORDS,
    both_units,
    convert,
    unit_code,
)

__all__ = [
    "BODY_TEMPERATURE_C", "CAUTIONS", "CM_H2O_CODE", "HeadOfBedChange", "LIQUIDS", "Liquid",
    "MM_HG_CODE", "PASCAL_PER", "SettingArithmetic", "Threshold", "WORDS", "both_units",
    "column_cm_h2o", "column_mm_hg", "column_pressure_pa", "convert", "density_kg_m3",
    "effective_threshold", "head_of_bed_change", "height_for_pressure_cm", "landmark_height_cm",
    "line_pressure_drop_mm_hg", "setting_for_threshold", "transducer_error_mm_hg", "unit_code",
    "water_density_kg_m3",
]
