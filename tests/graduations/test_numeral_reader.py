"""The reader of printed numerals: fonts and degradations that it was not taught with.

The fonts here (the one inside Pillow, the ones inside reportlab) are kept out of the
training by name, see ``vision/training/numerals.py``.
"""

from __future__ import annotations

import itertools
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw, ImageFont

from vision.errors import InputError
from vision.graduations import numeral_reader as numerals
from vision.graduations.numeral_reader import (
    AGREES,
    ALPHABET,
    CHANCE,
    MISREAD,
    NumeralEvidence,
    PatchEvidence,
    read_numerals,
    read_one,
    settle_numbering,
)

VERA = Path(str(files("reportlab"))) / "fonts" / "Vera.ttf"
VERA_BOLD = VERA.with_name("VeraBd.ttf")
FONTS = {"aileron": None, "vera": VERA, "vera-bold": VERA_BOLD}
SIXTY = tuple(str(v) for v in range(0, 65, 5))
HUNDRED = tuple(str(v) for v in range(10, 101, 10))


def label(
    text: str, font: str = "aileron", digit_px: float = 24, rows: float = 2.2,
    columns: float = 4.5, place: float = 0.5, down: float = 0.0, squeeze: float = 1.0,
    mark: bool = True, ink: float = 60, ground: float = 205,
) -> np.ndarray:
    """A label beside the end of its mark, dark on light, uint8.

    ``rows``/``columns``: size of the patch in digit heights; ``place``: 0 left to 1 right;
    ``down``: vertical offset in digit heights; ``squeeze``: width against height.
    """
    fine = 3
    size = fine * digit_px / 0.72
    face = ImageFont.truetype(str(FONTS[font]), size) if FONTS[font] else (
        ImageFont.load_default(size))
    h, w = int(rows * digit_px), int(columns * digit_px)
    plate = Image.new("L", (int(fine * w / squeeze), fine * h), 0)
    pen = ImageDraw.Draw(plate)
    long = face.getlength(text)
    x = (plate.width - long) * place
    _, top, _, bottom = face.getbbox("0", anchor="ls")
    y = plate.height / 2 + down * fine * digit_px - (top + bottom) / 2
    pen.text((x, y), text, fill=255, font=face, anchor="ls")
    if mark:
        pen.line([(x + long + 0.5 * fine * digit_px, plate.height / 2),
                  (plate.width, plate.height / 2)], fill=255, width=int(fine * digit_px / 9))
    cover = cv2.resize(np.asarray(plate), (w, h), interpolation=cv2.INTER_AREA) / 255.0
    return (ground + (ink - ground) * cover).round().astype(np.uint8)


def worn(patch: np.ndarray, rng: np.random.Generator, blur: float, noise: float) -> np.ndarray:
    """Blurred, unevenly lit, noisy, packed as JPEG."""
    h, w = patch.shape
    soft = cv2.GaussianBlur(patch.astype(np.float32), (0, 0), blur)
    soft *= np.linspace(1.0, rng.uniform(0.6, 1.0), w, dtype=np.float32)
    soft += rng.normal(0, noise, soft.shape)
    _, packed = cv2.imencode(".jpg", np.clip(soft, 0, 255).astype(np.uint8),
                             [cv2.IMWRITE_JPEG_QUALITY, 80])
    return np.asarray(cv2.imdecode(packed, cv2.IMREAD_GRAYSCALE))


def shifts(row: tuple[str, ...], count: int) -> dict[int, tuple[str, ...]]:
    return {k: row[k: k + count] for k in range(len(row) - count + 1)}


def posterior_weights(patches: list, *rows: tuple[str, ...]) -> NumeralEvidence:
    return read_numerals(patches, [sorted({t for row in rows for t in row})] * len(patches))


class TestNothingToRead:
    def test_no_patches(self):
        assert read_numerals([], []).patches == ()
        assert settle_numbering(read_numerals([], []), {}).verdict == "unsettled"

    @pytest.mark.parametrize("patch", [
        None, np.full((40, 90), 128, np.uint8), np.zeros((3, 90), np.uint8),
        np.zeros((40, 2), np.uint8), np.full((40, 90), np.nan), np.full((40, 90), np.inf),
        np.zeros((10, 2000), np.uint8), np.zeros((0, 0), np.uint8),
    ], ids=["absent", "flat", "low", "narrow", "nan", "inf", "endless", "empty"])
    def test_counts_for_nothing(self, patch):
        found = posterior_weights([patch], SIXTY).patches[0]
        assert set(found.scores.values()) == {0.0}
        assert (found.text, found.confidence, found.unreadable) == ("", 0.0, 1.0)
        assert read_one(patch) == ("", 0.0)

    def test_noise_is_no_number(self):
        rng = np.random.default_rng(1)
        shots = [rng.integers(0, 255, (50, 110)).astype(np.uint8) for _ in range(12)]
        texts = [p.text for p in posterior_weights(shots, SIXTY).patches]
        assert sum(t != "" for t in texts) <= 1

    def test_marks_and_edges_are_no_digits(self):
        ground = np.full((56, 130), 200, np.uint8)
        mark = ground.copy()
        mark[26:30, 50:] = 60
        outline = ground.copy()
        outline[:, 30:34] = 90
        wall = ground.copy()
        wall[:, :40] = 120
        liquid = ground.copy()
        liquid[30:] = 130
        for patch in (mark, outline, wall, liquid):
            text, confidence = read_one(cv2.GaussianBlur(patch, (0, 0), 0.8))
            assert text == "" or confidence < 0.5

    def test_bad_input_is_named(self):
        with pytest.raises(InputError):
            read_one(np.zeros((40, 90, 3), np.uint8))
        with pytest.raises(InputError):
            read_numerals([label("5")], [["5"], ["10"]])
        with pytest.raises(InputError):
            read_numerals([label("5")], [["five"]])
        with pytest.raises(InputError):
            posterior_weights([label("5")], SIXTY).total(["5", "10"])


class TestReading:
    # A label drawn cleanly is read whatever the font; one in fifty may fail.
    CLEAN_SHARE = 0.98
    # Blurred by a tenth of the digit height and noisy: nine in ten.
    WORN_SHARE = 0.9

    @pytest.mark.slow
    def test_clean_labels(self):
        texts = [*SIXTY, *HUNDRED[1:], "7", "1", "99", "120", "200"]
        good = [read_one(label(t, font))[0] == t for font in FONTS for t in texts]
        assert np.mean(good) >= self.CLEAN_SHARE

    @pytest.mark.parametrize("digit_px", [8, 12, 20, 35, 60])
    def test_any_size(self, digit_px):
        good = [read_one(label(t, digit_px=digit_px))[0] == t for t in SIXTY]
        assert np.mean(good) >= 0.92

    @pytest.mark.parametrize("how", [
        {"squeeze": 0.6}, {"squeeze": 0.8, "place": 0.1}, {"place": 0.0}, {"place": 0.7},
        {"down": -0.35}, {"down": 0.35}, {"rows": 1.6}, {"rows": 3.0}, {"columns": 3.0},
        {"ink": 120, "ground": 160}, {"mark": False},
    ], ids=str)
    def test_any_place_and_view(self, how):
        rng = np.random.default_rng(2)
        good = [read_one(worn(label(t, font, **how), rng, 0.8, 3))[0] == t
                for font in FONTS for t in SIXTY]
        assert np.mean(good) >= 0.92

    def test_worn_labels(self):
        rng = np.random.default_rng(3)
        shots = [(t, worn(label(t, font, squeeze=0.8), rng, 2.4, 6))
                 for font in FONTS for t in (*SIXTY, *HUNDRED)]
        read = [(t, *read_one(p)) for t, p in shots]
        assert np.mean([t == text for t, text, _ in read]) >= self.WORN_SHARE
        assert np.mean([text not in ("", t) and c > 0.9 for t, text, c in read]) <= 0.02

    def test_decimals_and_negatives(self):
        good = [read_one(label(t, font, digit_px=30, columns=5))[0] == t
                for font in FONTS for t in ("0.5", "2.5", "7.5", "-5", "-10")]
        assert np.mean(good) >= 0.7  # the free reading is a cross-check, not the proof

    def test_grey_values_do_not_matter(self):
        patch = label("35")
        a = posterior_weights([patch], SIXTY).patches[0].scores
        b = posterior_weights([patch.astype(np.float32) / 255 * 0.3 + 0.1], SIXTY).patches[0].scores
        assert a == pytest.approx(b, abs=1e-3)

    def test_a_patch_is_read_alike_alone_and_in_company(self):
        patches = [label("35"), label("100", columns=7), None, label("5", columns=3)]
        together = posterior_weights(patches, SIXTY, HUNDRED)
        for patch, found in zip(patches, together.patches, strict=True):
            alone = posterior_weights([patch], SIXTY, HUNDRED).patches[0]
            assert found.scores == pytest.approx(alone.scores, abs=1e-3)


class TestScores:
    def test_bounds_and_meaning(self):
        scores = posterior_weights([label("35")], SIXTY).patches[0].scores
        assert scores["35"] == pytest.approx(np.log(1 / CHANCE), abs=0.2)
        assert scores["30"] == pytest.approx(np.log(MISREAD), abs=0.3)
        assert scores[""] == pytest.approx(np.log(MISREAD), abs=0.3)

    def test_every_way_of_saying_a_text_is_counted(self):
        # All 13^4 paths of four columns, collapsed one by one.
        rng = np.random.default_rng(4)
        columns = rng.dirichlet(np.full(len(ALPHABET) + 1, 0.3), 4)
        sums: dict[str, float] = {}
        for path in itertools.product(range(len(ALPHABET) + 1), repeat=4):
            said = "".join(ALPHABET[c - 1] for c, _ in itertools.groupby(path) if c)
            chance = float(np.prod(columns[range(4), path]))
            sums[said] = sums.get(said, 0.0) + chance
        texts = [t for t in sums if len(t) <= 3][::7] + ["", "1", "11", "101", "55", "0.5"]
        found = numerals._text_log_probabilities([np.log(columns)], [texts])[0]
        assert np.exp(found) == pytest.approx([sums[t] for t in texts], rel=1e-9)


def said(text: str, candidates: tuple[str, ...], chance: float = 0.99) -> PatchEvidence:
    """A patch that reads ``text`` with this probability, nothing else being likely."""
    scores = {t: float(np.log((1 - MISREAD) * min(chance / CHANCE, 1 / CHANCE) + MISREAD))
              if t == text else float(np.log(MISREAD)) for t in (*candidates, "")}
    return PatchEvidence(scores, 0.0, text, chance)


def silent(candidates: tuple[str, ...]) -> PatchEvidence:
    return PatchEvidence(dict.fromkeys((*candidates, ""), 0.0), 1.0, "", 0.0)


def columns_that_read(text: str) -> np.ndarray:
    """An answer of the network that shows ``text`` beyond doubt."""
    path = [c for digit in text for c in (ALPHABET.index(digit) + 1, 0)]
    out = np.full((len(path) + 1, len(ALPHABET) + 1), 1e-4)
    out[np.arange(len(path) + 1), [0, *path]] = 1.0
    return np.log(out / out.sum(1, keepdims=True))


class TestLostPoint:
    def test_a_number_without_its_point_is_believed_a_little_less(self):
        (seen,) = numerals._evidence([columns_that_read("75")], [["7.5", "5", "12.5"]])
        assert seen.text == "75"
        assert AGREES < seen.scores["7.5"] < np.log(1 / CHANCE)
        assert seen.scores["5"] < 0 > seen.scores["12.5"]
        assert NumeralEvidence((seen,)).doubting(("7.5",)) == ()

    def test_where_the_bare_number_is_on_the_scale_it_is_that_one(self):
        (seen,) = numerals._evidence([columns_that_read("25")], [["2.5", "25"]])
        assert seen.scores["25"] > AGREES and seen.scores["2.5"] < 0

    def test_the_point_seen_is_as_before(self):
        (seen,) = numerals._evidence([columns_that_read("7.5")], [["7.5", "5"]])
        assert seen.text == "7.5" and seen.scores["7.5"] > AGREES > seen.scores["5"]


class TestNumbering:
    @pytest.mark.slow
    @given(st.integers(2, 10), st.integers(0, 10), st.data())
    @settings(max_examples=60, deadline=None)
    def test_clear_labels_settle_and_covered_ones_do_not_disturb(self, count, first, data):
        first = min(first, len(SIXTY) - count)
        hidden = data.draw(st.sets(st.integers(0, count - 1), max_size=count))
        patches = tuple(silent(SIXTY) if i in hidden else said(SIXTY[first + i], SIXTY)
                        for i in range(count))
        verdict = settle_numbering(NumeralEvidence(patches), shifts(SIXTY, count))
        if count - len(hidden) >= 2 and verdict.reason != (
                "The printed numbers could be parts of longer ones."):
            assert (verdict.best, verdict.verdict) == (first, "settled")
        elif count - len(hidden) < 2:
            assert verdict.verdict == "unsettled"

    @given(st.integers(0, 7), st.integers(0, 5), st.integers(0, 12), st.booleans())
    @settings(max_examples=60, deadline=None)
    def test_one_misreading_never_misleads(self, first, where, wrong, sure):
        patches = [said(t, SIXTY) for t in SIXTY[first: first + 6]]
        patches[where] = said(SIXTY[wrong], SIXTY, 0.99 if sure else 0.7)
        verdict = settle_numbering(NumeralEvidence(tuple(patches)), shifts(SIXTY, 6))
        assert verdict.best == first
        if not sure:  # a sure contradiction is left for a person to look at
            assert verdict.verdict == "settled"

    def test_what_may_be_covered_is_no_doubt_and_another_number_is(self):
        half = {t: -0.7 for t in (*SIXTY, "")}  # a finger over it: nothing was read
        over = PatchEvidence(half, 0.45, "", 0.0)
        other = PatchEvidence(half, 0.45, "7", 0.5)
        assert NumeralEvidence((over, other)).doubting(("5", "5")) == (1,)
        empty = PatchEvidence({t: -2.5 for t in (*SIXTY, "")}, 0.05, "", 0.0)
        assert NumeralEvidence((empty,)).doubting(("5",)) == (0,)

    def test_a_doubt_counts_as_much_as_it_is_legible(self):
        """Three labels agree; a fourth, half behind an edge, is read as another number."""
        texts = ("0", "10", "20", "30")
        for chance, verdict in ((0.2, "settled"), (0.8, "unsettled")):
            found = settle_numbering(
                NumeralEvidence((*(said(t, HUNDRED + texts) for t in ("0", "20", "30")),
                                 said("96", HUNDRED + texts, chance))),
                {0: ("0", "20", "30", "10"), 1: ("10", "30", "40", "20")})
            assert (found.agreeing, found.doubting, found.verdict) == (3, 1, verdict)

    def test_a_sure_contradiction_is_not_overruled(self):
        patches = [said(t, SIXTY) for t in SIXTY]
        patches[4] = said("35", SIXTY)
        verdict = settle_numbering(NumeralEvidence(tuple(patches)), {0: SIXTY})
        assert verdict.verdict == "unsettled"
        assert verdict.reason == "The printed numbers fit no numbering of this scale."

    def test_one_label_alone_never_settles(self):
        for row in (SIXTY, HUNDRED):
            for text in row:
                alone = posterior_weights([label(text)], row)
                assert settle_numbering(alone, shifts(row, 1)).verdict == "unsettled"

    def test_nothing_read_says_so(self):
        verdict = settle_numbering(posterior_weights([None] * 5, SIXTY), shifts(SIXTY, 5))
        assert (verdict.verdict, verdict.margin) == ("unsettled", 0.0)
        assert verdict.reason == "No printed number could be read."

    def test_the_labels_of_another_scale_settle_nothing(self):
        patches = [label(t) for t in HUNDRED[:8]]
        verdict = settle_numbering(posterior_weights(patches, SIXTY, HUNDRED), shifts(SIXTY, 8))
        assert verdict.verdict == "unsettled"
        assert verdict.reason == "The printed numbers fit no numbering of this scale."

    def test_numbers_that_may_be_cut_settle_nothing(self):
        row = tuple(str(v) for v in range(20, 201, 20))
        verdict = settle_numbering(posterior_weights([label("20"), label("40"), label("60")], row),
                                   shifts(row, 3))
        assert (verdict.best, verdict.verdict) == (0, "unsettled")
        assert verdict.reason == "The printed numbers could be parts of longer ones."
        whole = settle_numbering(posterior_weights([label("60"), label("80"), label("100")], row),
                                 shifts(row, 3))
        assert (whole.best, whole.verdict) == (2, "settled")

    def test_an_unlabelled_mark_speaks_against_a_numbering(self):
        # 5 and 15 are labelled, the marks between them are not
        patches = [label("5"), label("15"), label("20")]
        evidence = read_numerals(patches, [["5", "15"], ["", "15", "20"], ["15", "20", "25"]])
        assert evidence.total(["5", "15", "20"]) > evidence.total(["5", None, "15"]) + 12

    def test_other_cues_move_the_best_but_never_prove_it(self):
        alone = posterior_weights([label("30")], SIXTY)
        verdict = settle_numbering(alone, shifts(SIXTY, 1), {9: 20.0})
        assert (verdict.best, verdict.verdict) == (9, "unsettled")

    @pytest.mark.slow
    @pytest.mark.parametrize("row", [SIXTY, HUNDRED], ids=["sixty", "hundred"])
    def test_worn_ladders_are_numbered_right_or_left_open(self, row):
        rng = np.random.default_rng(6)
        outcome = []
        for number in range(24):
            count = int(rng.integers(4, len(row) + 1))
            first = int(rng.integers(0, len(row) - count + 1))
            font = list(FONTS)[number % 3]
            look = {"squeeze": rng.uniform(0.65, 1), "place": rng.uniform(0, 0.8),
                    "digit_px": rng.uniform(12, 40)}
            blur = look["digit_px"] * rng.uniform(0.02, 0.1)
            shots = [worn(label(t, font, down=rng.uniform(-0.3, 0.3), **look), rng, blur, 5)
                     for t in row[first: first + count]]
            seen = [None if rng.random() < 0.5 else p for p in shots]
            verdict = settle_numbering(posterior_weights(seen, row), shifts(row, count))
            outcome.append("open" if verdict.verdict == "unsettled" else verdict.best == first)
        assert False not in outcome
        assert outcome.count(True) >= 14


class TestHouse:
    def test_light_to_import(self):
        code = ("import sys, vision.graduations.numeral_reader;"
                "print([m for m in ('onnx', 'torch', 'scipy') if m in sys.modules])")
        done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True,
                              check=True)
        assert done.stdout.strip() == "[]"

    def test_the_network_is_small(self):
        network = Path(str(files("vision"))) / "data" / "numerals" / "net.onnx"
        assert network.stat().st_size < 1_000_000


def test_what_is_left_of_a_stroke_is_no_minus_where_no_number_is_negative():
    """A stroke on the left of "15": a minus, unless strokes may stand there."""
    patch = label("15", mark=False, columns=6.0)
    h, w = patch.shape
    left = int(np.flatnonzero((patch < 120).any(axis=0))[0])
    patch[h // 2 - 1:h // 2 + 2, left - 14:left - 4] = 60
    texts = ["5", "10", "15", "20"]
    (plain,) = read_numerals([patch], [texts]).patches
    (beside,) = read_numerals([patch], [texts], beside_strokes=True).patches
    assert plain.text == "-15" and beside.text == "15" and beside.scores["15"] > 3.0
    (signed,) = read_numerals([patch], [[*texts, "-15"]], beside_strokes=True).patches
    assert signed.text == "-15", "on a scale that has negative numbers it may be one"


@pytest.mark.parametrize(("read", "printed", "doubts"), [
    ("75", "17.5", False),   # the first digit covered, the point too small to be seen
    ("22", "22.5", False),
    ("25", "22.5", False),
    ("52", "22.5", True),
    ("57", "17.5", True),
])
def test_what_is_seen_of_a_number_without_its_point_is_no_doubt(read, printed, doubts):
    seen = PatchEvidence({"": -1.0, printed: -2.0}, 0.0, read, 0.9)
    assert NumeralEvidence((seen,)).doubting((printed,)) == ((0,) if doubts else ())
