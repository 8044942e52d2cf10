"""What of the evidence is drawn on the photo, in its own pixels."""

from __future__ import annotations

import numpy as np

from vision.level.evidence import LevelEvidence
from vision.level.result import LevelScene


def scene_of(evidence: LevelEvidence) -> LevelScene:
    """Outlines of the cards, and where both points, the plumb lines and the horizontal lie."""
    to_full = evidence.cards.picture.to_full
    outlines = tuple(to_full(c.corners_px) for c in evidence.cards.all())
    if evidence.fused is None:
        return LevelScene(outlines)
    best = evidence.fused.best
    camera, down = evidence.cards.camera(best.focal_px), best.gravity.down
    zero, landmark = best.points_mm
    across = landmark - zero
    across = across - down * float(down @ across)

    def pixel(p: np.ndarray) -> np.ndarray:
        x, y, z = camera @ p
        return to_full([x / z, y / z])

    # Horizon: pixels whose ray is square to gravity.
    line = np.linalg.inv(camera).T @ down
    xs = np.array([0.0, evidence.cards.picture.working_size[0] - 1.0])
    horizon = None
    if abs(line[1]) > 1e-9:
        horizon = to_full(np.column_stack([xs, -(line[0] * xs + line[2]) / line[1]]))
    return LevelScene(
        cards_px=outlines,
        cues=tuple((c.name, to_full(px)) for c in best.gravity.used for px in c.lines_px),
        zero_px=pixel(zero), landmark_px=pixel(landmark), horizon_px=horizon,
        level_px=np.array([pixel(zero), pixel(zero + across)]),
        camera_above_zero_mm=float(down @ zero),
        horizontal_distance_mm=float(np.linalg.norm(across)))
