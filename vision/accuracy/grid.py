"""The robustness grid: every disturbance at every strength, on pictures of a set."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np

from vision.accuracy import svg
from vision.accuracy.figures import Figures
from vision.accuracy.html import number, table
from vision.accuracy.labels import Label, read_labels
from vision.accuracy.variations import VARIATIONS, Scene, Variation, moved, seed_of
from vision.errors import InputError

#: Label key that names variation and strength.
SETTING = "setting"
UNCHANGED = "unchanged"


def make_grid(labels: str | Path, out: str | Path, images: int = 20,
              variations: tuple[Variation, ...] = VARIATIONS) -> Path:
    """Write variations of the first ``images`` volume pictures to be read.

    Returns the label file written, ``out/labels.jsonl``; the pictures lie beside
    it.  Every picture is also there unchanged.  Pixel keys are moved exactly,
    keys that no longer hold are left out (a lens file too: a crop or a turned
    picture is no photo of that lens), ``tier`` becomes ``source_tier``.  A grid
    of the same set that is there already is kept.
    """
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
    if target.exists() and note.exists() and json.loads(note.read_text("utf-8")) == plan:
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


def section(groups: Mapping[str, Figures]) -> str:
    """Where reading turns into refusal, as a section of the report."""
    total = sum(f.misreads.count for f in groups.values())
    word = "No setting turned reading into a silent misread." if total == 0 else (
        f"{total} silent misreads: reading must turn into refusal before this.")
    rows = []
    for name, f in groups.items():
        e = f.errors_div
        rows.append((name, f.n, f.scored + f.read_though_not_to_be,
                     f.n - f.scored - f.read_though_not_to_be - f.stopped_by_error,
                     number(e.mae if e else None), number(e.p95 if e else None),
                     number(f.coverage.rate and 100 * f.coverage.rate, ".1f"),
                     f.misreads.count, f.stopped_by_error))
    return (f"<h3>Robustness: where reading turns into refusal</h3><p>{word}</p>"
            + _bars(groups) + table(
                ("setting", "pictures", "read", "refused", "MAE, divisions", "95 %",
                 "interval holds truth, %", "silent misreads", "errors"), rows))


def _bars(groups: Mapping[str, Figures]) -> str:
    names = list(groups)
    plot = svg.Plot((0, 100), (len(names) - 0.5, -0.5), left=210, width=760,
                    height=70 + 17 * len(names), y_ticks=[],
                    title="Share of the pictures read, refused and silently misread",
                    x_label="% of pictures")
    plot.row_names(names)
    for k, f in enumerate(groups.values()):
        read = f.scored + f.read_though_not_to_be
        bad = f.misreads.count
        edges = [100 * x / max(f.n, 1) for x in (0, bad, read, f.n)]
        for a, b, color, thick in ((edges[0], edges[1], svg.BAD, 11.0),
                                   (edges[1], edges[2], svg.CORRECTED, 9.0),
                                   (edges[2], edges[3], "#c9d1d6", 5.0)):
            if b > a:
                plot.line((a, b), (k, k), color, width=thick)
    plot.legend("read within a division", svg.CORRECTED, "line")
    plot.legend("refused", "#c9d1d6", "line")
    plot.legend("silent misread", svg.BAD, "line")
    return plot.svg()
