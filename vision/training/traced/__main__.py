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
from typing import Any

from vision.scale_file.scale import shipped_scales
from vision.training.traced.capture import photographed, save
from vision.training.traced.draws import TracedScene, draw
from vision.training.traced.sets import views_of
from vision.training.traced.truth import label_of


def write(folder: Path, count: int, seed: int, size: tuple[int, int], spp: int,
          strange: float = 0.0, views: int = 1, moved_share: float = 0.0) -> None:
    """Trace pictures 0 to ``count`` - 1 that the folder's label file does not name yet.  With
    ``views`` above 1 each is a chamber taken so often (those with nothing to be read are left
    out), and the label rows say which set and view they are."""
    (folder / "scales").mkdir(parents=True, exist_ok=True)
    labels = folder / "labels.jsonl"
    asked: dict[str, Any] = {"seed": seed, "size": list(size), "spp": spp}
    asked |= {"strange": strange} if strange else {}
    asked |= {"views": views, "moved_share": moved_share} if views > 1 else {}
    lines = labels.read_text("utf-8").splitlines() if labels.exists() else []
    there = [row["index"] for row in map(json.loads, lines)
             if all(row.get(k) == v for k, v in asked.items())]
    if len(there) < len(lines):
        raise SystemExit(f"{folder} holds pictures made with other settings; choose another.")
    with labels.open("a", encoding="utf-8") as book:
        for index in range(count):
            scene, content = draw(seed, index, size, strange)
            if views > 1 and scene.expect != "read":
                continue
            scenes, moved = views_of(scene, seed, index, views, size, moved_share)
            name = scene.scale.name if content is None else f"{scene.scale.name}-{index}"
            file = folder / "scales" / f"{name}.json"
            if content is None:
                shutil.copyfile(shipped_scales()[name], file)
            else:
                file.write_text(json.dumps(content | {"name": name}), encoding="utf-8")
            for view, one in list(enumerate(scenes))[there.count(index):]:
                row = {"file": f"traced_{index:04d}.jpg", "scale": f"scales/{name}.json",
                       **label_of(one), "index": index, **asked}
                if views > 1:
                    letter = chr(ord("a") + view)
                    row |= {"file": f"traced_{index:04d}_{letter}.jpg", "set": f"{seed}-{index}",
                            "view": letter, "moved": moved is not None}
                _trace(one, spp, folder / row["file"])
                book.write(json.dumps(row) + "\n")
                book.flush()


def _trace(scene: TracedScene, spp: int, file: Path) -> None:
    """Trace a picture into a file."""
    from vision.training.traced.scene import traced  # the renderer, only where needed

    start = time.process_time()
    photo = photographed(traced(scene, spp, max(spp // 6, 4)), scene.pose, scene.capture,
                         scene.seed)
    save(photo, file, scene.f35, scene.capture["jpeg"], scene.capture["orientation"])
    print(f"{file.stem} {time.process_time() - start:.1f} s", flush=True)


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
    parser.add_argument("--views", type=int, default=1, help="photos of each chamber")
    parser.add_argument("--moved-share", type=float, default=0.0,
                        help="with --views: sets in which one photo shows another level")
    args = parser.parse_args()
    width, height = (int(n) for n in args.size.split("x"))
    write(args.out, args.count, args.seed, (width, height), args.spp, args.strange,
          args.views, args.moved_share)


if __name__ == "__main__":
    main()
