"""Labels of an invented set of pictures, and a reader that errs by as much as it says."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from vision.accuracy.measure import compare

TIERS = {"easy": 0.05, "typical": 0.10, "hard": 0.20}


def make_set(tmp_path: Path, n: int = 120) -> Path:
    """Labels of n images; elevation and fluid vary, every 10th is to be refused."""
    rng = np.random.default_rng(12)
    lines = []
    for i in range(n):
        unreadable = i % 10 == 9
        lines.append({
            "file": f"{i}.jpg", "scale": "quay-60", "true_value": round(rng.uniform(2, 58), 3),
            "tier": "unreadable" if unreadable else list(TIERS)[i % 3],
            "expect": "refuse" if unreadable else "read", "fluid": ("clear", "red")[i % 2],
            "elevation_deg": float(rng.uniform(-30, 30)), "frame": i, "ward": "<b>bench</b>"})
    path = tmp_path / "labels.jsonl"
    path.write_text("".join(json.dumps(x) + "\n" for x in lines))
    return path


def reader(label, shift=0.0):
    """Reads with the tier's spread; 95 % intervals of the right width; naive off by 0.25
    divisions per degree."""
    if label.expect == "refuse":
        return compare(label, {"status": "refused", "unit": "mL", "flags": ("blurred",)}, 0.1)
    sd = TIERS[label.tier]
    error = np.random.default_rng(label.index).normal(0, sd) + shift
    value = label.truth + error
    return compare(label, {
        "status": "read", "unit": "mL", "value": value, "division": 1.0, "misread_limit": 1.0,
        "interval": (value - 1.96 * sd, value + 1.96 * sd), "elevation_deg": 1.0,
        "naive_value": label.truth + 0.25 * label.keys["elevation_deg"]}, 0.1)
