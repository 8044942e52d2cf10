"""``countersight scales``: the scales at hand, or a check of one's own scale file."""

from __future__ import annotations

import argparse
import json
import sys
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from vision.scale_file.scale import Scale


def add_parser(subparsers: Any) -> None:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "scales", help="list the scales that come with it, or check a scale file",
        description="List the scales that come with Countersight, or check scale files.")
    parser.add_argument("files", nargs="*", metavar="FILE", help="scale files to check")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """List scales; ScaleFileError for the first file that is refused."""
    from vision.scale_file.scale import load_scale, shipped_scales

    scales = [load_scale(where) for where in args.files or shipped_scales()]
    if args.json:
        listed = [_facts(scale) for scale in scales]
        sys.stdout.write(json.dumps({"kind": "scales", "scales": listed}, ensure_ascii=False)
                         + "\n")
        return 0
    for scale in scales:
        low, high = scale.lowest_mark.value, scale.highest_mark.value
        divisions = " and ".join(f"{d:g}" for d in _divisions(scale))
        shape = "flat" if scale.flat else f"bore {_bore(scale)} mm"
        if scale.outside_assumed:
            shape += f", outside taken as one cylinder of {2 * scale.outer_radius_mm:g} mm"
        sys.stdout.write(f"{scale.name:<16} {low:g} to {high:g} {scale.unit}, divisions"
                         f" {divisions} {scale.unit}, {len(scale.marks)} marks, {shape}\n")
    return 0


def _divisions(scale: Scale) -> list[float]:
    return sorted({round(scale.division_at(m.value), 9) for m in scale.marks})


def _bore(scale: Scale) -> str:
    bores = sorted({d for _, d in scale.diameter_knots})
    return f"{bores[0]:g}" if len(bores) == 1 else f"{bores[0]:g} to {bores[-1]:g}"


def _facts(scale: Scale) -> dict[str, object]:
    return {
        "name": scale.name, "unit": scale.unit, "direction": scale.direction,
        "capacity": scale.capacity, "lowest_mark": scale.lowest_mark.value,
        "highest_mark": scale.highest_mark.value, "divisions": _divisions(scale),
        "marks": len(scale.marks), "flat": scale.flat,
    }
