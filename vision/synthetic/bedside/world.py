"""Random rooms for level photos: what stands where, in millimetres, and the true offset.

The frame is that of ``geometry``; the wall is z = 0.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from vision.synthetic.bedside.chamber import HungChamber, random_chamber
from vision.synthetic.bedside.geometry import Board, View, turn_x, turn_y, turn_z

#: Kinds of scene and how often each comes.
KINDS = {"cards": 0.60, "tap": 0.12, "horizon": 0.05, "nogravity": 0.06, "bare": 0.03,
         "nolandmark": 0.04, "nozero": 0.04, "cut": 0.03, "smeared": 0.03}
#: What an honest tool does with each kind.
EXPECT = {"cards": "read", "tap": "read", "horizon": "read", "nogravity": "read-wide",
          "bare": "refuse", "nolandmark": "refuse", "nozero": "refuse", "cut": "refuse",
          "smeared": "refuse"}
#: So many rooms show a chamber, if the kind does not leave it out.
CHAMBER_SHARE = 0.6
NO_CHAMBER = ("nogravity", "bare")
#: How far off plumb bodies are drawn, one standard deviation (deg): a pole each way; a panel in its
#: own plane and out of it.  Our assumption, as in ``vision.vertical.cue``.
POLE_LEAN_SD_DEG, PANEL_ROLL_SD_DEG, PANEL_PITCH_SD_DEG = 0.5, 0.5, 1.2
#: A second photo is taken from within so much of square to the wall, degrees.
ANOTHER_AZIMUTH_DEG = 25.0


@dataclass(frozen=True)
class World:
    """Everything in one scene."""

    kind: str
    view: View
    f35: float
    zero: Board
    landmark: Board | None
    landmark_point: np.ndarray
    panel: Board | None
    pole: tuple[np.ndarray, np.ndarray, float] | None
    cord: tuple[np.ndarray, np.ndarray, float, float] | None
    head: tuple[np.ndarray, float]
    boxes: tuple[tuple[np.ndarray, np.ndarray, tuple[float, float, float]], ...]
    wall_boards: tuple[Board, ...]
    strings: tuple[tuple[np.ndarray, np.ndarray, float], ...]
    floor_y: float
    colours: dict[str, np.ndarray] = field(default_factory=dict)
    zero_mm: float = 60.0
    landmark_mm: float = 40.0
    facts: dict[str, object] = field(default_factory=dict)
    chamber: HungChamber | None = None

    @property
    def offset_mm(self) -> float:
        """The truth: height of the zero reference over the landmark."""
        return float(self.zero.centre[1] - self.landmark_point[1])

    def view_facts(self) -> dict[str, object]:
        """What the camera sees of pole and chamber."""
        view, lean = self.view, self.facts["pole_lean_deg"]
        assert isinstance(lean, list)
        found: dict[str, object] = {
            "pole_axis_camera": [float(v) for v in view.axes @ _leaning(*lean)]}
        if self.chamber is not None:
            outline = view.project(self.chamber.outline(view.position).reshape(4, 3))
            found["chamber_outline_px"] = outline.reshape(2, 2, 2).tolist()
        return found

    def all_in_picture(self) -> bool:
        """Whether everything that is needed lies inside the picture."""
        p = self.view.project(np.vstack([
            self.zero.corners(), self.landmark_point[None] if self.landmark is None
            else self.landmark.corners()]))
        return bool(p.min() > 8 and p[:, 0].max() < self.view.width - 8
                    and p[:, 1].max() < self.view.height - 8)


def random_world(rng: np.random.Generator, kind: str, chamber: bool | None = None) -> World:
    """Draw one scene of a kind, with what it needs inside the picture.

    ``chamber`` says whether a chamber hangs there; by chance when None.
    """
    # Its own stream: the room is the same with a chamber and without.
    own = rng.spawn(1)[0]
    shown = bool(own.random() < CHAMBER_SHARE and kind not in NO_CHAMBER)
    while True:
        world = _any_world(rng, kind, own if (shown if chamber is None else chamber) else None)
        if world.all_in_picture():
            return world


def seen_again(world: World, rng: np.random.Generator) -> World:
    """The same room with the same phone, from beside, above or below."""
    while True:
        view, _ = _random_view(rng, world.kind, world.zero.centre, world.landmark_point,
                               ANOTHER_AZIMUTH_DEG, (world.f35, world.view.width))
        again = replace(world, view=view)
        if again.all_in_picture():
            return again


def landmark_moved(world: World, by_mm: float) -> World:
    """The same room with the head, and the card held to it, so much higher."""
    up = np.array([0.0, by_mm, 0.0])
    card = world.landmark
    return replace(
        world, landmark_point=world.landmark_point + up, head=(world.head[0] + up, world.head[1]),
        landmark=None if card is None else replace(card, centre=card.centre + up))


def _any_world(rng: np.random.Generator, kind: str, own: np.random.Generator | None) -> World:
    side = rng.choice([-1.0, 1.0])  # where the pole stands
    span = rng.uniform(380, 800)
    depth = rng.uniform(-170, 170)  # landmark nearer to the phone than the zero, square to the wall
    offset = rng.uniform(-140, 140)
    zero_at = np.array([side * span / 2, 0.0, 500.0])
    landmark_at = np.array([-side * span / 2, -offset, 500.0 + depth])
    lean = rng.normal(0, POLE_LEAN_SD_DEG, 2)
    panel_turn, panel_roll, panel_pitch = (
        rng.uniform(-20, 20), rng.normal(0, PANEL_ROLL_SD_DEG), rng.normal(0, PANEL_PITCH_SD_DEG))
    rotation = turn_y(panel_turn) @ turn_x(panel_pitch) @ turn_z(panel_roll)
    if kind == "bare":
        rotation = turn_y(panel_turn) @ turn_x(rng.normal(0, 8)) @ turn_z(rng.normal(0, 12))
    view, f35 = _random_view(rng, kind, zero_at, landmark_at)
    wide, tall = rng.uniform(120, 190), rng.uniform(330, 480)
    panel = None
    if kind != "bare":
        centre = zero_at - rotation @ np.array([0, tall * rng.uniform(0.02, 0.2), 4.0])
        panel = Board(centre, rotation, (wide, tall), _pale(rng))
    has_pole = kind not in ("nogravity", "bare") and rng.random() < 0.9
    pole = None
    axis = _leaning(*lean)
    if has_pole:
        foot = zero_at + np.array([rng.uniform(-25, 25), 0, -rng.uniform(25, 45)])
        pole = (foot, axis, rng.uniform(9, 17))
    cord = None
    if kind not in ("nogravity", "bare") and (not has_pole or rng.random() < 0.5):
        top = zero_at + np.array([rng.choice([-1, 1]) * rng.uniform(wide / 2 + 15, wide / 2 + 60),
                                  rng.uniform(80, 260), rng.uniform(-20, 30)])
        cord = (top, top - np.array([0, rng.uniform(280, 480), 0]), rng.uniform(0.6, 1.6),
                rng.uniform(5, 9))
    radius = rng.uniform(75, 110)
    landmark, point, head = _landmark(rng, kind, landmark_at, radius, view)
    boxes = _bed(rng, side, head, radius)
    facts = {"panel_roll_deg": panel_roll, "panel_pitch_deg": panel_pitch,
             "panel_turn_deg": panel_turn, "pole_lean_deg": [float(v) for v in lean],
             "cord": cord is not None, "pole": pole is not None,
             "horizontal_span_mm": float(span)}
    facts["depth_difference_mm"] = float(point[2] - zero_at[2])
    facts["chamber"] = own is not None
    chamber = None
    if own is not None:
        chamber, facts["chamber_hang_deg"] = random_chamber(own, zero_at, wide, panel_turn)
    return World(kind, view, f35, Board(zero_at, rotation, (75, 75), np.ones(3)), landmark, point,
                 panel, pole, cord, (head, radius), boxes, _wall(rng), _strings(rng),
                 -rng.uniform(500, 900),
                 {"wall": _pale(rng), "floor": _pale(rng) * rng.uniform(0.3, 0.6),
                  "bed": _pale(rng), "skin": np.array([0.75, 0.52, 0.38]) * rng.uniform(0.5, 1.1)},
                 facts=facts, chamber=chamber)


def _pale(rng: np.random.Generator) -> np.ndarray:
    """A pale colour, linear light."""
    return np.asarray(np.clip(rng.uniform(0.35, 0.75) * (1 + rng.normal(0, 0.12, 3)), 0.05, 0.95))


def _leaning(sideways_deg: float, outwards_deg: float) -> np.ndarray:
    """(3,) axis of a pole that leans so much."""
    return np.asarray(turn_z(sideways_deg) @ turn_x(outwards_deg) @ np.array([0, 1.0, 0]))


def _random_view(rng: np.random.Generator, kind: str, zero: np.ndarray, landmark: np.ndarray,
                 azimuth_deg: float = 12.0, phone: tuple[float, int] | None = None
                 ) -> tuple[View, float]:
    """A view of both points from within ``azimuth_deg`` of square; ``phone`` is a known focal
    length (35 mm-equivalent) and width of the picture."""
    f35 = float(rng.choice([24, 26, 26, 26, 28, 35, 48, 52, 77]) + rng.uniform(-0.4, 0.4))
    portrait = rng.random() < 0.3
    if phone is not None:
        f35, portrait = phone[0], phone[1] == 1200
    width, height = (1200, 1600) if portrait else (1600, 1200)
    focal = f35 * np.hypot(width, height) / 43.266615
    middle = (zero + landmark) / 2
    spread = abs(zero[0] - landmark[0]) + 260
    distance = spread * focal / width * rng.uniform(1.0, 1.35)
    azimuth, elevation = rng.uniform(-azimuth_deg, azimuth_deg), rng.normal(0, 8)
    if kind == "horizon":
        elevation = np.degrees(np.arctan2(zero[1] - middle[1], distance)) + rng.normal(0, 1.5)
    back = turn_y(azimuth) @ turn_x(-elevation) @ np.array([0, 0, 1.0])
    position = middle + back * distance
    target = middle + rng.uniform(-40, 40, 3) * np.array([1, 1, 0])
    ahead = target - position
    ahead = ahead / np.linalg.norm(ahead)
    right = np.cross(ahead, [0, 1.0, 0])
    right /= np.linalg.norm(right)
    down = np.cross(ahead, right)
    axes = turn_z(rng.normal(0, 1.8)) @ np.array([right, down, ahead])
    return View(position, axes, float(focal), width, height), f35


def _landmark(rng: np.random.Generator, kind: str, point: np.ndarray, radius: float, view: View
              ) -> tuple[Board | None, np.ndarray, np.ndarray]:
    """The landmark card (or none), the landmark itself and the centre of the head."""
    if kind in ("tap", "horizon", "nolandmark"):
        # A dot on the head: its centre lies behind, away from the camera.
        away = point - view.position
        away[1] *= 0.3
        away = turn_y(rng.uniform(-25, 25)) @ (away / np.linalg.norm(away))
        return None, point, point + away * radius
    roll = rng.choice([rng.normal(0, 8), rng.normal(0, 8), rng.uniform(-45, 45)])
    to_camera = np.degrees(np.arctan2(view.position[0] - point[0], view.position[2] - point[2]))
    rotation = (turn_y(to_camera * 0.6 + rng.uniform(-22, 22)) @ turn_x(rng.uniform(-14, 14))
                @ turn_z(roll))
    centre = point + rotation @ np.array([35.0, 0, 0])
    board = Board(centre, rotation, (54, 54), np.ones(3))
    head = point - rotation @ np.array([0, 0, 1.0]) * (radius + 2)
    return board, point, head


def _bed(rng: np.random.Generator, side: float, head: np.ndarray, radius: float
         ) -> tuple[tuple[np.ndarray, np.ndarray, tuple[float, float, float]], ...]:
    """Pillow and mattress: boxes as centre, rotation, size."""
    top = head[1] - radius * 0.95
    pillow_size = (rng.uniform(350, 500), rng.uniform(50, 80), rng.uniform(300, 420))
    pillow = (np.array([head[0] - side * rng.uniform(0, 80), top - pillow_size[1] / 2, head[2]]),
              turn_y(rng.uniform(-8, 8)) @ turn_z(rng.normal(0, 3)), pillow_size)
    size = (1500.0, rng.uniform(200, 420), rng.uniform(500, 800))
    edge = head[0] + side * rng.uniform(120, 260)
    mattress = (np.array([edge - side * size[0] / 2, top - pillow_size[1] - size[1] / 2 - 5,
                          head[2] - rng.uniform(0, 120)]),
                turn_y(rng.normal(0, 1.5)) @ turn_z(rng.normal(0, 1.0)), size)
    return (mattress, pillow)


def _wall(rng: np.random.Generator) -> tuple[Board, ...]:
    """Crooked pictures, a shelf and sometimes a door that is not plumb either."""
    boards = []
    for _ in range(rng.integers(0, 5)):
        boards.append(Board(
            np.array([rng.uniform(-900, 900), rng.uniform(-100, 600), 4.0]),
            turn_z(rng.normal(0, 2.5)), (rng.uniform(120, 420), rng.uniform(120, 420)),
            rng.uniform(0.05, 0.8, 3)))
    if rng.random() < 0.4:
        boards.append(Board(np.array([rng.uniform(-700, 700), rng.uniform(150, 500), 5.0]),
                            turn_z(rng.normal(0, 1.2)), (rng.uniform(400, 900), 28),
                            rng.uniform(0.1, 0.6, 3)))
    if rng.random() < 0.4:
        lean = turn_z(rng.normal(0, 1.0))
        at = np.array([rng.uniform(-900, 900), 100.0, 3.0])
        boards.append(Board(at, lean, (rng.uniform(60, 800), 2400), _pale(rng)))
    return tuple(boards)


def _strings(rng: np.random.Generator) -> tuple[tuple[np.ndarray, np.ndarray, float], ...]:
    """Cables on the wall: thin, straight, not plumb, without a bob."""
    out = []
    for _ in range(rng.integers(0, 2)):
        top = np.array([rng.uniform(-700, 700), rng.uniform(300, 900), 6.0])
        out.append((top, top + turn_z(rng.normal(0, 3)) @ np.array([0, -rng.uniform(500, 1500), 0]),
                    rng.uniform(1.0, 3.0)))
    return tuple(out)
