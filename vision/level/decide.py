"""Last stage: is it measured, or why not.  All evidence in, one result out.

When nothing is measured stands in one table; the first line that holds is the reason.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from vision.flags import describe
from vision.level.evidence import LevelEvidence
from vision.level.result import LevelReading, LevelScene
from vision.level.scene import scene_of
from vision.parameters import SAME_HEIGHT_MM, SMALL_CARD_PX, USELESS_OFFSET_MM
from vision.vertical.fusion import Gravity


@dataclass(frozen=True)
class Refusal:
    """One reason not to measure: a flag of ``vision.flags`` ("" for none), when it holds, and
    the sentence for the person ("" for the flag's own words).

    ``{doubled}`` in the sentence stands for the name of the card that was found twice.
    """

    flag: str
    holds: Callable[[LevelEvidence], bool]
    sentence: str = ""


def _useless(e: LevelEvidence) -> bool:
    assert e.offset is not None
    low, high = e.offset.interval_mm
    return (high - low) / 2 > USELESS_OFFSET_MM


NOT_MEASURED: tuple[Refusal, ...] = (
    Refusal("", lambda e: e.cards.doubled is not None,
            "More than one {doubled} is in the picture; leave only the one that is meant."),
    Refusal("zero-card-missing", lambda e: e.cards.missing == "any",
            "Neither card was found, so nothing shows the size of things; get one card in the "
            "picture, whole and sharp."),
    Refusal("zero-card-missing", lambda e: e.cards.missing == "zero"),
    Refusal("landmark-missing", lambda e: e.cards.missing == "landmark"),
    Refusal("no-gravity-cue", lambda e: e.fused is None),
    Refusal("", _useless, "The photo leaves the level open by more than "
                          f"{USELESS_OFFSET_MM / 10:.0f} cm either way."),
)


def decide(evidence: LevelEvidence) -> LevelReading:
    """The result that the evidence of one photo allows.

    Parameters
    ----------
    evidence : LevelEvidence
        From :func:`vision.level.evidence.gather`.

    Returns
    -------
    LevelReading
        With lengths only where ``status`` is "read".
    """
    refusal = next((r for r in NOT_MEASURED if r.holds(evidence)), None)
    mode, scene, strategy = evidence.inputs.mode, scene_of(evidence), evidence.cards.strategy
    words = () if refusal is None else (_words(refusal, evidence),)
    if evidence.fused is None or evidence.offset is None:
        assert refusal is not None
        return LevelReading("refused", mode, flags=(refusal.flag,) if refusal.flag else (),
                            reasons=words, scene=scene, strategy=strategy)
    gravity, offset = evidence.fused.best.gravity, evidence.offset
    coach = _coach(scene) if refusal is not None or mode != "cards" else ""
    if refusal is not None:
        return LevelReading("refused", mode, gravity_from=gravity.names, flags=_flags(evidence),
                            reasons=words, coach=coach, scene=scene,
                            strategy=strategy)
    low, high = offset.interval_mm
    tolerance = evidence.inputs.tolerance_mm
    return LevelReading(
        "read", mode, offset.offset_mm / 10, (low / 10, high / 10),
        offset.standard_uncertainty_mm / 10,
        tolerance_cm=None if tolerance is None else tolerance / 10,
        gravity_from=gravity.names, flags=_flags(evidence),
        reasons=_remarks(gravity, mode == "horizon"), budget=offset.budget, coach=coach,
        scene=scene, strategy=strategy)


def _words(refusal: Refusal, evidence: LevelEvidence) -> str:
    doubled = evidence.cards.doubled
    return (refusal.sentence or describe(refusal.flag).sentence).format(
        doubled="" if doubled is None else doubled.name)


def _flags(e: LevelEvidence) -> tuple[str, ...]:
    """Flags about the photo, the poses and the plumb cues."""
    assert e.gathered is not None and e.fused is not None
    gravity = e.fused.best.gravity
    raised = {
        "focal-unknown": not e.gathered.focal_known,
        "zoomed": (e.gathered.focal_known and e.inputs.focal_35mm is None
                   and e.photo.camera.digital_zoom > 1.01),
        "card-small": min(c.side_px for c in e.cards.all()) < SMALL_CARD_PX,
        "pose-ambiguous": e.fused.two_ways,
        "plumb-cues-disagree": bool(gravity.rejected) or gravity.bad_p > 0.5,
    }
    return tuple(flag for flag, holds in raised.items() if holds)


def _remarks(gravity: Gravity, no_depth: bool) -> tuple[str, ...]:
    """What the person should know of a level that is measured."""
    out = [f"The {cue.name} does not agree with the rest and was left out."
           for cue in gravity.rejected]
    if gravity.names in (("hung panel",), ("zero card",)):
        out.append("Only the panel shows the vertical here; a hanging cord or the pole in the"
                   " picture makes the level much surer.")
    if no_depth:
        out.append("No depth difference was stated: only a landmark at the phone's own height"
                   " can be read closely.")
    return tuple(out)


def _coach(scene: LevelScene) -> str:
    """How to get to the view along the horizontal, where depth no longer matters."""
    high = scene.camera_above_zero_mm
    if high is None or abs(high) < SAME_HEIGHT_MM:
        return ""
    word = "Lower" if high > 0 else "Raise"
    return (f"{word} the phone about {abs(high) / 10:.0f} cm, to the height of the zero reference,"
            " and take the photo again: the depth then hardly matters.")
