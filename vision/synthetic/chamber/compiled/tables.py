"""What compiled code needs to know of a scene: plain numbers and arrays."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np

from vision.synthetic.chamber.collage import collage
from vision.synthetic.chamber.room import RoomShader
from vision.synthetic.chamber.tracer import ChamberTracer

#: Patterns of flat surfaces by number.
PATTERNS = ("plain", "rules", "stripes", "tiles", "blocks", "speckle", "collage")
#: Cells of a pattern of blocks on either side of the middle that are kept.
CELLS = 400


class Flat(NamedTuple):
    """A flat surface: whether it is there, its place, colours and pattern (lengths in mm).

    ``edges`` (4,) are left, right, low and high, ``turn`` (2,) cosine and sine of its tilt;
    ``cells`` (2 CELLS, 2 CELLS) which blocks have the pattern's colour, or a collage's colours."""

    there: bool
    y: float
    edges: np.ndarray
    turn: np.ndarray
    rgb: np.ndarray
    other: np.ndarray
    pattern: int
    size: float
    x: float
    cells: np.ndarray


class RoomTable(NamedTuple):
    """A ``RoomShader`` in numbers.

    ``turn`` (3, 3) and ``shift`` (3,) lead from the chamber's frame to the room's.  A row of
    ``lamps`` is direction (3), power (3), azimuth, elevation, half width and half height (rad),
    1 / edge (1/rad), sines of the heights between which it stands (2), panes, radiance (3), and
    softness of its shadow (rad; negative: it throws none).  Of ``boxes`` low (3), high (3) and
    colour; of ``rods`` start (3), direction (3), length, radius, gloss and colour; of ``rounds``
    radius, low, high, kind and colour.
    """

    turn: np.ndarray
    shift: np.ndarray
    ambient: np.ndarray
    floor: float
    horizon: float
    gain: float
    shadow: float
    outer: float
    half: float
    lid: float
    wall: Flat
    panel: Flat
    lamps: np.ndarray
    boxes: np.ndarray
    rods: np.ndarray
    rounds: np.ndarray


class InkTable(NamedTuple):
    """An ``Ink`` in numbers; what is not printed has ``spine`` or ``text`` False."""

    between: np.ndarray
    mark_z: np.ndarray
    left: np.ndarray
    right: np.ndarray
    half: np.ndarray
    low: float
    high: float
    spine: bool
    spine_at: float
    stroke: float
    text: bool
    text_between: np.ndarray
    text_z: np.ndarray
    text_start: np.ndarray
    codes: np.ndarray
    longest: int
    field: np.ndarray
    letter: float
    advance: float
    gap: float
    pen: float
    reach: float
    opacity: float
    rgb: np.ndarray


class TubeTable(NamedTuple):
    """A ``ChamberTracer`` in numbers: wall, print, bore and surface, liquid, lid, floor and tip.

    ``pieces`` (P, 4) as ``Bore.pieces``; ``rise`` and ``slope`` (N,) of the surface by ``step``;
    ``stickers`` (S, 7) left, right, low, high and colour; ``columns`` and ``rows`` of the grid of
    the drops.
    """

    outer: float
    low: float
    high: float
    wall_index: float
    fluid_index: float
    footprint: float
    print_y: float
    inside_light: np.ndarray
    front_light: np.ndarray
    lid_rgb: np.ndarray
    collar_rgb: np.ndarray
    tip_rgb: np.ndarray
    tip: float
    tip_radius: float
    absorption: np.ndarray
    scatter: float
    scatter_rgb: np.ndarray
    sediment: float
    sediment_factor: float
    ink: InkTable
    stickers: np.ndarray
    straight: bool
    pieces: np.ndarray
    level: float
    tilt: np.ndarray
    step: float
    band: np.ndarray
    rise: np.ndarray
    slope: np.ndarray
    columns: int
    rows: int
    bump_step: float


def _numbers(values: Any) -> np.ndarray:
    return np.array([float(v) for v in values])


def _table(rows: list[list[Any]], width: int) -> np.ndarray:
    return np.array(rows, float).reshape(-1, width)


def _flat(shader: RoomShader, rgb: Any, other: Any, pattern: str, size: float, x: float = 0.0,
          y: float = 0.0, edges: Any = (0.0,) * 4, tilt_deg: float = 0.0, seed: int = 0) -> Flat:
    cells = np.zeros((1, 1), np.float32)
    if pattern == "blocks":
        # By the shader itself: of single-precision sines the last digits are the pattern.
        at = (np.arange(-CELLS, CELLS) + 0.5).astype(np.float32)
        u, v = np.meshgrid(at * np.float32(size), at * np.float32(0.6 * size), indexing="ij")
        share = shader._pattern(u.ravel(), v.ravel(), pattern, size, x)
        cells = np.asarray(share, np.float32).reshape(u.shape)
    if pattern == "collage":
        cells = collage(seed)
    tilt = math.radians(tilt_deg)
    return Flat(y != 0.0, float(y), _numbers(edges), np.array([math.cos(tilt), math.sin(tilt)]),
                _numbers(rgb), _numbers(other),
                PATTERNS.index(pattern) if pattern in PATTERNS else 0, float(size), float(x),
                cells)


def room_table(shader: RoomShader) -> RoomTable:
    """The numbers of a room."""
    room, tube = shader.scene.room, shader.scene.tube
    lamps = []
    for direction, power, light in shader.lamps:
        reach = math.radians(light.half_height_deg + 0.51 * light.edge_deg)
        middle = math.radians(light.elevation_deg)
        band = [math.sin(min(max(middle + way * reach, -math.pi / 2), math.pi / 2))
                for way in (-1, 1)]
        dark = direction[1] > -0.1 or max(light.radiance) <= 0
        soft = math.radians(min(light.half_width_deg + light.half_height_deg, 60.0))
        lamps.append([*direction, *power, math.radians(light.azimuth_deg), middle,
                      math.radians(light.half_width_deg), math.radians(light.half_height_deg),
                      1.0 / math.radians(light.edge_deg), band[0] - 1e-5, band[1] + 1e-5,
                      light.bars, *light.radiance, -1.0 if dark else soft])
    rods = []
    for rod in room.rods:
        start, end = np.array(rod.start, float), np.array(rod.end, float)
        length = float(np.linalg.norm(end - start))
        rods.append([*start, *(end - start) / length, length, rod.radius_mm, rod.gloss, *rod.rgb])
    wall = _flat(shader, room.wall_rgb, room.wall_pattern_rgb, room.wall_pattern,
                 room.wall_pattern_mm, y=room.wall_y_mm, seed=room.wall_pattern_seed)
    p = room.panel
    panel = wall._replace(there=False) if p is None else _flat(
        shader, p.rgb, p.pattern_rgb, p.pattern, p.pattern_mm, p.pattern_x_mm, p.y_mm,
        (p.left_mm, p.right_mm, p.low_mm, p.high_mm), p.tilt_deg, p.pattern_seed
    )._replace(there=True)
    dx, dy, dz = shader.offset
    return RoomTable(
        np.array(shader.to_room), np.array([dx, dy, dz - shader.middle], float),
        _numbers(room.ambient), float(room.floor_ambient), float(room.horizon),
        float(shader.gain), float(room.shadow), shader.outer, (tube.lid_mm - tube.floor_mm) / 2,
        float(tube.lid_height_mm), wall, panel, _table(lamps, 18),
        _table([[*b.low, *b.high, *b.rgb] for b in room.boxes], 9), _table(rods, 12),
        _table([[radius, low, high, kind, *rgb]
                for kind, radius, low, high, rgb in shader.rounds], 7))


def tube_table(tracer: ChamberTracer) -> TubeTable:
    """The numbers of a chamber."""
    scene, bore, ink = tracer.scene, tracer.bore, tracer.ink
    p, tube, fluid = scene.print, scene.tube, scene.fluid
    hand, none = p.lettering, np.zeros(1, np.float32)
    text = ink.any_text
    table = InkTable(
        ink.between, ink.mark_z, ink.mark_left, ink.mark_right, ink.mark_half, ink.low, ink.high,
        bool(p.spine), ink.spine, float(p.stroke_mm), text,
        ink.text_between if text else none, ink.text_z if text else none,
        ink.text_start if text else none, ink.codes if text else np.zeros((1, 1)),
        ink.columns if text else 1,
        ink.field if text else none, float(p.numeral_height_mm), float(hand.advance),
        float(hand.gap), float(hand.stroke), ink.reach, float(p.opacity), _numbers(p.ink_rgb))
    _, _, columns, rows, step = tracer.bumps or (None, None, 0, 0, 1.0)
    return TubeTable(
        tracer.outer, tracer.low, tracer.high, tracer.index, tracer.fluid_index,
        tracer.footprint, tracer.print_y, _numbers(tracer.inside_light),
        _numbers(tracer.front_light), _numbers(tube.lid_rgb), _numbers(tube.collar_rgb),
        _numbers(tube.tip_rgb), float(tube.drip_tip_mm), float(tube.drip_tip_radius_mm),
        _numbers(fluid.absorption_per_mm), float(fluid.scatter_per_mm),
        _numbers(fluid.scatter_rgb), float(fluid.sediment_mm), float(fluid.sediment_factor),
        table, _table([[s.left_mm, s.right_mm, s.low_mm, s.high_mm, *s.rgb]
                       for s in scene.stickers], 7),
        bore.straight, _table([list(piece) for piece in bore.pieces], 4), bore.level,
        np.array([bore.tilt_x, bore.tilt_y]), bore.step,
        np.array([bore.band_low, bore.band_high]), bore.rise, bore.slope,
        int(columns), int(rows), float(step))


def packed(*tables: NamedTuple) -> tuple[Any, ...]:
    """The tables as records, and one array of all their numbers (float64).

    Where a table holds an array, its record holds the place where that begins, and how many rows it
    has under the name with ``_n``.  Compiled code that is handed many arrays spends most of its
    time on counting who holds them.
    """
    numbers: list[np.ndarray] = []
    records = [_record(table, numbers) for table in tables]
    return *records, np.concatenate(numbers)


def _record(table: Any, numbers: list[np.ndarray]) -> Any:
    names: list[tuple[str, Any]] = []
    values: list[Any] = []
    for name, value in zip(table._fields, table, strict=True):
        if isinstance(value, np.ndarray):
            names += [(name, np.int64), (f"{name}_n", np.int64)]
            values += [sum(len(n) for n in numbers), len(value)]
            numbers.append(np.asarray(value, float).ravel())
        elif hasattr(value, "_fields"):
            inner = _record(value, numbers)
            names.append((name, inner.dtype))
            values.append(inner)
        else:
            names.append((name, np.float64 if isinstance(value, float) else np.int64))
            values.append(value)
    return np.array([tuple(values)], np.dtype(names, align=True))[0]
