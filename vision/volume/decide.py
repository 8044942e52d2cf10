"""Last stage: is it read, is it off the scale, or why not.  All evidence in, one reading out.

When nothing is read stands in one table; the first line that holds is the reason.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from vision.flags import describe
from vision.imaging.quality import quality_flags
from vision.meniscus_image.misread_risk import largest_chance
from vision.parameters import (
    ABSENT,
    BLUR_SHARE_OF_PITCH,
    END_SLACK_DIVISIONS,
    LEAST_CONTRAST,
    LEAST_PITCH_PX,
    MENISCUS_ROOM_MM,
    OTHER_SIDE_NATS,
    SOME_SCALE_MARKS,
    STEEPEST_DEG,
    SURE_PLACE,
    UNLIKE_ODDS,
    UNSOUND_RESIDUAL,
    UNSOUND_SEEN_RESIDUAL,
    WRONG_SCALE_RESIDUAL,
)
from vision.reading import Question, VolumeReading, VolumeStatus
from vision.scale_file.scale import Scale
from vision.volume.annotations import graduation_annotations, meniscus_annotations
from vision.volume.evidence import PhotoEvidence
from vision.volume.number import NO_SCALE, Ambiguous, NumberedScale

_QUESTIONS: dict[str, Question] = {
    "which-chamber": Question("which-chamber", "Tap the chamber that is meant."),
    "number": Question("number", "Tap one printed mark and type its value."),
    "which-surface": Question("which-surface", "Tap the liquid surface in the picture."),
}


@dataclass(frozen=True)
class Refusal:
    """One reason not to read: a flag of ``vision.flags``, when it holds, the sentence for
    the person ("" for the flag's own words), and the kind of question that would settle it.

    ``{scale}`` in the sentence stands for the name of the scale.
    """

    flag: str
    holds: Callable[[PhotoEvidence], bool]
    sentence: str = ""
    question: Literal["", "which-surface"] = ""


def _pitch_px(e: PhotoEvidence) -> float:
    assert e.fit is not None
    return e.fit.pitch_px


def _elevation_deg(e: PhotoEvidence) -> float:
    """Elevation where the surface was found; in the middle of the marks where it was not."""
    assert e.fit is not None
    found = e.meniscus is not None and e.meniscus.candidates
    height = e.meniscus.level_mm if e.meniscus is not None and found else float(
        np.median(e.fit.height_mm))
    return math.degrees(float(e.fit.pose.elevation_rad(height)))


def _absent(e: PhotoEvidence) -> bool:
    return e.meniscus is not None and (
        not e.meniscus.candidates or e.meniscus.p_absent > ABSENT)


def _out_of_place(e: PhotoEvidence) -> bool:
    """Whether the marks lie too badly for the view that follows from them; less badly, where the
    surface looks as it does in that view."""
    m, residual = e.meniscus, 0.0 if e.fit is None else e.fit.relative_residual
    seen = m is not None and bool(m.candidates) and m.odds >= UNLIKE_ODDS
    return residual > (UNSOUND_SEEN_RESIDUAL if seen else UNSOUND_RESIDUAL)


def _at_step(e: PhotoEvidence) -> bool:
    """Whether what looks most like a surface lies at a step, and nothing else stands out."""
    m = e.meniscus
    return m is not None and m.at_step and (_absent(e) or not m.competing and _unsure(e))


def _unsure(e: PhotoEvidence) -> bool:
    return e.meniscus is not None and (
        e.meniscus.candidates[0].weight < SURE_PLACE or e.meniscus.doubted)


def _faint(e: PhotoEvidence) -> bool:
    return e.meniscus is not None and (
        e.meniscus.line is None or e.meniscus.line.contrast < LEAST_CONTRAST)


def _cut_off(e: PhotoEvidence) -> bool:
    """Whether the photo ends beside the surface: what is seen there may be the edge of the
    photo, or one rim of a surface whose other rim is not in it.

    Seen from an elevation e the back rim stands 2 R tan e from the front one.
    """
    if e.fit is None or e.meniscus is None or not e.meniscus.candidates:
        return False
    rims = 2.0 * e.meniscus.bore_radius_mm * math.tan(math.radians(abs(_elevation_deg(e))))
    room = max(rims, MENISCUS_ROOM_MM)
    ends = e.fit.pose.project(e.fit.pose.on_wall(
        np.zeros(3), e.meniscus.reference_mm + np.array([-room, 0.0, room])))
    h, w = e.fit.grey.shape
    inside = (ends >= 0.0) & (ends <= [w - 1.0, h - 1.0])  # no number where behind the camera
    return not bool(inside.all())


def _misread_risk(e: PhotoEvidence) -> bool:
    return e.meniscus is not None and e.meniscus.chance_of_misreading(
        e.scale) > largest_chance(_elevation_deg(e), e.meniscus.wall_mm, e.meniscus.hidden)


#: Where no row fits the scale.
NO_ROW: tuple[Refusal, ...] = (
    Refusal("wrong-scale", lambda e: e.unlocated is not None
            and e.unlocated.longest_row >= SOME_SCALE_MARKS,
        "There are rows of marks in the photo, but none fits the scale {scale}: choose the "
        "scale of this chamber."),
    Refusal("no-chamber", lambda e: True),
)

#: Where the row is numbered: reasons in the photo and the marks, then in the surface.
NOT_READ: tuple[Refusal, ...] = (
    Refusal("few-pixels", lambda e: _pitch_px(e) < LEAST_PITCH_PX,
            "The marks are too small in the photo to be told apart: go nearer and take "
            "another photo."),
    Refusal("blurred", lambda e: e.quality.blur_px is not None
            and e.quality.blur_px > BLUR_SHARE_OF_PITCH * _pitch_px(e),
            "The photo is too blurred for this scale: hold the phone still, let it focus and "
            "take another photo."),
    Refusal("steep-view", lambda e: abs(_elevation_deg(e)) > STEEPEST_DEG,
            "The chamber was seen too steeply: hold the phone at the height of the liquid "
            "surface."),
    Refusal("wrong-scale", lambda e: e.fit is not None
            and e.fit.relative_residual > WRONG_SCALE_RESIDUAL,
            "The marks in the photo do not fit the chosen scale: choose the scale of this "
            "chamber."),
    Refusal("marks-out-of-place", lambda e: e.fit is not None and (
        _out_of_place(e) or not e.fit.is_of_marks)),
    Refusal("surface-cut-off", _cut_off),
    Refusal("surface-not-found", _at_step,
            "The line that was found lies at a step of the chamber, whose rim looks like a "
            "surface.  Look yourself, or hold the phone at the height of the step and take "
            "another photo."),
    Refusal("surface-not-found", _absent,
            "No liquid surface was found in the chamber: it may be covered, empty or full.  "
            "Look yourself, or change the light or the background and take another photo."),
    Refusal("competing-surfaces", lambda e: e.meniscus is not None and e.meniscus.competing,
            question="which-surface"),
    Refusal("surface-not-found", _unsure,
            "The liquid surface does not stand out: change the light or the background and "
            "take another photo."),
    Refusal("surface-not-found", _faint,
            "The edge of the liquid is too faint to be placed: change the light or the "
            "background and take another photo."),
    Refusal("surface-not-found", lambda e: e.meniscus is not None and e.meniscus.ring,
            "What was found looks like a printed ring, no liquid surface: is the chamber empty?  "
            "Look yourself, or change the light or the background and take another photo."),
    Refusal("view-contradicts", lambda e: e.meniscus is not None
            and e.meniscus.other_side_nats > OTHER_SIDE_NATS),
    Refusal("surface-not-found", lambda e: e.meniscus is not None and e.meniscus.of_the_room,
            "The line that was found may be of what is behind the chamber: hold something even "
            "behind it, or move the phone, and take another photo."),
    Refusal("surface-not-found", lambda e: e.meniscus is not None and e.meniscus.of_a_light,
            "The line that was found may be where a light mirrored in the wall ends.  Look "
            "yourself, or move the light or the phone, and take another photo."),
    Refusal("surface-not-found", lambda e: e.meniscus is not None and e.meniscus.parts_nothing,
            "The tube looks the same above and below the line that was found: it may be a film or "
            "the trace of an earlier level.  Look yourself, or change the light or the background "
            "and take another photo."),
    Refusal("surface-covered", lambda e: e.meniscus is not None and e.meniscus.occluded,
            "The edge that was found is of something before or just behind the chamber: it runs on "
            "past it, or the marks it hides are seen again beyond.  Take that away, or move the "
            "phone, and take another photo."),
    Refusal("meniscus-uncertain", lambda e: _misread_risk(e) and e.meniscus is not None
            and e.meniscus.hidden,
            "The liquid is so dark that its curved edge does not show: take another photo from a "
            "little above, so that the surface itself is seen."),
    Refusal("meniscus-uncertain", _misread_risk),
)

#: With these nothing that was made of the marks is believed, nor shown.
_NOT_BELIEVED = NO_SCALE | {"marks-out-of-place", "on-its-side"}


def refusal_of(evidence: PhotoEvidence) -> Refusal | None:
    """The first reason not to read a row that is numbered; None when it can be read."""
    return next((r for r in NOT_READ if r.holds(evidence)), None)


def decide(evidence: PhotoEvidence) -> VolumeReading:
    """The reading that the evidence of one photo allows.

    Parameters
    ----------
    evidence : PhotoEvidence
        From :func:`vision.volume.evidence.gather`.

    Returns
    -------
    VolumeReading
        With ``value`` and ``interval`` only where ``status`` is "read"; its ``flags`` and
        ``reasons`` go in pairs.
    """
    said = dict(_said(evidence))
    if evidence.unlocated is not None and evidence.unlocated.on_its_side:
        rest = {flag: why for flag, why in said.items() if flag not in NO_SCALE}
        said = {"on-its-side": sentence_of("on-its-side"), **rest}
    if isinstance(evidence.numbering, Ambiguous):
        question = _QUESTIONS.get(evidence.numbering.question)
        return _reading(evidence, "refused", said, question)
    if evidence.level is None:
        return _reading(evidence, "refused", said)
    refusal = refusal_of(evidence)
    if refusal is not None:
        said.setdefault(refusal.flag, _words(refusal, evidence))
        return _reading(evidence, "refused", said, _QUESTIONS.get(refusal.question))
    for flag in evidence.level.flags:
        said.setdefault(flag, sentence_of(flag))
    status, flag = range_status(evidence.scale, evidence.level.value)
    if flag:
        said.setdefault(flag, sentence_of(flag))
    return _reading(evidence, status, said)


def sentence_of(flag: str) -> str:
    """The flag's own words, with what to do about it."""
    f = describe(flag)
    return f"{f.short}. {f.advice}".strip() if f.advice else f"{f.short}."


def _words(refusal: Refusal, evidence: PhotoEvidence) -> str:
    return (refusal.sentence or sentence_of(refusal.flag)).format(scale=evidence.scale.name)


def _said(evidence: PhotoEvidence) -> Iterator[tuple[str, str]]:
    """Flags with their sentences, as far as photo and marks go."""
    if evidence.fit is None or evidence.located is None:
        # what is wrong with the photo itself hides the rest
        for flag in quality_flags(evidence.quality):
            yield flag, sentence_of(flag)
        refusal = next(r for r in NO_ROW if r.holds(evidence))
        yield refusal.flag, _words(refusal, evidence)
        return
    for flag in quality_flags(evidence.quality, evidence.located.pitch_px):
        yield flag, sentence_of(flag)
    zoomed = evidence.photo.camera.digital_zoom > 1.01  # cut out by the camera itself
    if evidence.located.cut and not zoomed:
        yield "part-of-photo", sentence_of("part-of-photo")
    elif not evidence.located.focal_known:
        yield "focal-unknown", sentence_of("focal-unknown")
    if zoomed:
        yield "zoomed", sentence_of("zoomed")
    if not evidence.plumb:
        yield "sensor-disagrees", sentence_of("sensor-disagrees")
    if evidence.numbering is not None:
        for flag in evidence.numbering.flags:
            yield flag, getattr(evidence.numbering, "sentence", "") or sentence_of(flag)


def range_status(scale: Scale, value: float) -> tuple[VolumeStatus, str]:
    """Whether a level lies on the scale, and the flag that says where else.

    A level at an end mark may be found a hair beyond it.
    """
    hair = END_SLACK_DIVISIONS * scale.smallest_division
    if value < scale.lowest_mark.value - hair:
        return "below-scale", "below-lowest-mark"
    if value > scale.highest_mark.value + hair:
        return "above-scale", "above-highest-mark"
    return "read", ""


def _reading(evidence: PhotoEvidence, status: VolumeStatus, said: dict[str, str],
             question: Question | None = None) -> VolumeReading:
    e, fit, meniscus = evidence.level, evidence.fit, evidence.meniscus
    scale, read = evidence.scale, status == "read"
    if "marks-out-of-place" in said:
        e = meniscus = None
    annotations = []
    settled = isinstance(evidence.numbering, NumberedScale)
    if fit is not None and not _NOT_BELIEVED & said.keys():
        check = None if evidence.numbering is None else evidence.numbering.check
        # marks that are no scale are not drawn, nor values that are not settled
        annotations += [a for a in graduation_annotations(fit, 0 if check is None else check.side)
                        if settled or a.role != "numeral"]
    at = None
    if fit is not None and fit.picture is not None and meniscus is not None and e is not None:
        # where nothing is read, only what was considered is drawn, and no reading
        annotations += [a for a in meniscus_annotations(meniscus, e, fit)
                        if status != "refused" or a.role not in ("reading", "interval")]
        x, y = fit.picture.to_photo(e.surface_px)
        at = (float(x), float(y))
    return VolumeReading(
        status=status, unit=scale.unit, scale=scale.name,
        division=scale.smallest_division if e is None else scale.division_at(e.value),
        value=e.value if e is not None and read else None,
        interval=e.interval if e is not None and read else None,
        naive_value=e.naive_value if e is not None and read else None,
        elevation_deg=None if e is None else e.elevation_deg,
        elevation_sd_deg=None if e is None else e.elevation_sd_deg,
        surface_px=at, flags=tuple(said), reasons=tuple(said.values()),
        budget=e.budget if e is not None and read else (), question=question,
        candidates=() if meniscus is None else tuple(
            float(scale.value_at(c.height_mm)) for c in meniscus.candidates),
        annotations=tuple(annotations), strategy="" if fit is None else fit.strategy)
