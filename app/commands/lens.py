"""``countersight lens``: calibrate the phone's camera from photos of the printed board."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from vision.imaging.photo import Photo


def add_parser(subparsers: Any) -> None:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "lens", help="calibrate the phone's camera from photos of the printed board",
        description="Calibrate a phone's camera from 8 to 20 photos of the calibration board "
                    "that 'countersight cards' prints: near each edge and corner of the "
                    "picture, tilted by about 30 degrees in several directions, without zoom. "
                    "'read' and 'level' take the lens file with --lens.")
    parser.add_argument("photos", metavar="PHOTO", nargs="+", help="photos of the board")
    parser.add_argument("--out", required=True, metavar="LENS.json", help="lens file to write")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Calibrate and write the lens file; 0 when done."""
    from vision.lens.calibration import calibrate_lens
    from vision.lens.model import save_lens

    found = calibrate_lens(_photos(args.photos))
    save_lens(found.lens, args.out)
    for name, corners, rms in found.views:
        fit = "not used" if rms is None else f"fits to {rms:.2f} px"
        sys.stdout.write(f"{name}: {corners} corners, {fit}\n")
    lens = found.lens
    sys.stdout.write(
        f"focal length {lens.focal_px:.1f} px = {lens.focal_35mm:.2f} mm (35 mm equivalent) "
        f"+- {100 * lens.focal_relative_sd:.1f} %, distortion {lens.radial[0]:+.4f} "
        f"{lens.radial[1]:+.4f}, {lens.photos} photos, {lens.rms_px:.2f} px\n{args.out}\n")
    return 0


def _photos(paths: list[str]) -> Iterator[Photo]:
    """The photos one by one, so that never two are in memory."""
    from vision.imaging.photo import load_photo

    for path in paths:
        yield load_photo(path)
