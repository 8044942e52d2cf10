"""Second stage: which mark has which value.  A row in, a numbered scale out, or why not.

What the marks say (count and lengths) and what is printed beside them are weighed shift by
shift (``vision.graduations``); here it is settled what follows from both.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from typing import Literal

import numpy as np

from vision.graduations.decision import accept_by_count, reject_by_marks
from vision.graduations.fit import GraduationFit
from vision.graduations.number_places import numbers_above_marks
from vision.graduations.numeral_evidence import (
    LEGIBLE,
    NUMBERED,
    NumeralCheck,
    check_numerals,
    marks_beyond,
    renumbered,
)
from vision.graduations.search import Effort
from vision.graduations.stray_marks import stray_marks
from vision.parameters import (
    A_MARK_BESIDE,
    BELIEVED_SHOWN,
    BESIDE_LOG_ODDS,
    CLEAR_RESIDUAL,
    COUNTED_RESIDUAL,
    FAR_LONGER,
    FEWEST_LABELS,
    MOST_RIMS,
    MOST_ROWS_BESIDE,
    MOST_STRAY_MARKS,
    MOST_UNMATCHED_MARKS,
    ONE_MARK,
    RIVAL_SHARE,
    UNSOUND_SEEN_RESIDUAL,
)
from vision.volume.locate import (
    Hints,
    apart,
    in_other_looks,
    placed,
    places_beside,
    row_elsewhere,
    row_in,
)

_TYPED = ("The printed numbers that can be read do not fit the value that was typed.  Look again "
          "which mark was meant, and type its value.")
#: Flags that say that the row is not the chosen scale.
NO_SCALE = frozenset({"wrong-scale", "no-chamber"})


@dataclass(frozen=True)
class NumberedScale:
    """The row with every mark's value settled.

    ``check`` is what the printed numbers said; ``flags``
    are what a reader has to know about how it was settled.
    """

    fit: GraduationFit
    check: NumeralCheck | None
    flags: tuple[str, ...] = ()


@dataclass(frozen=True)
class Ambiguous:
    """The values are not settled: the last of ``flags`` says why, ``sentence`` in words where
    the flag's own do not do; ``question`` is the kind of ``Question`` that would settle it."""

    fit: GraduationFit
    check: NumeralCheck | None
    flags: tuple[str, ...]
    question: Literal["number", "which-chamber", ""]
    sentence: str = ""


def number(fit: GraduationFit, hints: Hints | None = None) -> NumberedScale | Ambiguous:
    """Settle the value of every mark.

    Parameters
    ----------
    fit : GraduationFit
        The row as :func:`vision.volume.locate.locate` found it, with its ``picture``.
    hints : Hints, optional
        What a person has pointed at or typed, in pixels of the upright photo.

    Returns
    -------
    NumberedScale or Ambiguous
        ``fit`` of the result may be another row than the one given: where its numbers did
        not say which mark is which, rows elsewhere and in other looks are asked; where they
        say that the marks are numbered wrongly, the row is fitted again their way.
    """
    hints = hints or Hints()
    check = check_numerals(fit, at_a_glance=_far_longer(fit))
    if hints.number is not None:
        return _as_typed(fit, check)
    if hints.chamber_px is None and second_chamber(fit, check, hints):
        return Ambiguous(fit, check, ("several-chambers",), "which-chamber")
    found, settled = fit, check.verdict == "agree"
    fit, check = _row_with_numbers(fit, check, hints)
    fit, check, refuted = _followed(fit, check, hints)
    fit, check = better_by_a_mark(fit, check, hints, refuted)
    fit, check = _level_with_numbers(fit, check, hints)
    # beside a row that is settled it is looked for more than beside one that is not
    if hints.chamber_px is None and not settled and fit is not found and second_chamber(
            fit, check, hints):
        return Ambiguous(fit, check, ("several-chambers",), "which-chamber")
    return _decided(fit, check)


def _as_typed(fit: GraduationFit, check: NumeralCheck) -> NumberedScale | Ambiguous:
    """The numbering that a person typed, unless what is in the photo speaks against it.

    The marks cannot prove it (or nobody would have been asked); legible numbers, a row that is
    no scale and marks beyond its ends can disprove it.
    """
    if check.verdict in ("disagree", "other"):
        return Ambiguous(fit, check, ("number-given", "numerals-disagree"), "number", _TYPED)
    if check.verdict != "agree" and fit.shown.mean() < BELIEVED_SHOWN:
        return Ambiguous(fit, check, ("number-given", "no-chamber"), "")
    if stray_marks(fit) > MOST_STRAY_MARKS:
        return Ambiguous(fit, check, ("number-given", "wrong-scale"), "")
    return NumberedScale(fit, check, ("number-given",))


def _decided(fit: GraduationFit, check: NumeralCheck) -> NumberedScale | Ambiguous:
    """The table of what settles a numbering, and what does not."""
    if check.verdict != "agree" and fit.shown.mean() < BELIEVED_SHOWN:
        return Ambiguous(fit, check, ("no-chamber",), "")
    if check.verdict in ("disagree", "other"):
        return Ambiguous(fit, check, ("numerals-disagree",), "number", check.sentence)
    unread = check.verdict == "unread"
    # a number is asked for only where it could settle what is believed to be a scale
    if unread and not fit.is_of_marks:
        return Ambiguous(fit, check, ("no-chamber",), "")
    if unread and fit.relative_residual >= UNSOUND_SEEN_RESIDUAL:
        return Ambiguous(fit, check, ("marks-out-of-place",), "")
    legible = sum(confidence > LEGIBLE for _, text, confidence in check.labels if text)
    if not accept_by_count(fit, check.count_complete) if unread else reject_by_marks(fit, legible):
        return Ambiguous(fit, check, ("numbering-unsettled",), "number")
    flags = ("numerals-unread",) if unread else ()
    # rims of lid and collar look like marks, too: a few do not unsettle what numbers prove
    # where all marks lie in place
    proved = not unread and fit.relative_residual < COUNTED_RESIDUAL
    if check.unmatched_marks > (MOST_RIMS if proved else MOST_UNMATCHED_MARKS) or (
            stray_marks(fit) > MOST_STRAY_MARKS):
        return Ambiguous(fit, check, (*flags, "wrong-scale"), "number")
    return NumberedScale(fit, check, flags)


def second_chamber(fit: GraduationFit, check: NumeralCheck, hints: Hints) -> bool:
    """Whether another row of marks is a chamber of this scale, numerals and all.

    A rule printed on the panel has marks like a chamber; its numbers tell it apart.
    """
    if fit.picture is None:
        return False
    places = [] if fit.rival <= RIVAL_SHARE or fit.rival_px is None else [("grey", fit.rival_px)]
    settled = check.verdict == "agree"
    if settled:
        places = [*places, *places_beside(fit)][:MOST_ROWS_BESIDE]
    for look, place in places:
        other = row_in(fit.picture, look, fit.scale, hints, near=place, effort=Effort.FIRST)
        if other is None or not apart(fit, other):
            continue
        # where neither row has legible numbers, both may be the chamber; a row with as many
        # marks as the scale, all there and in place, is hardly a rule on a panel
        seen = check_numerals(other)
        whole = other.is_clear and accept_by_count(other, seen.count_complete)
        if seen.verdict in NUMBERED or seen.verdict == "unread" and (whole or not settled):
            return True
    return False


def _row_with_numbers(fit: GraduationFit, check: NumeralCheck, hints: Hints
                      ) -> tuple[GraduationFit, NumeralCheck]:
    """The first row whose numbers say which mark is which; else one whose marks settle it by
    their count; else the row given."""
    if check.verdict in NUMBERED:
        return fit, check
    looked_at: list[tuple[GraduationFit, NumeralCheck]] = []
    for row in chain([fit], _other_rows(fit, check, hints)):
        seen = check if row is fit else check_numerals(row, at_a_glance=fit.is_clear)
        found = as_preferred(row, seen, hints)
        if found is not None and not _less_in_place(fit, check, found[0]):
            return _in_the_first_look(fit, check, *found)
        looked_at.append((row, seen))
    return _counted(looked_at) or (fit, check)


def _less_in_place(first: GraduationFit, check: NumeralCheck, row: GraduationFit) -> bool:
    """Whether a row's numbers are read where its marks are out of place, while those of the first
    look lie in place and settle the numbering by their count."""
    return (_counts(first, check) and row is not first and first.is_clear and not row.is_clear
            and not _numbered_alike(first, row))


def _in_the_first_look(first: GraduationFit, check: NumeralCheck, row: GraduationFit,
                       seen: NumeralCheck) -> tuple[GraduationFit, NumeralCheck]:
    """The row with the marks of the first look, where those lie better in place and settle the
    numbering by their count, and another look's numbers prove the same one: each from the look
    that shows it."""
    better = first.relative_residual < row.relative_residual
    if not (better and seen.verdict == "agree" and _counts(first, check)
            and _numbered_alike(first, row)):
        return row, seen
    return first, replace(seen, count_complete=check.count_complete,
                          unmatched_marks=check.unmatched_marks)


def _counts(fit: GraduationFit, check: NumeralCheck) -> bool:
    """Whether the count of the marks settles the numbering, and no number speaks against it."""
    return check.verdict == "unread" and accept_by_count(fit, check.count_complete)


def _numbered_alike(a: GraduationFit, b: GraduationFit) -> bool:
    """Whether two rows give the same marks the same values."""
    at, there = (row.pose.project(row.pose.on_wall(np.zeros(len(a.height_mm)), a.height_mm))
                 for row in (a, b))
    gap = np.hypot(*np.diff(at, axis=0).T)
    return float(np.median(np.hypot(*(at - there).T))) < ONE_MARK * float(np.median(gap))


def _other_rows(fit: GraduationFit, check: NumeralCheck, hints: Hints) -> Iterator[GraduationFit]:
    """Other rows of marks that may be the scale: elsewhere, or in another look, unless this one
    shows plainly, with numbers that are not those of the scale."""
    longer = check.verdict == "unread" and _far_longer(fit)
    elsewhere = row_elsewhere(fit, hints, Effort.GLANCE if longer else Effort.FIRST)
    if elsewhere is not None:
        yield elsewhere
    in_place = fit.relative_residual < CLEAR_RESIDUAL and fit.is_of_marks
    if not (in_place and check.verdict == "disagree" and _of_another_scale(fit, check)):
        yield from in_other_looks(fit, hints, Effort.GLANCE if longer else None)


def _far_longer(fit: GraduationFit) -> bool:
    """Whether a clear row goes on far beyond the ends of the scale, as a blind or a rule does: no
    numbering of it would be believed, in whatever look, and only another row may be the scale."""
    return (fit.is_clear and fit.is_of_marks
            and marks_beyond(fit) > MOST_RIMS + FAR_LONGER * len(fit.scale.marks))


def _of_another_scale(fit: GraduationFit, check: NumeralCheck) -> bool:
    """Whether the labels are a scale's, and not this one's: all that are legible, but for one that
    may be misread, go up or down as they stand, and they are not all off by as much, as those of a
    row out of place are."""
    told = [(fit.scale.marks[mark].value, float(text))
            for mark, text, confidence in check.labels if text and confidence > LEGIBLE]
    told.sort()
    off_by = []
    for some in (told, *(told[:k] + told[k + 1:] for k in range(len(told)))):
        ours, theirs = np.array(some).reshape(-1, 2).T
        step = np.diff(theirs)
        if len(some) >= FEWEST_LABELS and (np.all(step > 0) or np.all(step < 0)):
            off_by.append(float(np.ptp(theirs - ours)))
    return min(off_by, default=0.0) > fit.scale.smallest_division


def _counted(looked_at: Sequence[tuple[GraduationFit, NumeralCheck]]
             ) -> tuple[GraduationFit, NumeralCheck] | None:
    """The same marks in another look that shows them to their ends, where the numbers say
    nothing; None where they do in the first, or speak for another numbering in some look.

    Ink of one colour can be hidden in a look in which the others of the same row are seen.
    """
    (first, check), *others = looked_at
    rows = [(first, check), *((row, seen) for row, seen in others
                              if row.is_of_marks and not apart(first, row))]
    if accept_by_count(first, check.count_complete) or any(
            row.evidence.margin(0) < 0.0 or seen.verdict != "unread" for row, seen in rows):
        return None
    counted = [(row, seen) for row, seen in rows if accept_by_count(row, seen.count_complete)]
    return max(counted, key=lambda one: one[0].evidence.margin(0), default=None)


def as_preferred(fit: GraduationFit, check: NumeralCheck, hints: Hints
                 ) -> tuple[GraduationFit, NumeralCheck] | None:
    """The row if its numbers say which mark is which, now or once their preference is followed."""
    if check.verdict in NUMBERED:
        return fit, check
    if check.preferred_shift:
        again = _shifted(fit, check.preferred_shift, hints)
        if again is not None and (seen := check_numerals(again)).verdict == "agree":
            return again, seen
    return None


def _followed(fit: GraduationFit, check: NumeralCheck, hints: Hints
              ) -> tuple[GraduationFit, NumeralCheck, list[int]]:
    """The row fitted again with the numbering that its numbers prove, and how many marks away from
    it those are that they have refuted on the way."""
    refuted: list[int] = []
    for _ in range(2):  # a row that was far off may need a second step
        if check.verdict != "other":
            break
        again = _shifted(fit, check.shift, hints)
        if again is None:
            break
        refuted = [-check.shift, *(k - check.shift for k in refuted)]
        fit, check = again, check_numerals(again)
    return fit, check, refuted


def better_by_a_mark(fit: GraduationFit, check: NumeralCheck, hints: Hints,
                     refuted: Sequence[int] = ()) -> tuple[GraduationFit, NumeralCheck]:
    """The row moved to where its marks end, if the numbers agree there as well or better.

    A number can be read from one mark beside its own: where the marks speak for
    another place, that is looked at too, unless it is so many marks away as one that the numbers
    have ``refuted``.
    """
    shift = fit.evidence.best_shift
    if check.verdict != "agree" or shift == 0 or shift in refuted:
        return fit, check
    again = _shifted(fit, shift, hints)
    seen = None if again is None else check_numerals(again)
    if again is None or seen is None or seen.verdict != "agree" or (
            (seen.unmatched_marks, -seen.log_odds) >= (check.unmatched_marks, -check.log_odds)):
        return fit, check
    return again, seen


def _level_with_numbers(fit: GraduationFit, check: NumeralCheck, hints: Hints
                        ) -> tuple[GraduationFit, NumeralCheck]:
    """The row moved by a mark where its numbers stand beside the next ones, if the marks do not
    speak clearly against it and the numbers then stand level with theirs."""
    above = numbers_above_marks(fit, check.side) if check.verdict == "agree" else None
    if above is None or abs(abs(above) - 1.0) > A_MARK_BESIDE:
        return fit, check
    shift = -round(above) if fit.evidence.step_mm > 0 else round(above)
    if fit.evidence.lead_over(shift) > BESIDE_LOG_ODDS:
        return fit, check
    again = _shifted(fit, shift, hints)
    seen = None if again is None else check_numerals(again)
    if again is None or seen is None or seen.verdict != "agree":
        return fit, check
    now = numbers_above_marks(again, seen.side)
    return (fit, check) if now is None or abs(now) > A_MARK_BESIDE else (again, seen)


def _shifted(fit: GraduationFit, shift: int, hints: Hints) -> GraduationFit | None:
    """The row fitted again with its numbering moved by ``shift`` marks."""
    again = placed(fit, renumbered(fit, shift), hints)
    return None if again is None else replace(
        again, strategy=f"{fit.strategy}, numbers followed".removeprefix(", "))
