"""Shards of views in; what the surface networks are shown, and what they should say, out."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import torch
import torch.nn.functional as F

from vision.meniscus_image.features import BIN_CENTRES_MM, offset_net_facts, row_net_facts
from vision.meniscus_image.views import (
    SPARE_ROWS,
    WHOLE_ROWS,
    WINDOW_COLUMNS,
    WINDOW_ROWS,
    WINDOW_STEP_MM,
)
from vision.training.surface_data import NOWHERE_MM
from vision.training.surface_disturbances import (
    about_half,
    disturbed,
    held_across,
    painted,
    side_covered,
)


def standardise(x: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
    """Per picture: its mean colour off, divided by its spread, as ``meniscus_image.features``."""
    mean = x.mean(dim=(2, 3), keepdim=True)
    sd = (x - mean).pow(2).mean(dim=(1, 2, 3), keepdim=True).sqrt() + 0.02
    return (x - mean) / sd, mean, sd


def _planes(facts: torch.Tensor, h: int, w: int) -> torch.Tensor:
    return facts[:, :, None, None].expand(-1, -1, h, w)


class Data:
    """All shards on the device, with their numbers ready for the networks."""

    def __init__(self, shards: list[Path], device: str) -> None:
        facts = np.concatenate([np.load(p)["facts"] for p in shards])
        self.facts = facts
        #: (N,) whether there is a surface; an empty chamber has only its other window.
        self.filled = facts[:, 0] < NOWHERE_MM
        shapes = {key: np.load(shards[0])[key].shape[1:] for key in ("whole", "window", "decoy")}
        on = {key: torch.empty((len(facts), *shape), dtype=torch.uint8, device=device)
              for key, shape in shapes.items()}
        at = 0
        for p in shards:  # one after the other: all of them twice would not fit
            with np.load(p) as d:
                for key, store in on.items():
                    views = d[key]
                    store[at:at + len(views)] = torch.from_numpy(views).to(device)
            at += len(views)
        self.whole, self.window, self.decoy = on["whole"], on["window"], on["decoy"]
        line, middle, level, elevation, radius, wall, top, step = facts[:, :8].T
        low, px = facts[:, 13], facts[:, 8]
        decoy, decoy_elevation, decoy_radius, found, turn = facts[:, 21:26].T
        row = (top - line) / step - 0.5
        self.row = torch.from_numpy(row.astype(np.float32)).to(device)
        self.nothing = torch.from_numpy(~self.filled).to(device)

        def rows(make: Any, *columns: np.ndarray) -> torch.Tensor:
            made = [make(*v) for v in zip(*columns, strict=True)]
            return torch.from_numpy(np.stack(made).astype(np.float32)).to(device)

        # the row network knows the elevation at the middle of the scale only
        self.row_net = rows(row_net_facts, facts[:, 20], radius, step)
        #: what is known of each view: elevation, radius, wall, height over the lowest mark,
        #: pixels per mm; the first and the fourth change as the window is moved
        self.offset_net = rows(offset_net_facts, elevation + (middle - line) * turn, radius, wall,
                          middle - low, px)
        step_mm = WINDOW_STEP_MM
        self.per_row = rows(lambda t: offset_net_facts(t * step_mm, 15.0, 1.6, step_mm, 10.0), turn)
        #: rows by which the shipped row network would be off, and how steep the view is
        self.found_rows = torch.from_numpy(np.clip(
            np.round(found / step_mm), -SPARE_ROWS, SPARE_ROWS).astype(np.int64)).to(device)
        self.steep = torch.from_numpy(np.abs(elevation)).to(device)
        self.offset_decoy = rows(offset_net_facts, decoy_elevation, decoy_radius,
                                radius + wall - decoy_radius, decoy - low, px)
        from vision.optics.refraction import apparent_height_shift_mm

        shift = np.asarray(apparent_height_shift_mm(elevation, 0.0, 1.0, 1.54)) * wall
        self.target = torch.from_numpy((middle - level - shift).astype(np.float32)).to(device)

    def __len__(self) -> int:
        return len(self.facts)

    def target_found(self) -> np.ndarray:
        """(N,) what the offset network has to say in windows placed where the row network would."""
        moved: np.ndarray = (self.target + self.found_rows * WINDOW_STEP_MM).cpu().numpy()
        return moved


def _soft_rows(row: torch.Tensor, none: torch.Tensor, rows: int) -> torch.Tensor:
    k = torch.arange(rows, device=row.device)[None]
    p = torch.exp(-0.5 * ((k - row[:, None]) / 0.6) ** 2)
    outside = (row < -0.5) | (row > rows - 0.5) | none
    p = torch.where(outside[:, None], torch.zeros_like(p), p)
    p = torch.cat([p, outside[:, None].float()], dim=1)
    return p / p.sum(dim=1, keepdim=True).clamp_min(1e-6)


def soft_bins(y: torch.Tensor) -> torch.Tensor:
    c = torch.as_tensor(BIN_CENTRES_MM, dtype=torch.float32, device=y.device)[None]
    width = float(BIN_CENTRES_MM[1] - BIN_CENTRES_MM[0])
    p = (1 - (y[:, None].clamp(float(c.min()), float(c.max())) - c).abs() / width).clamp_min(0)
    return p / p.sum(dim=1, keepdim=True)


def row_batch(d: Data, i: torch.Tensor, g: torch.Generator, train: bool
                 ) -> tuple[torch.Tensor, torch.Tensor]:
    x = d.whole[i].permute(0, 3, 1, 2).float() / 255
    row = d.row[i].clone()
    none = torch.zeros(len(i), dtype=torch.bool, device=x.device)
    if train:
        x = disturbed(x, g)
        flip = torch.rand(len(i), generator=g, device=x.device) < 0.5
        x = torch.where(flip[:, None, None, None], x.flip(3), x)
        mask = side_covered(x, g, 0.35, 90)
        at = row.round().long().clamp(0, WHOLE_ROWS - 1)
        hidden = mask[torch.arange(len(i), device=x.device), at].float().mean(dim=1)
        none = hidden > 0.8
        x = painted(x, mask, g)
    z, _, _ = standardise(x)
    z = torch.cat([z, _planes(d.row_net[i], *z.shape[2:])], dim=1)
    return z, _soft_rows(row, none, WHOLE_ROWS)


#: Shares of the windows in teaching that show something else, and a line that is covered.
DECOYS, HIDDEN = 0.35, 0.08


def offset_batch(d: Data, i: torch.Tensor, g: torch.Generator, train: bool, decoys: bool = False
                ) -> tuple[torch.Tensor, torch.Tensor]:
    """Windows and what is to be said: probabilities of the bins, and whether the line is here.

    Where it is not, the bins are all zero.  ``decoys`` asks for the other windows
    when not teaching.
    """
    dev = d.window.device
    other = torch.full((len(i),), decoys, dtype=torch.bool, device=dev)
    if train:
        other = torch.rand(len(i), generator=g, device=dev) < DECOYS
    other = other | d.nothing[i]
    moved = _moved_rows(d, i, g) if train else d.found_rows[i]
    rows = torch.arange(WINDOW_ROWS, device=dev)[None] + (SPARE_ROWS - moved)[:, None]
    window = d.window[i[:, None], rows]
    near = torch.where(other[:, None, None, None], d.decoy[i], window)
    near = near.permute(0, 3, 1, 2).float() / 255
    numbers = torch.where(other[:, None], d.offset_decoy[i],
                          d.offset_net[i] + moved[:, None] * d.per_row[i])
    far = d.whole[i].permute(0, 3, 1, 2).float() / 255
    far = F.interpolate(far, (WINDOW_ROWS, WINDOW_COLUMNS), mode="bilinear", align_corners=False)
    here = ~other
    if train:
        both = disturbed(torch.cat([near, far], dim=2), g)
        near, far = both[:, :, :WINDOW_ROWS], both[:, :, WINDOW_ROWS:]
        flip = (torch.rand(len(i), generator=g, device=near.device) < 0.5)[:, None, None, None]
        near, far = torch.where(flip, near.flip(3), near), torch.where(flip, far.flip(3), far)
        near = painted(near, side_covered(near, g, 0.15, 90) & about_half(near, g), g)
        across, hidden = held_across(near, moved, g)
        hide = torch.rand(len(i), generator=g, device=dev) < HIDDEN
        near = painted(near, across & hide[:, None, None], g)
        here = here & ~(hide & hidden)
    z, mean, sd = standardise(near)
    far = (far - mean) / sd
    z = torch.cat([z, far, _planes(numbers, *z.shape[2:])], dim=1)
    bins = soft_bins(d.target[i] + moved * WINDOW_STEP_MM) * here[:, None]
    return z, torch.cat([bins, here[:, None].float()], dim=1)


def _moved_rows(d: Data, i: torch.Tensor, g: torch.Generator) -> torch.Tensor:
    """(B,) rows by which the windows are moved up: as the row network errs, a little, or far.

    In a steep view the two edges of the surface are apart and the row network may be off by
    a millimetre; the offset network is to find its own way there.
    """
    dev, n = i.device, len(i)
    kind = torch.rand(n, generator=g, device=dev)
    little = torch.randn(n, generator=g, device=dev) * (0.25 / WINDOW_STEP_MM)
    far = (torch.rand(n, generator=g, device=dev) * 2 - 1) * SPARE_ROWS
    share = 0.1 + 0.4 * (d.steep[i] > 10)
    moved = torch.where(kind < share, far, little)
    moved = torch.where(kind > 0.7, d.found_rows[i] + little * 0.5, moved)
    return moved.round().long().clamp(-SPARE_ROWS, SPARE_ROWS)
