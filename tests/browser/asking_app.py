"""The pages with a reader that always asks for a number first, for the test of the tap."""

from __future__ import annotations

import runpy
from pathlib import Path

import vision.volume.read
from vision.reading import Question, VolumeReading


def ask_first(photo, scale, *, near=None, surface=None, number=None):  # type: ignore[no-untyped-def]
    """Ask; once answered, say back what the answer was."""
    if number is None:
        return VolumeReading("refused", scale.unit, 1.0, scale.name,
                             reasons=("The numbers cannot be read.",),
                             question=Question("number", "Tap one mark and type its value."))
    value, (x, y) = number
    return VolumeReading("read", scale.unit, 1.0, scale.name, value=value,
                         interval=(value - 1, value + 1),
                         reasons=(f"Answer {value:g} at {x:.1f}, {y:.1f}.",))


vision.volume.read.read_volume = ask_first
runpy.run_path(str(Path(__file__).resolve().parents[2] / "app" / "entry" / "main.py"),
               run_name="__main__")
