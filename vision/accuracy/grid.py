"""The robustness grid: every disturbance at every strength, on pictures of a set."""

from __future__ import annotations

import json
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np

from vision.accuracy.labels import Label, read_labels
from vision.accuracy.variations import VARIATIONS, Scene, Variation, moved, seed_of
from vision.errors import InputError
from vision.plain_file import parse_json, read_text
from vision.scale_file.fields import shown

#: Label key that names variation and strength.
SETTING = "setting"
UNCHANGED = "unchanged"
#: Each picture is written some hundred times.
MOST_IMAGES = 10_000


def make_grid(labels: str | Path, out: str | Path, images: int = 20,
              variations: tuple[Variation, ...] = VARIATIONS) -> Path:
    """Write variations of the first ``images`` volume pictures to be read.

    Returns the label file written, ``out/labels.jsonl``; the pictures lie beside
    it.  Every picture is also there unchanged.  Pixel keys are moved exactly,
    keys that no longer hold are left out (a lens file too: a crop or a turned
    picture is no photo of that lens), ``tier`` becomes ``source_tier``.  A grid
    of the same set that is there already is kept.
    """
    if not 1 <= images <= MOST_IMAGES:
        raise InputError(f"The grid takes 1 to {MOST_IMAGES} pictures, not {shown(images)}.")
    out = Path(out)
    wanted = (x for x in read_labels(labels)
              if x.kind == "volume" and x.expect == "read" and x.keys.get("scale") is not None)
    chosen = list(islice(wanted, images))
    if not chosen:
        raise InputError("The set holds no volume picture that is to be read.")
    target = out / "labels.jsonl"
    plan = {"pictures": [x.file for x in chosen], "truths": [x.truth for x in chosen],
            "settings": [v.setting(s) for v in variations for s in v.strengths]}
    note = out / "grid.json"
    if target.exists() and note.exists() and parse_json(read_text(note)) == plan:
        return target
    out.mkdir(parents=True, exist_ok=True)
    with target.open("w", encoding="utf-8") as handle:
        for k, label in enumerate(chosen):
            for line in _variations(label, k, out, variations):
                handle.write(json.dumps(line, ensure_ascii=False) + "\n")
    note.write_text(json.dumps(plan, ensure_ascii=False), encoding="utf-8")
    return target


def _variations(label: Label, k: int, out: Path,
                variations: tuple[Variation, ...]) -> Iterator[dict[str, Any]]:
    from vision.imaging.photo import load_photo

    photo = load_photo(label.path)
    base = {**label.keys, "source": label.file, "scale": _scale_for(label),
            "source_tier": label.tier}
    for key in ("tier", "lens"):
        base.pop(key, None)

    def point(key: str) -> np.ndarray | None:
        value = label.keys.get(key)
        return np.array(value, dtype=float) if isinstance(value, list) else None

    def write(name: str, rgb: np.ndarray) -> str:
        file = f"{k:04d}-{name}.jpg"
        _save(out / file, rgb, photo.camera.focal_35mm)
        return file

    yield {**base, "file": write(UNCHANGED, photo.rgb), "variation": UNCHANGED,
           SETTING: UNCHANGED}
    for v in variations:
        for strength in v.strengths:
            setting = v.setting(strength)
            scene = Scene(photo.rgb, np.random.default_rng(seed_of(label.file, setting)),
                          point("surface_px"), point("lowest_mark_px"), point("highest_mark_px"))
            done = v.disturb(scene, strength)
            name = "".join(c if c.isalnum() else "_" for c in setting)
            yield {**{key: x for key, x in moved(base, done.affine).items() if key not in v.spoils},
                   "file": write(name, done.rgb), "variation": v.name, "strength": strength,
                   SETTING: setting, "expect": "refuse" if v.hides else "read"}


def _scale_for(label: Label) -> str:
    scale = Path(str(label.scale))
    return str(scale.resolve()) if scale.exists() else str(label.scale)


def _save(path: Path, rgb: np.ndarray, focal_35mm: float | None) -> None:
    """JPEG in full colour resolution, with the focal length of the source and nothing else."""
    from PIL import Image

    image = Image.fromarray(rgb)
    exif = Image.Exif()
    if focal_35mm is not None:
        exif.get_ifd(0x8769)[41989] = round(focal_35mm)
    image.save(path, "JPEG", quality=95, subsampling=0, exif=exif)
