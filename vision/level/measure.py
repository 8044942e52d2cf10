"""The height of the zero reference against the patient's landmark, from one photo."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from vision.errors import InputError
from vision.fiducials.cards import CardKind, CardSeen, find_cards, landmark_card, zero_card
from vision.fiducials.pose import CardPose, camera_matrix, card_poses
from vision.flags import describe
from vision.imaging.photo import CameraFacts, Photo
from vision.level.focal_prior import FocalGuess, focal_guesses
from vision.level.monte_carlo import Placed, Scenario, budget_terms, draw, normalised, points_of
from vision.level.result import LevelMode, LevelReading, LevelScene
from vision.vertical.collect import CuesFound, plumb_cues
from vision.vertical.cue import PlumbCue
from vision.vertical.fusion import Gravity, fuse
from vision.vertical.line_segments import StraightEdge, doubles, upright_edges, with_more_contrast

#: A tapped point is as good as a finger and an eye: share of the photo's long side.
TAP_SHARE = 0.0012
#: Stated depth: at least this, and this share of it; unknown depth: this (mm).
DEPTH_SD_MM, DEPTH_SHARE, UNKNOWN_DEPTH_SD_MM = 10.0, 0.05, 200.0
#: The camera's axis against square to the wall or bed, degrees.  Two doubts, both our
#: assumptions: people stand within 12 degrees of square (12 / sqrt(3)), and they turn the
#: phone to get both points into the picture (about 6).
AXIS_SD_DEG = math.hypot(12.0 / math.sqrt(3.0), 6.0)
#: Wider than this (half of the interval, mm) helps nobody.
USELESS_MM = 80.0
_SMALL_CARD_PX = 32.0
#: A second pose this much worse (chi-square) is not the true one.
_RULED_OUT = 18.0
#: Cues that contradict each other count against a pose no further than this (chi-square).
_WORST_CUES = 40.0

Point = tuple[float, float]


def measure_level(photo: Photo, zero_card_mm: float = 60.0, landmark_card_mm: float = 40.0,
                  landmark_px: Point | None = None, zero_px: Point | None = None,
                  depth_difference_mm: float | None = None, focal_35mm: float | None = None,
                  tolerance_mm: float | None = None) -> LevelReading:
    """Measure the level from an upright photo.

    ``zero_card_mm`` and ``landmark_card_mm`` are the sides of the black squares.
    ``landmark_px`` (x, y) is a tapped landmark in place of the landmark card and
    ``zero_px`` a tapped zero reference in place of the zero card (one card has to
    be there).  ``depth_difference_mm`` says how much nearer to the phone the
    landmark lies than the zero reference, square to the wall or the bed.
    ``tolerance_mm`` is the ward's tolerance for "level".  Raises InputError for
    numbers that make no sense; anything the photo cannot show is a refusal.
    """
    _check(photo, zero_card_mm, landmark_card_mm, landmark_px, zero_px, depth_difference_mm,
           focal_35mm, tolerance_mm)
    kinds = (zero_card(zero_card_mm), landmark_card(landmark_card_mm))
    wanted = tuple(k.code for k, tapped in zip(kinds, (zero_px, landmark_px), strict=True)
                   if tapped is None)
    wanted = wanted or (0, 1)
    mode: LevelMode = "cards"
    if landmark_px is not None or zero_px is not None:
        mode = "tap" if depth_difference_mm is not None else "horizon"
    reading = _refused(mode, ())
    for picture in _pictures(photo):
        found = find_cards(picture.rgb, wanted)
        refusal = _missing(found, kinds, landmark_px, zero_px, mode)
        if refusal is None:
            return _measured(
                picture, {code: seen[0] for code, seen in found.items()}, kinds,
                picture.point(landmark_px), picture.point(zero_px), depth_difference_mm,
                focal_35mm, tolerance_mm, mode)
        reading = replace(refusal, scene=_in_full(refusal.scene, picture))
    return reading


@dataclass(frozen=True)
class _Picture:
    """The pixels that are measured: all of the photo's, or its working picture."""

    rgb: np.ndarray
    camera: CameraFacts
    scale: int = 1

    @property
    def width(self) -> int:
        return int(self.rgb.shape[1])

    @property
    def height(self) -> int:
        return int(self.rgb.shape[0])

    def point(self, xy: Point | None) -> Point | None:
        """A point of the full photo in this picture."""
        if xy is None:
            return None
        return (xy[0] + 0.5) / self.scale - 0.5, (xy[1] + 0.5) / self.scale - 0.5

    def full(self, xy: np.ndarray) -> np.ndarray:
        """Points of this picture in the full photo."""
        return np.asarray((xy + 0.5) * self.scale - 0.5)


def _pictures(photo: Photo) -> Iterator[_Picture]:
    """The working picture first: it has pixels enough unless the cards are tiny."""
    yield _Picture(photo.working_rgb, photo.camera, photo.working_scale)
    if photo.working_scale > 1:
        yield _Picture(photo.rgb, photo.camera)


def _in_full(scene: LevelScene, picture: _Picture) -> LevelScene:
    """The scene in pixels of the full photo."""
    if picture.scale == 1:
        return scene

    def full(xy: np.ndarray | None) -> np.ndarray | None:
        return None if xy is None else picture.full(xy)

    return replace(
        scene, cards_px=tuple(picture.full(c) for c in scene.cards_px),
        cues=tuple((name, picture.full(line)) for name, line in scene.cues),
        zero_px=full(scene.zero_px), landmark_px=full(scene.landmark_px),
        horizon_px=full(scene.horizon_px), level_px=full(scene.level_px))


def _check(photo: Photo, zero_card_mm: float, landmark_card_mm: float, landmark_px: Point | None,
           zero_px: Point | None, depth: float | None, focal: float | None,
           tolerance: float | None) -> None:
    """InputError for what cannot be meant."""
    for name, size in (("zero card", zero_card_mm), ("landmark card", landmark_card_mm)):
        if not (math.isfinite(size) and 10 <= size <= 400):
            raise InputError(f"The side of the {name} must be between 10 and 400 mm.")
    for name, point in (("landmark", landmark_px), ("zero reference", zero_px)):
        if point is None:
            continue
        if not (all(math.isfinite(v) for v in point) and 0 <= point[0] < photo.width
                and 0 <= point[1] < photo.height):
            raise InputError(f"The {name} lies outside the photo, which is {photo.width} x"
                             f" {photo.height} pixels.")
    if depth is not None and not (math.isfinite(depth) and abs(depth) <= 3000):
        raise InputError("The depth difference must be a number of mm, 3000 at most.")
    if focal is not None and not (math.isfinite(focal) and 8 <= focal <= 400):
        raise InputError("The 35 mm-equivalent focal length must be between 8 and 400 mm.")
    if tolerance is not None and not (math.isfinite(tolerance) and 0 < tolerance <= 200):
        raise InputError("The tolerance for level must be more than 0 and at most 200 mm.")


def _refused(mode: LevelMode, flags: tuple[str, ...], *reasons: str,
             scene: LevelScene | None = None) -> LevelReading:
    return LevelReading("refused", mode, flags=flags, reasons=reasons, scene=scene or LevelScene())


def _missing(found: dict[int, list[CardSeen]], kinds: tuple[CardKind, CardKind],
             landmark_px: Point | None, zero_px: Point | None, mode: LevelMode
             ) -> LevelReading | None:
    """A refusal when the photo lacks what the mode needs, else None."""
    outlines = LevelScene(cards_px=tuple(s.corners_px for seen in found.values() for s in seen))
    for kind in kinds:
        if len(found.get(kind.code, [])) > 1:
            return _refused(mode, (), f"More than one {kind.name} is in the picture; leave only"
                            " the one that is meant.", scene=outlines)
    if zero_px is not None and landmark_px is not None:
        if not found:
            return _refused(mode, ("zero-card-missing",), "Neither card was found, so nothing"
                            " shows the size of things; get one card in the picture, whole and"
                            " sharp.")
        return None
    if zero_px is None and 0 not in found:
        flag = describe("zero-card-missing")
        return _refused(mode, (flag.name,), f"{flag.short}. {flag.advice}", scene=outlines)
    if landmark_px is None and 1 not in found:
        flag = describe("landmark-missing")
        return _refused(mode, (flag.name,), f"{flag.short}. {flag.advice}", scene=outlines)
    return None


def _measured(photo: _Picture, seen: dict[int, CardSeen], kinds: tuple[CardKind, CardKind],
              landmark_px: Point | None, zero_px: Point | None, depth: float | None,
              focal_35mm: float | None, tolerance: float | None, mode: LevelMode
              ) -> LevelReading:
    guesses, known = focal_guesses(photo.camera, photo.width, photo.height, focal_35mm)
    flags: list[str] = [] if known else ["focal-unknown"]
    if known and focal_35mm is None and photo.camera.digital_zoom > 1.01:
        flags.append("zoomed")
    if min(s.side_px for s in seen.values()) < _SMALL_CARD_PX:
        flags.append("card-small")
    middle = _likeliest(guesses, photo, seen, kinds)
    cues = _cues(photo, seen, kinds, middle)
    scenarios = [s for guess in guesses for s in _scenarios(
        photo, seen, kinds, cues, guess, landmark_px, zero_px, depth)]
    if not scenarios:
        flag = describe("no-gravity-cue")
        return _refused(mode, (flag.name,), f"{flag.short}. {flag.advice}", scene=LevelScene(
            cards_px=tuple(photo.full(s.corners_px) for s in seen.values())))
    axis_sd = math.radians(AXIS_SD_DEG) if mode != "cards" else 0.0
    diagonal = math.hypot(photo.width, photo.height)
    draws = draw(scenarios, axis_sd, diagonal)
    low, high = (float(v) for v in np.quantile(draws, (0.025, 0.975)))
    offset = float(np.median(draws))
    best = scenarios[int(np.argmax(normalised(scenarios)))]
    flags += _doubts(scenarios, best.gravity)
    scene = _scene(photo, seen, best)
    if (high - low) / 2 > USELESS_MM:
        return replace(_refused(
            mode, tuple(flags), f"The photo leaves the level open by more than"
            f" {USELESS_MM / 10:.0f} cm either way.", scene=scene),
            coach=_coach(mode, depth, scene, always=True), gravity_from=best.gravity.names)
    return LevelReading(
        "read", mode, offset / 10, (low / 10, high / 10), float(np.std(draws)) / 10,
        tolerance_cm=None if tolerance is None else tolerance / 10,
        gravity_from=best.gravity.names, flags=tuple(flags),
        reasons=tuple(_reasons(best.gravity, mode, depth)),
        budget=budget_terms(scenarios, axis_sd, diagonal),
        coach=_coach(mode, depth, scene), scene=scene)


def _likeliest(guesses: list[FocalGuess], photo: _Picture, seen: dict[int, CardSeen],
                kinds: tuple[CardKind, CardKind]) -> FocalGuess:
    """The focal length that prior and perspective of the cards favour."""

    def score(guess: FocalGuess) -> float:
        camera = camera_matrix(guess.focal_px, photo.width, photo.height)
        poses = [card_poses(card, kinds[code], camera) for code, card in seen.items()]
        return math.log(guess.weight) - sum(p[0].misfit for p in poses if p) / 2

    return max(guesses, key=score)


def _cues(photo: _Picture, seen: dict[int, CardSeen], kinds: tuple[CardKind, CardKind],
          guess: FocalGuess) -> list[tuple[CardPose | None, list[PlumbCue]]]:
    """Plumb cues, looked for at the likeliest focal length, for each pose of the zero card.

    Which lines may be plumb depends on which way round the card is seen; a pose
    that the corners rule out is not followed.
    """
    camera = camera_matrix(guess.focal_px, photo.width, photo.height)
    if 0 not in seen:
        edges = upright_edges(photo.rgb, camera @ np.array([0.0, 1.0, 0.0]), within_deg=10.0)
        return [(None, plumb_cues(photo.rgb, edges, seen[1], None, kinds[1].side_mm, camera).cues)]
    poses = card_poses(seen[0], kinds[0], camera)
    poses = [p for p in poses if p.misfit <= poses[0].misfit + _RULED_OUT]
    # Both poses are judged by the same edges: weights of different data say nothing.
    edges = _edges(photo.rgb, poses, camera)

    def search(rgb: np.ndarray, edges: list[StraightEdge], pose: CardPose,
               known: CuesFound | None = None) -> CuesFound:
        return plumb_cues(rgb, edges, seen[0], pose, kinds[0].side_mm, camera, known)

    found = [search(photo.rgb, edges, p) for p in poses]
    if any(mine.panel is None for mine in found):
        # A pale panel before a pale wall.
        clear = with_more_contrast(photo.rgb)
        clear_edges = _edges(clear, poses, camera)
        for i, pose in enumerate(poses):
            again = search(clear, clear_edges, pose)
            if again.panel is not None and found[i].panel is None:
                # It covers the pole, and its sides are no pole's.
                found[i] = search(photo.rgb, edges, pose, again)
            found[i] = _added(found[i], again)
    return list(zip(poses, _same_panel(poses, [mine.cues for mine in found]), strict=True))


def _same_panel(poses: list[CardPose], found: list[list[PlumbCue]]) -> list[list[PlumbCue]]:
    """Cues per pose, with a panel on which the card lies under one pose held against all.

    Under a wrong pose the card seems to stick out of its panel; the panel would not be
    recognised then, and could not speak against that pose.
    """
    panel = next((c for mine in found for c in mine
                  if c.name == "hung panel" and c.pose is not None), None)
    if panel is None:
        return found
    return [mine if any(c.name == "hung panel" for c in mine)
            else [c for c in mine if c.name != "zero card"] + [replace(panel, pose=pose)]
            for pose, mine in zip(poses, found, strict=True)]


def _edges(rgb: np.ndarray, poses: list[CardPose], camera: np.ndarray) -> list[StraightEdge]:
    """Edges about upright under any of the poses of the zero card, each once."""
    found: list[StraightEdge] = []
    for pose in poses:
        for edge in upright_edges(rgb, camera @ -pose.rotation[:, 1]):
            if not any(doubles(edge, other) for other in found):
                found.append(edge)
    return sorted(found, key=lambda e: -e.seen_px)


def _added(found: CuesFound, again: CuesFound) -> CuesFound:
    """The cues of a second search beside those of the first, which go before."""
    names = {c.name for c in found.cues}
    new = [c for c in again.cues if c.name not in names and c.name != "hung panel"
           and (c.name != "zero card" or not found.cues)]
    return replace(found, cues=found.cues + new)


def _for_pose(cues: list[tuple[CardPose | None, list[PlumbCue]]], zero: CardPose | None
              ) -> list[PlumbCue]:
    """The cues found for the most similar pose, with the pose at hand in its place."""
    if zero is None:
        return cues[0][1] if cues else []
    alike = [(float(np.trace(p.rotation.T @ zero.rotation)), mine)
             for p, mine in cues if p is not None]
    if not alike:
        return []
    best = max(alike, key=lambda a: a[0])[1]
    return [replace(c, pose=zero) if c.pose is not None else c for c in best]


def _scenarios(photo: _Picture, seen: dict[int, CardSeen], kinds: tuple[CardKind, CardKind],
               cues: list[tuple[CardPose | None, list[PlumbCue]]], guess: FocalGuess,
               landmark_px: Point | None, zero_px: Point | None, depth: float | None
               ) -> list[Scenario]:
    """Every way to read the cards at one focal length."""
    camera = camera_matrix(guess.focal_px, photo.width, photo.height)
    zeros: list[CardPose | None] = [None]
    landmarks: list[CardPose | None] = [None]
    if 0 in seen:
        zeros = [p for p in card_poses(seen[0], kinds[0], camera)]
        zeros = [p for p in zeros if p is not None and zeros[0] is not None
                 and p.misfit <= zeros[0].misfit + _RULED_OUT]
    if 1 in seen and landmark_px is None or 0 not in seen:
        landmarks = list(card_poses(seen[1], kinds[1], camera))
    out = []
    for zero in zeros:
        mine = _for_pose(cues, zero)
        start = np.array([0.0, 1.0, 0.0]) if zero is None else -zero.rotation[:, 1]
        gravity = fuse(mine, camera, start)
        if gravity is None:
            continue
        for landmark in landmarks:
            misfit = sum(p.misfit for p in (zero, landmark) if p is not None)
            # With the cues that were left out: they may speak against this pose.
            excess = min(gravity.excess, _WORST_CUES)
            out.append(Scenario(
                math.log(guess.weight) - (misfit + excess) / 2,
                guess.focal_px, gravity,
                _placed(zero, kinds[0], zero_px, camera, photo, depth, landmark is not None),
                _placed(landmark, kinds[1], landmark_px, camera, photo, depth,
                        zero is not None)))
    return out


def _placed(pose: CardPose | None, kind: CardKind, tapped: Point | None, camera: np.ndarray,
            photo: _Picture, depth: float | None, other_has_card: bool) -> Placed:
    """How one of the two points is known."""
    if tapped is None:
        return Placed(pose=pose, at_mm=kind.reference_mm)
    ray = np.linalg.solve(camera, np.array([tapped[0], tapped[1], 1.0]))
    if pose is not None:
        # A tap on or beside a card lies in the card's plane.
        t = float(pose.rotation[:, 2] @ pose.centre_mm) / float(pose.rotation[:, 2] @ ray)
        local = pose.rotation.T @ (ray * t - pose.centre_mm)
        return Placed(pose=pose, at_mm=(float(local[0]), float(local[1])))
    sd = (UNKNOWN_DEPTH_SD_MM if depth is None
          else math.hypot(DEPTH_SD_MM, DEPTH_SHARE * depth))
    tap = TAP_SHARE * max(photo.width, photo.height) / camera[0, 0]
    return Placed(ray=ray, ray_sd=tap, depth_mm=depth or 0.0, depth_sd_mm=sd)


def _doubts(scenarios: list[Scenario], gravity: Gravity) -> list[str]:
    """Flags about the poses and the plumb cues."""
    flags = []
    weights = normalised(scenarios)
    centres = np.array([(p := points_of(s))[1] @ s.gravity.down - p[0] @ s.gravity.down
                        for s in scenarios])
    if len({round(s.focal_px) for s in scenarios}) < len(scenarios):
        spread = np.sqrt(np.average((centres - np.average(centres, weights=weights)) ** 2,
                                    weights=weights))
        by_focal: dict[float, float] = {}
        for s, w in zip(scenarios, weights, strict=True):
            by_focal[s.focal_px] = max(by_focal.get(s.focal_px, 0.0), float(w))
        if 1.0 - sum(by_focal.values()) > 0.05 and spread > 1.0:
            flags.append("pose-ambiguous")
    if gravity.rejected or (gravity.inflation > 1.0 and len(gravity.used) > 1):
        flags.append("plumb-cues-disagree")
    return flags


def _reasons(gravity: Gravity, mode: LevelMode, depth: float | None) -> list[str]:
    reasons = []
    for cue in gravity.rejected:
        reasons.append(f"The {cue.name} does not agree with the rest and was left out.")
    if gravity.names == ("hung panel",) or gravity.names == ("zero card",):
        reasons.append("Only the panel shows the vertical here; a hanging cord or the pole in the"
                       " picture makes the level much surer.")
    if mode == "horizon":
        reasons.append("No depth difference was stated: only a landmark at the phone's own height"
                       " can be read closely.")
    return reasons


def _coach(mode: LevelMode, depth: float | None, scene: LevelScene, always: bool = False) -> str:
    """How to get to the horizon view, where depth no longer matters."""
    high = scene.camera_above_zero_mm
    if high is None or (mode == "cards" and not always):
        return ""
    if abs(high) < 30:
        return ""
    word = "Lower" if high > 0 else "Raise"
    return (f"{word} the phone about {abs(high) / 10:.0f} cm, to the height of the zero reference,"
            " and take the photo again: the depth then hardly matters.")


def _scene(photo: _Picture, seen: dict[int, CardSeen], s: Scenario) -> LevelScene:
    """What to draw."""
    camera = camera_matrix(s.focal_px, photo.width, photo.height)
    zero, landmark = points_of(s)
    down = s.gravity.down
    foot = landmark - down * float(down @ (landmark - zero))

    def pixel(p: np.ndarray) -> np.ndarray:
        q = camera @ p
        return np.asarray(q[:2] / q[2])

    # Horizon: pixels whose ray is square to gravity.
    line = np.linalg.inv(camera).T @ down
    xs = np.array([0.0, photo.width - 1.0])
    horizon = None
    if abs(line[1]) > 1e-9:
        horizon = np.column_stack([xs, -(line[0] * xs + line[2]) / line[1]])
    across = landmark - zero
    across = across - down * float(down @ across)
    return _in_full(LevelScene(
        cards_px=tuple(c.corners_px for c in seen.values()),
        cues=tuple((c.name, line_px) for c in s.gravity.used for line_px in c.lines_px),
        zero_px=pixel(zero), landmark_px=pixel(landmark), horizon_px=horizon,
        level_px=np.array([pixel(zero), pixel(foot)]),
        camera_above_zero_mm=float(down @ zero),
        horizontal_distance_mm=float(np.linalg.norm(across))), photo)
