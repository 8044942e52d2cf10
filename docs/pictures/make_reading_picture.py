"""Draw docs/pictures/reading.png from a demo photo, as the reader sees it."""

from __future__ import annotations

from pathlib import Path

from PIL import Image

from vision.imaging.photo import load_photo
from vision.scale_file.scale import load_scale
from vision.volume.overlay import draw_overlay
from vision.volume.read import read_volume

HERE = Path(__file__).resolve().parent
SAMPLES = HERE.parents[1] / "sample_images"


def main() -> None:
    """Two readings side by side: level with the surface, and from above."""
    drawn = []
    for name in ("bench-1-pink", "bench-4-from-above"):
        photo = load_photo(SAMPLES / f"{name}.jpg")
        reading = read_volume(photo, load_scale("quay-60"))
        drawn.append(Image.fromarray(draw_overlay(photo, reading, tall_px=820)))
    sheet = Image.new("RGB", (sum(d.width for d in drawn) + 12, drawn[0].height), (250, 248, 240))
    x = 0
    for picture in drawn:
        sheet.paste(picture, (x, 0))
        x += picture.width + 12
    sheet.quantize(200).save(HERE / "reading.png", optimize=True)


if __name__ == "__main__":
    main()
