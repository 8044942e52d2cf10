"""Several photos of one chamber: the scenes of a set, and the tier of each by its own view.

A set is one chamber in one room with one lamp; the person comes back with the same phone, from
lower, from higher or from nearly the same place.  In a moved set one of the photos shows
another level, as if fluid had run between them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from vision.errors import InputError
from vision.scale_file.scale import Scale
from vision.synthetic.chamber import draws
from vision.synthetic.chamber.camera import view_of
from vision.synthetic.chamber.model import ChamberScene
from vision.synthetic.chamber.sample import (
    LEAST_PITCH_PX,
    TIER_WEIGHTS,
    TIERS,
    VIEW_LIMITS,
    can_be_read,
    even_bore,
    largest_rise_mm,
    sample_scene,
)

#: Tiers a set can have: those whose photos can be read.
SET_TIERS = TIERS[:3]
#: Views are named by letters; nobody takes more than this of one chamber.
MOST_VIEWS = 9
#: How far the level of a moved photo lies from the others', divisions (the larger ones, where
#: the scale changes its division in between).
MOVED_DIVISIONS = (2.0, 6.0)
#: Nobody moves the phone further than this between two photos, degrees.
_LARGEST_STEP_DEG = 25.0
#: How often a person takes the next photo from lower, from higher, from nearly the same place.
_STEPS = {"lower": 0.4, "higher": 0.35, "same": 0.25}
_TRIES = 300


@dataclass(frozen=True)
class ViewSet:
    """The photos to be of one chamber; ``moved`` is the number of the photo that shows another
    level, None where all show the same."""

    scenes: tuple[ChamberScene, ...]
    moved: int | None = None

    @property
    def tier(self) -> str:
        """The worst tier of its photos."""
        return max((s.tier for s in self.scenes), key=SET_TIERS.index)


def view_name(number: int) -> str:
    """The letter of a view: a, b, c, ..."""
    return chr(ord("a") + number)


def check_set(views: int, tier: str | None, moved_share: float) -> None:
    """Raise ``InputError`` for a set that makes no sense."""
    if tier is not None and tier not in SET_TIERS:
        raise InputError(f"The photos of a set can all be read: its tier must be one of "
                         f"{', '.join(SET_TIERS)}.")
    if not 2 <= views <= MOST_VIEWS:
        raise InputError(f"A set has 2 to {MOST_VIEWS} views.")
    if not 0.0 <= moved_share <= 1.0:
        raise InputError("The share of moved sets must lie between 0 and 1.")


def set_for(seed: int, index: int, views: int, tier: str | None = None,
            scale: Scale | None = None, size: tuple[int, int] = (1800, 2400),
            moved_share: float = 0.0) -> ViewSet:
    """Set number ``index`` of ``views`` photos; the same for the same seed on any machine.

    A photo does not depend on how many others are asked for, nor an honest set on
    ``moved_share`` (the probability that a set is a moved one).
    """
    check_set(views, tier, moved_share)
    fate = draws.Dice(np.random.default_rng([seed, index, 1]))
    drawn = fate.one_of(SET_TIERS, TIER_WEIGHTS[:3])
    first = sample_scene(np.random.default_rng([seed, index, 2]), tier or drawn, scale,
                         width=size[0], height=size[1])
    scenes = [first]
    for view in range(1, views):
        dice = draws.Dice(np.random.default_rng([seed, index, 2 + view]))
        scenes.append(_another_view(dice, first))
    moved = None
    if fate.chance(moved_share):
        moved = fate.whole(0, views - 1)
        scenes[moved] = _moved(fate, scenes[moved])
    return ViewSet(tuple(replace(s, tier=own_tier(s)) for s in scenes), moved)


def own_tier(scene: ChamberScene) -> str:
    """The tier of one photo by its own view, light and sharpness, whatever set it belongs to."""
    cam = scene.camera
    if scene.capture.low_light or scene.notes or pitch_px(scene) < LEAST_PITCH_PX:
        return "hard"
    for tier, limit in VIEW_LIMITS.items():
        if (abs(cam.elevation_deg) <= limit.steepest_deg and abs(cam.azimuth_deg) <= limit.turn_deg
                and abs(cam.roll_deg) <= limit.roll_deg
                and scene.contact_angle_deg >= limit.contact_deg
                and scene.capture.blur_px <= limit.blur_px * (cam.height / 2400) ** 0.5):
            return tier
    return "hard"


def pitch_px(scene: ChamberScene) -> float:
    """Pixels of the smallest interval between marks, where the level is."""
    heights = np.sort([m.height_mm for m in scene.scale.marks])
    return float(np.diff(heights).min()) * view_of(scene).focal_px / scene.camera.distance_mm


def _another_view(dice: draws.Dice, first: ChamberScene) -> ChamberScene:
    """The same chamber once more, from elsewhere."""
    limit, cam, light = VIEW_LIMITS[first.tier], first.camera, first.capture
    reach, fewest = limit.steepest_deg, 0.95 * min(pitch_px(first), 9.5)
    for _ in range(_TRIES):
        step = dice.one_of(list(_STEPS), list(_STEPS.values()))
        turn = 3.0 if step == "same" else 15.0
        fresh = draws.draw_capture(dice, first.tier, cam.height / 2400)
        scene = replace(
            first,
            camera=replace(
                cam, elevation_deg=_elevation(dice, step, cam.elevation_deg, reach),
                azimuth_deg=_near(dice, cam.azimuth_deg, turn, limit.turn_deg),
                roll_deg=dice.between(-limit.roll_deg, limit.roll_deg),
                distance_mm=max(cam.distance_mm * dice.scaled(0.8, 1.3), 125.0),
                aim_x=dice.between(0.36, 0.64), aim_y=dice.between(0.42, 0.58)),
            # the same light and sensor, exposed anew
            capture=replace(
                fresh, exposure=min(light.exposure * dice.scaled(0.75, 1.33), 1.0),
                read_noise=light.read_noise, shot_noise=light.shot_noise, veil=light.veil,
                noise_grain_px=light.noise_grain_px, contrast=light.contrast, halo=light.halo,
                vignette=light.vignette, low_light=light.low_light),
            seed=dice.whole(0, 2**31 - 2))
        if pitch_px(scene) >= fewest and can_be_read(scene, first.tier):
            return scene
    raise InputError("No second view could be drawn in which the level can be seen; "
                     "ask for a gentler tier or a larger picture.")


def _elevation(dice: draws.Dice, step: str, first: float, reach: float) -> float:
    """Elevation of a view that is lower or higher than the first, or nearly the same, degrees."""
    if step == "same":
        return _near(dice, first, 1.5, reach)
    sign, least = (-1.0 if step == "lower" else 1.0), 0.2 * reach
    if sign * first > reach - least:  # no lower or higher view is in the tier
        sign = -sign
    return first + sign * dice.between(least, min(reach - sign * first, _LARGEST_STEP_DEG))


def _near(dice: draws.Dice, angle: float, reach: float, limit: float) -> float:
    """An angle within ``reach`` of another and within ``limit`` of 0."""
    return dice.between(max(angle - reach, -limit), min(angle + reach, limit))


def _moved(dice: draws.Dice, scene: ChamberScene) -> ChamberScene:
    """The same photo with another level in the chamber."""
    scale = scene.scale
    marks = sorted(m.value for m in scale.marks)
    rise = largest_rise_mm(scene.contact_angle_deg)
    for _ in range(_TRIES):
        steps = dice.sign() * dice.between(*MOVED_DIVISIONS)
        value = scene.true_value + steps * float(scale.division_at(scene.true_value))
        if not marks[0] <= value <= marks[-1]:
            continue
        larger = max(float(scale.division_at(v)) for v in (value, scene.true_value))
        apart = abs(value - scene.true_value) / larger
        level = float(scale.height_mm(value))
        moved = replace(scene, true_value=value, drops=tuple(
            d for d in scene.drops if d.height_mm > level + 4.5))
        if (MOVED_DIVISIONS[0] <= apart <= MOVED_DIVISIONS[1]
                and scene.tube.floor_mm + 0.7 < level < scene.tube.lid_mm - rise - 0.7
                and even_bore(scale, scene.tube, level, rise)
                and can_be_read(moved, scene.tier)):
            return moved
    raise InputError("No other level could be drawn for the moved photo of a set; "
                     "take a scale with more marks.")
