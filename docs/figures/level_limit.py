"""How near the level could come in drawn rooms if every body were seen without error."""

from __future__ import annotations

from typing import Any

import numpy as np
from figures.blocks import differing

from vision.synthetic.bedside.at_best import at_best, offset_sd_mm, rooms_sd_mm
from vision.synthetic.bedside.world import random_world

COUNT, SEED = 4000, 61803509
#: Standard deviations (deg) of the phone's own gravity; None where it tells nothing.
PHONES_DEG: tuple[float | None, ...] = (None, 0.7, 0.35, 0.2)
#: Rooms of a set as it is usually read, how many such sets are drawn, and what 95 % of the errors
#: of a set are wanted below with a phone, mm.
SET, SETS, WANTED_MM = 96, 4000, 5.0
#: Rooms that are asked for again by the tests.
_SAMPLE = 5


def measure() -> dict[str, Any]:
    """Rooms drawn, not painted."""
    rows = []
    for phone_deg in PHONES_DEG:
        for hand in (False, True):
            sd = rooms_sd_mm(COUNT, SEED, phone_deg, hand)
            best = at_best(sd)
            rows.append({"phone_deg": phone_deg, "hand": hand, "mean_mm": round(best.mean_mm, 3),
                         "p95_mm": round(best.p95_mm, 3), "sets_below": _sets_below(sd)})
    return {"seed": SEED, "count": COUNT, "rows": rows, "first_sd_mm": _first()}


def _sets_below(sd_mm: np.ndarray) -> float:
    """Share of sets of ``SET`` rooms of whose errors 95 % lie below what is wanted."""
    rng = np.random.default_rng(SEED)
    sd = sd_mm[rng.integers(0, len(sd_mm), (SETS, SET))]
    p95 = np.quantile(np.abs(sd * rng.normal(size=sd.shape)), 0.95, axis=1)
    return round(float(np.mean(p95 <= WANTED_MM)), 3)


def _first() -> list[float]:
    """(_SAMPLE,) standard deviations of the first rooms with a phone of 0.7 degrees, mm."""
    return [round(offset_sd_mm(random_world(np.random.default_rng([SEED, i]), "cards"), 0.7), 3)
            for i in range(_SAMPLE)]


def texts(kept: dict[str, Any]) -> dict[str, str]:
    """The table of the level's page, and what of it is said in a sentence."""
    by = {(r["phone_deg"], r["hand"]): r for r in kept["rows"]}
    lines = ["| phone's gravity | mean | 95 % below | with a hand's errors: mean | 95 % below |",
             "|---|---|---|---|---|"]
    for phone_deg in PHONES_DEG:
        name = "none" if phone_deg is None else f"{phone_deg} degrees"
        cells = (f"{by[phone_deg, hand][key]:.1f}" for hand in (False, True)
                 for key in ("mean_mm", "p95_mm"))
        lines.append(f"| {name} | {' | '.join(cells)} |")
    usual = by[0.7, True]
    return {"level-limit": "\n".join(lines),
            "level-limit-sets": f"{100 * usual['sets_below']:.0f} of 100",
            "level-limit-rooms": f"{kept['count']} rooms of seed {kept['seed']}"}


def sample(kept: dict[str, Any]) -> list[str]:
    """What the first rooms tell now and did not then."""
    return differing({"first_sd_mm": kept["first_sd_mm"]}, {"first_sd_mm": _first()})
