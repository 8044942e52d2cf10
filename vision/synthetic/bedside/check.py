"""How good the level is on fresh scenes or on a labelled folder: one table.

    python -m vision.synthetic.bedside.check --count 200 --seed 41 [--phone-deg 0.7]
    python -m vision.synthetic.bedside.check --labels FOLDER/labels.jsonl
"""

from __future__ import annotations

import argparse
import json
import math
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from vision.imaging.gravity import phone_gravity
from vision.imaging.photo import load_photo
from vision.level.read import read_level
from vision.parameters import POINTER_TIP_MM, PRINT_SHARE, ZERO_CARD_MM
from vision.synthetic.bedside import level_scene
from vision.vertical.fusion import tangent

#: A finger's scatter in pixels and a tape's in mm, added to fresh scenes only.
TAP_SD_PX, DEPTH_SD_MM = 2.0, 8.0


def _fresh(count: int, seed: int, kind: str | None) -> Iterator[tuple[bytes, dict[str, Any]]]:
    for index in range(count):
        data, label = level_scene(seed, index, kind)
        rng = np.random.default_rng([seed, index, 7])
        label["landmark_px"] = [v + rng.normal(0, TAP_SD_PX) for v in label["landmark_px"]]
        if "depth_difference_mm" in label:
            label["depth_difference_mm"] += rng.normal(0, DEPTH_SD_MM)
        # What the cards are printed and held with: drawn cards are exact, and the interval
        # of a photo has to hold a hand's.
        label["true_offset_mm"] += (
            rng.normal(0, math.hypot(ZERO_CARD_MM, POINTER_TIP_MM if label["mode"] == "cards"
                                     else 0.0))
            + label["true_offset_mm"] * rng.normal(0, PRINT_SHARE))
        yield data, label


def _stored(labels: Path) -> Iterator[tuple[bytes, dict[str, Any]]]:
    for line in labels.read_text(encoding="utf-8").splitlines():
        label = json.loads(line)
        yield (labels.parent / label["file"]).read_bytes(), label


def measured(data: bytes, label: dict[str, Any], phone_deg: float | None = None
             ) -> dict[str, Any]:
    """One row: mode, status, error and interval in mm, seconds.

    With ``phone_deg`` the phone tells where down is, with so much of error either way.
    """
    photo = load_photo(data)
    options: dict[str, Any] = {}
    if phone_deg is not None:
        down = np.array(label["gravity_camera"])
        # Drawn for the room and not for its number, or every set would have the same errors.
        rng = np.random.default_rng([*label["file"].encode(), *down.view(np.uint64)])
        down = down + tangent(down) @ np.radians(rng.normal(0, phone_deg, 2))
        options["gravity"] = phone_gravity(down.tolist(), phone_deg)
    if label["mode"] == "tap":
        options["landmark_px"] = tuple(
            float(np.clip(v, 0, n - 1)) for v, n in zip(
                label["landmark_px"], (photo.width, photo.height), strict=True))
        options["depth_difference_mm"] = label.get("depth_difference_mm")
    start = time.perf_counter()
    r = read_level(photo, label["zero_card_mm"], label["landmark_card_mm"], **options)
    row: dict[str, Any] = {"file": label["file"], "mode": label.get("case", label["mode"]),
                           "expect": label["expect"], "status": r.status,
                           "seconds": time.perf_counter() - start, "flags": r.flags,
                           "from": r.gravity_from, "reasons": r.reasons}
    if r.offset_cm is not None and r.interval_cm is not None:
        truth = label["true_offset_mm"]
        row["error"] = 10 * r.offset_cm - truth
        row["half"] = 5 * (r.interval_cm[1] - r.interval_cm[0])
        row["inside"] = 10 * r.interval_cm[0] <= truth <= 10 * r.interval_cm[1]
    return row


def table(rows: list[dict[str, Any]]) -> str:
    """Per mode: number, read, mean and 95th percentile of |error|, coverage, interval width."""
    lines = [f"{'mode':12} {'n':>4} {'read':>5} {'MAE':>6} {'p95':>6} {'max':>6} {'bias':>6}"
             f" {'cover':>6} {'half':>6} {'s':>5}   (mm)"]
    groups = {m: [r for r in rows if r["mode"] == m] for m in dict.fromkeys(
        r["mode"] for r in rows)}
    groups["cards, cord"] = [r for r in groups.get("cards", []) if "hanging cord" in r["from"]]
    groups["cards, none"] = [r for r in groups.get("cards", [])
                             if r["from"] and "hanging cord" not in r["from"]]
    groups["all"] = rows
    for mode, group in groups.items():
        read = [r for r in group if "error" in r]
        text = f"{mode:12} {len(group):4d} {len(read):5d}"
        if read:
            e = np.array([r["error"] for r in read])
            text += (f" {np.abs(e).mean():6.2f} {np.quantile(np.abs(e), 0.95):6.2f}"
                     f" {np.abs(e).max():6.1f} {e.mean():6.2f}"
                     f" {100 * np.mean([r['inside'] for r in read]):6.1f}"
                     f" {np.mean([r['half'] for r in read]):6.1f}")
        else:
            text += " " * 42
        if group:
            text += f" {np.median([r['seconds'] for r in group]):5.2f}"
        lines.append(text)
    return "\n".join(lines)


def main(argv: list[str] | None = None) -> int:
    """Run and print."""
    parser = argparse.ArgumentParser(prog="python -m vision.synthetic.bedside.check")
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--seed", type=int, default=41)
    parser.add_argument("--kind", help="one kind of scene only")
    parser.add_argument("--phone-deg", type=float,
                        help="the phone tells where down is, with so many degrees of error")
    parser.add_argument("--labels", type=Path, help="a labelled folder instead of fresh scenes")
    parser.add_argument("--rows", type=Path, help="also write one JSON line per photo")
    args = parser.parse_args(argv)
    source = (_stored(args.labels) if args.labels
              else _fresh(args.count, args.seed, args.kind))
    rows = []
    for data, label in source:
        row = measured(data, label, args.phone_deg)
        row["label"] = {k: label.get(k) for k in (
            "f35", "blur_px", "cord", "pole", "true_offset_mm", "horizontal_span_mm",
            "panel_pitch_deg", "pole_lean_deg", "focal_in_file")}
        rows.append(row)
        if args.rows:
            with args.rows.open("a", encoding="utf-8") as out:
                out.write(json.dumps(row) + "\n")
    sys.stdout.write(table(rows) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
