"""The rays of a scene compiled by numba, where it is there (``pip install countersight[fast]``).

In: what :class:`~vision.synthetic.chamber.room.RoomShader` and
:class:`~vision.synthetic.chamber.tracer.ChamberTracer` take.  Out: the same to within rounding, in
about two thirds of the time: a ray is followed to its end by itself, so that no step of it goes
through memory.  Those two say what happens to a ray, and they are what runs without numba, on a
graphics card and for small pictures; ``tests/synthetic/chamber/test_compiled.py`` holds this copy
to them.
"""

from __future__ import annotations

from functools import cache
from importlib.util import find_spec
from typing import Any

import numpy as np

from vision.synthetic.chamber.room import RoomShader
from vision.synthetic.chamber.tracer import ChamberTracer

#: Pictures of fewer pixels are not worth the loading of compiled code, let alone the half minute
#: that compiling takes the first time.
FEWEST_PIXELS = 500_000


@cache
def is_there() -> bool:
    """Whether numba is installed."""
    return find_spec("numba") is not None


def shaders(xp: Any, pixels: int) -> tuple[type[RoomShader], type[ChamberTracer]]:
    """The quickest room shader and chamber tracer for so many pixels on an array module."""
    if xp is not np or pixels < FEWEST_PIXELS or not is_there():
        return RoomShader, ChamberTracer
    from vision.synthetic.chamber.compiled.rays import CompiledRoom, CompiledTracer

    return CompiledRoom, CompiledTracer
