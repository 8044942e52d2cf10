"""What raising the head of the bed does to the landmark's height.

The upper part of the bed turns about a hinge near the patient's hip.  A landmark
that lies ``along_cm`` from the hinge up the mattress, and ``above_cm`` off its
surface, stands L sin(a) + d cos(a) over the hinge at angle a (plane geometry).
The two lengths are measured by the user on the patient at hand; there are no
usual values here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from vision.budget import NORMAL_95
from vision.hydrostatics.columns import column_cm_h2o
from vision.hydrostatics.units import both_units, number_text, require_finite


@dataclass(frozen=True)
class HeadOfBedChange:
    """``landmark_rise_cm`` with a 95 % interval; the offset falls by as much."""

    landmark_rise_cm: float
    interval_cm: tuple[float, float]

    @property
    def threshold_change_cm_h2o(self) -> float:
        """Change of the effective threshold when the system stays where it hangs."""
        return float(column_cm_h2o(-self.landmark_rise_cm))

    @property
    def sentence(self) -> str:
        """The change in words."""
        way = "rises" if self.landmark_rise_cm >= 0 else "sinks"
        acts = ("lower, so it drains more" if self.landmark_rise_cm >= 0
                else "higher, so it drains less")
        low, high = sorted(abs(x) for x in self.interval_cm)
        same_side = self.interval_cm[0] * self.interval_cm[1] > 0
        range_text = f" ({number_text(low)} to {number_text(high)})" if same_side else ""
        return (f"The landmark {way} by {number_text(abs(self.landmark_rise_cm))} cm{range_text}. "
                "If the system stays where it hangs, its threshold becomes "
                f"{both_units(abs(self.threshold_change_cm_h2o))} {acts}. "
                "Close the drain before the bed is moved; level again before it is opened.")


def landmark_height_cm(angle_deg: float, along_cm: float, above_cm: float) -> float:
    """Height of the landmark over the hinge at a head-of-bed angle, in cm."""
    a = math.radians(angle_deg)
    return along_cm * math.sin(a) + above_cm * math.cos(a)


def head_of_bed_change(
    from_deg: float, to_deg: float, along_cm: float, above_cm: float, *,
    bed_raised_cm: float = 0.0, angle_sd_deg: float = 2.0, length_sd_cm: float = 2.0,
) -> HeadOfBedChange:
    """How far the landmark rises when the head of the bed goes from one angle to another.

    ``bed_raised_cm`` is a lift of the whole bed.  The uncertainty follows from the
    angles and lengths (independent, JCGM 100:2008, equation 10); sliding down the
    bed and a bent neck are not in it.  InputError for impossible numbers.
    """
    for angle in (from_deg, to_deg):
        require_finite(angle, "A head-of-bed angle", -30, 90, "degrees")
    require_finite(along_cm, "A length along the mattress", 0, 150, "cm")
    require_finite(above_cm, "A height off the mattress", -30, 50, "cm")
    require_finite(bed_raised_cm, "A lift of the bed", -100, 100, "cm")
    a, b = math.radians(from_deg), math.radians(to_deg)
    rise = (landmark_height_cm(to_deg, along_cm, above_cm)
            - landmark_height_cm(from_deg, along_cm, above_cm) + bed_raised_cm)
    by_angle = [along_cm * math.cos(x) - above_cm * math.sin(x) for x in (a, b)]
    u = math.hypot(
        math.radians(angle_sd_deg) * math.hypot(*by_angle),
        length_sd_cm * math.hypot(math.sin(b) - math.sin(a), math.cos(b) - math.cos(a)))
    return HeadOfBedChange(rise, (rise - NORMAL_95 * u, rise + NORMAL_95 * u))
