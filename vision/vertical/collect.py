"""Every plumb cue of a photo.

Trusted are only things that hang or stand with the drainage system: a cord with
a free bob, the pole near the zero card, the panel that carries the zero card,
the chamber beside it, and beside one of them the zero card itself.  Door frames,
pictures, shelves and beds are not.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vision.fiducials.cards import CardSeen
from vision.fiducials.pose import CardPose
from vision.vertical.chamber_axis import find_chamber
from vision.vertical.cord import find_cord
from vision.vertical.cue import TOLERANCE_DEG, PlumbCue, RoughDown, cue_of
from vision.vertical.line_segments import StraightEdge, doubles
from vision.vertical.panel import find_panel
from vision.vertical.pole import find_pole


@dataclass(frozen=True)
class CuesFound:
    """The plumb cues of a photo and the two sides of the panel, if seen."""

    cues: list[PlumbCue]
    panel_sides: tuple[StraightEdge, ...] = ()

    @property
    def panel(self) -> PlumbCue | None:
        """The panel, if seen."""
        return next((c for c in self.cues if c.name == "hung panel"), None)


def plumb_cues(rgb: np.ndarray, edges: list[StraightEdge], card: CardSeen,
               pose: CardPose | None, side_mm: float, camera: np.ndarray,
               known: CuesFound | None = None) -> CuesFound:
    """Every cue that the photo offers.

    The bare zero card counts only beside another cue, when no panel is seen, and when it
    hangs about upright in the photo: in a hand it is no plumb line.

    Parameters
    ----------
    rgb : (H, W, 3) uint8 array
        The upright picture; pixels have their origin at the centre of the top-left one.
    edges : list of StraightEdge
        From :func:`vision.vertical.line_segments.upright_edges`.
    card : CardSeen
        The zero card, or the landmark card where ``pose`` is None: then only a cord with its
        bob counts.
    pose : CardPose or None
        How the zero card stands before the camera.
    side_mm : float
        Side of the card's black square.
    camera : (3, 3) array
        Pinhole camera of ``rgb``.
    known : CuesFound, optional
        Brings a panel that another search has found.

    Returns
    -------
    CuesFound
    """
    import cv2

    gray = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY))
    px_per_mm = card.side_px / side_mm
    if pose is None:
        cord, _ = find_cord(gray, edges, px_per_mm)
        return CuesFound([cord] if cord is not None else [])
    down = -pose.rotation[:, 1]
    # First what is known by its marks: what runs along a tube is neither cord nor pole.
    chamber, taken = find_chamber(gray, edges, card, px_per_mm, camera @ down)
    rest = _without(edges, taken)
    cord, taken = find_cord(gray, rest, px_per_mm)
    rest = _without(rest, taken)
    panel = known.panel if known is not None else None
    if known is not None and panel is not None:
        sides = list(known.panel_sides)
        rest = [e for e in rest if not any(doubles(e, s) for s in sides)]
    else:
        panel, sides = find_panel(rgb, rest, card, pose, px_per_mm, camera)
        rest = _without(rest, sides)
    rough = RoughDown(down, _down_sd_deg(pose, panel is not None), camera)
    pole = find_pole(rgb, rest, card, rough, px_per_mm, sides)
    cues = [c for c in (cord, pole, panel, chamber) if c is not None]
    if cues and panel is None and np.degrees(np.arcsin(min(1.0, abs(down[0])))) < 12.0:
        cues.append(cue_of("zero card", [], pose))
    return CuesFound(cues, tuple(sides))


def _without(edges: list[StraightEdge], taken: list[StraightEdge]) -> list[StraightEdge]:
    return [e for e in edges if not any(e is t for t in taken)]


def _down_sd_deg(pose: CardPose, on_panel: bool) -> float:
    """By how much a pole and the card's downward axis differ in tilt, one sigma, degrees."""
    tilt = float(np.degrees(np.sqrt(pose.rotation[:, 0] @ pose.covariance[:3, :3]
                                    @ pose.rotation[:, 0])))
    body = TOLERANCE_DEG["hung panel" if on_panel else "zero card"][1]
    return math.hypot(body, TOLERANCE_DEG["pole"][1], tilt)
