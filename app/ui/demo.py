"""Demo photos: our own drawn scenes, for trying the page without a chamber."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from app.demo_bed import DEMO_BED as DEMO_BED
from vision.scale_file.scale import Scale, load_scale, shipped_scales

_FOLDER = Path(__file__).resolve().parents[2] / "sample_images"


@dataclass(frozen=True)
class DemoPhoto:
    """One demo photo, under a name that does not tell what it shows."""

    title: str
    path: Path
    scale: str

    def load_scale(self) -> Scale:
        """The scale of the chamber in this photo."""
        name = Path(self.scale).stem
        return load_scale(name if name in shipped_scales() else self.path.parent / self.scale)


@lru_cache(maxsize=4)
def demo_photos(folder: Path = _FOLDER) -> tuple[DemoPhoto, ...]:
    """The demo photos with a chamber; none where the folder is not installed."""
    try:
        lines = (folder / "labels.jsonl").read_text(encoding="utf-8").splitlines()
    except OSError:
        return ()
    found: list[DemoPhoto] = []
    for line in lines:
        label = json.loads(line) if line.strip() else {}
        if "true_value" not in label and label.get("expect") is None:
            continue
        if "scale" in label and (folder / label["file"]).is_file():
            title = f"Demo {len(found) + 1}: chamber {Path(label['scale']).stem}"
            found.append(DemoPhoto(title, folder / label["file"], label["scale"]))
    return tuple(found)
