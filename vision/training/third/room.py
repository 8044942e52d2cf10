"""What stands behind and beside the chamber, and where the light comes from."""

from __future__ import annotations

import math
from typing import Any

import cv2
import numpy as np

from vision.training.third.blender import UNIT, Matrix, box, bpy, flat, matt, put, shining
from vision.training.third.draws import ThirdScene
from vision.training.third.meshes import Mesh, grid, ring


def build_room(scene: ThirdScene) -> None:
    """Background, panel, pole, hanging line and lamps; upright against gravity."""
    rng = np.random.default_rng(scene.seed + 5)
    middle = 0.5 * (scene.floor_mm + scene.lid_mm)
    upright = _turning_to(scene.up)
    outer = scene.scale.outer_radius_mm
    room = _Room(rng, upright, middle)
    if scene.panel:
        _panel(room, scene, outer)
    if rng.random() < 0.5:
        x, y = rng.uniform(-90, 90), outer + rng.uniform(40, 110)
        room.add(_rod(x, y, rng.uniform(9, 16), middle), room.paint(0.35, 0.7, metal=0.9))
    if rng.random() < 0.4:
        x = (outer + rng.uniform(8, 60)) * rng.choice([-1, 1])
        room.add(_rod(x, rng.uniform(-5, 30), rng.uniform(1, 3.5), middle), room.paint(0.3, 0.8))
    _BEHIND[scene.behind](room, outer + float(rng.uniform(120, 700)))
    _lights(scene, rng, middle)


class _Room:
    """Draws and adds: ``middle`` is the height of the chamber's middle."""

    def __init__(self, rng: np.random.Generator, upright: np.ndarray, middle: float) -> None:
        self.rng, self.upright, self.middle, self.yaw = rng, upright, middle, 0.0

    def add(self, mesh: Mesh, material: Any) -> None:
        c, s = math.cos(self.yaw), math.sin(self.yaw)
        put("room", mesh, material, self.upright @ np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]]))

    def paint(self, dark: float, light: float, **how: Any) -> Any:
        grey = self.rng.uniform(dark, light)
        colour = np.clip(grey * (1 + self.rng.normal(0, 0.25, 3)), 0.02, 0.9)
        return matt("paint", colour, rough=float(self.rng.uniform(0.3, 0.9)), **how)

    def back(self, y: float, material: Any) -> None:
        """A wall across the whole view."""
        z = self.middle
        self.add(flat([(-1500, y, z - 1200), (1500, y, z - 1200), (1500, y, z + 1200),
                       (-1500, y, z + 1200)]), material)


def _turning_to(up: np.ndarray) -> np.ndarray:
    """The smallest turn that takes the z axis to ``up``."""
    turn = np.cross([0, 0, 1.0], up)
    return np.asarray(cv2.Rodrigues(turn)[0])


def _rod(x: float, y: float, radius: float, middle: float) -> Mesh:
    mesh = grid(ring(np.full(2, radius), np.array([middle - 900, middle + 900])), 1.0)
    return Mesh(mesh.points + [x, y, 0], mesh.normals, mesh.quads, mesh.index, mesh.uv, mesh.stain)


def _panel(room: _Room, scene: ThirdScene, outer: float) -> None:
    """The board the chamber hangs on, turned with it."""
    rng = room.rng
    y = outer + float(rng.uniform(2, 14))
    left, right = -outer - rng.uniform(8, 50), outer + rng.uniform(8, 50)
    low, high = scene.floor_mm - rng.uniform(20, 120), scene.lid_mm + rng.uniform(15, 120)
    wide, tall = right - left, high - low
    board = np.empty((int(tall * 4), int(wide * 4), 3), np.uint8)
    board[:] = 255 * np.clip(rng.uniform(0.35, 0.8) * (1 + rng.normal(0, 0.06, 3)), 0, 0.85)
    if rng.random() < 0.6:  # its own print: a ladder, words or a coloured band at one side
        column = int(board.shape[1] * rng.choice([0.06, 0.82]))
        ink = rng.uniform(5, 75, 3)
        kind = rng.integers(3)
        if kind == 0:
            for k, row in enumerate(range(20, board.shape[0] - 20, int(rng.integers(14, 40)))):
                cv2.line(board, (column, row), (column + (24 if k % 5 == 0 else 12), row),
                         ink.tolist(), 2)
                if k % 5 == 0:
                    cv2.putText(board, str(40 - k), (column + 26, row + 5),
                                cv2.FONT_HERSHEY_SIMPLEX, 0.45, ink.tolist(), 1, cv2.LINE_AA)
        elif kind == 1:
            for row in range(60, board.shape[0], int(rng.integers(60, 160))):
                cv2.putText(board, str(rng.choice(["ZERO", "CHECK", "ml", "LEVEL", "CLAMP"])),
                            (column, row), cv2.FONT_HERSHEY_DUPLEX, 0.7, ink.tolist(), 1,
                            cv2.LINE_AA)
        else:
            board[:, column:column + int(rng.integers(15, 60))] = ink
    room.yaw = math.radians(scene.turn_deg)
    paint = matt("board", (1, 1, 1), rough=float(rng.uniform(0.2, 0.6)),
                 picture=board / np.float32(255))
    room.add(flat([(left, y, low), (right, y, low), (right, y, high), (left, y, high)]), paint)
    room.add(box((left - 2, y + 0.5, low - 2), (right + 2, y + 5, high + 2)), room.paint(.2, .7))
    room.yaw = 0.0


def _weave(rng: np.random.Generator) -> np.ndarray:
    """A cloth or wallpaper pattern, (512, 512, 3) linear."""
    y, x = np.mgrid[0:512, 0:512] / 512.0
    one, two = np.clip(rng.uniform(0.05, 0.75, (2, 3)), 0, 1)
    n = int(rng.integers(4, 40))
    kind = str(rng.choice(["stripes", "bars", "checks", "dots", "slant", "leaves"]))
    share = {
        "stripes": np.sin(2 * np.pi * n * x) > 0, "bars": np.sin(2 * np.pi * n * y) > 0.2,
        "checks": 0.5 * ((np.sin(2 * np.pi * n * x) > 0) + 0.0 + (np.sin(2 * np.pi * n * y) > 0)),
        "dots": (np.mod(n * x, 1) - .5) ** 2 + (np.mod(n * y, 1) - .5) ** 2 < 0.08,
        "slant": np.sin(2 * np.pi * n * (x + y)) > 0.3,
        "leaves": np.sin(2 * np.pi * n / 3 * x + 2 * np.sin(2 * np.pi * n / 4 * y))
        * np.sin(2 * np.pi * n / 3 * y) > 0.2}[kind]
    share = cv2.GaussianBlur(np.asarray(share, np.float32), (0, 0), 0.7)[..., None]
    return np.asarray(one * (1 - share) + two * share, np.float32)


def _curtain(room: _Room, y: float) -> None:
    rng = room.rng
    x = np.linspace(-1200, 1200, 700)
    fold = sum(rng.uniform(4, 22) * np.sin(x / rng.uniform(12, 60) + rng.uniform(0, 7))
               for _ in range(3))
    z = np.array([-1000.0, 1000.0]) + room.middle
    p = np.stack([np.broadcast_to(x, (2, 700)), np.broadcast_to(y + fold + 30, (2, 700)),
                  np.broadcast_to(z[:, None], (2, 700))], -1)
    cloth = matt("curtain", rng.uniform(0.1, 0.75, 3), rough=0.9,
                 picture=_weave(rng) if rng.random() < 0.5 else None)
    room.add(grid(p, 1.0), cloth)


def _cloth(room: _Room, y: float) -> None:
    room.yaw = float(room.rng.uniform(-0.3, 0.3))
    room.back(y * 0.7 + 40, matt("cloth", (1, 1, 1), rough=0.9, picture=np.tile(
        _weave(room.rng), (4, 5, 1))))


def _pictures(room: _Room, y: float) -> None:
    rng = room.rng
    room.yaw = float(rng.uniform(-0.4, 0.4))
    room.back(y, room.paint(0.3, 0.75))
    for _ in range(int(rng.integers(3, 9))):
        x, z = rng.uniform(-350, 350), room.middle + rng.uniform(-350, 350)
        w, h = rng.uniform(60, 220, 2)
        room.add(box((x - 8, y - 14, z - 8), (x + w + 8, y - 1, z + h + 8)), room.paint(.03, .6))
        art = cv2.resize(rng.uniform(0.02, 0.8, (int(rng.integers(3, 9)), 6, 3)).astype(np.float32),
                         (128, 128), interpolation=cv2.INTER_CUBIC)
        room.add(flat([(x, y - 15, z), (x + w, y - 15, z), (x + w, y - 15, z + h),
                       (x, y - 15, z + h)]), matt("art", (1, 1, 1), picture=np.clip(art, 0, 1)))


def _shelf(room: _Room, y: float) -> None:
    rng = room.rng
    room.yaw = float(rng.uniform(-0.3, 0.3))
    room.back(y + 250, room.paint(0.2, 0.7))
    wood, z = room.paint(0.15, 0.7), room.middle - 420
    while z < room.middle + 400:
        room.add(box((-900, y, z - 16), (900, y + 245, z)), wood)
        clear, x = float(rng.uniform(110, 260)), -400.0
        while x < 400:
            w, h = rng.uniform(20, 110), rng.uniform(0.3, 0.95) * (clear - 16)
            if rng.random() < 0.7:
                room.add(box((x, y + 10, z), (x + w, y + 100, z + h)), room.paint(0.03, 0.8))
            else:
                jar = grid(ring(np.full(2, w / 2), np.array([z, z + h])), 1.0)
                room.add(Mesh(jar.points + [x + w / 2, y + 70, 0], jar.normals, jar.quads,
                              jar.index, jar.uv, jar.stain), room.paint(0.03, 0.8))
            x += w + rng.uniform(2, 60)
        z += clear


def _window(room: _Room, y: float) -> None:
    rng = room.rng
    room.yaw = float(rng.uniform(-0.4, 0.4))
    sky = np.clip(rng.uniform(0.7, 1.3) * np.array([0.85, 0.95, 1.1]), 0, 2)
    room.back(y + 60, shining("sky", sky, float(rng.uniform(0.5, 1.6))))
    frame, gap = room.paint(0.25, 0.8), float(rng.uniform(90, 300))
    bar, at = float(rng.uniform(12, 45)), float(rng.uniform(0, 1))
    for k in range(-8, 9):
        x, z = (k + at) * gap, room.middle + (k + at) * gap * 1.2
        room.add(box((x - bar / 2, y, room.middle - 1200), (x + bar / 2, y + 40,
                                                           room.middle + 1200)), frame)
        room.add(box((-1500, y + 1, z - bar / 2), (1500, y + 39, z + bar / 2)), frame)


def _door(room: _Room, y: float) -> None:
    rng = room.rng
    room.yaw = float(rng.uniform(-0.4, 0.4))
    room.back(y + 30, room.paint(0.3, 0.75))
    edge, leaf, trim = float(rng.uniform(-250, 60)), room.paint(0.1, 0.7), room.paint(0.2, 0.8)
    room.add(box((edge, y, -1500), (edge + 850, y + 20, 1500)), leaf)
    room.add(box((edge - 70, y - 12, -1500), (edge - 2, y + 20, 1500)), trim)
    for k in range(2):
        z = room.middle - 380 + 430 * k
        room.add(box((edge + 110, y - 6, z), (edge + 700, y + 1, z + 330)), leaf)
    z = room.middle + float(rng.uniform(-200, 200))
    room.add(box((edge + 40, y - 60, z), (edge + 170, y - 40, z + 18)), room.paint(.4, .8, metal=1))


def _lights(scene: ThirdScene, rng: np.random.Generator, middle: float) -> None:
    """A lamp of the scene's kind over an even light from all round."""
    world = bpy.data.worlds.new("world")
    bpy.context.scene.world = world
    world.use_nodes = True
    sky = world.node_tree.nodes["Background"]
    tint = np.clip(1 + rng.normal(0, 0.06, 3), 0.8, 1.2)
    sky.inputs["Color"].default_value = (*tint, 1)
    sky.inputs["Strength"].default_value = 0.35 * scene.ambient
    target = np.array([0, 0, middle])
    side = float(rng.choice([-1, 1]))
    u = rng.uniform
    if scene.light == "ceiling":
        for _ in range(int(rng.integers(1, 4))):
            _lamp(np.array([u(-900, 900), u(-1400, 200), middle + u(900, 1700)]), target,
                  (u(300, 900), u(150, 700)), u(0.7, 1.6), (1, u(.9, 1), u(.8, 1)))
    elif scene.light == "window":
        _lamp(np.array([side * u(700, 1500), u(-900, 300), middle + u(-100, 600)]), target,
              (u(500, 1000), u(700, 1300)), u(1.2, 2.4), (u(.85, 1), u(.92, 1), 1))
        _lamp(np.array([u(-400, 400), u(-1200, 0), middle + 1400]), target, (300, 300), u(.1, .5),
              (1, u(.8, .95), u(.6, .85)))
    elif scene.light == "lamp":
        size = u(40, 200)
        _lamp(np.array([side * u(250, 900), u(-700, 150), middle + u(-100, 700)]), target,
              (size, size), u(1.5, 2.8), (1, u(.75, 1), u(.5, .95)))
    else:
        c = scene.camera
        place = c.place + c.right * side * u(8, 20) + c.up * u(-5, 15) - 2 * c.ahead
        _lamp(place, target, (5, 5), u(1.5, 3), (1, 1, u(.9, 1)))


def _lamp(place: np.ndarray, target: np.ndarray, size: tuple[float, float], irradiance: float,
          colour: tuple[float, float, float]) -> None:
    """A rectangle that lights ``target`` with ``irradiance`` (white paint then shines 1/pi)."""
    data = bpy.data.lights.new("lamp", "AREA")
    data.shape = "RECTANGLE"
    data.size, data.size_y = size[0] * UNIT, size[1] * UNIT
    data.color = colour
    distance = float(np.linalg.norm(target - place)) * UNIT
    data.energy = math.pi * distance**2 * irradiance * math.pi
    lamp = bpy.data.objects.new("lamp", data)
    bpy.context.scene.collection.objects.link(lamp)
    back = (place - target) / np.linalg.norm(place - target)
    right = np.cross([0, 0, 1.0], back)
    right = right / max(float(np.linalg.norm(right)), 1e-9)
    pose = np.eye(4)
    pose[:3, 0], pose[:3, 1], pose[:3, 2] = right, np.cross(back, right), back
    pose[:3, 3] = place * UNIT
    lamp.matrix_world = Matrix(pose.tolist())


_BEHIND = {"curtain": _curtain, "cloth": _cloth, "pictures": _pictures, "shelf": _shelf,
           "window": _window, "door": _door}
