"""One picture a stage: why the level is what it says.

Cards found, with the way each stands; plumb cues; gravity fused from them; the budget of the
offset.  For contributors, testers and educators.
"""

from __future__ import annotations

import numpy as np

from vision.drawing.sheet import budget_sheet, picture_sheet
from vision.fiducials.cards import CardSeen
from vision.fiducials.pose import CardPose
from vision.level.decide import decide
from vision.level.evidence import LevelEvidence
from vision.level.overlay import CARD, LEVEL, OFFSET, PLUMB, Pen, draw_horizon
from vision.level.scene import scene_of
from vision.vertical.cue import PlumbCue

_LONG_PX = 1200


def explain_level(evidence: LevelEvidence) -> dict[str, np.ndarray]:
    """Pictures of the stages, as far as the photo went through them.

    Returns
    -------
    dict of str to (H, W, 3) uint8 array
        "1-cards", "2-cues", "3-gravity" and "4-offset"; RGB.
    """
    pictures = {"1-cards": _cards(evidence)}
    if evidence.gathered is not None:
        pictures["2-cues"] = _cues(evidence)
    if evidence.fused is not None:
        pictures["3-gravity"] = _gravity(evidence)
    if evidence.offset is not None:
        pictures["4-offset"] = _offset(evidence)
    return pictures


def _cards(evidence: LevelEvidence) -> np.ndarray:
    """Each card's outline and its axes under the best pose; both poses in words."""
    cards, gathered = evidence.cards, evidence.gathered
    pen, lines = Pen(evidence.photo, long_px=_LONG_PX), []
    for card in cards.all():
        pen.outline(cards.picture.to_full(card.corners_px), CARD)
        name = "zero card" if card is cards.zero() else "landmark card"
        pen.word(cards.picture.to_full(card.corners_px[3]), name, CARD)
        lines.append(f"{name}: found in the {cards.strategy} ({card.strategy}), side"
                     f" {card.side_px:.1f} px, {card.edges_used} edges fitted to"
                     f" {card.residual_px:.2f} px, white grows by {card.bloom_px:+.2f} px")
        if gathered is not None:
            camera = cards.camera(gathered.likeliest.focal_px)
            poses = cards.poses(card, camera)
            lines += [_pose_words(n, p) for n, p in enumerate(poses, 1)]
            _draw_axes(pen, evidence, card, poses[0], camera)
    lines += ["No card was found."] if not cards.all() else []
    if gathered is not None:
        lines.append(f"likeliest focal length {gathered.likeliest.focal_px:.0f} px of the picture"
                     f" searched, {'as told' if gathered.focal_known else 'not stated'}")
    else:
        lines += decide(evidence).reasons
    return picture_sheet("Where the cards are", pen.finished(), lines)


def _pose_words(number: int, pose: CardPose) -> str:
    tilt = np.degrees(np.arccos(np.clip(-pose.rotation[2, 2], -1, 1)))
    return (f"    pose {number}: {np.linalg.norm(pose.centre_mm):.0f} mm away, turned"
            f" {tilt:.1f} deg from facing the phone, chi-square {pose.misfit:.1f}")


def _draw_axes(pen: Pen, evidence: LevelEvidence, card: CardSeen, pose: CardPose,
               camera: np.ndarray) -> None:
    """The card's right, up and outwards, each one side long."""
    cards = evidence.cards
    side = (cards.inputs.zero if card is cards.zero() else cards.inputs.landmark).side_mm
    ends = np.array([pose.centre_mm, *(pose.centre_mm + side * pose.rotation.T)]) @ camera.T
    start, *tips = cards.picture.to_full(ends[:, :2] / ends[:, 2:])
    for tip, word, colour in zip(tips, ("right", "up", "out"), (OFFSET, LEVEL, PLUMB), strict=True):
        pen.line(np.array([start, tip]), colour)
        pen.word(tip, word, colour)


def _cues(evidence: LevelEvidence) -> np.ndarray:
    """The plumb cues for each way in which the zero card may stand."""
    assert evidence.gathered is not None
    pen, lines = Pen(evidence.photo, long_px=_LONG_PX), []
    drawn: set[str] = set()
    for number, (_, cues) in enumerate(((p.pose, p.cues) for p in evidence.gathered.by_pose), 1):
        lines.append(f"with pose {number} of the zero card:" + ("" if cues else " no plumb cue"))
        for cue in cues:
            lines.append(_cue_words(cue))
            if cue.name not in drawn:
                _draw_cue(pen, evidence, cue, PLUMB, cue.name)
                drawn.add(cue.name)
    return picture_sheet("What may be plumb", pen.finished(), lines)


def _cue_words(cue: PlumbCue) -> str:
    seen = [f"a line to {sd:.2f} px" for sd in cue.line_sd_px]
    seen += ["the axes of the card"] if cue.pose is not None else []
    return (f"    {cue.name}: {', '.join(seen)}; taken as plumb to {cue.sideways_deg:.2g} deg"
            f" sideways, {cue.outwards_deg:.2g} deg outwards")


def _draw_cue(pen: Pen, evidence: LevelEvidence, cue: PlumbCue, colour: tuple[int, int, int],
              word: str) -> None:
    lines = [evidence.cards.picture.to_full(line) for line in cue.lines_px]
    for line in lines:
        pen.line(line, colour)
    if lines:
        pen.word(lines[0].mean(axis=0), word, colour)


def _gravity(evidence: LevelEvidence) -> np.ndarray:
    """Horizon and vertical of the likeliest scenario, cues used and left out."""
    assert evidence.fused is not None
    best, scene = evidence.fused.best, scene_of(evidence)
    gravity, camera = best.gravity, evidence.cards.camera(best.focal_px)
    pen = Pen(evidence.photo, long_px=_LONG_PX)
    draw_horizon(pen, scene, evidence.photo)
    for cue in gravity.used:
        _draw_cue(pen, evidence, cue, PLUMB, cue.name)
    for cue in gravity.rejected:
        _draw_cue(pen, evidence, cue, OFFSET, f"left out: {cue.name}")
    for point in best.points_mm:
        ends = np.array([point - 100 * gravity.down, point + 100 * gravity.down]) @ camera.T
        line = evidence.cards.picture.to_full(ends[:, :2] / ends[:, 2:])
        pen.line(line, LEVEL)
        pen.word(line[1], "down", LEVEL)
    sideways, outwards = gravity.sd_deg(np.array([1.0, 0, 0])), gravity.sd_deg(
        np.array([0.0, 0, 1.0]))
    lines = [f"vertical from {', '.join(gravity.names)}: good to {sideways:.2f} deg sideways,"
             f" {outwards:.2f} deg along the line of sight (one standard uncertainty)",
             f"chi-square {gravity.chi_square:.1f} with {gravity.free} degrees of freedom if all"
             f" are good; one of them is bad with {100 * gravity.bad_p:.0f} %",
             f"{len(evidence.fused.scenarios)} ways to understand the photo; this one has"
             f" {100 * evidence.fused.weights.max():.0f} % of the weight"]
    return picture_sheet("Where down is", pen.finished(), lines)


def _offset(evidence: LevelEvidence) -> np.ndarray:
    """The budget as bars, then the interval or why none is given."""
    assert evidence.offset is not None
    reading, (low, high) = decide(evidence), evidence.offset.interval_mm
    lines = [f"all draws together (JCGM 101): {evidence.offset.offset_mm / 10:+.2f} cm, 95 %"
             f" interval {low / 10:+.2f} to {high / 10:+.2f} cm", reading.sentence]
    return budget_sheet("How sure", evidence.offset.budget, lines)
