"""A thin hand on LuxCore's scene: media, materials, pictures, surfaces, lights, camera.

LuxCore's own frame has its third axis up: a chamber's (x, y, z) stands there as (x, -z, y).
"""

from __future__ import annotations

import atexit
from collections.abc import Iterable
from typing import Any

import cv2  # noqa: F401  LuxCore brings its own allocator: what holds memory is loaded before it
import numpy as np
import PIL.Image  # noqa: F401

from vision.training.fourth.lens import Lens
from vision.training.fourth.solids import Solid, Vector

_core: Any = None


def core() -> Any:
    """The module, started once and told to be silent."""
    global _core
    if _core is None:
        import pyluxcore

        def silent(_: str) -> None:
            return None

        pyluxcore.Init(silent)
        atexit.register(pyluxcore.SetLogHandler, None)
        _core = pyluxcore
    return _core


def upward(v: Vector) -> list[float]:
    """A point or direction in LuxCore's frame."""
    x, y, z = (float(c) for c in v)
    return [x, -z, y]


def _plain(value: Any) -> Any:
    if isinstance(value, str | bool | int):
        return value
    if isinstance(value, Iterable):
        return [_plain(v) for v in value]
    return float(value)


def properties(values: dict[str, Any]) -> Any:
    """LuxCore's own form of a table of settings."""
    table = core().Properties()
    for key, value in values.items():
        table.Set(core().Property(key, _plain(value)))
    return table


class Stage:
    """A scene that is being built; names are given by the caller and must differ."""

    def __init__(self) -> None:
        self.scene = core().Scene()
        self.medium("air", 1.0, priority=0)
        self.tell({"scene.world.volume.default": "m-air"})
        self._count = 0

    def tell(self, values: dict[str, Any]) -> None:
        """Pass settings on."""
        self.scene.Parse(properties(values))

    def medium(self, name: str, index: float, absorbs: Vector = (0.0, 0.0, 0.0),
               scatters: float = 0.0, priority: int = 0) -> None:
        """A clear or cloudy medium; losses are per mm."""
        at = f"scene.volumes.m-{name}"
        values: dict[str, Any] = {f"{at}.type": "homogeneous" if scatters else "clear",
                                  f"{at}.ior": index, f"{at}.absorption": list(absorbs),
                                  f"{at}.priority": priority}
        if scatters:
            values |= {f"{at}.scattering": [scatters] * 3, f"{at}.multiscattering": True}
        self.tell(values)

    def boundary(self, name: str) -> str:
        """The smooth boundary of a body filled with a medium; returns the material."""
        at = f"scene.materials.g-{name}"
        self.tell({f"{at}.type": "glass", f"{at}.kr": [1, 1, 1], f"{at}.kt": [1, 1, 1],
                   f"{at}.volume.interior": f"m-{name}"})
        return f"g-{name}"

    def picture(self, pixels: np.ndarray) -> str:
        """A texture of (H, W, 3) linear colours or (H, W) shares, top row first."""
        self._count += 1
        name = f"t{self._count}"
        data = np.ascontiguousarray(pixels, np.float32)
        channels = 1 if data.ndim == 2 else data.shape[2]
        self.scene.DefineImageMap(f"i-{name}", data.reshape(-1), 1.0, channels,
                                  data.shape[1], data.shape[0])
        self.tell({f"scene.textures.{name}.type": "imagemap",
                   f"scene.textures.{name}.file": f"i-{name}",
                   f"scene.textures.{name}.gamma": 1.0,
                   f"scene.textures.{name}.mapping.type": "uvmapping2d",
                   f"scene.textures.{name}.mapping.uvscale": [1.0, -1.0],
                   f"scene.textures.{name}.mapping.uvdelta": [0.0, 1.0]})
        return name

    def paint(self, colour: str | Vector, *, gloss: float = 0.0, rough: float = 0.3,
              cover: str | None = None, gives: Vector | None = None) -> str:
        """An opaque material (a texture's name or a colour), matt or with a glossy coat;
        ``cover`` is a texture of how much is there; ``gives`` is light that it sends out."""
        self._count += 1
        name = f"p{self._count}"
        at = f"scene.materials.{name}"
        values: dict[str, Any] = {f"{at}.kd": colour, f"{at}.type": "matte"}
        if gloss:
            values |= {f"{at}.type": "glossy2", f"{at}.ks": [gloss] * 3,
                       f"{at}.uroughness": rough, f"{at}.vroughness": rough}
        if cover is not None:
            values[f"{at}.transparency"] = cover
        if gives is not None:
            values[f"{at}.emission"] = list(gives)
        self.tell(values)
        return name

    def metal(self, colour: Vector, rough: float) -> str:
        """Brushed or polished metal."""
        self._count += 1
        name = f"p{self._count}"
        at = f"scene.materials.{name}"
        self.tell({f"{at}.type": "metal2", f"{at}.fresnel": f"f-{name}",
                   f"scene.textures.f-{name}.type": "fresnelcolor",
                   f"scene.textures.f-{name}.kr": list(colour),
                   f"{at}.uroughness": rough, f"{at}.vroughness": rough})
        return name

    def put(self, solid: Solid, material: str) -> None:
        """Add a surface."""
        self._count += 1
        name = f"o{self._count}"
        points, normals = ([tuple(upward(v)) for v in part] for part in (
            solid.points, solid.normals))
        self.scene.DefineMesh(name, points, [tuple(t) for t in solid.triangles.tolist()], normals,
                              [tuple(t) for t in solid.uv.tolist()], None, None)
        self.tell({f"scene.objects.{name}.shape": name,
                   f"scene.objects.{name}.material": material})

    def surroundings(self, light: np.ndarray) -> None:
        """Light from far away: (H, W, 3), rows from above to below, columns right round."""
        data = np.ascontiguousarray(light, np.float32)
        self.scene.DefineImageMap("i-far", data.reshape(-1), 1.0, 3, data.shape[1], data.shape[0])
        self.tell({"scene.lights.far.type": "infinite", "scene.lights.far.file": "i-far",
                   "scene.lights.far.gamma": 1.0, "scene.lights.far.gain": [1, 1, 1]})

    def look(self, lens: Lens, aperture_mm: float, focus_mm: float,
             box: tuple[float, float, float, float]) -> None:
        """Set the camera up for the part of the straight picture between left, top, right and
        bottom, which are edges of pixels counted from the whole picture's top-left edge."""
        # with 90 degrees of view LuxCore's screen is measured in focal lengths
        left, top, right, bottom = box
        cx, cy = lens.size[0] / 2, lens.size[1] / 2
        window = [(left - cx) / lens.focal_px, (right - cx) / lens.focal_px,
                  (cy - bottom) / lens.focal_px, (cy - top) / lens.focal_px]
        self.tell({"scene.camera.type": "perspective",
                   "scene.camera.lookat.orig": upward(lens.eye),
                   "scene.camera.lookat.target": upward(lens.target),
                   "scene.camera.up": upward(lens.top),
                   "scene.camera.fieldofview": 90.0, "scene.camera.screenwindow": window,
                   "scene.camera.autofocus.enable": False,
                   "scene.camera.lensradius": aperture_mm / 2,
                   "scene.camera.focaldistance": focus_mm,
                   "scene.camera.cliphither": 1.0, "scene.camera.clipyon": 1e5})
