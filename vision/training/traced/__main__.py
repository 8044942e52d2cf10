"""Write a folder of traced pictures with labels: ``python -m vision.training.traced DIR``.

    python -m vision.training.traced traced-a --count 60 --seed 11

An interrupted run goes on where it stopped; the same seed gives the same facts.
"""

from __future__ import annotations

import argparse
import json
import shutil
import time
from pathlib import Path

from vision.scale_file.scale import shipped_scales
from vision.training.traced.capture import photographed, save
from vision.training.traced.draws import draw
from vision.training.traced.truth import label_of


def write(folder: Path, count: int, seed: int, size: tuple[int, int], spp: int,
          strange: float = 0.0) -> None:
    """Trace pictures 0 to ``count`` - 1 that the folder's label file does not name yet."""
    (folder / "scales").mkdir(parents=True, exist_ok=True)
    labels = folder / "labels.jsonl"
    asked = {"seed": seed, "size": list(size), "spp": spp} | (
        {"strange": strange} if strange else {})
    lines = labels.read_text("utf-8").splitlines() if labels.exists() else []
    there = {row["index"] for row in map(json.loads, lines)
             if all(row[k] == v for k, v in asked.items())}
    if len(there) < len(lines):
        raise SystemExit(f"{folder} holds pictures made with other settings; choose another.")
    with labels.open("a", encoding="utf-8") as book:
        for index in (i for i in range(count) if i not in there):
            start = time.process_time()
            from vision.training.traced.scene import traced  # the renderer, only where needed

            scene, content = draw(seed, index, size, strange)
            name = scene.scale.name if content is None else f"{scene.scale.name}-{index}"
            file = folder / "scales" / f"{name}.json"
            if content is None:
                shutil.copyfile(shipped_scales()[name], file)
            else:
                file.write_text(json.dumps(content | {"name": name}), encoding="utf-8")
            photo = photographed(traced(scene, spp, max(spp // 6, 4)), scene.pose, scene.capture,
                                 scene.seed)
            save(photo, folder / f"traced_{index:04d}.jpg", scene.f35, scene.capture["jpeg"],
                 scene.capture["orientation"])
            row = {"file": f"traced_{index:04d}.jpg", "scale": f"scales/{name}.json",
                   **label_of(scene), "index": index, **asked}
            book.write(json.dumps(row) + "\n")
            book.flush()
            print(f"{index} {time.process_time() - start:.1f} s", flush=True)


def main() -> None:
    """Parse the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--size", default="900x1200")
    parser.add_argument("--spp", type=int, default=48, help="light paths a pixel at the tube")
    parser.add_argument("--strange", type=float, default=0.0, metavar="SHARE",
                        help="chambers with rings, foam, condensation or mixed liquids")
    args = parser.parse_args()
    width, height = (int(n) for n in args.size.split("x"))
    write(args.out, args.count, args.seed, (width, height), args.spp, args.strange)


if __name__ == "__main__":
    main()
