"""How long a photo takes that is refused, against plain decoding of the same photo.

Run ``python -m vision.accuracy.refusal_speed``.  Four photos that show no reading: a chamber with
the scale of another one, a room without a chamber, a thumbnail, and a black picture.  Times are
medians of alternating repeats in one process, given as a ratio, so that the machine cancels.  A
thumbnail, which is decoded in no time, is held against a photo of 12 megapixels.
"""

from __future__ import annotations

import argparse
import io
import json
import sys
from collections.abc import Iterator
from dataclasses import asdict, dataclass

import numpy as np

from vision.accuracy.speed import TWELVE_MEGAPIXELS, timed, twelve_megapixel_jpeg

#: Most that the requirements allow.
MOST_TIMES_DECODE = 10.0
_FIFTY_MEGAPIXELS = (6120, 8160)
#: A curtain: width of its folds and of its pattern, as a share of the picture's width.
_FOLD, _PATTERN = 0.06, 0.011


@dataclass(frozen=True)
class RefusalSpeed:
    """One photo: what was said of it, times in s of reading it and of decoding it (or the photo
    of 12 megapixels, where that takes longer), and their ratio ``times_decode``."""

    photo: str
    megapixels: float
    flag: str
    decode_s: float
    reading_s: float

    @property
    def times_decode(self) -> float:
        """Reading against decoding."""
        return self.reading_s / self.decode_s

    @property
    def met(self) -> bool:
        """Whether it is given up as fast as is required."""
        return self.times_decode <= MOST_TIMES_DECODE


def curtain_jpeg(size: tuple[int, int] = TWELVE_MEGAPIXELS, seed: int = 5) -> bytes:
    """A patterned curtain over a sill, (width, height) pixels: rows of strokes, and no chamber."""
    width, height = size
    rng = np.random.default_rng(seed)
    x = np.arange(width, dtype=np.float32)[None] / width
    y = np.arange(height, dtype=np.float32)[:, None] / width
    folds = 150 + 40 * np.sin(2 * np.pi * (x / _FOLD + 0.3 * np.sin(9 * y)))
    grey = folds - 50 * ((np.sin(2 * np.pi * y / _PATTERN) > 0.7) & (np.sin(37 * x) > 0.2))
    grey = np.where(y > 0.85 * height / width, 105.0, grey)
    grey = grey + rng.normal(0, 3, (height, width)).astype(np.float32)
    return _saved(np.clip(grey[..., None] * [1.0, 0.95, 0.85], 0, 255).astype(np.uint8))


def refused_photos(chamber: bytes) -> Iterator[tuple[str, bytes, str]]:
    """(what it is, the file, the scale against which it is read); ``chamber`` is the photo of
    :func:`vision.accuracy.speed.twelve_megapixel_jpeg`."""
    import cv2

    from vision.synthetic.chamber.dataset import scene_for

    own = scene_for(12, 0, "easy").scale.name
    yield "another chamber's scale", chamber, "quay-60" if own != "quay-60" else "heron-100"
    yield "no chamber", curtain_jpeg(), "quay-60"
    small = cv2.imdecode(np.frombuffer(chamber, np.uint8), cv2.IMREAD_REDUCED_COLOR_8)
    assert small is not None
    tiny = cv2.resize(small, (120, 160), interpolation=cv2.INTER_AREA)
    yield "thumbnail", _saved(tiny[..., ::-1]), "quay-60"
    yield "black", _saved(np.zeros((*_FIFTY_MEGAPIXELS, 3), np.uint8), "PNG"), "quay-60"


def measure_refusal(what: str, photo: bytes, scale: str, least_decode_s: float = 0.0,
                    repeats: int = 5) -> RefusalSpeed:
    """Measure one photo (the bytes of its file) against a scale file or shipped scale, and against
    no less than that time of decoding."""
    found = timed(photo, scale, repeats)
    said = found.reading.flags[-1] if found.reading.flags else found.reading.status
    return RefusalSpeed(what, found.megapixels, said, max(found.decode_s, least_decode_s),
                        found.reading_s)


def _saved(rgb: np.ndarray, kind: str = "JPEG") -> bytes:
    from PIL import Image

    out = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(rgb)).save(out, kind, quality=90)
    return out.getvalue()


def main(argv: list[str] | None = None) -> int:
    """Print one JSON object a photo; 1 when a requirement is not met."""
    parser = argparse.ArgumentParser(prog="python -m vision.accuracy.refusal_speed",
                                     description=__doc__)
    parser.add_argument("--repeats", type=int, default=5)
    args = parser.parse_args(argv)
    met, chamber, least_s = True, twelve_megapixel_jpeg(), 0.0
    for what, photo, scale in refused_photos(chamber):
        found = measure_refusal(what, photo, scale, least_s, args.repeats)
        least_s = least_s or found.decode_s  # the first is that photo
        met = met and found.met
        sys.stdout.write(json.dumps({**asdict(found), "times_decode": round(found.times_decode, 1),
                                     "met": found.met}) + "\n")
    return 0 if met else 1


if __name__ == "__main__":
    sys.exit(main())
