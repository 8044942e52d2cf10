"""A drop-in for the scene painter that runs ``rays.c``."""

from __future__ import annotations

import ctypes
import hashlib
import math
import os
import subprocess
import tempfile
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from vision.synthetic.chamber.camera import View
from vision.synthetic.chamber.glyphs import COLS, ROWS
from vision.synthetic.chamber.model import ChamberScene
from vision.synthetic.chamber.room import RoomShader
from vision.synthetic.chamber.tracer import ChamberTracer

_F, _I = ctypes.c_float, ctypes.c_int
_FP, _IP = ctypes.POINTER(ctypes.c_float), ctypes.POINTER(ctypes.c_int)
_SOURCE = Path(__file__).with_name("rays.c")
_PATTERNS = {"plain": 0, "rules": 1, "stripes": 2, "tiles": 3, "blocks": 4, "speckle": 5}
_MAX_PIECES, _MAX_THINGS = 40, 12


def _struct(name: str, fields: list[tuple[str, Any]]) -> Any:
    return type(name, (ctypes.Structure,), {"_fields_": fields})


_LAMP = _struct("Lamp", [("dir", _F * 3), ("power", _F * 3), ("az", _F), ("el", _F), ("hw", _F),
                         ("hh", _F), ("soft", _F), ("radiance", _F * 3), ("pane", _F),
                         ("shadow_soft", _F), ("bars", _I), ("casts", _I)])
_BOX = _struct("Box", [("low", _F * 3), ("high", _F * 3), ("rgb", _F * 3)])
_ROD = _struct("Rod", [("a", _F * 3), ("axis", _F * 3), ("length", _F), ("radius", _F),
                       ("rgb", _F * 3), ("gloss", _F)])
_ROUND = _struct("Round", [("radius", _F), ("low", _F), ("high", _F), ("rgb", _F * 3)])
_STICKER = _struct("Sticker", [("left", _F), ("right", _F), ("low", _F), ("high", _F),
                               ("rgb", _F * 3)])
_PIECE = _struct("Piece", [("z0", _F), ("r0", _F), ("z1", _F), ("k", _F)])
_PATTERN = _struct("Pattern", [("kind", _I), ("rgb", _F * 3), ("size", _F), ("x", _F)])
_SCENE = _struct("Scene", [
    *[(n, _F) for n in ("outer", "low", "high", "index", "fluid_index", "footprint")],
    *[(n, _F * 3) for n in ("lid_rgb", "collar_rgb", "tip_rgb", "inside_light", "front_light")],
    ("tip_mm", _F), ("tip_radius", _F), ("n_pieces", _I), ("straight", _I),
    ("piece", _PIECE * _MAX_PIECES),
    *[(n, _F) for n in ("level", "tilt_x", "tilt_y", "m_step", "band_low", "band_high")],
    ("m_last", _I), ("rise", _FP), ("slope", _FP),
    ("absorb", _F * 3), ("scatter", _F), ("scatter_rgb", _F * 3), ("sediment_mm", _F),
    ("sediment_factor", _F), ("bump_columns", _I), ("bump_rows", _I), ("bump_step", _F),
    ("bump_across", _FP), ("bump_upward", _FP),
    *[(n, _I) for n in ("n_marks", "spine_on", "n_text", "text_columns")],
    *[(n, _FP) for n in ("between", "mark_z", "mark_left", "mark_right", "mark_half", "text_z",
                         "text_start", "text_between", "field")],
    ("codes", _IP),
    *[(n, _F) for n in ("ink_low", "ink_high", "spine", "stroke", "reach", "opacity")],
    ("ink_rgb", _F * 3),
    *[(n, _F) for n in ("numeral_h", "advance", "gap", "hand_stroke")],
    ("glyph_rows", _I), ("glyph_cols", _I), ("n_stickers", _I), ("sticker", _STICKER * 4),
    ("to_room", _F * 9), ("middle", _F), ("gain", _F), ("ambient", _F * 3),
    ("floor_ambient", _F), ("horizon", _F), ("shadow", _F), ("wall_y", _F), ("wall_rgb", _F * 3),
    ("wall_pattern", _PATTERN), ("has_panel", _I),
    *[(n, _F) for n in ("panel_left", "panel_right", "panel_low", "panel_high", "panel_y",
                        "panel_c", "panel_s")],
    ("panel_rgb", _F * 3), ("panel_pattern", _PATTERN),
    *[(n, _I) for n in ("n_lamps", "n_boxes", "n_rods", "n_rounds")],
    ("lamp", _LAMP * _MAX_THINGS), ("box", _BOX * _MAX_THINGS), ("rod", _ROD * _MAX_THINGS),
    ("round_", _ROUND * 4), ("lid_height", _F), ("half_tube", _F), ("least_weight", _F),
    ("max_depth", _I),
])


@lru_cache(maxsize=1)
def library() -> Any:
    """The compiled tracer (built on first use, kept in the temporary folder)."""
    digest = hashlib.sha256(_SOURCE.read_bytes()).hexdigest()[:16]
    target = Path(tempfile.gettempdir()) / f"countersight-rays-{digest}.so"
    if not target.exists():
        part = target.with_suffix(f".{os.getpid()}.so")
        subprocess.run([os.environ.get("CC", "cc"), "-O3", "-march=native", "-ffast-math",
                        "-fno-finite-math-only", "-shared", "-fPIC", "-o", str(part),
                        str(_SOURCE), "-lm"], check=True)
        part.replace(target)
    lib = ctypes.CDLL(str(target))
    assert lib.scene_size() == ctypes.sizeof(_SCENE), "rays.c and painter.py have drifted apart"
    lib.look.argtypes = [ctypes.POINTER(_SCENE), _FP, _FP, _I, _FP]
    return lib


class FastPainter:
    """Colours of pixels of one scene, like ``vision.synthetic.chamber.render``'s painter."""

    def __init__(self, scene: ChamberScene, view: View, samples: int = 2) -> None:
        self.view = view
        room = RoomShader(scene, np)
        footprint = scene.camera.distance_mm / view.focal_px / samples
        self._tracer = ChamberTracer(scene, room, np, footprint)
        self._kept: list[np.ndarray] = []
        self.scene = self._pack(scene, room, self._tracer)

    def _f(self, a: Any) -> Any:
        array = np.ascontiguousarray(a, dtype=np.float32).ravel()
        self._kept.append(array)
        return array.ctypes.data_as(_FP)

    def _pack(self, scene: ChamberScene, room: RoomShader, t: ChamberTracer) -> Any:
        s = _SCENE()
        tube, fluid, bore, ink = scene.tube, scene.fluid, t.bore, t.ink
        s.outer, s.low, s.high, s.index = t.outer, t.low, t.high, t.index
        s.fluid_index, s.footprint = t.fluid_index, t.footprint
        for name in ("lid_rgb", "collar_rgb", "tip_rgb"):
            setattr(s, name, (_F * 3)(*getattr(tube, name)))
        s.inside_light, s.front_light = (_F * 3)(*t.inside_light), (_F * 3)(*t.front_light)
        s.tip_mm, s.tip_radius = tube.drip_tip_mm, tube.drip_tip_radius_mm
        pieces = bore.pieces[:_MAX_PIECES]
        s.n_pieces, s.straight = len(pieces), int(bore.straight)
        for i, piece in enumerate(pieces):
            s.piece[i] = _PIECE(*piece)
        s.level, s.tilt_x, s.tilt_y = bore.level, bore.tilt_x, bore.tilt_y
        s.m_step, s.m_last = bore.step, bore.last
        s.band_low, s.band_high = bore.band_low, bore.band_high
        s.rise, s.slope = self._f(bore.rise), self._f(bore.slope)
        s.absorb = (_F * 3)(*fluid.absorption_per_mm)
        s.scatter, s.scatter_rgb = fluid.scatter_per_mm, (_F * 3)(*fluid.scatter_rgb)
        s.sediment_mm, s.sediment_factor = fluid.sediment_mm, fluid.sediment_factor
        if t.bumps is not None:
            across, upward, s.bump_columns, s.bump_rows, s.bump_step = t.bumps
            s.bump_across, s.bump_upward = self._f(across), self._f(upward)
        self._ink(s, scene, ink)
        self._room(s, scene, room)
        s.lid_height, s.half_tube = tube.lid_height_mm, (tube.lid_mm - tube.floor_mm) / 2
        s.least_weight, s.max_depth = 0.015, 30
        return s

    def _ink(self, s: Any, scene: ChamberScene, ink: Any) -> None:
        p, hand = scene.print, scene.print.lettering
        s.n_marks, s.spine_on = len(ink.mark_z), int(p.spine)
        for name in ("between", "mark_z", "mark_left", "mark_right", "mark_half"):
            setattr(s, name, self._f(getattr(ink, name)))
        if ink.any_text:
            s.n_text, s.text_columns = len(ink.text_z), ink.columns
            for name in ("text_z", "text_start", "text_between", "field"):
                setattr(s, name, self._f(getattr(ink, name)))
            codes = np.ascontiguousarray(ink.codes, dtype=np.int32).ravel()
            self._kept.append(codes)
            s.codes = codes.ctypes.data_as(_IP)
        s.ink_low, s.ink_high, s.spine = ink.low, ink.high, ink.spine
        s.stroke, s.reach, s.opacity = p.stroke_mm, ink.reach, p.opacity
        s.ink_rgb = (_F * 3)(*p.ink_rgb)
        s.numeral_h, s.advance, s.gap = p.numeral_height_mm, hand.advance, hand.gap
        s.hand_stroke, s.glyph_rows, s.glyph_cols = hand.stroke, ROWS, COLS
        s.n_stickers = min(len(scene.stickers), 4)
        for i, k in enumerate(scene.stickers[:4]):
            s.sticker[i] = _STICKER(k.left_mm, k.right_mm, k.low_mm, k.high_mm, (_F * 3)(*k.rgb))

    def _room(self, s: Any, scene: ChamberScene, room: RoomShader) -> None:
        r = scene.room
        s.to_room = (_F * 9)(*[v for row in room.to_room for v in row])
        s.middle, s.gain, s.ambient = room.middle, room.gain, (_F * 3)(*r.ambient)
        s.floor_ambient, s.horizon, s.shadow = r.floor_ambient, r.horizon, r.shadow
        s.wall_y, s.wall_rgb = r.wall_y_mm, (_F * 3)(*r.wall_rgb)
        s.wall_pattern = _PATTERN(_PATTERNS[r.wall_pattern], (_F * 3)(*r.wall_pattern_rgb),
                                  r.wall_pattern_mm, 0.0)
        if r.panel is not None:
            q = r.panel
            s.has_panel = 1
            s.panel_left, s.panel_right, s.panel_low = q.left_mm, q.right_mm, q.low_mm
            s.panel_high, s.panel_y = q.high_mm, q.y_mm
            s.panel_c = math.cos(math.radians(q.tilt_deg))
            s.panel_s = math.sin(math.radians(q.tilt_deg))
            s.panel_rgb = (_F * 3)(*q.rgb)
            s.panel_pattern = _PATTERN(_PATTERNS[q.pattern], (_F * 3)(*q.pattern_rgb),
                                       q.pattern_mm, q.pattern_x_mm)
        lamps = room.lamps[:_MAX_THINGS]
        s.n_lamps = len(lamps)
        for i, (direction, power, light) in enumerate(lamps):
            casts = direction[1] <= -0.1 and max(light.radiance) > 0
            s.lamp[i] = _LAMP(
                (_F * 3)(*direction), (_F * 3)(*power), math.radians(light.azimuth_deg),
                math.radians(light.elevation_deg), math.radians(light.half_width_deg),
                math.radians(light.half_height_deg), 1.0 / math.radians(light.edge_deg),
                (_F * 3)(*light.radiance), 2 * math.radians(light.half_width_deg) / light.bars,
                math.radians(min(light.half_width_deg + light.half_height_deg, 60.0)),
                light.bars, int(casts))
        boxes, rods = r.boxes[:_MAX_THINGS], r.rods[:_MAX_THINGS]
        s.n_boxes, s.n_rods, s.n_rounds = len(boxes), len(rods), len(room.rounds)
        for i, box in enumerate(boxes):
            s.box[i] = _BOX((_F * 3)(*box.low), (_F * 3)(*box.high), (_F * 3)(*box.rgb))
        for i, rod in enumerate(rods):
            a, b = np.array(rod.start, float), np.array(rod.end, float)
            length = float(np.linalg.norm(b - a))
            s.rod[i] = _ROD((_F * 3)(*a), (_F * 3)(*((b - a) / length)), length, rod.radius_mm,
                            (_F * 3)(*rod.rgb), rod.gloss)
        for i, (_, radius, low, high, rgb) in enumerate(room.rounds):
            s.round_[i] = _ROUND(radius, low, high, (_F * 3)(*rgb))

    def __call__(self, x: Any, y: Any) -> tuple[np.ndarray, None]:
        """Colours (3, N) at pixel positions."""
        v = self.view
        u, w = (np.asarray(x) - v.cx) / v.focal_px, (np.asarray(y) - v.cy) / v.focal_px
        d = np.stack([u, w, np.ones_like(u)], axis=1) @ v.axes
        d = np.ascontiguousarray(d / np.linalg.norm(d, axis=1, keepdims=True), dtype=np.float32)
        out = np.zeros_like(d)
        centre = np.ascontiguousarray(v.centre, dtype=np.float32)
        library().look(ctypes.byref(self.scene), centre.ctypes.data_as(_FP),
                       d.ctypes.data_as(_FP), len(d), out.ctypes.data_as(_FP))
        return out.T, None
