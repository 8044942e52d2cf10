"""Write a folder of pictures rendered by LuxCoreRender: ``python -m vision.training.fourth DIR``.

    python -m vision.training.fourth fourth-a --count 60 --seed 7

An interrupted run goes on where it stopped; the same seed gives the same facts.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Iterator
from pathlib import Path

from vision.scale_file.scale import shipped_scales
from vision.training.fourth.chance import drawn
from vision.training.fourth.truth import label_of


def _missing(labels: Path, count: int, settings: dict[str, object]) -> Iterator[int]:
    """Numbers of the pictures that the label file does not name yet."""
    there: set[int] = set()
    if labels.exists():
        for line in labels.read_text("utf-8").splitlines():
            row = json.loads(line)
            if any(row[key] != value for key, value in settings.items()):
                raise SystemExit(f"{labels.parent} was made with other settings; take another"
                                 " folder.")
            there.add(row["index"])
    return (index for index in range(count) if index not in there)


def make(folder: Path, count: int, seed: int, size: tuple[int, int], samples: int,
         threads: int = 1) -> None:
    """Render what is missing of pictures 0 to ``count`` - 1."""
    (folder / "scales").mkdir(parents=True, exist_ok=True)
    settings: dict[str, object] = {"seed": seed, "size": list(size), "samples": samples}
    labels = folder / "labels.jsonl"
    for index in list(_missing(labels, count, settings)):
        began = time.process_time()
        # LuxCore only where there is something to render
        from vision.training.fourth.render import rendered
        from vision.training.fourth.phone import photographed, store  # isort: skip

        facts, content = drawn(seed, index, size)
        scale = folder / "scales" / f"{facts.scale.name}.json"
        scale.write_bytes(shipped_scales()[facts.scale.name].read_bytes() if content is None
                          else json.dumps(content).encode())
        photo = photographed(rendered(facts, samples, threads), facts.phone, facts.seed)
        name = f"fourth_{index:04d}.jpg"
        store(photo, folder / name, facts.f35_mm, facts.phone)
        row = {"file": name, "scale": f"scales/{scale.name}", **label_of(facts), "index": index,
               **settings}
        with labels.open("a", encoding="utf-8") as book:
            book.write(json.dumps(row) + "\n")
        print(f"{name} {time.process_time() - began:.1f} s", flush=True)


def main() -> None:
    """Parse the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--size", default="750x1000", help="width x height in pixels")
    parser.add_argument("--samples", type=int, default=12,
                        help="light paths a pixel round the surface")
    parser.add_argument("--threads", type=int, default=1)
    args = parser.parse_args()
    width, height = (int(n) for n in args.size.split("x"))
    make(args.out, args.count, args.seed, (width, height), args.samples, args.threads)


if __name__ == "__main__":
    main()
