"""Write a folder of pictures rendered by Cycles: ``python -m vision.training.third DIR``.

    python -m vision.training.third third-a --count 80 --seed 7

An interrupted run goes on where it stopped; the same seed gives the same facts.
"""

from __future__ import annotations

import argparse
import json
import shutil
import time
from pathlib import Path

from vision.scale_file.scale import shipped_scales
from vision.training.third.draws import draw
from vision.training.third.photo import developed, store
from vision.training.third.truth import label_of


def write(folder: Path, count: int, seed: int, size: tuple[int, int], paths: int) -> None:
    """Render pictures 0 to ``count`` - 1 that the folder's label file does not name yet."""
    (folder / "scales").mkdir(parents=True, exist_ok=True)
    labels = folder / "labels.jsonl"
    asked = {"seed": seed, "size": list(size), "paths": paths}
    rows = ([json.loads(line) for line in labels.read_text("utf-8").splitlines()]
            if labels.exists() else [])
    if any(row[key] != value for row in rows for key, value in asked.items()):
        raise SystemExit(f"{folder} holds pictures made with other settings; choose another.")
    done = {row["index"] for row in rows}
    with labels.open("a", encoding="utf-8") as book:
        for index in (i for i in range(count) if i not in done):
            start = time.process_time()
            from vision.training.third.render import rendered  # Blender, only where needed

            scene, content = draw(seed, index, size)
            file = folder / "scales" / f"{scene.scale.name}.json"
            if content is None:
                shutil.copyfile(shipped_scales()[scene.scale.name], file)
            else:
                file.write_text(json.dumps(content), encoding="utf-8")
            photo = developed(rendered(scene, paths), scene.capture, scene.seed)
            name = f"third_{index:04d}.jpg"
            store(photo, folder / name, scene.f35_mm, scene.capture)
            row = {"file": name, "scale": f"scales/{file.name}", **label_of(scene),
                   "index": index, **asked}
            book.write(json.dumps(row) + "\n")
            book.flush()
            print(f"{index} {time.process_time() - start:.1f} s", flush=True)


def main() -> None:
    """Parse the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--size", default="750x1000")
    parser.add_argument("--paths", type=int, default=14,
                        help="most light paths a pixel round the surface")
    args = parser.parse_args()
    width, height = (int(n) for n in args.size.split("x"))
    write(args.out, args.count, args.seed, (width, height), args.paths)


if __name__ == "__main__":
    main()
