"""Where down is, as a phone's own sensor says it: a direction in the camera's frame.

The camera frame is that of the upright photo: x right, y down, z forward, away from the person.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from vision.errors import InputError
from vision.parameters import PHONE_GRAVITY_SD_DEG, STEEPEST_PHONE_DEG, UPRIGHT_WITHIN_DEG


@dataclass(frozen=True)
class PhoneGravity:
    """Down in the camera's frame; made by :func:`phone_gravity`.

    ``down`` is a unit vector (x right, y down, z forward); ``sd_deg`` its standard uncertainty
    in either direction square to it, degrees; ``source`` where it comes from.
    """

    down: tuple[float, float, float]
    sd_deg: float = PHONE_GRAVITY_SD_DEG
    source: Literal["photo", "command", "page"] = "page"


def phone_gravity(vector: Sequence[float], sd_deg: float = PHONE_GRAVITY_SD_DEG,
                  source: Literal["photo", "command", "page"] = "page") -> PhoneGravity:
    """Down from a vector of any length that points to the floor.

    Parameters
    ----------
    vector : (3,) sequence of float
        In the camera frame of the upright photo: x right, y down, z forward.
    sd_deg : float
        Standard uncertainty, degrees, 0.05 to 10.
    source : {"photo", "command", "page"}

    Returns
    -------
    PhoneGravity

    Raises
    ------
    InputError
        For what is no direction, and for one that does not point to the lower edge of the photo.
    """
    length = math.hypot(*vector) if len(vector) == 3 else math.nan
    if not 1e-6 < length < 1e6:
        raise InputError("The direction of gravity needs three numbers that are not all zero: "
                         "x to the right, y down, z forward, as the camera sees it.")
    if not 0.05 <= sd_deg <= 10.0:
        raise InputError("The doubt about the direction of gravity must be 0.05 to 10 degrees.")
    x, y, z = (v / length for v in vector)
    if not points_down(x, y):
        raise InputError("The direction of gravity does not point to the lower edge of the upright "
                         "photo: x is to the right, y down, z forward.")
    return PhoneGravity((x, y, z), float(sd_deg), source)


def points_down(x: float, y: float) -> bool:
    """Whether a unit vector with these two parts points to the lower edge of the photo: not
    to its sides, and not so far forward or back that nobody can say."""
    in_picture = math.hypot(x, y)
    return in_picture > math.cos(math.radians(STEEPEST_PHONE_DEG)) and (
        y > in_picture * math.cos(math.radians(UPRIGHT_WITHIN_DEG)))
