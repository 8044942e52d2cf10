"""What the phone of a picture does: drawn once, applied in ``phone``."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Phone:
    """``ev`` is the exposure against a middle grey; ``well`` the light particles of a full
    sensor pixel; ``softness_px`` the lens's blur and ``smear`` the hand's movement (pixels to
    the right and down); ``warm`` multiplies red and divides blue."""

    ev: float
    well: float
    read_noise: float
    warm: float
    softness_px: float
    smear: tuple[float, float]
    glow: float
    falloff: float
    filmic: float
    saturation: float
    chroma_smoothing: int
    luma_smoothing: float
    edge_gain: float
    jpeg: int
    orientation: int


def draw_phone(rng: np.random.Generator, trouble: tuple[str, ...], scale: float) -> Phone:
    """``scale`` is the picture's height in shares of 1000 pixels."""
    u = rng.uniform
    dim, blur = "dim" in trouble, "blur" in trouble
    moved = blur and rng.random() < 0.6
    way, far = u(0, 2 * np.pi), u(2.5, 5) * scale
    return Phone(
        ev=float(u(-2.0, -1.2) if dim else rng.normal(0.0, 0.3)),
        well=float(u(150, 500) if dim else np.exp(u(np.log(1500), np.log(12000)))),
        read_noise=float(u(0.004, 0.012) if dim else u(0.0005, 0.003)),
        warm=float(np.exp(rng.normal(0, 0.07))),
        softness_px=float(u(1.1, 1.8) if blur and not moved else u(0.3, 0.75)) * scale,
        smear=(float(far * np.cos(way)), float(far * np.sin(way))) if moved else (0.0, 0.0),
        glow=float(u(0.06, 0.16)) if "glare" in trouble else float(u(0.0, 0.02)),
        falloff=float(u(0.0, 0.35)), filmic=float(u(0.2, 1.0)), saturation=float(u(0.9, 1.3)),
        chroma_smoothing=int(rng.choice([0, 3, 5])), luma_smoothing=float(u(0.0, 9.0)),
        edge_gain=float(u(0.0, 0.9)), jpeg=int(rng.integers(60, 96)),
        orientation=int(rng.choice([1, 3, 6, 8])))
