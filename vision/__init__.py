"""Countersight's measuring side: from a photo to a reading with its uncertainty.

>>> from vision import load_photo, load_scale, read_volume
>>> reading = read_volume(load_photo("photo.jpg"), load_scale("quay-60"))  # doctest: +SKIP
>>> reading.value, reading.interval, reading.reasons                       # doctest: +SKIP

Nothing in here knows a page, a database or a person's name.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from vision.hydrostatics.threshold import effective_threshold as threshold
    from vision.imaging.photo import load_photo
    from vision.level.read import read_level
    from vision.manual_scale.at_point import read_point
    from vision.pressure_panel.read import read_setting
    from vision.scale_file.scale import load_scale
    from vision.volume.read import read_volume

__version__ = "0.1.0"

__all__ = ["load_photo", "load_scale", "read_level", "read_point", "read_setting", "read_volume",
           "threshold"]

#: Where each verb lives; loaded when it is first asked for, so that importing stays quick.
_HOME = {
    "load_photo": ("vision.imaging.photo", "load_photo"),
    "load_scale": ("vision.scale_file.scale", "load_scale"),
    "read_volume": ("vision.volume.read", "read_volume"),
    "read_level": ("vision.level.read", "read_level"),
    "read_setting": ("vision.pressure_panel.read", "read_setting"),
    "read_point": ("vision.manual_scale.at_point", "read_point"),
    "threshold": ("vision.hydrostatics.threshold", "effective_threshold"),
}


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'vision' has no attribute '{name}'")
    module, attribute = _HOME[name]
    return getattr(import_module(module), attribute)
