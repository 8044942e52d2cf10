"""Every plumb cue of a photo.

Trusted are only things that hang or stand with the drainage system: a cord with
a free bob, the pole near the zero card, the panel that carries the zero card,
and beside one of them the zero card itself.  Door frames, pictures, shelves and
beds are not.
"""

from __future__ import annotations

import math

import numpy as np

from vision.card_pose import CardPose
from vision.cards import CardSeen
from vision.cord import find_cord
from vision.hung_panel import find_panel
from vision.plumb_cue import TOLERANCE_DEG, PlumbCue, cue_of
from vision.pole import find_pole
from vision.straight_edges import StraightEdge


def plumb_cues(rgb: np.ndarray, edges: list[StraightEdge], card: CardSeen,
               pose: CardPose | None, side_mm: float, camera: np.ndarray) -> list[PlumbCue]:
    """Every cue that the photo offers.

    ``edges`` come from :func:`vision.straight_edges.upright_edges`; ``card`` is
    the zero card with its ``pose``, or the landmark card without one: then only a
    cord with its bob counts.  The bare zero card counts only beside a cord or a
    pole, when no panel is seen, and when it hangs about upright in the photo: in
    a hand it is no plumb line.
    """
    import cv2

    gray = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY))
    px_per_mm = card.side_px / side_mm
    cord, cord_edges = find_cord(gray, edges, px_per_mm)
    if pose is None:
        return [cord] if cord is not None else []
    down = -pose.rotation[:, 1]
    panel, panel_edges = find_panel(edges, card, pose, px_per_mm, camera)
    taken = cord_edges + panel_edges
    rest = [e for e in edges if not any(e is t for t in taken)]
    pole = find_pole(rgb, rest, card, down, px_per_mm, camera, panel_edges,
                     _down_sd_deg(pose, panel is not None))
    cues = [c for c in (cord, pole, panel) if c is not None]
    if cues and panel is None and np.degrees(np.arcsin(min(1.0, abs(down[0])))) < 12.0:
        cues.append(cue_of("zero card", [], pose))
    return cues


def _down_sd_deg(pose: CardPose, on_panel: bool) -> float:
    """By how much a pole and the card's downward axis differ in tilt, one sigma, degrees."""
    tilt = float(np.degrees(np.sqrt(pose.rotation[:, 0] @ pose.covariance[:3, :3]
                                    @ pose.rotation[:, 0])))
    body = TOLERANCE_DEG["hung panel" if on_panel else "zero card"][1]
    return math.hypot(body, TOLERANCE_DEG["pole"][1], tilt)
