"""Teach the two surface networks and write them as ONNX.

``python -m vision.training.surface_net SHARD... --out DIR`` trains, on shards
written by ``surface_data``: a row network (in which row of the WHOLE view does the
front contact line run, or in none) and an offset network (how far below the middle of the
WINDOW view lies the level, as a probability over bins).  PyTorch is needed here
and nowhere else.
"""

from __future__ import annotations

import argparse
import json
import math
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import onnx
import torch
import torch.nn.functional as F
from torch import nn

from vision.meniscus_image.features import (
    BIN_CENTRES_MM,
    OFFSET_PLANES,
    ROW_PLANES,
    is_hard,
    offset_net_facts,
    row_net_facts,
)
from vision.meniscus_image.views import (
    SPARE_ROWS,
    WHOLE_COLUMNS,
    WHOLE_ROWS,
    WINDOW_COLUMNS,
    WINDOW_ROWS,
    WINDOW_STEP_MM,
)
from vision.training.half_precision import save_in_half_precision
from vision.training.warm_start import start_from


def _conv(i: int, o: int, k: tuple[int, int] = (3, 3), d: tuple[int, int] = (1, 1)) -> nn.Module:
    pad = (k[0] // 2 * d[0], k[1] // 2 * d[1])
    return nn.Sequential(nn.Conv2d(i, o, k, padding=pad, dilation=d, bias=False),
                         nn.BatchNorm2d(o), nn.ReLU())


class _Twice(nn.Module):
    """Two convolutions whose answer is added to what came in."""

    def __init__(self, n: int, k: tuple[int, int] = (3, 3)) -> None:
        super().__init__()
        self.first = _conv(n, n, k)
        self.second = nn.Sequential(nn.Conv2d(n, n, k, padding=(k[0] // 2, k[1] // 2), bias=False),
                                    nn.BatchNorm2d(n))

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return F.relu(x + self.second(self.first(x)))


class RowNet(nn.Module):
    """(B, 3 + planes, 384, 32) -> (B, 385) logits: one per row, the last for "none".

    One path keeps every row; the other sees the chamber at a quarter of the height,
    deep and far, and tells the first what is where.
    """

    def __init__(self) -> None:
        super().__init__()
        self.look = nn.Sequential(_conv(3 + ROW_PLANES, 24, (5, 3)), nn.MaxPool2d((1, 2)),
                                  _conv(24, 32), nn.MaxPool2d((1, 2)))
        self.fine = nn.Sequential(_conv(32, 40), nn.Conv2d(40, 64, (1, WHOLE_COLUMNS // 4)),
                                  nn.ReLU())
        self.coarse = nn.Sequential(
            nn.MaxPool2d((2, 1)), _conv(32, 64), nn.MaxPool2d((2, 2)),
            _conv(64, 96), _Twice(96), nn.Conv2d(96, 96, (1, WHOLE_COLUMNS // 8)), nn.ReLU())
        self.far = nn.ModuleList([_conv(96, 96, (5, 1), (d, 1)) for d in (1, 2, 4, 8, 1)])
        self.back = nn.ConvTranspose2d(96, 64, (4, 1), stride=(4, 1))
        self.spread = nn.ModuleList([_conv(64, 64, (5, 1), (d, 1)) for d in (1, 2, 4, 1)])
        self.row = nn.Conv2d(64, 1, 1)
        self.none = nn.Linear(192, 1)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        seen = self.look(x)
        deep = self.coarse(seen)
        for layer in self.far:
            deep = deep + layer(deep)
        y = self.fine(seen) + self.back(deep)
        for layer in self.spread:
            y = y + layer(y)
        rows = self.row(y).flatten(1)
        pooled = torch.cat([deep.mean(dim=(2, 3)), deep.amax(dim=(2, 3))], dim=1)
        return torch.cat([rows, self.none(pooled)], dim=1)


class OffsetNet(nn.Module):
    """(B, 6 + planes, 160, 48) -> (B, bins + 1) logits.

    The bins say where the level lies, the last one whether the front contact line
    runs through the middle of the window at all.
    """

    def __init__(self, dropout: float = 0.2) -> None:
        super().__init__()
        self.look = nn.Sequential(
            _conv(6 + OFFSET_PLANES, 32, (5, 3)), nn.MaxPool2d((2, 1)),
            _conv(32, 48), _conv(48, 48), nn.MaxPool2d((2, 2)),
            _conv(48, 64), _Twice(64), nn.MaxPool2d((2, 2)),
            _conv(64, 112), _Twice(112), _Twice(112), nn.MaxPool2d((2, 2)),
            _conv(112, 40, (1, 1)))
        size = 40 * (WINDOW_ROWS // 16) * (WINDOW_COLUMNS // 8)
        self.say = nn.Sequential(nn.Linear(size, 160), nn.ReLU(), nn.Dropout(dropout),
                                 nn.Linear(160, len(BIN_CENTRES_MM)))
        self.here = nn.Sequential(nn.Linear(size, 48), nn.ReLU(), nn.Dropout(dropout),
                                  nn.Linear(48, 1))

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        seen = self.look(x).flatten(1)
        return torch.cat([self.say(seen), self.here(seen)], dim=1)


def _disturb(x: torch.Tensor, g: torch.Generator) -> torch.Tensor:
    """Colour, tone, grain and softness that no scene had.  (B, 3, H, W) in 0..1."""
    b, dev = x.shape[0], x.device

    def u(*shape: int, lo: float = 0.0, hi: float = 1.0) -> torch.Tensor:
        return torch.rand(*shape, generator=g, device=dev) * (hi - lo) + lo

    gamma = torch.exp(u(b, 1, 1, 1, lo=-0.35, hi=0.35))
    x = x.clamp(1e-4, 1) ** gamma
    x = x * torch.exp(u(b, 3, 1, 1, lo=-0.15, hi=0.15)) * torch.exp(u(b, 1, 1, 1, lo=-0.4, hi=0.15))
    grey = x.mean(dim=1, keepdim=True)
    sat = u(b, 1, 1, 1, lo=0.3, hi=1.3)
    x = grey + (x - grey) * sat
    x = torch.where(u(b, 1, 1, 1) < 0.3, _hue_turned(x, u(b, lo=-math.pi, hi=math.pi)), x)
    soft = F.avg_pool2d(F.pad(x, (0, 0, 1, 1), mode="replicate"), (3, 1), stride=1)
    x = torch.where(u(b, 1, 1, 1) < 0.25, soft, x)
    edges = x + (x - soft) * u(b, 1, 1, 1, hi=1.2)  # as phones sharpen
    x = torch.where(u(b, 1, 1, 1) < 0.25, edges, x)
    wide = F.avg_pool2d(F.pad(x, (0, 0, 2, 2), mode="replicate"), (5, 1), stride=1)
    x = torch.where(u(b, 1, 1, 1) < 0.12, wide, x)
    h, w = x.shape[2:]
    # streaks along the wall (lights of the room) and slow shading
    streak = torch.randn(b, 1, 1, w, generator=g, device=dev) * u(b, 1, 1, 1, hi=0.06)
    slow = F.interpolate(torch.randn(b, 1, 5, 4, generator=g, device=dev), (h, w),
                         mode="bilinear") * u(b, 1, 1, 1, hi=0.05)
    x = x + streak * (u(b, 1, 1, 1) < 0.5) + slow
    grain = torch.randn(x.shape, generator=g, device=dev)
    blotch = F.interpolate(torch.randn(b, 3, h // 2, w // 2, generator=g, device=dev), (h, w))
    x = x + grain * u(b, 1, 1, 1, hi=1.0) ** 2 * 0.05 + blotch * u(b, 1, 1, 1) ** 2 * 0.03
    return (x.clamp(0, 1) * 255).round() / 255


def _hue_turned(x: torch.Tensor, angle_rad: torch.Tensor) -> torch.Tensor:
    """The picture (B, 3, H, W) with its colours turned about grey: liquids have any colour."""
    along = torch.full((3, 3), 1.0 / 3.0, device=x.device)
    aside = torch.tensor([[0.0, -1.0, 1.0], [1.0, 0.0, -1.0], [-1.0, 1.0, 0.0]],
                         device=x.device) / math.sqrt(3.0)
    c, s = torch.cos(angle_rad)[:, None, None], torch.sin(angle_rad)[:, None, None]
    turn = along + c * (torch.eye(3, device=x.device) - along) + s * aside  # Rodrigues
    return torch.einsum("bij,bjhw->bihw", turn, x)


def _cover(x: torch.Tensor, g: torch.Generator, share: float, rows: int) -> torch.Tensor:
    """A mask (B, H, W) of things held before the chamber."""
    b, _, h, w = x.shape
    dev = x.device
    on = torch.rand(b, generator=g, device=dev) < share
    left = torch.rand(b, generator=g, device=dev) < 0.5
    width = (torch.rand(b, generator=g, device=dev) ** 1.3 * 1.05 * w)
    top = torch.rand(b, generator=g, device=dev) * (h + rows) - rows
    tall = (0.3 + 0.7 * torch.rand(b, generator=g, device=dev)) * rows
    c = torch.arange(w, device=dev)[None, None, :]
    r = torch.arange(h, device=dev)[None, :, None]
    across = torch.where(left[:, None, None], c < width[:, None, None],
                         c >= w - width[:, None, None])
    down = (r >= top[:, None, None]) & (r < (top + tall)[:, None, None])
    return on[:, None, None] & across & down


def _paint(x: torch.Tensor, mask: torch.Tensor, g: torch.Generator) -> torch.Tensor:
    b, _, h, w = x.shape
    dev = x.device
    colour = torch.rand(b, 3, 1, 1, generator=g, device=dev)
    shade = 0.75 + 0.5 * torch.linspace(0, 1, h, device=dev)[None, None, :, None]
    return torch.where(mask[:, None], (colour * shade).expand_as(x), x)


def standardise(x: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
    """Per picture: its mean colour off, divided by its spread (see ``surface_input``)."""
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
        x = _disturb(x, g)
        flip = torch.rand(len(i), generator=g, device=x.device) < 0.5
        x = torch.where(flip[:, None, None, None], x.flip(3), x)
        mask = _cover(x, g, 0.35, 90)
        at = row.round().long().clamp(0, WHOLE_ROWS - 1)
        hidden = mask[torch.arange(len(i), device=x.device), at].float().mean(dim=1)
        none = hidden > 0.8
        x = _paint(x, mask, g)
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
        both = _disturb(torch.cat([near, far], dim=2), g)
        near, far = both[:, :, :WINDOW_ROWS], both[:, :, WINDOW_ROWS:]
        flip = (torch.rand(len(i), generator=g, device=near.device) < 0.5)[:, None, None, None]
        near, far = torch.where(flip, near.flip(3), near), torch.where(flip, far.flip(3), far)
        near = _paint(near, _cover(near, g, 0.15, 90) & _half(near, g), g)
        across, hidden = _across(near, moved, g)
        hide = torch.rand(len(i), generator=g, device=dev) < HIDDEN
        near = _paint(near, across & hide[:, None, None], g)
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


def _across(x: torch.Tensor, moved: torch.Tensor, g: torch.Generator
            ) -> tuple[torch.Tensor, torch.Tensor]:
    """Masks (B, H, W) of things held right across, whose edge often lies near the line,
    and (B,) whether they hide it."""
    b, _, h, w = x.shape
    dev = x.device
    line = h / 2 + moved.to(torch.float32)
    edge = line + torch.randn(b, generator=g, device=dev) * 12
    below = torch.rand(b, generator=g, device=dev) < 0.5
    slope = torch.randn(b, 1, 1, generator=g, device=dev) * 0.08
    c = torch.arange(w, device=dev)[None, None, :] - w / 2
    r = torch.arange(h, device=dev)[None, :, None] - edge[:, None, None] + slope * c
    mask = torch.where(below[:, None, None], r > 0, r < 0)
    hidden = torch.where(below, edge < line + 2, edge > line - 2)
    return mask, hidden


def _half(x: torch.Tensor, g: torch.Generator) -> torch.Tensor:
    """Only up to about half of the width may be covered for the offset network."""
    w = x.shape[3]
    c = torch.arange(w, device=x.device)[None, None, :]
    left = torch.rand(len(x), 1, 1, generator=g, device=x.device) < 0.5
    return torch.where(left, c < w * 0.55, c > w * 0.45)


def row_loss(logits: torch.Tensor, p: torch.Tensor) -> torch.Tensor:
    return -(p * F.log_softmax(logits, dim=1)).sum(dim=1).mean()


def offset_loss(logits: torch.Tensor, p: torch.Tensor) -> torch.Tensor:
    bins = -(p[:, :-1] * F.log_softmax(logits[:, :-1], dim=1)).sum(dim=1)
    return bins.sum() / p[:, -1].sum().clamp_min(1) + 0.5 * F.binary_cross_entropy_with_logits(
        logits[:, -1], p[:, -1])


def blend(shadow: dict[str, torch.Tensor], net: nn.Module, keep: float) -> None:
    """Move the running mean of a network's weights a step; counters are taken over."""
    for k, v in net.state_dict().items():
        if v.dtype.is_floating_point:
            shadow[k].mul_(keep).add_(v.detach(), alpha=1 - keep)
        else:
            shadow[k].copy_(v)


def train(which: str, d: Data, valid: Data, seconds: float, device: str, seed: int,
          out: Path, start: Path | None, batch: int = 256) -> nn.Module:
    """Train one network; what has been learned so far is written every half minute."""
    torch.manual_seed(seed)
    g = torch.Generator(device=device)
    g.manual_seed(seed)
    net: nn.Module = (RowNet() if which == "row_net" else OffsetNet()).to(
        device, memory_format=torch.channels_last)  # type: ignore[call-overload]
    make = row_batch if which == "row_net" else offset_batch
    if start is not None:
        some = torch.randint(0, len(d), (512,), generator=g, device=device)
        start_from(net, start / f"{which}.onnx", make(d, some, g, True)[0])
        print(which, "as it starts", check(which, net, valid, device), flush=True)
    fastest = 2e-3 if start is None else 2e-4  # faster forgets (docs/accuracy.md)
    opt = torch.optim.AdamW(net.parameters(), lr=fastest, weight_decay=1e-2)
    began, step = time.time(), 0
    saved = began
    shadow = {k: v.detach().clone() for k, v in net.state_dict().items()}
    amp = device == "cuda"
    while time.time() - began < seconds:
        share = (time.time() - began) / seconds
        for group in opt.param_groups:
            group["lr"] = fastest * min(1.0, step / 200) * 0.5 * (1 + np.cos(np.pi * share))
        i = torch.randint(0, len(d), (batch,), generator=g, device=device)
        x, p = make(d, i, g, True)
        net.train()
        with torch.autocast("cuda", dtype=torch.bfloat16, enabled=amp):
            logits = net(x.contiguous(memory_format=torch.channels_last)).float()
        loss = row_loss(logits, p) if which == "row_net" else offset_loss(logits, p)
        opt.zero_grad()
        loss.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 2.0)
        opt.step()
        step += 1
        keep = min(0.9995, step / (step + 20))
        blend(shadow, net, keep)
        if time.time() - saved > 30:
            saved = time.time()
            torch.save(shadow, out / f"{which}.pt")
        if step % 500 == 0:
            print(which, step, f"{time.time() - began:.0f}s loss {loss.item():.3f}",
                  check(which, net, valid, device, limit=1024), flush=True)
    net.load_state_dict(shadow)
    print(which, "final", step, check(which, net, valid, device), flush=True)
    return net


@torch.no_grad()
def outputs(which: str, net: nn.Module, d: Data, device: str, limit: int | None = None,
            decoys: bool = False) -> np.ndarray:
    """(N, rows + 1) probabilities of the row network, or (N, bins + 1) of the offset network."""
    net.eval()
    g = torch.Generator(device=device)
    n = len(d) if limit is None else min(limit, len(d))
    out = []
    for k in range(0, n, 256):
        i = torch.arange(k, min(k + 256, n), device=device)
        x, _ = row_batch(d, i, g, False) if which == "row_net" else offset_batch(
            d, i, g, False, decoys)
        with torch.autocast("cpu", dtype=torch.bfloat16, enabled=device == "cpu"):
            logits = net(x).float()
        p = F.softmax(logits, dim=1) if which == "row_net" else torch.cat(
            [F.softmax(logits[:, :-1], dim=1), torch.sigmoid(logits[:, -1:])], dim=1)
        out.append(p.cpu().numpy())
    return np.concatenate(out)


def check(which: str, net: nn.Module, d: Data, device: str, limit: int | None = None) -> str:
    p = outputs(which, net, d, device, limit)
    n = len(p)
    tier = d.facts[:n, 17]
    if which == "row_net":
        row = d.row[:n].cpu().numpy()
        best = p[:, :-1].argmax(axis=1)
        sure = p[:, :-1].max(axis=1)
        off = np.abs(best - row) * d.facts[:n, 7]
        inside = (row > 0) & (row < WHOLE_ROWS - 1)
        window = np.array([p[k, max(0, b - 3):b + 4].sum() for k, b in enumerate(best)])
        wrong = (off > 1.0) & inside
        parts = [f"t{int(t)} {wrong[tier == t].mean():.4f}/{(window[tier == t] > 0.85).mean():.3f}"
                 for t in np.unique(tier)]
        return (f"n {n} median {np.median(off):.3f} mm, >1 mm {wrong.mean():.4f}, "
                f">1 mm and sure(0.9) {(wrong & (window > 0.9)).mean():.4f}, "
                f"sure {(window > 0.9).mean():.3f} peak {np.median(sure):.2f} " + " ".join(parts))
    other = outputs(which, net, d, device, limit, decoys=True)[:, -1]
    here, p = p[:, -1], p[:, :-1]
    mean = p @ BIN_CENTRES_MM
    y = d.target_found()[:n]
    err = mean - y
    sd = np.sqrt(p @ BIN_CENTRES_MM**2 - mean**2)
    size = np.abs(err)
    parts = [f"t{int(t)} {size[tier == t].mean():.3f}/{np.percentile(size[tier == t], 95):.3f}"
             for t in np.unique(tier)]
    surprise = -(np.log(here + 1e-6).mean() + np.log(1 - other + 1e-6).mean()) / 2
    return (f"n {n} MAE {np.abs(err).mean():.3f} mm bias {err.mean():.3f} p95 "
            f"{np.percentile(np.abs(err), 95):.3f} sd {sd.mean():.3f} z-rms "
            f"{np.sqrt(np.mean((err / sd) ** 2)):.2f} " + " ".join(parts)
            + f" line missed {(here < 0.5).mean():.4f} decoy taken {(other > 0.5).mean():.4f}"
              f" surprise {surprise:.4f}")


TEMPERATURES = np.arange(0.8, 3.01, 0.05)


def coolest(surprise: Callable[[float], float]) -> float:
    """The temperature under which the scenes kept from teaching are likeliest."""
    best = min([float(t) for t in TEMPERATURES], key=surprise)
    return round(best, 2)


def offset_temperatures(p: np.ndarray, decoys: np.ndarray, d: Data) -> dict[str, float]:
    """For the bins, in easy and in hard views, and for whether the line is there."""
    y = d.target_found()
    inside = (y > BIN_CENTRES_MM[0]) & (y < BIN_CENTRES_MM[-1])
    hard = is_hard(d.facts[:, 3], d.facts[:, 5])
    step = BIN_CENTRES_MM[1] - BIN_CENTRES_MM[0]

    def bins(chosen: np.ndarray) -> float:
        logits, at = np.log(np.maximum(p[chosen, :-1], 1e-9)), y[chosen]
        column = np.clip(np.searchsorted(BIN_CENTRES_MM, at), 1, len(BIN_CENTRES_MM) - 1)
        share = (at - BIN_CENTRES_MM[column - 1]) / step
        rows = np.arange(len(at))

        def surprise(t: float) -> float:
            q = np.exp((logits - logits.max(axis=1, keepdims=True)) / t)
            q /= q.sum(axis=1, keepdims=True)
            told = (1 - share) * q[rows, column - 1] + share * q[rows, column]
            return float(-np.log(np.maximum(told, 1e-6)).mean())

        return coolest(surprise)

    def odds(q: np.ndarray) -> np.ndarray:
        q = np.clip(q.astype(float), 1e-6, 1 - 1e-6)
        return np.asarray(np.log(q / (1 - q)))

    here, elsewhere = odds(p[:, -1]), odds(decoys[:, -1])
    return {"bins": bins(inside & ~hard), "hard bins": bins(inside & hard),
            "here": coolest(lambda t: float(np.logaddexp(0, -here / t).mean()
                                            + np.logaddexp(0, elsewhere / t).mean()))}


def row_temperature(p: np.ndarray, d: Data) -> dict[str, float]:
    """For the belief within a millimetre of the likeliest row."""
    row, step = d.row.cpu().numpy(), d.facts[:, 7]
    seen = np.flatnonzero((row > 0) & (row < WHOLE_ROWS - 1))[::3]
    logits = np.log(np.maximum(p[seen].astype(float), 1e-8))
    best = logits[:, :-1].argmax(axis=1)
    near = np.abs(np.arange(WHOLE_ROWS)[None] - best[:, None]) * step[seen, None] <= 1.0
    right = np.abs(best - row[seen]) * step[seen] <= 1.0

    def surprise(t: float) -> float:
        q = np.exp((logits - logits.max(axis=1, keepdims=True)) / t)
        mass = np.clip((q[:, :-1] * near).sum(axis=1) / q.sum(axis=1), 1e-3, 1 - 1e-3)
        return float(-np.log(np.where(right, mass, 1 - mass)).mean())

    return {"row_net": coolest(surprise)}


def export(net: nn.Module, shape: tuple[int, ...], path: Path) -> None:
    """Write a network as ONNX, its large weights in half precision to keep the file small."""
    net = net.cpu().float().eval()
    torch.onnx.export(net, (torch.zeros(1, *shape),), str(path), input_names=["view"],
                      output_names=["logits"], opset_version=17, dynamo=False)
    save_in_half_precision(onnx.load(str(path)), path)


def main() -> None:
    """Train both networks and write them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("shards", nargs="+", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seconds", type=float, default=240)
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--start", type=Path, help="folder with the networks to go on from")
    parser.add_argument("--only", choices=["row_net", "offset_net"])
    parser.add_argument("--held", nargs="+", type=Path,
                        help="shards kept from teaching (default: a twelfth of the others)")
    args = parser.parse_args()
    device = "cuda" if torch.cuda.is_available() else "cpu"
    args.out.mkdir(parents=True, exist_ok=True)
    shards = sorted(args.shards)
    hold = 0 if args.held else max(1, len(shards) // 12)
    held = args.held or shards[:hold]
    d, valid = Data(shards[hold:], device), Data(held, device)
    print("train", len(d), "valid", len(valid), device, flush=True)
    shapes = {"row_net": (3 + ROW_PLANES, WHOLE_ROWS, WHOLE_COLUMNS),
              "offset_net": (6 + OFFSET_PLANES, WINDOW_ROWS, WINDOW_COLUMNS)}
    cooled: dict[str, float] = {}
    for which in ("offset_net", "row_net"):
        if args.only and args.only != which:
            continue
        part = 0.6 if which == "offset_net" else 0.4
        net = train(which, d, valid, args.seconds * (1 if args.only else part), device, args.seed,
                    args.out, args.start)
        for path in held:
            print(which, path.name, check(which, net, Data([path], device), device), flush=True)
        p = outputs(which, net, valid, device)
        cooled |= row_temperature(p, valid) if which == "row_net" else offset_temperatures(
            p, outputs(which, net, valid, device, decoys=True), valid)
        (args.out / "temperatures.json").write_text(json.dumps(cooled) + "\n")
        np.savez_compressed(args.out / f"{which}_valid.npz", p=p.astype(np.float16),
                            facts=valid.facts, target=valid.target_found())
        torch.save(net.state_dict(), args.out / f"{which}.pt")
        export(net, shapes[which], args.out / f"{which}.onnx")
    (args.out / "made.json").write_text(json.dumps({"train": len(d), "valid": len(valid)}))


if __name__ == "__main__":
    main()
