"""A folder of labelled photos: pictures, labels.jsonl, and the scale files they need."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from vision.errors import InputError
from vision.scale_file.scale import Scale, load_scale, shipped_scales
from vision.synthetic.chamber.model import ChamberScene
from vision.synthetic.chamber.render import render_scene
from vision.synthetic.chamber.sample import TIERS, sample_scene
from vision.synthetic.chamber.truth import scene_truth

LABELS = "labels.jsonl"
#: A day of rendering; more is a slip of the hand.
MOST_SCENES = 100_000
#: Exif tags: the sub-directory, the 35 mm-equivalent focal length, the camera program's name.
EXIF_IFD, FOCAL_35MM = 0x8769, 41989


def scene_for(seed: int, index: int, tier: str | None = None, scale: Scale | None = None,
              size: tuple[int, int] = (1800, 2400)) -> ChamberScene:
    """The scene number ``index`` of a set; the same for the same seed on any machine."""
    rng = np.random.default_rng([seed, index])
    return sample_scene(rng, tier, scale, width=size[0], height=size[1])


def save_photo(rgb: np.ndarray, path: Path, f35: float | None, quality: int = 90) -> None:
    """Write an (H, W, 3) uint8 picture as JPEG with its focal length in the Exif data."""
    image = Image.fromarray(np.asarray(rgb))
    exif = Image.Exif()
    if f35:
        exif.get_ifd(EXIF_IFD)[FOCAL_35MM] = int(round(f35))
    part = path.with_suffix(".part")
    image.save(part, format="JPEG", quality=quality, exif=exif)
    part.replace(path)


def write_scenes(
    out: str | Path, count: int, seed: int, scale: str | Path | None = None,
    tier: str | None = None, size: tuple[int, int] = (1800, 2400), workers: int = 1,
    progress: Callable[[int, int], None] | None = None,
) -> Path:
    """Write ``count`` labelled photos into the folder ``out``; returns the label file.

    Photos that are already there with their label are kept, so that an
    interrupted run goes on where it stopped.  ``progress`` is told (done,
    count) after each photo.
    """
    if not 1 <= count <= MOST_SCENES:
        raise InputError(f"The number of scenes must be from 1 to {MOST_SCENES}.")
    if tier is not None and tier not in TIERS:
        raise InputError(f"The tier must be one of {', '.join(TIERS)}.")
    if min(size) < 64 or max(size) > 8192:
        raise InputError("The picture's sides must lie between 64 and 8192 pixels.")
    chosen = load_scale(scale) if scale is not None else None
    if chosen is not None and chosen.flat:
        raise InputError(f"'{chosen.name}' is a flat scale; scenes show chambers.")
    folder = Path(out)
    try:
        (folder / "scales").mkdir(parents=True, exist_ok=True)
    except OSError:
        raise InputError(f"The folder {folder} cannot be written to; choose another.") from None
    files = shipped_scales()
    if chosen is not None and scale is not None:
        files = {chosen.name: files.get(str(scale), Path(scale))}
    for name, file in files.items():
        shutil.copyfile(file, folder / "scales" / f"{name}.json")

    labels = folder / LABELS
    asked = {"seed": seed, "tier_asked": tier, "scale_asked": None if scale is None else str(scale),
             "size": list(size)}
    done = _already_there(labels, asked)
    missing = [i for i in range(count) if i not in done]
    jobs = [(str(folder), seed, i, tier, None if scale is None else str(scale), size)
            for i in missing]
    finished = count - len(missing)
    with labels.open("a", encoding="utf-8") as book:
        for label in _run(jobs, workers):
            book.write(json.dumps({**label, **asked}) + "\n")
            book.flush()
            finished += 1
            if progress:
                progress(finished, count)
    _sorted(labels)
    return labels


def _already_there(labels: Path, asked: dict[str, Any]) -> set[int]:
    """Indices of photos that are complete; raises when the folder holds another set."""
    done: set[int] = set()
    if not labels.exists():
        return done
    kept = []
    for line in labels.read_text(encoding="utf-8").splitlines():
        try:
            label = json.loads(line)
        except ValueError:
            continue  # a line cut short by an interruption: that photo is made again
        if any(label.get(k) != v for k, v in asked.items()):
            raise InputError(f"The folder {labels.parent} holds a set made with other settings; "
                             "choose an empty folder.")
        if (labels.parent / label["file"]).exists():
            done.add(int(label["index"]))
            kept.append(line)
    labels.write_text("".join(line + "\n" for line in kept), encoding="utf-8")
    return done


def _run(jobs: list[tuple[Any, ...]], workers: int) -> Any:
    if workers <= 1 or len(jobs) < 2:
        yield from map(_one, jobs)
        return
    with ProcessPoolExecutor(workers) as pool:
        yield from pool.map(_one, jobs)


def _one(job: tuple[Any, ...]) -> dict[str, Any]:
    folder, seed, index, tier, scale, size = job
    scene = scene_for(seed, index, tier, load_scale(scale) if scale else None, size)
    name = f"scene_{index:04d}.jpg"
    save_photo(render_scene(scene), Path(folder) / name, scene.camera.f35,
               scene.capture.jpeg_quality)
    return {"file": name, "scale": f"scales/{scene.scale.name}.json", **scene_truth(scene),
            "index": index}


def _sorted(labels: Path) -> None:
    lines = labels.read_text(encoding="utf-8").splitlines()
    lines.sort(key=lambda line: json.loads(line)["index"])
    labels.write_text("".join(line + "\n" for line in lines), encoding="utf-8")
