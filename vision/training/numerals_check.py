"""Measures the reader of numerals on font families that the network never saw.

    python -m vision.training.numerals_check FONT_DIR [FONT_DIR ...] --ladders 400

Whole ladders are drawn by other means than the training pictures (Pillow at the photo's
own resolution, OpenCV's filters; also smear, stripes, specks and tone curves that the
training does not know) and numbered as the product would.  Printed: how often a label is
read, how often it is surely misread, and how often the numbering is settled rightly,
left open, or settled wrongly, with all labels, with half of them covered, with the
first or the last digit of every label cut off, and with the scale of another chamber.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Hashable
from pathlib import Path

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

from vision.graduations.numeral_reader import NumeralEvidence, read_numerals, settle_numbering
from vision.training.numeral_fonts import digits_of, held_out

Rng = np.random.Generator
ROWS = (  # what the labels of a chamber may say, from below
    tuple(str(v) for v in range(0, 65, 5)),
    tuple(str(v) for v in range(10, 101, 10)),
    ("5", *(str(v) for v in range(15, 51, 5))),
    tuple(str(v) for v in range(0, 11)),
    tuple(str(v) for v in range(20, 201, 20)),
    tuple(f"{v / 2:g}" for v in range(0, 11)),
)


def fonts_below(folders: list[Path]) -> list[Path]:
    """One font file of each held-out family that has lining digits."""
    found: dict[str, Path] = {}
    for path in sorted(p for d in folders for p in d.rglob("*") if p.suffix in (".ttf", ".otf")):
        try:
            family = ImageFont.truetype(str(path), 20).getname()[0] or path.stem
        except Exception:  # any odd font file is simply left out
            continue
        name = "".join(c for c in family.lower() if c.isalnum())
        if name not in found and held_out(name) and digits_of(path) is not None:
            found[name] = path
    return list(found.values())


def drawn_label(text: str, font: Path | None, rng: Rng, look: dict[str, float],
                cut: str = "") -> np.ndarray:
    """One patch as the ladder would hand it over, (h, w) uint8.

    ``look`` holds what all labels of one photo share; ``cut`` "first"/"last" hides a digit.
    """
    height = look["digit_px"]
    size = 4 * height / 0.72  # four times finer than the photo
    face = (ImageFont.truetype(str(font), size) if font else ImageFont.load_default(size))
    h, w = int(height * look["rows"]), int(height * look["columns"])
    fine = Image.new("L", (4 * w, 4 * h), 0)
    pen = ImageDraw.Draw(fine)
    left, top, right, bottom = face.getbbox("0", anchor="ls")
    long = face.getlength(text)
    squeeze = look["squeeze"]
    room = max(w - long * squeeze / 4 - 4, 0.0)
    x = 4 * (2 + room * min(max(look["place"] + rng.normal(0, 0.03), 0), 1))
    y = 4 * (h / 2 + rng.uniform(-0.3, 0.3) * height) - (top + bottom) / 2
    plate = Image.new("L", fine.size, 0)
    ImageDraw.Draw(plate).text((8, y), text, fill=255, font=face, anchor="ls")
    bent = cv2.warpAffine(
        np.asarray(plate),
        np.array([[squeeze, look["slant"], x - 8 * squeeze - look["slant"] * y],
                  [look["slope"], 1.0, -look["slope"] * (8 + long / 2)]]), fine.size)
    if cut and len(text) > 1:
        step = int(long * squeeze / len(text))
        first = slice(0, int(x) + step) if cut == "first" else slice(
            int(x + long * squeeze) - step, None)
        bent[:, first] = 0
    thick = max(int(4 * height * look["line"]), 2)
    end = x + long * squeeze + 4 * height * look["gap"]
    if look["mark"] > 0.3:
        pen.line([(end, 2 * h), (4 * w, 2 * h + 4 * w * look["slope"] * 0.3)], fill=255,
                 width=thick)
    ink = np.maximum(np.asarray(fine), bent).astype(np.float32) / 255
    ink = cv2.resize(ink, (w, h), interpolation=cv2.INTER_AREA)
    yy, xx = np.mgrid[0:h, 0:w].astype(np.float32) / height
    ground = look["ground"] + 0.1 * np.sin(xx * look["wave"] + look["phase"]) * look["uneven"]
    ground = ground * np.where(xx < look["step_at"], 1.0, look["step"])
    if rng.random() < 0.15:  # the liquid's edge runs through the label
        ground = ground * np.where(yy < rng.uniform(0, h / height), 1.0, rng.uniform(0.6, 1.2))
    picture = ground * (1 - look["strength"] * ink)
    if rng.random() < 0.15:
        at, broad = rng.uniform(0, w / height), rng.uniform(0.05, 0.6)
        glint = rng.uniform(0.2, 1.0) * np.exp(-((xx - at) / broad) ** 2)
        picture = picture * (1 - glint) + glint * 1.1
    picture = cv2.GaussianBlur(picture, (0, 0), max(look["blur"], 0.05))
    if look["smear"] > 1:
        n = int(look["smear"])
        picture = cv2.blur(picture, (n, 1) if look["phase"] > 3 else (1, n))
    picture = np.clip(picture, 0, 1) ** look["gamma"] * look["light"]
    picture += rng.normal(0, look["noise"], picture.shape)
    picture += 0.02 * look["stripes"] * np.sin(yy * height * 1.3 + xx * 2)
    if look["specks"] > 0.7:
        spots = rng.integers(0, h * w, 4)
        picture.flat[spots] = rng.uniform(0, 1, 4)
    shot = (np.clip(picture, 0, 1) * 255).round().astype(np.uint8)
    _, packed = cv2.imencode(".jpg", shot, [cv2.IMWRITE_JPEG_QUALITY, int(look["quality"])])
    return np.asarray(cv2.imdecode(packed, cv2.IMREAD_GRAYSCALE))


def photo_look(rng: Rng, hard: bool) -> dict[str, float]:
    """What the labels of one photo share."""
    digit = float(np.exp(rng.uniform(np.log(9 if hard else 14), np.log(30 if hard else 55))))
    return {
        "digit_px": digit, "rows": rng.uniform(1.7, 3.0), "columns": rng.uniform(3.0, 5.0),
        "squeeze": rng.uniform(0.6, 1.0) if hard else rng.uniform(0.75, 1.0),
        "slope": rng.normal(0, 0.08), "slant": rng.normal(0, 0.06), "place": rng.uniform(0, 1),
        "line": rng.uniform(0.06, 0.16), "gap": rng.uniform(0.2, 0.9), "mark": rng.random(),
        "ground": rng.uniform(0.5, 0.95), "uneven": rng.random(), "wave": rng.uniform(0.3, 2),
        "phase": rng.uniform(0, 6), "step_at": rng.uniform(-2, 6), "step": rng.uniform(0.6, 1.3),
        "strength": rng.uniform(0.2, 0.9) if hard else rng.uniform(0.45, 0.95),
        "blur": digit * (rng.uniform(0.03, 0.13) if hard else rng.uniform(0.0, 0.06)),
        "smear": digit * rng.uniform(0, 0.2) if hard else 0.0,
        "gamma": rng.uniform(0.6, 1.6), "light": rng.uniform(0.4, 1.0),
        "noise": rng.uniform(0.0, 0.04 if hard else 0.015), "stripes": rng.random() * hard,
        "specks": rng.random(), "quality": rng.uniform(50 if hard else 75, 96),
    }


def numberings(row: tuple[str, ...], count: int) -> dict[Hashable, tuple[str, ...]]:
    """Every way in which ``count`` neighbouring labels can be neighbours on the scale."""
    return {k: row[k: k + count] for k in range(len(row) - count + 1)}


def judge(evidence: NumeralEvidence, true: int | None, row: tuple[str, ...],
          count: int) -> str:
    """"right", "open" or "wrong"."""
    verdict = settle_numbering(evidence, numberings(row, count))
    if verdict.verdict != "settled":
        return "open"
    return "right" if verdict.best == true else "wrong"


def main() -> None:
    """Draw, read, count and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--ladders", type=int, default=400)
    parser.add_argument("--seed", type=int, default=11)
    args = parser.parse_args()
    rng = np.random.default_rng(args.seed)
    fonts = fonts_below(args.folders)
    print(f"{len(fonts)} held-out families")
    labels: dict[str, Counter[str]] = {"fair": Counter(), "hard": Counter()}
    table: dict[tuple[str, str], Counter[str]] = {}
    for number in range(args.ladders):
        kind = "hard" if number % 2 else "fair"
        look = photo_look(rng, kind == "hard")
        row = ROWS[rng.integers(len(ROWS))]
        other = ROWS[rng.integers(len(ROWS))]
        count = int(rng.integers(2, len(row)))
        first = int(rng.integers(0, len(row) - count + 1))
        true = row[first: first + count]
        font = fonts[rng.integers(len(fonts))]
        possible = sorted(set(row) | set(other))
        for cut in ("", "first", "last"):
            shots = [drawn_label(t, font, rng, look, cut) for t in true]
            evidence = read_numerals(shots, [possible] * count)
            where = {"": "all labels", "first": "first digit cut", "last": "last digit cut"}[cut]
            table.setdefault((kind, where), Counter())[judge(evidence, first, row, count)] += 1
            if cut:
                continue
            for patch, text in zip(evidence.patches, true, strict=True):
                sure = "sure " if patch.confidence > 0.9 else ""
                what = "unread" if not patch.text else "right" if patch.text == text else "wrong"
                labels[kind][sure + what] += 1
                if patch.scores[text] < -2:
                    labels[kind]["against the truth"] += 1
            hidden = [None if rng.random() < 0.5 else s for s in shots]
            half = read_numerals(hidden, [possible] * count)
            table.setdefault((kind, "half covered"), Counter())[
                judge(half, first, row, count)] += 1
            if other != row and len(other) >= count:
                same = {k: v for k, v in numberings(other, count).items() if v == true}
                table.setdefault((kind, "another scale"), Counter())[
                    judge(evidence, next(iter(same), None), other, count)] += 1  # type: ignore
    for kind, tally in labels.items():
        n = sum(v for k, v in tally.items() if k != "against the truth")
        print(f"labels, {kind}: n {n}", {k: round(v / n, 4) for k, v in sorted(tally.items())})
    for (kind, where), tally in sorted(table.items()):
        print(f"{kind} {where:16s}", dict(tally))


if __name__ == "__main__":
    main()
