"""Font files in, an atlas of the glyphs that numerals are drawn with out."""

from __future__ import annotations

import re
import zlib
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from vision.graduations.numeral_reader import ALPHABET

STRAY = "mLcHgnAKPE"  # letters that may stand near a numeral and are not part of it
CELL = 72  # px, one glyph of the atlas
CAP = 50.0  # px, height of the digits in the atlas
MAX_FACES = 4  # faces of one family, so that no family with many weights dominates
# Kept out of training by name: fonts that any machine has at hand for tests.
HELD_OUT_NAMES = ("aileron", "dejavu", "vera", "sourcesans", "source sans", "rubik", "liberation",
                  "opensans", "open sans", "lato")
HELD_OUT_SHARE = 0.15


def held_out(family: str) -> bool:
    """Whether a family is kept for measuring; depends on its name alone."""
    name = family.lower()
    if any(word in name for word in HELD_OUT_NAMES):
        return True
    return zlib.crc32(re.sub(r"[^a-z]", "", name)[:6].encode()) % 1000 < 1000 * HELD_OUT_SHARE


def digits_of(path: Path) -> tuple[np.ndarray, np.ndarray] | None:
    """Glyphs (C, CELL, CELL) uint8 and advances (C,) px of one font, or None if unfit."""
    chars = ALPHABET + STRAY
    try:
        font = ImageFont.truetype(str(path), 100)
        boxes = [font.getbbox(c, anchor="ls") for c in "0123456789"]
    except Exception:  # any odd font file is simply left out
        return None
    tops, bottoms = np.array([b[1] for b in boxes]), np.array([b[3] for b in boxes])
    heights = bottoms - tops
    if heights.min() < 20 or heights.max() > 1.12 * heights.min():
        return None  # no digits, or old-style figures of unequal height
    widths = np.array([b[2] - b[0] for b in boxes])
    if widths.max() > 1.15 * heights.max():
        return None
    size = 100 * CAP / float(np.median(heights))
    font = ImageFont.truetype(str(path), size)
    scale = size / 100
    middle = float(np.median(tops + bottoms)) / 2 * scale
    glyphs = np.zeros((len(chars), CELL, CELL), np.uint8)
    advances = np.zeros(len(chars), np.float32)
    for i, c in enumerate(chars):
        tile = Image.new("L", (CELL, CELL), 0)
        advances[i] = font.getlength(c)
        ImageDraw.Draw(tile).text(
            (CELL / 2 - advances[i] / 2, CELL / 2 - middle), c, fill=255, font=font, anchor="ls")
        glyphs[i] = np.asarray(tile)
    digits = glyphs[:10].reshape(10, -1).astype(float)
    if digits.sum(1).min() < 255 * 60:
        return None
    ring = glyphs[8][:, glyphs[8].max(0) > 100]
    if ring[ring.max(1) > 100].mean() > 0.8 * 255:
        return None  # light digits on a dark tile
    spread = np.abs(digits[:, None] - digits[None]).sum(2) + 1e9 * np.eye(10)
    if spread.min() < 0.04 * digits.sum(1).mean():
        return None  # placeholder boxes: all digits alike
    return glyphs, advances


def build_atlas(folders: list[Path], out: Path) -> None:
    """Draw the digits of every usable font below ``folders`` into one file."""
    per_family: dict[str, list[tuple[np.ndarray, np.ndarray]]] = {}
    for path in sorted(p for d in folders for p in d.rglob("*") if p.suffix in (".ttf", ".otf")):
        if "noto" in path.name.lower() and not re.match(
                r"Noto(Sans|Serif|SansMono|SansDisplay|SerifDisplay|Mono)(\.|-)", path.name):
            continue  # the same digits again and again
        try:
            family = ImageFont.truetype(str(path), 20).getname()[0] or path.stem
        except Exception:
            continue
        family = re.sub(r"\W", "", family.lower())
        if any(word in family for word in ("keyboard", "initials", "keyfont")):
            continue  # drawn key caps and outlined capitals
        if len(per_family.get(family, [])) >= 3 * MAX_FACES:
            continue
        face = digits_of(path)
        if face is not None:
            per_family.setdefault(family, []).append(face)
    glyphs, advances, families = [], [], []
    for family, faces in per_family.items():
        keep = np.unique(np.linspace(0, len(faces) - 1, MAX_FACES).round().astype(int))
        for k in keep:
            glyphs.append(faces[k][0])
            advances.append(faces[k][1])
            families.append(family)
    np.savez_compressed(out, glyphs=np.array(glyphs), advances=np.array(advances),
                        families=np.array(families))
