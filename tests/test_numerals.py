"""The reader of printed numerals: fonts and degradations that it was not taught with."""

from __future__ import annotations

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from vision.numerals import read_numerals, read_one, settle_numbering


def label(text: str, height: float = 24, width: int = 130, rows: int = 56) -> np.ndarray:
    """A clean label in the font that Pillow carries, dark on light, (rows, width) uint8."""
    font = ImageFont.load_default(height * 1.4)
    picture = Image.new("L", (width, rows), 205)
    ImageDraw.Draw(picture).text((width / 2, rows / 2), text, fill=60, font=font, anchor="mm")
    return np.asarray(picture)


def test_a_clean_label_is_read():
    for text in ("0", "5", "10", "35", "60", "100"):
        assert read_one(label(text))[0] == text


def test_a_row_of_labels_settles_the_numbering():
    values = [str(v) for v in range(0, 65, 5)]
    shown = values[2:8]
    patches = [label(t) for t in shown]
    hypotheses = {k: values[k: k + 6] for k in range(len(values) - 5)}
    candidates = [sorted({h[i] for h in hypotheses.values()}) for i in range(6)]
    verdict = settle_numbering(read_numerals(patches, candidates), hypotheses)
    assert (verdict.best, verdict.verdict) == (2, "settled")
