"""Figures that take minutes: measured once, kept in ``results``, and the text made from that.

A measurement is a module beside this one with ``measure()``, which gives what is kept (seed and
count among it), ``texts(kept)``, which makes the text of each of its places, and where the same
can be asked for again in seconds ``sample(kept)``, which says what differs now.
"""

from __future__ import annotations

import json
import os
import platform
from collections.abc import Sequence
from functools import cache
from importlib import import_module, metadata
from types import ModuleType
from typing import Any

from figures.blocks import ROOT

#: Name of the measurement -> its module.
MEASUREMENTS = {"agreement": "agreement", "timing": "timing", "class": "class_load",
                "pages": "page_weight", "scenes": "scene_speed", "real-photos": "real_photos",
                "level-limit": "level_limit"}
#: Those of which a few are asked for again by the tests.
SAMPLED = ("agreement", "real-photos", "level-limit")
RESULTS = ROOT / "docs" / "figures" / "results"
_LIBRARIES = ("numpy", "scipy", "opencv-python-headless", "scikit-image", "streamlit")


def module(name: str) -> ModuleType:
    """The module of a measurement."""
    return import_module(f"figures.{MEASUREMENTS[name]}")


def measure(name: str) -> None:
    """Measure and keep, with how busy the machine was."""
    found = {"command": f"python docs/make.py --measure {name}", **module(name).measure(),
             "load": round(os.getloadavg()[0], 1), "processors": os.cpu_count(),
             "versions": {"python": platform.python_version(),
                          **{lib: metadata.version(lib) for lib in _LIBRARIES}}}
    (RESULTS / f"{name}.json").write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")


@cache
def kept(name: str) -> dict[str, Any]:
    """What was measured."""
    found: dict[str, Any] = json.loads((RESULTS / f"{name}.json").read_text(encoding="utf-8"))
    return found


def texts() -> dict[str, str]:
    """The text of every place that stands on something kept."""
    made: dict[str, str] = {}
    for name in MEASUREMENTS:
        if (RESULTS / f"{name}.json").exists():
            made |= module(name).texts(kept(name))
    return made


def medians(sorted_s: Sequence[float]) -> dict[str, float]:
    """Median, shortest and longest of some times in order."""
    return {"median": round(sorted_s[len(sorted_s) // 2], 3), "shortest": round(sorted_s[0], 3),
            "longest": round(sorted_s[-1], 3)}
