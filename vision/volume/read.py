"""From a photo of the chamber to a reading: the one entry point of the main job."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import chain

import cv2
import numpy as np

from vision.budget import BudgetTerm
from vision.errors import InputError
from vision.flags import describe
from vision.graduations.decision import contradicted, counted, two_rows_fit
from vision.graduations.fit import Ladder, find_ladder, recentred
from vision.graduations.numeral_evidence import NumeralCheck, check_numerals, renumbered
from vision.graduations.search import longest_row
from vision.imaging.camera import focal_px
from vision.imaging.photo import Photo
from vision.imaging.quality import PhotoQuality, measure_quality, quality_flags
from vision.meniscus_image.detect import find_surface
from vision.reading import Question, Trace, VolumeReading
from vision.scale_file.scale import Scale
from vision.volume.annotations import ladder_traces, surface_traces
from vision.volume.decide import surface_refusal
from vision.volume.estimate import LevelEstimate, estimate_level

#: An unbroken row of so many strokes is some scale.
_A_SCALE_MARKS = 24
#: A later look of the picture has to be better by so much (nats).
_CLEARLY = 6.0
#: A row elsewhere that explains so much of what the best one does may be another chamber.
_A_RIVAL = 0.55
#: So many rows beside the chamber are looked at, whether they are another one.
_MOST_ROWS_BESIDE = 3
#: A scale with more marks beyond its ends than this is another one.
_MOST_STRANGERS = 2
#: What the numbers say when they say which mark is which.
_NUMBERED = ("agree", "other")
#: In what the marks are looked for: grey, its negative, red, green, blue.
_LOOKS: tuple[str | int, ...] = ("grey", "light print", 0, 1, 2)
#: How far beyond an end mark, in divisions, a level still counts as on the scale.
_END_SLACK_DIVISIONS = 0.3


@dataclass
class _Notes:
    """Flags and reasons gathered on the way."""

    flags: list[str] = field(default_factory=list)
    reasons: list[str] = field(default_factory=list)

    def add(self, flag: str, reason: str | None = None) -> None:
        if flag not in self.flags:
            self.flags.append(flag)
            self.reasons.append(reason or _sentence(flag))


def _apart(a: Ladder, b: Ladder) -> bool:
    """Whether two ladders are on two chambers."""
    height = float(np.median(a.height_mm))
    p, q = (x.pose.project(x.pose.on_wall(np.zeros(1), np.array([height])))[0] for x in (a, b))
    return bool(np.hypot(*(p - q)) > 1.6 * a.scale.outer_radius_mm * a.pose.px_per_mm(height))


def _sentence(flag: str) -> str:
    f = describe(flag)
    return f"{f.short}. {f.advice}".strip() if f.advice else f"{f.short}."


def read_volume(
    photo: Photo,
    scale: Scale,
    *,
    near: tuple[float, float] | None = None,
    number: tuple[float, tuple[float, float]] | None = None,
) -> VolumeReading:
    """Read the liquid level in ``photo`` against ``scale``.

    ``near`` is an (x, y) hint in pixels of the upright photo: which chamber, or
    where on it the surface is.  ``number`` is (value, (x, y)): a value typed by
    a person for the mark nearest that point.

    An honest "no reading" is a result, not an error.  Raises InputError for a
    scale without a bore, or a number that the scale does not have.
    """
    _check_input(photo, scale, near, number)
    return _Reader(photo, scale, near, number).read()


def _check_input(photo: Photo, scale: Scale, near: tuple[float, float] | None,
                 number: tuple[float, tuple[float, float]] | None) -> None:
    if scale.flat:
        raise InputError(f"The scale '{scale.name}' is a flat scale without a bore: "
                         "choose the scale of the chamber.")
    for point in [p for p in (near, number[1] if number else None) if p is not None]:
        if not (np.isfinite(point).all() and -1 <= point[0] <= photo.width
                and -1 <= point[1] <= photo.height):
            raise InputError("The point lies outside the photo: tap inside the picture.")
    if number is not None and not any(abs(m.value - number[0]) < 1e-6 for m in scale.marks):
        raise InputError(f"The scale '{scale.name}' has no mark {number[0]:g}: "
                         "type the value of a printed mark.")


class _Reader:
    """One reading in the making."""

    def __init__(self, photo: Photo, scale: Scale, near: tuple[float, float] | None,
                 number: tuple[float, tuple[float, float]] | None) -> None:
        self.photo, self.scale, self.near, self.number = photo, scale, near, number
        self.notes = _Notes()
        self.division = float(min(np.diff([m.value for m in scale.marks])))
        self.traces: list[Trace] = []
        self.rgb, self.factor = photo.working_rgb, photo.working_scale
        self.side = 0

    def read(self) -> VolumeReading:
        ladder = self._ladder()
        if (ladder is None or ladder.pitch_px < 9.0) and self.factor > 1:
            # small marks: the finer picture is worth its time
            self.rgb, self.factor = self.photo.rgb, 1
            ladder = self._ladder()
        if ladder is None:
            return self._no_chamber()
        quality = self._quality(ladder)
        ladder, refused = self._numbering(ladder)
        self.traces = ladder_traces(ladder, self.factor, self.side) + self.traces
        if refused:
            return self._result("refused", question=self.question)
        return self._surface(ladder, quality)

    # ------------------------------------------------------------- the ladder
    def _to_work(self, point: tuple[float, float]) -> tuple[float, float]:
        x, y = ((np.asarray(point, float) + 0.5) / self.factor - 0.5)
        return float(x), float(y)

    def _ladder(self, fixed: tuple[float, tuple[float, float]] | None = None,
                near: tuple[float, float] | None = None) -> Ladder | None:
        """Search in grey, and in single colours where coloured ink or liquid hides marks.

        ``fixed`` gives a mark its (value, point), ``near`` says on which chamber, both
        in the picture searched.
        """
        best: Ladder | None = None
        for look in _LOOKS:
            ladder = self._ladder_in(look, fixed, near)
            if ladder is not None and (best is None or ladder.worth > best.worth + _CLEARLY):
                best = ladder
            if best is not None and best.neat:
                break
        return None if best is None else recentred(best)

    def _ladder_in(self, look: str | int, fixed: tuple[float, tuple[float, float]] | None = None,
                   near: tuple[float, float] | None = None) -> Ladder | None:
        """Search in one look of the picture: grey, its negative, or one colour."""
        focal = focal_px(self.photo.camera, self.rgb.shape[1], self.rgb.shape[0])
        hint = self.near or (self.number[1] if self.number else None)
        if near is None and hint is not None:
            near = self._to_work(hint)
        if fixed is None and self.number is not None:
            fixed = (self.number[0], self._to_work(self.number[1]))
        if isinstance(look, int):
            grey = np.ascontiguousarray(self.rgb[..., look])
        else:
            grey = cv2.cvtColor(self.rgb, cv2.COLOR_RGB2GRAY)
            grey = grey if look == "grey" else cv2.bitwise_not(grey)
        return find_ladder(grey.astype(np.float32), self.scale, focal=focal, fixed=fixed,
                           near=near)

    def _other_rows(self, ladder: Ladder) -> Iterator[Ladder]:
        """Other rows of marks that may be the scale: elsewhere, or seen in another look.

        There are none where a person has pointed at the row that is meant.

        A rule on the panel may show more marks than the chamber does, and slats
        mirrored in the wall are a row too: the numbers say which is the scale.
        """
        if self.near is not None:
            return
        if ladder.elsewhere_px is not None:
            other = self._ladder(near=ladder.elsewhere_px)
            if other is not None:
                yield other
        for look in _LOOKS:
            other = self._ladder_in(look)
            if other is not None:
                yield other

    def _second_chamber(self, ladder: Ladder, check: NumeralCheck) -> bool:
        """Whether another row of marks is a chamber of this scale, numerals and all.

        A rule printed on the panel has marks like a chamber; its numbers tell it apart.
        """
        strong = [] if ladder.rival <= _A_RIVAL or ladder.rival_px is None else [ladder.rival_px]
        settled = check.verdict == "agree"
        for place in [*strong, *ladder.beside_px][:_MOST_ROWS_BESIDE] if settled else strong:
            other = self._ladder_in("grey", near=place)
            if other is None or not _apart(ladder, other):
                continue
            # where neither row has legible numbers, both may be the chamber; two rows of
            # different spacing, all there and in place, are no rule on a panel
            verdict = check_numerals(other).verdict
            whole = other.neat and two_rows_fit(other)
            if verdict == "agree" or verdict == "unread" and (whole or not settled):
                return True
        return False

    def _no_chamber(self) -> VolumeReading:
        if longest_row(self.photo.working_gray.astype(np.float32)) >= _A_SCALE_MARKS:
            self.notes.add("wrong-scale", "There are rows of marks in the photo, but none fits "
                                          f"the scale {self.scale.name}: choose the scale of this "
                                          "chamber.")
        else:
            self.notes.add("no-chamber")
        quality = measure_quality(self.photo.working_gray)
        for name in quality_flags(quality):
            self.notes.add(name)
        return self._result("refused")

    def _quality(self, ladder: Ladder) -> PhotoQuality:
        p = ladder.pose.project(ladder.pose.on_wall(
            np.array([-1.2, 1.2, -1.2, 1.2]),
            np.repeat([self.scale.lowest_mark.height_mm, self.scale.highest_mark.height_mm], 2)))
        h, w = ladder.grey.shape
        x0, y0 = (int(np.clip(v, 0, m - 2)) for v, m in zip(p.min(axis=0), (w, h), strict=True))
        x1, y1 = (int(np.clip(v, a + 2, m)) for v, a, m in zip(
            p.max(axis=0), (x0, y0), (w, h), strict=True))
        quality = measure_quality(ladder.grey[y0:y1, x0:x1])
        for name in quality_flags(quality, ladder.pitch_px):
            self.notes.add(name)
        if not ladder.focal_known:
            self.notes.add("focal-unknown")
        if self.photo.camera.digital_zoom > 1.01:
            self.notes.add("zoomed")
        return quality

    def _numbering(self, ladder: Ladder) -> tuple[Ladder, bool]:
        """The ladder with its numbering settled, or the same and True: refused."""
        self.question: Question | None = None
        if self.number is not None:
            self.notes.add("number-given")
            return ladder, False
        check = check_numerals(ladder)
        if self.near is None and self._second_chamber(ladder, check):
            self.notes.add("several-chambers")
            self.question = Question("which-chamber", "Tap the chamber that is meant.")
            return ladder, True
        if check.verdict not in _NUMBERED:
            for other in chain([ladder], self._other_rows(ladder)):
                found = self._numbered(other, check if other is ladder else check_numerals(other))
                if found is not None:
                    ladder, check = found
                    break
        self.side = check.side
        for _ in range(2):  # a ladder that was far off may need a second step
            if check.verdict != "other":
                break
            again = self._ladder(fixed := renumbered(ladder, check.shift), near=fixed[1])
            if again is None:
                break
            ladder, check = again, check_numerals(again)
        ladder, check = self._by_a_mark(ladder, check)
        self.question = Question("number", "Tap one printed mark and type its value.")
        if check.verdict in ("disagree", "other"):
            self.notes.add("numerals-disagree", check.sentence or None)
            return ladder, True
        if check.verdict == "unread":
            if not counted(ladder, check.count_complete):
                self.notes.add("numbering-unsettled")
                return ladder, True
            self.notes.add("numerals-unread")
        elif contradicted(ladder):
            self.notes.add("numbering-unsettled")
            return ladder, True
        if check.strangers > _MOST_STRANGERS:
            self.notes.add("wrong-scale")
            return ladder, True
        self.question = None
        return ladder, False

    def _numbered(self, ladder: Ladder, check: NumeralCheck
                  ) -> tuple[Ladder, NumeralCheck] | None:
        """The ladder if its numbers say which mark is which, now or once they were followed."""
        if check.verdict in _NUMBERED:
            return ladder, check
        if check.leaning:
            again = self._ladder(fixed := renumbered(ladder, check.leaning), near=fixed[1])
            if again is not None and (seen := check_numerals(again)).verdict == "agree":
                return again, seen
        return None

    def _by_a_mark(self, ladder: Ladder, check: NumeralCheck) -> tuple[Ladder, NumeralCheck]:
        """The ladder moved to where its marks end, if the numbers agree there as well or better.

        A number can be read from one mark beside its own: where the marks speak for
        another place, that is looked at too.
        """
        shift = ladder.evidence.best_shift
        if check.verdict != "agree" or shift == 0:
            return ladder, check
        again = self._ladder(fixed := renumbered(ladder, shift), near=fixed[1])
        seen = None if again is None else check_numerals(again)
        if again is None or seen is None or seen.verdict != "agree" or (
                (seen.strangers, -seen.lead) >= (check.strangers, -check.lead)):
            return ladder, check
        return again, seen

    # ------------------------------------------------------------ the surface
    def _surface(self, ladder: Ladder, quality: PhotoQuality) -> VolumeReading:
        middle = float(np.median(ladder.height_mm))
        px_mm = ladder.pose.px_per_mm(middle)
        near_mm = None
        if self.near is not None:
            _, z = ladder.pose.wall_coordinates(np.array([self._to_work(self.near)]))
            low, high = sorted((self.scale.lowest_mark.height_mm,
                                self.scale.highest_mark.height_mm))
            # A tap on the chamber that is meant need not be on its surface; it
            # only narrows the search once candidates compete.
            near_mm = float(z[0]) if low - 8 < z[0] < high + 16 else None
        surface = find_surface(self.rgb, ladder, px_mm)
        refusal = surface_refusal(surface, ladder, quality)
        if refusal is not None and refusal.flag == "competing-surfaces" and near_mm is not None:
            surface = find_surface(self.rgb, ladder, px_mm, near_mm)
            refusal = surface_refusal(surface, ladder, quality)
        estimate = estimate_level(surface, ladder, self.scale)
        self.traces += surface_traces(surface, estimate, ladder, self.factor)
        candidates = tuple(float(self.scale.value_at(c.height_mm)) for c in surface.candidates)
        if refusal is not None:
            self.notes.add(refusal.flag, refusal.sentence)
            question = Question("which-surface", "Tap the liquid surface in the picture.") \
                if refusal.flag == "competing-surfaces" else None
            return self._result("refused", estimate=estimate, candidates=candidates,
                                question=question, valued=False)
        for flag in estimate.flags:
            self.notes.add(flag)
        status = self._range(estimate)
        return self._result(status, estimate=estimate, candidates=candidates,
                            valued=status == "read")

    def _range(self, e: LevelEstimate) -> str:
        low, high = self.scale.lowest_mark.value, self.scale.highest_mark.value
        # a level at an end mark may be found a hair beyond it
        hair = _END_SLACK_DIVISIONS * self.division
        if e.value < low - hair:
            self.notes.add("below-lowest-mark")
            return "below-scale"
        if e.value > high + hair:
            self.notes.add("above-highest-mark")
            return "above-scale"
        return "read"

    def _result(self, status: str, *, estimate: LevelEstimate | None = None,
                question: Question | None = None, candidates: tuple[float, ...] = (),
                valued: bool = False) -> VolumeReading:
        e = estimate
        at = None if e is None else (e.surface_px[0], e.surface_px[1])
        if at is not None:
            x, y = (np.asarray(at) + 0.5) * self.factor - 0.5
            at = (float(x), float(y))
        budget: tuple[BudgetTerm, ...] = () if e is None or not valued else e.budget
        return VolumeReading(
            status=status,  # type: ignore[arg-type]
            unit=self.scale.unit, scale=self.scale.name,
            division=self.division if e is None else self.scale.division_at(e.value),
            value=e.value if e is not None and valued else None,
            interval=e.interval if e is not None and valued else None,
            naive_value=e.naive_value if e is not None and valued else None,
            elevation_deg=None if e is None else e.elevation_deg,
            elevation_sd_deg=None if e is None else e.elevation_sd_deg,
            surface_px=at, flags=tuple(self.notes.flags), reasons=tuple(self.notes.reasons),
            budget=budget, question=question, candidates=candidates, traces=tuple(self.traces))
