"""Reading the numerals printed beside the long marks.

A small convolutional network slides along a rectified grey patch and says, column
by column, which digit stands there or none.  The probability of a whole text is
the sum over all ways in which its digits can follow each other along the patch
(connectionist temporal classification: A. Graves et al., ICML 2006), so nobody has
to know where in the patch the label stands.

The reader does not decide.  It gives evidence, in nats, for each text that a
patch could show; the ladder adds the evidence of all its labels for each way of
numbering the marks, and :func:`settle_numbering` says whether one way stands out
beyond doubt.  A label that is covered or cannot be read counts for nothing, and
no single label can settle anything.

The network was taught with digits drawn from font files only
(``vision/training/numerals.py``).
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from vision.errors import InputError
from vision.small_network import run_network

ALPHABET = "0123456789.-"  # class k + 1 of the network; class 0 is "between digits"
NET_HEIGHT = 40  # px, every patch is brought to this height
NET_STRETCH = 1.6  # columns per row unit: digits seen from the side are narrow
LEVEL_BOX = (31, 63)  # px, neighbourhood over which brightness and contrast are levelled
LEVEL_FLOOR = 0.15  # share of the patch's own contrast below which nothing is amplified
STRIDE = 2  # columns of the patch per column of the network's answer
MAX_ASPECT = 12.0  # a wider patch is no label patch
MIN_SIDE = 6  # px
HALF_PATCH_MM = 3.4  # half the height of a patch about a mark, on the wall
# Columns of nothing after each patch: as far as the network sees sideways, so that a
# patch is read the same whatever is read beside it.
MARGIN = 22
GROUP = 8  # patches of about one width run at a time

# Share of labels that are read as a wrong text although nothing seems wrong with
# them.  Fonts kept out of training show 0.4 to 0.7 % (numerals_check.py); about ten times as
# much is assumed, because real prints and photos always differ from drawn ones.
MISREAD = 0.05
# Share of labels with a decimal point in which the point is too small to be seen: "7.5" is
# then read as "75".  Our choice: in small print it is a pixel, or none.
LOST_POINT = 0.35
# Probability that a readable label shows one given text when nothing is known of
# it: about a hundred texts (0 to 99) are usual on a scale.
CHANCE = 0.01
AGREES = math.log(0.3 / CHANCE)  # nats: the text is at least one of the three likeliest
DOUBTS = -0.5  # nats: the patch speaks against the text
#: The same where nothing was read: skin, a cloth or a highlight is over the label.
BLANK_DOUBTS = -1.2

# What it takes to call a numbering settled, see settle_numbering.
SETTLED_MARGIN = 9.0  # nats
SETTLED_LABELS = 2  # agreeing
LABELS_PER_DOUBT = 4  # agreeing for each doubting one
SURE = 0.95  # a doubting label that is read with this probability is a contradiction

Verdict = Literal["settled", "unsettled"]


@dataclass(frozen=True)
class PatchEvidence:
    """What one patch says.

    ``scores``: candidate text -> evidence in nats that the patch shows it, against
    "it shows any other text"; within [log(MISREAD), log(1 / CHANCE)], 0 where the patch
    says nothing.  "" (nothing is printed there) is always among them.
    ``unreadable``: probability that there is nothing to be read.
    ``text``, ``confidence``: the free reading; "" and 0 where nothing was read.
    """

    scores: Mapping[str, float]
    unreadable: float
    text: str
    confidence: float


@dataclass(frozen=True)
class NumeralEvidence:
    """What all patches of a ladder say, in the order in which they were given."""

    patches: tuple[PatchEvidence, ...]

    def total(self, texts: Sequence[str | None]) -> float:
        """Evidence (nats) that patch i shows ``texts[i]``, summed over the patches.

        ``None`` or "" means that nothing is printed there.  A text that was not
        among the candidates of its patch is a programming error (KeyError).
        """
        return sum(p.scores[t or ""] for p, t in self._pairs(texts))

    def agreeing(self, texts: Sequence[str | None]) -> tuple[int, ...]:
        """Indices of the patches that clearly show the text that is expected of them."""
        return tuple(i for i, (p, t) in enumerate(self._pairs(texts))
                     if t and p.scores[t] > AGREES)

    def doubting(self, texts: Sequence[str | None]) -> tuple[int, ...]:
        """Indices of the patches that show something else than what is expected.

        A reading that is the beginning or the end of the expected text is no doubt: the
        rest of that label may be covered, and its point too small to be seen.
        """
        return tuple(i for i, (p, t) in enumerate(self._pairs(texts))
                     if p.scores[t or ""] < (DOUBTS if p.text else BLANK_DOUBTS)
                     and not _is_part(p.text.replace(".", ""), (t or "").replace(".", "")))

    def _pairs(self, texts: Sequence[str | None]) -> list[tuple[PatchEvidence, str | None]]:
        if len(texts) != len(self.patches):
            raise InputError("One text is needed for each patch.")
        return list(zip(self.patches, texts, strict=True))


@dataclass(frozen=True)
class NumberingVerdict:
    """The outcome over all ways of numbering the marks.

    ``best``: key of the strongest hypothesis (None when there was none to compare).
    ``margin``: its lead over the second, nats; ``odds`` the same as odds to 1.
    ``verdict``: "settled" only when the numerals alone prove ``best``.
    ``agreeing``, ``doubting``: how many labels speak for and against ``best``.
    ``reason``: one sentence why it is not settled, "" when it is.
    """

    best: Hashable | None
    margin: float
    verdict: Verdict
    agreeing: int
    doubting: int
    reason: str = ""

    @property
    def odds(self) -> float:
        """Posterior odds of the best against the second, equal chances beforehand."""
        return math.exp(min(self.margin, 700.0))


# ---------------------------------------------------------------- what the ladder calls


def read_numerals(
    patches: Sequence[np.ndarray | None], candidates: Sequence[Sequence[str | None]], *,
    beside_strokes: bool = False,
) -> NumeralEvidence:
    """Weigh, for each patch, every text that it could show.

    ``patches``: (h, w) grey, uint8 or float of any range, dark print on a lighter
    ground, digits upright, their height between 0.25 and 0.8 of h (0.4 is best), the
    label anywhere along the width but whole: a patch that cuts all labels alike reads
    parts of numbers.  None where a label is out of the picture.
    ``candidates``: per patch the texts that some numbering would put there.
    ``beside_strokes`` says that what is left of the mark's own stroke may stand beside a number:
    where no candidate is negative that is no minus.
    All of it works in grey-value ratios: gain and offset of the picture do not matter.
    """
    if len(patches) != len(candidates):
        raise InputError("One list of candidate texts is needed for each patch.")
    answers = _log_probabilities([_checked(p) for p in patches])
    for texts in candidates:
        for text in texts:
            _classes(text or "")
    if beside_strokes and not any("-" in (text or "") for texts in candidates for text in texts):
        answers = [None if a is None else _without_minus(a) for a in answers]
    return NumeralEvidence(tuple(_evidence(answers, candidates)))


def digits_by_column(patches: Sequence[np.ndarray | None]) -> list[np.ndarray | None]:
    """Per patch the probability (columns,) that some digit stands in a column of the network's
    answer, which are spread evenly over the patch; None stays None."""
    return [None if a is None else 1.0 - np.exp(a[:, 0])
            for a in _log_probabilities([_checked(p) for p in patches])]


def read_one(patch: np.ndarray | None) -> tuple[str, float]:
    """Free reading of one patch: its text and the probability that it is right.

    ("", 0.0) when nothing can be read.  The text is a plain number such as "45",
    "7.5" or "-2"; see :func:`read_numerals` for the patch.
    """
    found = _evidence(_log_probabilities([_checked(patch)]), [()])[0]
    return found.text, found.confidence


def settle_numbering(
    evidence: NumeralEvidence, hypotheses: Mapping[Hashable, Sequence[str | None]],
    prior: Mapping[Hashable, float] | None = None,
) -> NumberingVerdict:
    """Whether the numerals prove one of several ways of numbering the marks.

    ``hypotheses``: key -> the text that each patch shows under it (None: none printed).
    ``prior``: key -> log prior weight from other cues, only used for ``best`` and
    ``margin``, never for the proof by the numerals themselves.

    Settled needs all of these:

    - a lead of at least SETTLED_MARGIN nats (odds of 8000 to 1) over every other
      hypothesis.  One label moves the difference of two hypotheses by at most
      log(1 / CHANCE) - log(MISREAD) = 7.6 nats, so no single label can settle anything;
    - at least SETTLED_LABELS labels that clearly agree, LABELS_PER_DOUBT for each that
      speaks against (one that is barely legible counts as little as it is legible), and none
      that surely shows another number (the labels of another scale may agree in part);
    - no other hypothesis under which every agreeing label would just be a longer number
      seen in part ("20", "40" where "120", "140" are possible): what cuts one label,
      such as the outline of the chamber, cuts them all.

    How often this errs is measured by ``vision/training/numerals_check.py`` on fonts
    and degradations that the network was not taught with.
    """
    if not hypotheses:
        return NumberingVerdict(None, 0.0, "unsettled", 0, 0, "There was no numbering to compare.")
    keys = list(hypotheses)
    scores = np.array([evidence.total(hypotheses[k]) for k in keys])
    judged = scores + np.array([(prior or {}).get(k, 0.0) for k in keys])
    order = np.argsort(-judged, kind="stable")
    best = keys[order[0]]
    texts = hypotheses[best]
    log_odds = float(judged[order[0]] - judged[order[1]]) if len(keys) > 1 else math.inf
    others = np.delete(scores, order[0])
    own_log_odds = float(scores[order[0]] - others.max()) if len(others) else math.inf
    agreeing, doubting = evidence.agreeing(texts), evidence.doubting(texts)
    said = [evidence.patches[i] for i in doubting]
    # what is barely legible is misread as any number, and contradicts as little
    doubts = sum(p.confidence if p.text else 1.0 for p in said)
    against = doubts * LABELS_PER_DOUBT > len(agreeing) or any(p.confidence >= SURE for p in said)
    if len(agreeing) < SETTLED_LABELS and not (against and len(doubting) >= SETTLED_LABELS):
        reason = ("Too few printed numbers could be read." if any(
            p.unreadable < 0.5 for p in evidence.patches) else "No printed number could be read.")
    elif against:
        reason = "The printed numbers fit no numbering of this scale."
    elif own_log_odds < SETTLED_MARGIN:
        reason = "The printed numbers fit more than one numbering."
    elif any(parts_of_longer(texts, hypotheses[k], agreeing) for k in keys if k != best):
        reason = "The printed numbers could be parts of longer ones."
    else:
        reason = ""
    return NumberingVerdict(best, log_odds, "unsettled" if reason else "settled",
                            len(agreeing), len(doubting), reason)


def parts_of_longer(seen: Sequence[str | None], other: Sequence[str | None],
                 where: Sequence[int]) -> bool:
    """Whether each seen text is a beginning, or each an end, of a longer text of ``other``."""
    pairs = [(seen[i] or "", other[i] or "") for i in where]
    return (all(_is_part(short, long) and long.endswith(short) for short, long in pairs)
            or all(_is_part(short, long) and long.startswith(short) for short, long in pairs))


def _is_part(short: str, long: str) -> bool:
    """Whether ``short`` is a proper beginning or end of ``long``."""
    return 0 < len(short) < len(long) and (long.startswith(short) or long.endswith(short))


# ---------------------------------------------------------------- patches


def _checked(patch: np.ndarray | None) -> np.ndarray | None:
    """A float32 patch, or None when there is nothing in it to look at."""
    if patch is None:
        return None
    patch = np.asarray(patch)
    if patch.ndim != 2:
        raise InputError("A label patch is a grey picture of two dimensions.")
    patch = patch.astype(np.float32)
    if min(patch.shape) < MIN_SIDE or patch.shape[1] > MAX_ASPECT * patch.shape[0]:
        return None
    if not np.isfinite(patch).all() or float(np.ptp(patch)) == 0.0:
        return None
    return patch


def _resized(patch: np.ndarray) -> np.ndarray:
    """The patch at the network's height, its width stretched."""
    import cv2

    h, w = patch.shape
    if h > 2 * NET_HEIGHT:  # halve first: plain interpolation would skip rows
        patch = cv2.resize(patch, (max(round(w * NET_HEIGHT * 2 / h), 4), 2 * NET_HEIGHT),
                           interpolation=cv2.INTER_AREA)
    columns = max(int(round(w / h * NET_HEIGHT * NET_STRETCH)), 8)
    how = cv2.INTER_AREA if columns < patch.shape[1] else cv2.INTER_LINEAR
    return np.asarray(cv2.resize(patch, (columns, NET_HEIGHT), interpolation=how))


def _level(patch: np.ndarray) -> np.ndarray:
    """Brightness and contrast brought to one level everywhere in the patch."""
    import cv2

    def total(a: np.ndarray) -> np.ndarray:
        return np.asarray(cv2.boxFilter(a, -1, LEVEL_BOX[::-1], normalize=False,
                                        borderType=cv2.BORDER_CONSTANT))

    count = total(np.ones_like(patch))
    d = patch - total(patch) / count
    power = total(d * d) / count
    whole = float(np.mean(d * d))
    if whole <= 0:
        return np.zeros_like(patch)
    return np.asarray(d / np.sqrt(power + LEVEL_FLOOR * whole), dtype=np.float32)


# ---------------------------------------------------------------- the network


def _run(x: np.ndarray) -> np.ndarray:
    """Levelled patches (B, NET_HEIGHT, W) -> log probabilities (B, W / STRIDE, classes)."""
    y = run_network("numerals/net", x[:, None])[:, :, 0].transpose(0, 2, 1)
    y = y - y.max(-1, keepdims=True)
    return np.asarray(y - np.log(np.exp(y).sum(-1, keepdims=True)))


def _log_probabilities(patches: list[np.ndarray | None]) -> list[np.ndarray | None]:
    """Per patch the (columns, classes) log probabilities; None stays None."""
    ready = [None if p is None else _level(_resized(p)) for p in patches]
    widths = [0 if p is None else p.shape[1] for p in ready]
    used = sorted((i for i, w in enumerate(widths) if w), key=lambda i: widths[i])
    out: list[np.ndarray | None] = [None] * len(patches)
    for first in range(0, len(used), GROUP):
        group = used[first: first + GROUP]
        wide = max(widths[i] for i in group) + MARGIN
        batch = np.zeros((len(group), NET_HEIGHT, wide), np.float32)
        for row, i in zip(batch, group, strict=True):
            row[:, : widths[i]] = ready[i]
        for answer, i in zip(_run(batch), group, strict=True):
            out[i] = answer[: -(-widths[i] // STRIDE)]
    return out


def _without_minus(answer: np.ndarray) -> np.ndarray:
    """(columns, classes) log probabilities with every minus taken for a gap."""
    minus, out = _classes("-")[0], answer.copy()
    out[:, 0] = np.logaddexp(answer[:, 0], answer[:, minus])
    out[:, minus] = -np.inf
    return out


# ---------------------------------------------------------------- texts


def _classes(text: str) -> list[int]:
    try:
        return [ALPHABET.index(c) + 1 for c in text]
    except ValueError:
        raise InputError(f"'{text}' is not a number that a mark could carry.") from None


def _text_log_probabilities(
    answers: Sequence[np.ndarray], texts: Sequence[Sequence[str]]
) -> list[np.ndarray]:
    """log P(text | patch) of each text of each patch: the sum over all its paths.

    ``answers``: per patch (T, classes) log probabilities.  Forward recursion, all
    patches and texts side by side; a patch that ends early goes on with certain gaps.
    """
    if not answers:
        return []
    codes = [[_classes(t) for t in row] for row in texts]
    most = max((len(row) for row in codes), default=0)
    longest = max((len(c) for row in codes for c in row), default=0)
    steps = max((len(a) for a in answers), default=0)
    shape = (len(answers), most, 2 * longest + 2)  # gap, digit, gap, digit, ..., gap, spare
    states = np.zeros(shape, int)
    ends = np.zeros(shape[:2], int)
    for i, row in enumerate(codes):
        for j, code in enumerate(row):
            states[i, j, 1: 2 * len(code): 2] = code
            ends[i, j] = 2 * len(code)
    follows = np.zeros(shape)  # 1 where a digit may follow another one without a gap
    follows[..., 3::2] = (states[..., 3::2] != states[..., 1:-2:2]) & (states[..., 3::2] > 0)
    certain = np.zeros((len(answers), steps, len(ALPHABET) + 1))
    certain[..., 0] = 1.0
    for i, answer in enumerate(answers):
        certain[i, : len(answer)] = np.exp(answer)
    chance = np.take_along_axis(
        certain, states.reshape(len(answers), 1, -1), 2).reshape(len(answers), steps, *shape[1:])
    alpha = np.zeros(shape)
    alpha[..., :2] = chance[:, 0, :, :2]
    scale = np.zeros(shape[:2])
    for step in range(1, steps):
        moved = alpha.copy()
        moved[..., 1:] += alpha[..., :-1]
        moved[..., 2:] += alpha[..., :-2] * follows[..., 2:]
        alpha = moved * chance[:, step]
        if step % 16 == 0 or step == steps - 1:  # keeps tiny numbers from vanishing
            total = np.maximum(alpha.sum(2), 1e-280)
            alpha /= total[..., None]
            scale += np.log(total)
    last = np.take_along_axis(alpha, ends[..., None], 2)[..., 0]
    before = np.take_along_axis(alpha, np.maximum(ends - 1, 0)[..., None], 2)[..., 0]
    whole = scale + np.log(np.maximum(last + np.where(ends > 0, before, 0.0), 1e-280))
    return [row[: len(c)] for row, c in zip(whole, codes, strict=True)]


def _likeliest_path(answer: np.ndarray) -> str:
    """The text of the likeliest class in each column."""
    best = answer.argmax(1)
    keep = best[np.insert(np.diff(best) != 0, 0, True)]
    return "".join(ALPHABET[c - 1] for c in keep if c > 0)


def _without_point(text: str, others: Sequence[str]) -> str:
    """What is seen of a number whose point is not; the number itself if that is another one."""
    bare = text.replace(".", "")
    return text if bare in others or not _is_number(bare) else bare


def _is_number(text: str) -> bool:
    body = text.removeprefix("-")
    whole, dot, part = body.partition(".")
    if not whole.isdigit() or (len(whole) > 1 and whole[0] == "0") or len(whole) > 3:
        return False
    return part.isdigit() if dot else True


def _evidence(
    answers: Sequence[np.ndarray | None], candidates: Sequence[Sequence[str | None]]
) -> list[PatchEvidence]:
    """Scores and free reading of each patch from the network's answers."""
    wanted = [sorted({t or "" for t in texts} | {""}) for texts in candidates]
    pointless = [[_without_point(t, w) for t in w] for w in wanted]
    out = [PatchEvidence(dict.fromkeys(w, 0.0), 1.0, "", 0.0) for w in wanted]
    seen = [i for i, a in enumerate(answers) if a is not None]
    some = [a for a in answers if a is not None]
    free = [_likeliest_path(a) for a in some]
    asked = [[*wanted[i], *pointless[i], text] for i, text in zip(seen, free, strict=True)]
    for i, text, chance in zip(seen, free, _text_log_probabilities(some, asked), strict=True):
        of = dict(zip(asked[seen.index(i)], np.exp(np.minimum(chance, 0.0)).tolist(), strict=True))
        p_absent = of[""]
        scores = {}
        for t, bare in zip(wanted[i], pointless[i], strict=True):
            shown = of[t] if bare == t else max(of[t], LOST_POINT * of[bare])
            weight = p_absent + (shown / CHANCE if t else 0.0)
            scores[t] = math.log((1 - MISREAD) * min(weight, 1 / CHANCE) + MISREAD)
        readable = bool(text) and of[text] > p_absent and _is_number(text)
        out[i] = PatchEvidence(scores, p_absent, text if readable else "",
                               of[text] if readable else 0.0)
    return out
