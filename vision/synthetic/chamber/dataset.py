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
from vision.synthetic.chamber.sets import check_set, set_for, view_name
from vision.synthetic.chamber.truth import scene_truth
from vision.worker import end_with_parent

LABELS = "labels.jsonl"
#: A day of rendering; more is a slip of the hand.
MOST_SCENES = 100_000
#: What is asked for where a label does not say: a photo that is no part of a set.
_SINGLE = {"views": 1, "moved_share": 0.0}
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
    progress: Callable[[int, int], None] | None = None, views: int = 1,
    moved_share: float = 0.0,
) -> Path:
    """Write ``count`` labelled photos into the folder ``out``; returns the label file.

    With ``views`` of two or more, ``count`` is the number of chambers, each taken from so many
    places (:mod:`vision.synthetic.chamber.sets`).  Photos that are already there with their
    label are kept, so that an interrupted run goes on where it stopped.  ``progress`` is told
    (done, count) of photos after each.
    """
    if not 1 <= count <= MOST_SCENES:
        raise InputError(f"The number of scenes must be from 1 to {MOST_SCENES}.")
    if views != 1:
        check_set(views, tier, moved_share)
    elif tier is not None and tier not in TIERS:
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
             "size": list(size), "views": views, "moved_share": moved_share}
    kept = {k: v for k, v in asked.items() if views != 1 or k not in _SINGLE}
    done = _already_there(labels, asked)
    pictures = count * views
    missing = [i for i in range(pictures) if i not in done]
    jobs = [(str(folder), seed, i, tier, None if scale is None else str(scale), size, views,
             moved_share) for i in missing]
    finished = pictures - len(missing)
    with labels.open("a", encoding="utf-8") as book:
        for label in _run(jobs, workers):
            book.write(json.dumps({**label, **kept}) + "\n")
            book.flush()
            finished += 1
            if progress:
                progress(finished, pictures)
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
        if any(label.get(k, _SINGLE.get(k)) != v for k, v in asked.items()):
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
    with ProcessPoolExecutor(workers, initializer=end_with_parent) as pool:
        yield from pool.map(_one, jobs)


def _one(job: tuple[Any, ...]) -> dict[str, Any]:
    folder, seed, index, tier, scale_file, size, views, moved_share = job
    scale = load_scale(scale_file) if scale_file else None
    facts: dict[str, Any] = {}
    if views == 1:
        scene, name = scene_for(seed, index, tier, scale, size), f"scene_{index:04d}.jpg"
    else:
        number, view = divmod(index, views)
        photos = set_for(seed, number, views, tier, scale, size, moved_share)
        scene, name = photos.scenes[view], f"set_{number:05d}_{view_name(view)}.jpg"
        facts = {"set": number, "view": view_name(view), "moved": photos.moved is not None,
                 "set_tier": photos.tier}
        if photos.moved is not None:
            facts["moved_view"] = view_name(photos.moved)
    save_photo(render_scene(scene), Path(folder) / name, scene.camera.f35,
               scene.capture.jpeg_quality)
    return {"file": name, "scale": f"scales/{scene.scale.name}.json", **facts,
            **scene_truth(scene), "index": index}


def _sorted(labels: Path) -> None:
    lines = labels.read_text(encoding="utf-8").splitlines()
    lines.sort(key=lambda line: json.loads(line)["index"])
    labels.write_text("".join(line + "\n" for line in lines), encoding="utf-8")
