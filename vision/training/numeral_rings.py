"""Marks that run right round the tube, printed through the numbers or broken for them.

The reader takes such rings out before it reads (``vision/graduations/numerals_in_rings.py``,
``numerals_across_rings.py``), and what it takes out of the digits is lost; where it does not find
them they stay.  Both are drawn.  Through a clear tube the backs of the rings show as well.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import torch
from torch import Tensor

from vision.graduations.numeral_reader import NET_HEIGHT

#: Share of labels among rings; of those, shares in which the ring of the label's own mark is
#: the only one, in which it is broken for the label, and in which the rings are taken out.
RINGED, ALONE, BROKEN, TAKEN_OUT = 0.30, 0.3, 0.25, 0.45
#: A digit of whose ink more is under rings is not to be read by anybody.
_HIDDEN = 0.7
#: Rows that must be left between rings for them to be taken out.
_LEAST_ROWS = 6

Uniform = Callable[..., Tensor]


@dataclass(frozen=True)
class Rings:
    """Rings of a batch, in digit heights of each label: ``ringed`` (B,) where there are any,
    ``centre``, ``pitch``, ``half`` (B,) of the lines, ``dark`` (B,) beside the digits,
    ``broken`` (B,) where the middle one leaves room for the label, ``alone`` (B,) where there is
    no other; ``backs`` (B, 4) darkness, offset, pitch and bend of those on the far wall."""

    ringed: Tensor
    centre: Tensor
    pitch: Tensor
    half: Tensor
    dark: Tensor
    broken: Tensor
    alone: Tensor
    backs: Tensor


def draw_rings(count: int, u: Uniform) -> Rings:
    """The rings of ``count`` labels; ``u(*shape, lo, hi)`` draws evenly."""
    off = u(count, lo=-0.5, hi=0.5) * (u(count) < 0.25) + u(count, lo=-0.1, hi=0.1)
    back = torch.stack([u(count, lo=0.15, hi=0.8) * (u(count) < 0.4), u(count, lo=-0.8, hi=0.8),
                        u(count, lo=0.85, hi=1.15), u(count, lo=-0.12, hi=0.12)], 1)
    return Rings(u(count) < RINGED, off, torch.exp(u(count, lo=-1.25, hi=0.5)),
                 torch.exp(u(count, lo=-3.5, hi=-2.2)), u(count, lo=0.6, hi=1.0),
                 u(count) < BROKEN, u(count) < ALONE, back)


def _off_nearest(down: Tensor, pitch: Tensor, alone: Tensor) -> tuple[Tensor, Tensor]:
    """Which ring is nearest to places ``down`` (in pitches below the middle one), and how far off
    it is, in digit heights."""
    nearest = torch.where(alone, torch.zeros_like(down), down.round())
    return nearest, ((down - nearest) * pitch).abs()


def ring_ink(rings: Rings, lx: Tensor, ly: Tensor, width: Tensor) -> Tensor:
    """Ink (B, rows, columns) of the rings at label coordinates; ``width`` (B,) of the labels."""
    def c(a: Tensor) -> Tensor:
        return a[:, None, None]

    soft = 0.025
    nearest, off = _off_nearest((ly - c(rings.centre)) / c(rings.pitch), c(rings.pitch),
                                c(rings.alone))
    across = torch.sigmoid((c(rings.half) - off) / soft)
    room = c(rings.broken) & (nearest == 0) & (lx.abs() < c(width) / 2 + 0.2)
    front = across * ~room * c(rings.dark)
    dark, offset, pitch, bend = (c(part) for part in rings.backs.unbind(1))
    behind = (ly - offset + bend * lx * lx) / (c(rings.pitch) * pitch)
    apart = ((behind - behind.round()) * c(rings.pitch) * pitch).abs()
    back = torch.sigmoid((c(rings.half) - apart) / soft) * dark * ~c(rings.alone)
    return torch.maximum(front, back) * c(rings.ringed)


def hidden_by(rings: Rings, ink: Tensor, own: Tensor) -> Tensor:
    """(B,) True where rings cover too much of the labels' ink ``own`` (B, rows, columns)."""
    under = (own * (ink > 0.5)).sum((1, 2)) / own.sum((1, 2)).clamp(min=1e-3)
    return rings.ringed & (under > _HIDDEN)


def take_out(picture: Tensor, rings: Rings, size: Tensor, cv: Tensor, columns: Tensor, u: Uniform
             ) -> Tensor:
    """Patches (B, NET_HEIGHT, columns) with some labels' rings bridged from above to below.

    ``size``, ``cv`` (B,): height and middle of the digits, rows; ``columns`` (B, 2): where the
    label stands: now and then the rings are left there, as the reader leaves broken ones.
    """
    count, rows, wide = picture.shape
    dev = picture.device
    at = (torch.arange(NET_HEIGHT, device=dev)[None] + 0.5 - cv[:, None]) / size[:, None]
    _, off = _off_nearest((at - rings.centre[:, None]) / rings.pitch[:, None],
                          rings.pitch[:, None], rings.alone[:, None])
    edge = u(count, lo=0.02, hi=0.09) + 0.6 / size
    ring = off < (rings.half + edge)[:, None]
    chosen = rings.ringed & (u(count) < TAKEN_OUT) & ((~ring).sum(1) >= _LEAST_ROWS)
    ring = ring & chosen[:, None]
    index = torch.arange(rows, device=dev)[None].expand(count, -1)
    above = torch.where(ring, -1, index).cummax(1).values
    below = (rows - 1 - torch.where(ring, -1, rows - 1 - index).flip(1).cummax(1).values).flip(1)
    above = torch.where(above < 0, below, above)
    below = torch.where(below > rows - 1, above, below)
    share = ((index - above).float() / (below - above).clamp(min=1))[:, :, None]

    def row(of: Tensor) -> Tensor:
        return picture.gather(1, of.clamp(0, rows - 1)[:, :, None].expand(-1, -1, wide))

    bridged = row(above) * (1 - share) + row(below) * share
    column = torch.arange(wide, device=dev)[None]
    label = (column > columns[:, :1]) & (column < columns[:, 1:])
    kept = label & (rings.broken & (u(count) < 0.8))[:, None]
    return torch.where(ring[:, :, None] & ~kept[:, None, :], bridged, picture)
