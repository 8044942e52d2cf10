"""What a reading of the panel's pressure scale is."""

from __future__ import annotations

from dataclasses import dataclass

from vision.reading import VolumeReading


@dataclass(frozen=True)
class SettingReading(VolumeReading):
    """A reading of the pressure scale; the fields are those of a chamber's reading.

    ``surface_px`` is the pointer; there is no naive value and no elevation.
    """

    def as_json(self) -> dict[str, object]:
        """The object that ``countersight setting --json`` prints."""
        out = super().as_json()
        for name in ("naive_value", "elevation_deg", "elevation_sd_deg", "candidates"):
            out.pop(name)
        out["pointer_px"] = out.pop("surface_px")
        return out | {"kind": "setting"}
