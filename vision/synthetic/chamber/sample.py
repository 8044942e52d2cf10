"""Random scenes by tier: easy, typical, hard, offscale, unreadable."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from vision.errors import InputError
from vision.scale_file.scale import Scale, load_scale, shipped_scales
from vision.synthetic.chamber import draws
from vision.synthetic.chamber.bore import bore_profile
from vision.synthetic.chamber.camera import FULL_FRAME_DIAGONAL_MM, view_of
from vision.synthetic.chamber.meniscus import CAPILLARY_LENGTH_MM
from vision.synthetic.chamber.model import AreaLight, Camera, Capsule, ChamberScene, Tube
from vision.synthetic.chamber.room import RoomShader

TIERS = ("easy", "typical", "hard", "offscale", "unreadable")
#: How often each tier is drawn when none is asked for.
TIER_WEIGHTS = (0.28, 0.34, 0.24, 0.08, 0.06)
#: What makes a photo unreadable.
SPOILS = ("blurred", "shaken", "dark", "burnt out", "covered", "far", "cut off",
          "two chambers", "no chamber")
_TRIES = 60


@dataclass(frozen=True)
class ViewLimits:
    """How far a tier's photos go either way: sight line, turn and roll of the camera, the
    smallest contact angle, and the blur at 2400 pixels of height."""

    steepest_deg: float
    turn_deg: float
    roll_deg: float
    contact_deg: float
    blur_px: float


#: The tiers of a photo that can be read, gentlest first.
VIEW_LIMITS = {
    "easy": ViewLimits(5.0, 15.0, 3.0, 60.0, 1.1),
    "typical": ViewLimits(14.0, 25.0, 6.0, 45.0, 1.9),
    "hard": ViewLimits(30.0, 30.0, 10.0, 20.0, 2.8),
}
#: Hard photos are taken at least this steeply, degrees.
_HARD_FROM_DEG = 12.0
#: Below this many pixels a division a photo is a hard one.
LEAST_PITCH_PX = 8.0
#: Least signal-to-noise ratio of a mark in a photo that counts as readable.
ROSE_LIMIT = 5.0
#: Light on the chamber against that on a white card in the open, roughly.
_USUAL_LIGHT = 0.6
#: Weights of linear red, green, blue in luminance (IEC 61966-2-1 primaries).
_LUMA = (0.2126, 0.7152, 0.0722)


def round_scales() -> list[Scale]:
    """The shipped scales that are printed on a tube."""
    return [s for s in map(load_scale, shipped_scales()) if not s.flat]


def sample_scene(rng: np.random.Generator, tier: str | None = None,
                 scale: Scale | None = None, **overrides: Any) -> ChamberScene:
    """Draw a scene.

    ``overrides`` fix single facts: any field of ``ChamberScene`` or ``Camera``
    (true_value, contact_angle_deg, elevation_deg, width, ...), ``light``
    (window, lamp, ceiling, mixed) or ``fluid`` by name.  ``InputError`` when
    they leave no scene that can be seen.
    """
    dice = draws.Dice(rng)
    drawn = dice.one_of(TIERS, TIER_WEIGHTS)
    tier = tier or drawn
    if tier not in TIERS:
        raise InputError(f"The tier must be one of {', '.join(TIERS)}.")
    shipped = dice.one_of(round_scales())
    scale = scale or shipped
    if scale.flat:
        raise InputError(f"The scale '{scale.name}' is not printed on a tube; choose another.")
    for _ in range(_TRIES):
        scene = _attempt(dice, tier, scale, overrides)
        if scene is not None:
            return scene
    raise InputError("No scene could be drawn in which the level can be seen; "
                     "ask for a gentler view or a larger picture.")


def _attempt(dice: draws.Dice, tier: str, scale: Scale,
             overrides: dict[str, Any]) -> ChamberScene | None:
    given = dict(overrides)

    def fixed(name: str, value: Any) -> Any:
        return given.pop(name, value)

    tube = fixed("tube", draws.draw_tube(dice, scale))
    view_tier = tier if tier in ("easy", "typical", "hard") else dice.one_of(
        ["easy", "typical", "hard"], [0.3, 0.5, 0.2])
    limit, hard = VIEW_LIMITS[view_tier], view_tier == "hard"
    elevation = fixed("elevation_deg", dice.sign() * dice.between(
        _HARD_FROM_DEG if hard else 0.0, limit.steepest_deg))
    contact = fixed("contact_angle_deg", dice.between(limit.contact_deg, 85 if hard else 90))
    rise = largest_rise_mm(contact)
    true_value, tube = _level(dice, scale, tube, rise, tier == "offscale")
    true_value = fixed("true_value", true_value)
    level = float(scale.height_mm(true_value))
    if not tube.floor_mm + 0.7 < level < tube.lid_mm - rise - 0.7:
        return None
    light = fixed("light", dice.one_of(["window", "lamp", "ceiling", "mixed"]))
    ink = fixed("print", draws.draw_print(dice, scale))
    fluid = draws.draw_fluid(dice, given["fluid"] if isinstance(given.get("fluid"), str) else None,
                             scale)
    named = fixed("fluid", fluid)
    fluid = fluid if isinstance(named, str) else named
    lean = (0.0, 0.0)
    if dice.chance(0.65 if view_tier != "easy" else 0.3):
        size = 1.0 if view_tier == "easy" else 2.2
        lean = (dice.between(-size, size), dice.between(-size, size))
    lean = fixed("lean_deg", lean)
    azimuth = fixed("azimuth_deg", dice.between(-limit.turn_deg, limit.turn_deg))
    width, height = fixed("width", 1800), fixed("height", 2400)
    camera = _camera(dice, scale, tube, view_tier, width, height, level, float(elevation))
    camera = replace(
        camera, elevation_deg=float(elevation), azimuth_deg=float(azimuth),
        roll_deg=float(fixed("roll_deg", dice.between(-limit.roll_deg, limit.roll_deg))))
    room = fixed("room", draws.draw_room(dice, scale, tube, light))
    capture = fixed("capture", draws.draw_capture(dice, view_tier, height / 2400))
    many_drops = hard and dice.chance(0.4)
    scene = ChamberScene(
        scale=scale, true_value=float(true_value), tube=tube, fluid=fluid,
        contact_angle_deg=float(contact), lean_deg=lean,
        room_turn_deg=dice.between(-1, 1) * 6 - 0.7 * azimuth * dice.between(0, 1), print=ink,
        camera=camera, room=room, capture=capture,
        drops=draws.draw_drops(dice, level, tube.lid_mm, many_drops),
        stickers=(draws.draw_sticker(dice, scale, ink, tube),) if dice.chance(0.12) else (),
        tier=tier, expect={"offscale": "off-scale", "unreadable": "refuse"}.get(tier, "read"),
        seed=dice.whole(0, 2**31 - 2))
    if tier == "offscale":
        above = level > max(m.height_mm for m in scale.marks)
        scene = replace(scene, notes="above the highest mark" if above == (
            scale.direction == "up") else "below the lowest mark")
    if tier == "hard":
        scene = _made_hard(dice, scene)
    camera_facts = {k: given.pop(k) for k in list(given) if k in Camera.__dataclass_fields__}
    if camera_facts:
        scene = replace(scene, camera=replace(scene.camera, **camera_facts))
    unknown = [k for k in given if k not in ChamberScene.__dataclass_fields__]
    if unknown:
        raise InputError(f"A scene has no '{unknown[0]}'.")
    scene = replace(scene, **given)
    if not can_be_read(scene, tier):
        return None
    return _made_unreadable(dice, scene) if tier == "unreadable" else scene


def _level(dice: draws.Dice, scale: Scale, tube: Tube, rise: float,
           off: bool) -> tuple[float, Tube]:
    """A true value (and a tube tall enough for it)."""
    heights = np.sort([m.height_mm for m in scale.marks])
    values = [m.value for m in scale.marks]
    if off:
        step = float(np.diff(heights).min())
        if dice.chance(0.6) or heights[0] - tube.floor_mm < 2.5 * step:
            level = float(heights[-1]) + dice.between(0.7, 6.0) * step
            tube = replace(tube, lid_mm=max(tube.lid_mm, level + rise + dice.between(3.0, 12.0)))
        else:
            level = dice.between(tube.floor_mm + 1.0, float(heights[0]) - 0.7 * step)
        return float(scale.value_at(level)), tube
    for _ in range(100):
        value = dice.between(min(values), max(values))
        level = float(scale.height_mm(value))
        i = int(np.clip(np.searchsorted(heights, level) - 1, 0, len(heights) - 2))
        wide = heights[i + 1] - heights[i] > 2.5 * float(np.diff(heights).min())
        if not wide and even_bore(scale, tube, level, rise):
            return value, tube
    return value, tube


def largest_rise_mm(contact_angle_deg: float) -> float:
    """No less than the rise of the contact line: that at a plane wall, and a tenth more."""
    return 1.1 * CAPILLARY_LENGTH_MM * math.sqrt(
        2 * (1 - math.sin(math.radians(contact_angle_deg))))


def even_bore(scale: Scale, tube: Tube, level: float, rise: float) -> bool:
    """True where the wall does not step within the height of the meniscus."""
    knots = bore_profile(ChamberScene(scale, float(scale.value_at(level)), tube))
    around = np.interp([level - 0.3, level, level + rise + 0.3], knots[:, 0], knots[:, 1])
    return bool(np.ptp(around) < 0.15 * (rise + 0.6))


def _camera(dice: draws.Dice, scale: Scale, tube: Tube, tier: str, width: int, height: int,
            level: float, elevation: float) -> Camera:
    """Lens and distance that fill the picture as people fill it."""
    f35 = float(dice.one_of([24.0, 26.0, 28.0, 35.0, 48.0, 52.0, 65.0, 77.0],
                            [2, 4, 2, 1, 2, 3, 1, 1]))
    heights = [m.height_mm for m in scale.marks]
    ladder = (max(heights) - min(heights)) * math.cos(math.radians(elevation))
    divisions = len(heights) - 1
    share = dice.between(0.26, 0.6) if tier == "hard" else dice.between(0.36, 0.72)
    fewest = (dice.between(5.0, 9.0) if tier == "hard" and dice.chance(0.3) else 9.5)
    share = min(max(share, fewest * divisions / height), 0.78)
    if tier == "hard" and fewest < 8 and dice.chance(0.6):
        share = min(fewest * divisions / height, 0.78)
    focal = f35 * math.hypot(width, height) / FULL_FRAME_DIAGONAL_MM
    distance = max(focal * ladder / (share * height), 125.0)
    return Camera(distance_mm=float(distance), f35=f35, width=width, height=height,
                  aim_x=dice.between(0.36, 0.64), aim_y=dice.between(0.42, 0.58))


def _made_hard(dice: draws.Dice, scene: ChamberScene) -> ChamberScene:
    """One to three of: low light, glare, veil, shake, fingers."""
    troubles = {"low light": 0.3, "glare": 0.35, "veil": 0.2, "fingers": 0.35}
    notes = []
    for name, share in troubles.items():
        if not dice.chance(share):
            continue
        notes.append(name)
        capture, room = scene.capture, scene.room
        if name == "low light":
            noise = dice.scaled(0.02, 0.05)
            scene = replace(scene, capture=replace(
                capture, exposure=dice.scaled(0.1, 0.3), read_noise=0.25 * noise,
                shot_noise=noise, low_light=True))
        elif name == "glare":
            r = dice.between(6, 20)
            lamp = AreaLight(dice.between(-50, 50),
                             -scene.camera.elevation_deg + dice.between(-8, 8),
                             dice.between(2, 9), dice.between(3, 22), (r, r, r),
                             dice.between(0.5, 3))
            scene = replace(scene, room=replace(room, lights=(*room.lights, lamp)))
        elif name == "veil":
            scene = replace(scene, capture=replace(capture, veil=dice.between(0.1, 0.3)))
        else:
            scene = _with_fingers(dice, scene, covers_surface=False)
    return replace(scene, notes=", ".join(notes))


def _with_fingers(dice: draws.Dice, scene: ChamberScene, covers_surface: bool) -> ChamberScene:
    """Fingers laid across the scale, beside the surface or over it."""
    heights = [m.height_mm for m in scene.scale.marks]
    low, high = min(heights), max(heights)
    r, side = dice.between(6.5, 10.0), dice.sign()
    outer = scene.scale.outer_radius_mm
    skin = dice.one_of([(0.75, 0.48, 0.36), (0.6, 0.36, 0.25), (0.32, 0.18, 0.11),
                        (0.82, 0.58, 0.47), (0.55, 0.6, 0.75)])
    reach = scene.camera.elevation_deg
    shift = (outer + r) * math.tan(math.radians(reach))
    if covers_surface:
        count, at = dice.whole(3, 5), scene.level_mm - dice.between(0.8, 2.0) * r
    else:
        count, at = dice.whole(1, 2), dice.between(low, high)
    y = -(outer + r + dice.between(0.2, 5))
    rods = []
    for i in range(count):
        z = at + shift + 1.9 * r * i - scene.middle_mm
        tip = side * dice.between(-1.1, 0.2) * outer if not covers_surface else -side * (outer + 6)
        rods.append(Capsule((side * 160.0, y - 12, z + dice.between(-12, 12)),
                            (tip, y, z), r * dice.between(0.92, 1.05), skin, 0.03))
    rods_all = (*scene.room.rods, *rods)
    return replace(scene, room=replace(scene.room, rods=rods_all))


def _made_unreadable(dice: draws.Dice, scene: ChamberScene) -> ChamberScene:
    """Spoil a scene so that no honest reading can be had of its photo."""
    view, c, cam = view_of(scene), scene.capture, scene.camera
    heights = np.sort([m.height_mm for m in scene.scale.marks])
    pitch = float(np.diff(heights).min()) * view.focal_px / cam.distance_mm
    kind = dice.one_of(SPOILS)
    if kind == "blurred":
        c = replace(c, blur_px=max(dice.between(1.6, 2.8) * pitch, 9.0))
    elif kind == "shaken":
        c = replace(c, blur_px=max(c.blur_px, 0.2 * pitch),
                    motion_px=max(dice.between(5.5, 9.0) * pitch, 40.0),
                    motion_deg=90 + dice.between(-40, 40))
    elif kind == "dark":
        c = replace(c, exposure=dice.scaled(0.0008, 0.003), read_noise=0.012, shot_noise=0.05,
                    low_light=True)
    elif kind == "burnt out":
        c = replace(c, exposure=dice.between(25, 60), veil=0.5)
    elif kind == "covered":
        scene = _with_fingers(dice, scene, covers_surface=True)
    elif kind == "far":
        scene = replace(scene, camera=replace(
            cam, distance_mm=cam.distance_mm * pitch / dice.between(0.8, 1.6)))
    elif kind == "two chambers":
        scene = _with_neighbour(dice, scene)
    elif kind == "no chamber":
        scene = replace(scene, camera=replace(
            cam, aim_x=0.5 + dice.sign() * dice.between(1.4, 2.0)))
    else:
        # The picture ends short of the surface.
        up = scene.level_mm < scene.middle_mm
        span = (scene.tube.lid_mm - scene.tube.floor_mm) * view.focal_px / cam.distance_mm
        beyond = (0.56 + 0.5 * span / cam.height) * (1 if up else -1)
        scene = replace(scene, camera=replace(cam, aim_y=0.5 + beyond))
    return replace(scene, capture=c, notes=kind)


def _with_neighbour(dice: draws.Dice, scene: ChamberScene) -> ChamberScene:
    """Hang a second chamber beside the first, both in the picture."""
    scale = scene.scale
    heights = [m.height_mm for m in scale.marks]
    value = float(scale.value_at(dice.between(min(heights), max(heights))))
    side = dice.sign()
    right = side * (2 * scale.outer_radius_mm + 10 + dice.between(2, 14))
    other = replace(scene, true_value=value, fluid=draws.draw_fluid(dice, None, scale), drops=(),
                    stickers=())
    cam = scene.camera
    return replace(scene, neighbour=other, neighbour_mm=(right, dice.between(-8, 8)),
                   camera=replace(cam, distance_mm=1.25 * cam.distance_mm, aim_y=0.5,
                                  aim_x=0.5 - side * 0.13))


# ------------------------------------------------------------------ visibility
def can_be_read(scene: ChamberScene, tier: str) -> bool:
    """True when a photo of the tier shows what a reading needs: marks, surface, contrast."""
    if not (in_picture(scene) and surface_in_sight(scene) and ink_contrast(scene) > 0.4):
        return False
    if tier in ("easy", "typical") and ink_contrast_in_liquid(scene) < 0.3:
        return False
    return tier != "hard" or mark_visibility(scene) >= ROSE_LIMIT


def in_picture(scene: ChamberScene, margin: float = 0.02) -> bool:
    """True when both ends of the ladder, with its figures, lie inside the picture."""
    cam, p = scene.camera, scene.print
    r = scene.scale.outer_radius_mm
    reach = p.long_mm / 2 + 3.0 * p.numeral_height_mm
    points = [
        [r * math.sin(a), -r * math.cos(a), m.height_mm]
        for m in (scene.scale.lowest_mark, scene.scale.highest_mark)
        for a in ((p.offset_mm - reach) / r, p.offset_mm / r, (p.offset_mm + reach) / r)]
    q = view_of(scene).project(np.array(points)) / np.array([cam.width, cam.height])
    return bool((q > margin).all() and (q < 1 - margin).all())


def ink_contrast(scene: ChamberScene) -> float:
    """Contrast (0..1) of the print against what lies behind the chamber."""
    room, p = scene.room, scene.print
    behind = room.panel.rgb if room.panel is not None else room.wall_rgb
    ground = sum(w * c for w, c in zip(_LUMA, behind, strict=True))
    ink = sum(w * c for w, c in zip(_LUMA, p.ink_rgb, strict=True))
    seen = ground * (1 - p.opacity) + ink * p.opacity
    return abs(ground - seen) / max(ground, seen, 1e-6)


def ink_contrast_in_liquid(scene: ChamberScene) -> float:
    """The same in front of the liquid, in the colour that shows it best."""
    room, p, f = scene.room, scene.print, scene.fluid
    behind = room.panel.rgb if room.panel is not None else room.wall_rgb
    across = 2 * scene.scale.inner_radius_mm(scene.true_value)
    best = 0.0
    for k in range(3):
        through = math.exp(-(f.absorption_per_mm[k] + f.scatter_per_mm) * across)
        dimming = f.absorption_per_mm[k] + f.scatter_per_mm
        glow = 0.8 * f.scatter_rgb[k] * f.scatter_per_mm / dimming if dimming else 0.0
        ground = behind[k] * through + glow * (1 - through)
        seen = ground * (1 - p.opacity) + p.ink_rgb[k] * p.opacity
        best = max(best, abs(ground - seen) / max(ground, seen, 0.05))
    return best


def mark_visibility(scene: ChamberScene) -> float:
    """Signal-to-noise ratio of one short mark against what lies behind the chamber.

    The difference of light, summed over the mark by an eye that knows its shape (a
    matched filter, blur included), over the noise of as many pixels.  Below about 5 the
    eye does not see a thing for certain (A. Rose, *The Sensitivity Performance of the
    Human Eye on an Absolute Scale*, J. Opt. Soc. Am. 38 (1948) 196; number from memory):
    a photo in which no mark reaches that can not be called readable.
    """
    room, p, c = scene.room, scene.print, scene.capture
    behind = room.panel.rgb if room.panel is not None else room.wall_rgb
    ground = sum(w * v for w, v in zip(_LUMA, behind, strict=True))
    ink = sum(w * v for w, v in zip(_LUMA, p.ink_rgb, strict=True))
    light = _USUAL_LIGHT * c.exposure
    difference = abs(ground - ink) * p.opacity * light * (1 - c.veil)
    noise = math.sqrt(c.read_noise**2 + c.shot_noise**2 * light * ground)
    noise *= 1 + c.noise_grain_px
    px_per_mm = view_of(scene).focal_px / scene.camera.distance_mm
    width, length = p.stroke_mm * px_per_mm, p.short_mm * px_per_mm
    # a Gaussian of that sigma averages noise over 2 sqrt(pi) sigma
    spread = math.hypot(width, 2 * math.sqrt(math.pi) * c.blur_px)
    return difference * width * length / max(noise * math.sqrt(spread * length), 1e-9)


def surface_in_sight(scene: ChamberScene) -> bool:
    """True when nothing outside the tube hides the surface and its rim."""
    view = view_of(scene)
    centre = view.centre
    radius = scene.scale.outer_radius_mm
    level, el = scene.level_mm, math.radians(scene.camera.elevation_deg)
    bend = math.tan(el) if el > 0 else math.tan(math.asin(math.sin(el) / scene.fluid.index))
    front = level + radius * bend
    if not scene.tube.floor_mm + 0.8 < front < scene.tube.lid_mm - 0.8:
        return False
    spread = np.linspace(-0.75, 0.75, 7) - math.radians(scene.camera.azimuth_deg)
    heights = np.linspace(min(level, front) - 0.6, max(level, front) + 2.0, 5)
    heights = heights[heights < scene.tube.lid_mm - 0.3]
    a, z = (g.ravel() for g in np.meshgrid(spread, heights))
    points = np.stack([radius * np.sin(a), -radius * np.cos(a), z], 1)
    rays = points - centre
    reach = np.linalg.norm(rays, axis=1)
    rays = (rays / reach[:, None]).astype(np.float32)
    origin = tuple(np.full(len(a), float(c), np.float32) for c in centre)
    room = RoomShader(scene, np)
    _, far, _ = room.shade(origin, tuple(rays.T))  # type: ignore[arg-type]
    return bool((far > reach - 0.5).all()) and not _under_sticker(scene, a, z)


def _under_sticker(scene: ChamberScene, angle: np.ndarray, z: np.ndarray) -> bool:
    arc = angle * scene.scale.outer_radius_mm
    hidden = [((arc > s.left_mm) & (arc < s.right_mm) & (z > s.low_mm) & (z < s.high_mm)).mean()
              for s in scene.stickers]
    return bool(hidden) and max(hidden) > 0.3


__all__ = ["TIERS", "in_picture", "round_scales", "sample_scene", "surface_in_sight"]
