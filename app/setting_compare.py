"""The panel's setting against the order, in the unit of the order.  Pure."""

from __future__ import annotations

from dataclasses import dataclass

from vision.hydrostatics.units import WORDS, convert, number_text, unit_code

#: A pointer is read to about this many of the panel's own units (our choice).
READ_TO = 0.5


@dataclass(frozen=True)
class SettingComparison:
    """``difference`` is setting minus order in the order's ``unit``; ``same`` when it lies
    within what a pointer can be read to."""

    setting_in_order_unit: float
    difference: float
    unit: str
    same: bool
    sentence: str


def compare_setting(setting: float, setting_unit: str, ordered: float, ordered_unit: str
                    ) -> SettingComparison:
    """Say how the panel stands to the order.  Both units are codes or as people type them;
    InputError for one that is no pressure unit."""
    panel, order = unit_code(setting_unit), unit_code(ordered_unit)
    there = float(convert(setting, panel, order))
    difference = there - ordered
    same = abs(difference) <= float(convert(READ_TO, panel, order)) + 1e-9
    shown = f"{number_text(setting, _digits(setting))} {WORDS[panel]}"
    if panel != order:
        shown += f", that is {number_text(there)} {WORDS[order]}"
    said = f"{number_text(ordered, _digits(ordered))} {WORDS[order]}"
    if same:
        end = "They agree."
    else:
        side = "above" if difference > 0 else "below"
        end = (f"The panel stands {number_text(abs(difference))} {WORDS[order]} {side} the order. "
               "Follow your rule for that; the order decides.")
    return SettingComparison(there, difference, order, same,
                             f"The panel is set to {shown}. The order says {said}. {end}")


def _digits(value: float) -> int:
    return 0 if value == round(value) else 1
