"""Frozen outcomes: what the reader says of labelled photos, kept and compared to the digit.

For changes that must change no figure.  Make a file before, another one after, compare::

    python -m vision.accuracy.outcomes make before.jsonl scenes/labels.jsonl rooms/labels.jsonl
    python -m vision.accuracy.outcomes compare before.jsonl after.jsonl

Equal means: same status, value and interval to 1e-6, the same set of flags.
"""

from __future__ import annotations

import argparse
import json
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

from vision.worker import end_with_parent

#: Values and bounds of intervals that differ by less are the same.
SAME = 1e-6


def outcome(job: tuple[str, dict[str, Any]]) -> dict[str, Any]:
    """What is said of one labelled photo; an inner failure is an outcome, too."""
    folder, label = job
    row: dict[str, Any] = {"photo": str(Path(folder).name + "/" + label["file"])}
    try:
        found = _level(folder, label) if "true_offset_mm" in label else _volume(folder, label)
    except Exception as error:
        return {**row, "status": type(error).__name__, "value": None, "interval": None,
                "flags": []}
    return {**row, **found}


def _volume(folder: str, label: dict[str, Any]) -> dict[str, Any]:
    from vision.imaging.photo import load_photo
    from vision.scale_file.scale import load_scale
    from vision.volume.read import read_volume

    reading = read_volume(load_photo(Path(folder) / label["file"]),
                          load_scale(str(Path(folder) / label["scale"])))
    return {"status": reading.status, "value": reading.value, "interval": reading.interval,
            "flags": sorted(reading.flags)}


def _level(folder: str, label: dict[str, Any]) -> dict[str, Any]:
    from vision.imaging.photo import load_photo
    from vision.level.read import read_level

    photo = load_photo(Path(folder) / label["file"])
    options: dict[str, Any] = {}
    if label["mode"] == "tap":
        x, y = label["landmark_px"]
        options = {"landmark_px": (min(max(x, 0.0), photo.width - 1.0),
                                   min(max(y, 0.0), photo.height - 1.0)),
                   "depth_difference_mm": label.get("depth_difference_mm")}
    reading = read_level(photo, label["zero_card_mm"], label["landmark_card_mm"], **options)
    return {"status": reading.status, "value": reading.offset_cm,
            "interval": reading.interval_cm, "flags": sorted(reading.flags)}


def make(out: Path, label_files: list[Path], workers: int) -> int:
    """Read every photo of the label files; returns how many there were."""
    jobs = [(str(f.parent), json.loads(line)) for f in label_files
            for line in f.read_text(encoding="utf-8").splitlines() if line.strip()]
    with ProcessPoolExecutor(workers, initializer=_one_thread) as pool, \
            out.open("w", encoding="utf-8") as lines:
        for row in pool.map(outcome, jobs):
            lines.write(json.dumps(row) + "\n")
    return len(jobs)


def _one_thread() -> None:
    import cv2

    end_with_parent()
    cv2.setNumThreads(1)


def compare(before: Path, after: Path) -> list[str]:
    """A line for each photo whose outcome differs, or that only one of the files has."""
    a, b = ({row["photo"]: row for row in map(json.loads, f.read_text("utf-8").splitlines())}
            for f in (before, after))
    out = [f"{name}: only in one of the files" for name in sorted(a.keys() ^ b.keys())]
    for name in sorted(a.keys() & b.keys()):
        old, new = a[name], b[name]
        numbers = [[r["value"], *(r["interval"] or ())] for r in (old, new)]
        same = (old["status"] == new["status"] and old["flags"] == new["flags"]
                and len(numbers[0]) == len(numbers[1])
                and all((x is None and y is None) or (
                    x is not None and y is not None and abs(x - y) <= SAME)
                    for x, y in zip(*numbers, strict=True)))
        if not same:
            keys = ("status", "value", "interval", "flags")
            out.append(f"{name}: {[old[k] for k in keys]} -> {[new[k] for k in keys]}")
    return out


def main(argv: list[str] | None = None) -> int:
    """Make or compare; 0 when made or equal, 1 when something differs."""
    parser = argparse.ArgumentParser(prog="python -m vision.accuracy.outcomes")
    verbs = parser.add_subparsers(dest="verb", required=True)
    p = verbs.add_parser("make", help="read the photos of label files, keep what is said")
    p.add_argument("out", type=Path)
    p.add_argument("labels", type=Path, nargs="+")
    p.add_argument("--workers", type=int, default=2)
    p = verbs.add_parser("compare", help="say what differs")
    p.add_argument("before", type=Path)
    p.add_argument("after", type=Path)
    args = parser.parse_args(argv)
    if args.verb == "make":
        print(f"{make(args.out, args.labels, args.workers)} photos")
        return 0
    differences = compare(args.before, args.after)
    count = len(args.before.read_text("utf-8").splitlines())
    print("\n".join([*differences, f"{len(differences)} of {count} differ"]))
    return 1 if differences else 0


if __name__ == "__main__":
    sys.exit(main())
