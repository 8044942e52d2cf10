"""Other people's glassware: what is read of it, where the photographs lie beside the checkout."""

from __future__ import annotations

from typing import Any

import numpy as np
from figures.blocks import differing
from manual_scale import test_real as real

from vision.flags import FLAGS
from vision.manual_scale.at_point import PointReading, read_point
from vision.pressure_panel.read import read_setting
from vision.volume.read import read_volume

STEEP, LIQUID, HEAT = (real.TestBuretteSeenSteeply, real.TestBuretteWithLiquid,
                       real.TestThermometer)
GLASS = real.TestGlassOfKnownVolumes
TWO_CYLINDERS = "photos/two_cylinders_blue.jpg"

#: What is seen, picture and scale of the ten that the chambers' reader is tried on.
CHAMBERS = (
    ("burette with blue-green liquid, 0 to 3 mL of it in sight", LIQUID.NAME, "burette-50"),
    ("burette seen steeply from above, clamp before it, empty", STEEP.NAME, "burette-50"),
    ("two 50 mL cylinders, engraved marks of 4.8 px", TWO_CYLINDERS, "cylinder-50"),
    ("empty 100 mL cylinder, marks of 4 px", "scale_only/cylinder_100ml_scale.jpg",
     "cylinder-100"),
    ("three cylinders with fog and bubbles (legible 30 and 40 mL)",
     "negatives/three_cylinders_fog_bubbles.jpg", "cylinder-50"),
    ("mercury and water in two tubes without a scale",
     "negatives/two_tubes_convex_concave_no_scale.png", "cylinder-50"),
    ("drinking glass, empty", "known_volume_glass/glass_000_ml.jpg", "cylinder-100"),
    ("drinking glass, brim-full", "known_volume_glass/glass_425_ml.jpg", "cylinder-100"),
    ("drawing of a cylinder at 21.6 mL (published)",
     "worked_figures/cylinder_25_reads_21_6.png", "cylinder-25"),
    ("drawing of two cylinders at 13.5 and 22.4 mL (published)",
     "worked_figures/cylinder_25_13_5_to_22_4.png", "cylinder-25"))
#: Said of nearly all of them, and no reason of a refusal.
BESIDE = ("focal-unknown",)

#: What a person tapped, what it is by eye, unit, digits; and the reading.
POINTS = (
    ("burette 0 to 3 mL, tap on the dark crescent", "0.33 mL", "mL", 3, lambda: _liquid(260.0)),
    ("the same, tap on the outline below it", "0.37 mL", "mL", 3, lambda: _liquid(266.0)),
    ("mercury thermometer seen from below, end of the column", "23.2 +/- 0.2 Cel", "Cel", 2,
     lambda: read_point(real.photo(HEAT.NAME), real.scale("room-thermometer"), (465.0, 844.0),
                        HEAT.MARKS)),
    ("burette 26 to 50 mL seen steeply, row of the numeral 28, not told", "28 mL", "mL", 3,
     lambda: _steep(28)),
    ("row of 30, not told", "30 mL", "mL", 3, lambda: _steep(30)),
    ("row of 44, not told", "44 mL", "mL", 3, lambda: _steep(44)),
    ("row of 48, not told", "48 mL", "mL", 3, lambda: _steep(48)),
    ("row of 44, only 26 and 50 told", "44 mL", "mL", 3, lambda: STEEP.read(44, 26, 50)))


def _liquid(row: float) -> PointReading:
    return read_point(real.photo(LIQUID.NAME), real.scale("burette-50"), (160.0, row),
                      LIQUID.MARKS)


def _steep(asked: int) -> PointReading:
    return STEEP.read(asked, *(k for k in STEEP.ROW if k != asked))


def _said(reading: Any, digits: int = 3) -> dict[str, Any]:
    if reading.value is None:
        return {"value": None}
    return {"value": round(reading.value, digits),
            "interval": [round(v, digits) for v in reading.interval]}


def measure() -> dict[str, Any]:
    """Read all of them."""
    steep = STEEP.read(47, *STEEP.ROW)
    two = STEEP.read(47, 26, 50)
    visible = {round(float(v), 1) for v in np.arange(26, 50.05, 0.1)
               if not any(a < v < b for a, b in STEEP.CLAMP)}
    chambers = [read_volume(real.photo(name), real.scale(scale)) for _, name, scale in CHAMBERS]
    hydrometer = read_setting(real.photo("worked_figures/hydrometer_reads_0_87.png"),
                              real.scale("hydrometer"), (300.0, 338.0))
    return {
        "seed": None, "count": len(CHAMBERS) + len(POINTS) + 6,
        "chambers": [{"status": r.status, "value": r.value, "flags": list(r.flags)}
                     for r in chambers],
        "points": [_said(read(), digits) for *_, digits, read in POINTS],
        "glass": [{"true": v, **_said(GLASS.read(v, GLASS.EDGE[v]), 1)} for v in (100, 200, 300)],
        "beyond": [{"true": v, **_said(GLASS.read(v, row))}
                   for v, row in ((400, 270.0), (425, 241.5), (0, 1014.0))],
        "marks": {"visible": len(visible),
                  "all_told": len({round(v, 1) for v in steep.found} & visible),
                  "two_told": len({round(v, 1) for v in two.found} & visible),
                  "other_share": _liquid(260.0).share_found},
        "hydrometer": _said(hydrometer)}


def texts(kept: dict[str, Any]) -> dict[str, str]:
    """The tables."""
    def line(name: str, eye: str, unit: str, digits: int, found: dict[str, Any]) -> str:
        low, high = found["interval"]
        return (f"| {name} | {eye} | {found['value']:.{digits}f} {unit} | "
                f"{low:.{digits}f} to {high:.{digits}f} |")

    silent = sum(c["value"] is None for c in kept["chambers"])
    errors = [g["value"] - g["true"] for g in kept["glass"]]
    marks, hydrometer = kept["marks"], kept["hydrometer"]

    def share(found: int) -> str:
        return f"{100 * found / marks['visible']:.0f} %"

    def told(found: dict[str, Any]) -> str:
        low, high = found["interval"]
        return f"{found['value']:.1f} mL | {low:.1f} to {high:.1f} mL"

    return {
        "real-chambers": "\n".join((
            f"Tried on {len(kept['chambers'])} pictures; {silent} of them are given no value:", "",
            "| picture | what it answers |", "|---|---|",
            *(f"| {seen} | " + ("; ".join(FLAGS[flag].short for flag in found["flags"]
                                         if flag not in BESIDE)
                                if found["value"] is None else "a value") + " |"
              for (seen, *_), found in zip(CHAMBERS, kept["chambers"], strict=True)))),
        "real-points": "\n".join((
            "| picture | by eye or published | tool | 95 % interval |", "|---|---|---|---|",
            *(line(name, eye, unit, digits, found) for (name, eye, unit, digits, _), found in zip(
                POINTS, kept["points"], strict=True)))),
        "real-marks": (f"Of its {marks['visible']} marks that the clamp leaves in sight, "
                       f"{marks['all_told']} are found ({share(marks['all_told'])}); with two "
                       f"numbers told, {marks['two_told']} ({share(marks['two_told'])}).\n"
                       f"In the other burette {100 * marks['other_share']:.0f} % are found."),
        "real-glass": "\n".join((
            "| picture | tool | 95 % interval | error |", "|---|---|---|---|",
            *(f"| {g['true']} mL | {told(g)} | {e:+.1f} mL |"
              for g, e in zip(kept["glass"], errors, strict=True)),
            "| 400 mL, 425 mL (brim-full), 0 mL (the floor tapped) | "
            + ("no value: outside the scale" if all(b["value"] is None for b in kept["beyond"])
               else "a value") + " | | |", "",
            f"Median error {float(np.median(np.abs(errors))):.1f} mL.")),
        "real-hydrometer": (f"{hydrometer['value']:.3f}, interval {hydrometer['interval'][0]:.3f} "
                            f"to {hydrometer['interval'][1]:.3f}")}


def sample(kept: dict[str, Any]) -> list[str]:
    """Where the photographs lie: one point and one volume now."""
    if not real.REAL.is_dir():
        return []
    now = [_said(_steep(28)), {"true": 200, **_said(GLASS.read(200, GLASS.EDGE[200]), 1)}]
    then = [kept["points"][3], kept["glass"][1]]
    return [said for a, b in zip(then, now, strict=True) for said in differing(a, b)]
