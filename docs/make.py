"""Make every figure, table and drawing of the documents anew.

    python docs/make.py                          text and drawings (half a minute)
    python docs/make.py --check                  say what differs, change nothing
    python docs/make.py --measure agreement      measure again what takes minutes, then all of it
    python docs/make.py --measure all            the same with every measurement

Needs the 'dev' extra, the measurements of pages Chromium.  The pictures of pages in the guides are
made by docs/pictures/make_page_pictures.py.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent), str(HERE.parent / "tests"),
                str(HERE.parent / "tests" / "browser")]

from figures import blocks, drawings, kept, values  # noqa: E402


def made(name: str) -> str:
    """The text of a marked place."""
    if name in values.MADE:
        return values.MADE[name]()
    return kept.texts()[name]


def main() -> int:
    """Measure what was asked for, then write; 1 when --check found a difference."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--check", action="store_true", help="say what differs, change nothing")
    parser.add_argument("--measure", nargs="+", default=[], choices=[*kept.MEASUREMENTS, "all"])
    args = parser.parse_args()
    for name in kept.MEASUREMENTS if "all" in args.measure else args.measure:
        kept.measure(name)
    differs = []
    for path in blocks.documents():
        old = path.read_text(encoding="utf-8")
        new = blocks.filled(old, made)
        if new != old:
            differs.append(path)
            if not args.check:
                path.write_text(new, encoding="utf-8")
    for name, content in drawings.all_drawings():
        path = HERE / "figures" / name
        if not path.exists() or path.read_bytes() != content:
            differs.append(path)
            if not args.check:
                path.write_bytes(content)
    for path in differs:
        sys.stdout.write(f"{path.relative_to(HERE.parent)}\n")
    return 1 if args.check and differs else 0


if __name__ == "__main__":
    raise SystemExit(main())
