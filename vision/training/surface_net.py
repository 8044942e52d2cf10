"""Teach the two surface networks and write them as ONNX.

``python -m vision.training.surface_net SHARD... --out DIR`` trains, on shards
written by ``surface_data``: a finder (in which row of the WHOLE view does the
front contact line run, or in none) and a gauge (how far below the middle of the
WINDOW view lies the level, as a probability over bins).  PyTorch is needed here
and nowhere else.
"""

from __future__ import annotations

import argparse
import json
import time
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F
from torch import nn

from vision.surface_grid import WHOLE_COLUMNS, WHOLE_ROWS, WINDOW_COLUMNS, WINDOW_ROWS
from vision.surface_input import (
    BIN_CENTRES_MM,
    FINDER_PLANES,
    GAUGE_PLANES,
    finder_facts,
    gauge_facts,
)


def _conv(i: int, o: int, k: tuple[int, int] = (3, 3), d: tuple[int, int] = (1, 1)) -> nn.Module:
    pad = (k[0] // 2 * d[0], k[1] // 2 * d[1])
    return nn.Sequential(nn.Conv2d(i, o, k, padding=pad, dilation=d, bias=False),
                         nn.BatchNorm2d(o), nn.ReLU())


class Finder(nn.Module):
    """(B, 3 + planes, 384, 32) -> (B, 385) logits: one per row, the last for "none"."""

    def __init__(self) -> None:
        super().__init__()
        self.look = nn.Sequential(
            _conv(3 + FINDER_PLANES, 24, (5, 3)), _conv(24, 24), nn.MaxPool2d((1, 2)),
            _conv(24, 32), nn.MaxPool2d((1, 2)), _conv(32, 48), nn.MaxPool2d((1, 2)),
            _conv(48, 48), nn.Conv2d(48, 64, (1, WHOLE_COLUMNS // 8)), nn.ReLU())
        self.spread = nn.ModuleList([_conv(64, 64, (5, 1), (d, 1))
                                     for d in (1, 2, 4, 8, 16, 32, 1)])
        self.row = nn.Conv2d(64, 1, 1)
        self.none = nn.Linear(128, 1)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        y = self.look(x)
        for layer in self.spread:
            y = y + layer(y)
        rows = self.row(y).flatten(1)
        pooled = torch.cat([y.mean(dim=(2, 3)), y.amax(dim=(2, 3))], dim=1)
        return torch.cat([rows, self.none(pooled)], dim=1)


class Gauge(nn.Module):
    """(B, 6 + planes, 160, 48) -> (B, bins) logits of where the level lies."""

    def __init__(self, dropout: float = 0.2) -> None:
        super().__init__()
        self.look = nn.Sequential(
            _conv(6 + GAUGE_PLANES, 32, (5, 3)), _conv(32, 32), nn.MaxPool2d((2, 1)),
            _conv(32, 48), _conv(48, 48), nn.MaxPool2d((2, 2)),
            _conv(48, 64), _conv(64, 64), nn.MaxPool2d((2, 2)),
            _conv(64, 96), _conv(96, 96), nn.MaxPool2d((2, 2)),
            _conv(96, 40, (1, 1)))
        self.say = nn.Sequential(
            nn.Linear(40 * (WINDOW_ROWS // 16) * (WINDOW_COLUMNS // 8), 128), nn.ReLU(),
            nn.Dropout(dropout), nn.Linear(128, len(BIN_CENTRES_MM)))

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return self.say(self.look(x).flatten(1))


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
    soft = F.avg_pool2d(F.pad(x, (0, 0, 1, 1), mode="replicate"), (3, 1), stride=1)
    x = torch.where(u(b, 1, 1, 1) < 0.25, soft, x)
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
        loaded = [np.load(p) for p in shards]
        self.whole = torch.from_numpy(np.concatenate([d["whole"] for d in loaded])).to(device)
        self.window = torch.from_numpy(np.concatenate([d["window"] for d in loaded])).to(device)
        facts = np.concatenate([d["facts"] for d in loaded])
        self.facts = facts
        line, middle, level, elevation, radius, wall, top, step = facts[:, :8].T
        low, high, px = facts[:, 13], facts[:, 14], facts[:, 8]
        row = (top - line) / step - 0.5
        self.row = torch.from_numpy(row.astype(np.float32)).to(device)
        # the finder knows the elevation at the middle of the scale only
        self.finder = torch.from_numpy(np.stack([
            finder_facts(e, r, s) for e, r, s in zip(facts[:, 20], radius, step, strict=True)
        ]).astype(np.float32)).to(device)
        self.gauge = torch.from_numpy(np.stack([
            gauge_facts(e, r, t, m - lo, p) for e, r, t, m, lo, p in zip(
                elevation, radius, wall, middle, low, px, strict=True)
        ]).astype(np.float32)).to(device)
        from vision.optics import apparent_height_shift_mm

        shift = np.asarray(apparent_height_shift_mm(elevation, 0.0, 1.0, 1.54)) * wall
        self.target = torch.from_numpy((middle - level - shift).astype(np.float32)).to(device)
        del low, high

    def __len__(self) -> int:
        return len(self.facts)


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


def finder_batch(d: Data, i: torch.Tensor, g: torch.Generator, train: bool
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
    z = torch.cat([z, _planes(d.finder[i], *z.shape[2:])], dim=1)
    return z, _soft_rows(row, none, WHOLE_ROWS)


def gauge_batch(d: Data, i: torch.Tensor, g: torch.Generator, train: bool
                ) -> tuple[torch.Tensor, torch.Tensor]:
    near = d.window[i].permute(0, 3, 1, 2).float() / 255
    far = d.whole[i].permute(0, 3, 1, 2).float() / 255
    far = F.interpolate(far, (WINDOW_ROWS, WINDOW_COLUMNS), mode="bilinear", align_corners=False)
    if train:
        both = _disturb(torch.cat([near, far], dim=2), g)
        near, far = both[:, :, :WINDOW_ROWS], both[:, :, WINDOW_ROWS:]
        flip = (torch.rand(len(i), generator=g, device=near.device) < 0.5)[:, None, None, None]
        near, far = torch.where(flip, near.flip(3), near), torch.where(flip, far.flip(3), far)
        near = _paint(near, _cover(near, g, 0.15, 90) & _half(near, g), g)
    z, mean, sd = standardise(near)
    far = (far - mean) / sd
    z = torch.cat([z, far, _planes(d.gauge[i], *z.shape[2:])], dim=1)
    return z, soft_bins(d.target[i])


def _half(x: torch.Tensor, g: torch.Generator) -> torch.Tensor:
    """Only up to about half of the width may be covered for the gauge."""
    w = x.shape[3]
    c = torch.arange(w, device=x.device)[None, None, :]
    left = torch.rand(len(x), 1, 1, generator=g, device=x.device) < 0.5
    return torch.where(left, c < w * 0.55, c > w * 0.45)


def blend(shadow: dict[str, torch.Tensor], net: nn.Module, keep: float) -> None:
    """Move the running mean of a network's weights a step; counters are taken over."""
    for k, v in net.state_dict().items():
        if v.dtype.is_floating_point:
            shadow[k].mul_(keep).add_(v.detach(), alpha=1 - keep)
        else:
            shadow[k].copy_(v)


def train(which: str, d: Data, valid: Data, seconds: float, device: str, seed: int,
          out: Path, start_from: Path | None, batch: int = 256) -> nn.Module:
    """Train one network; what has been learned so far is written every half minute."""
    torch.manual_seed(seed)
    g = torch.Generator(device=device)
    g.manual_seed(seed)
    net: nn.Module = (Finder() if which == "finder" else Gauge()).to(device)
    make = finder_batch if which == "finder" else gauge_batch
    if start_from is not None:
        net.load_state_dict(torch.load(start_from / f"{which}.pt", map_location=device))
    opt = torch.optim.AdamW(net.parameters(), lr=2e-3, weight_decay=1e-2)
    start, step = time.time(), 0
    saved = start
    shadow = {k: v.detach().clone() for k, v in net.state_dict().items()}
    amp = device == "cuda"
    while time.time() - start < seconds:
        share = (time.time() - start) / seconds
        for group in opt.param_groups:
            group["lr"] = 2e-3 * min(1.0, step / 200) * 0.5 * (1 + np.cos(np.pi * share))
        i = torch.randint(0, len(d), (batch,), generator=g, device=device)
        x, p = make(d, i, g, True)
        net.train()
        with torch.autocast("cuda", dtype=torch.bfloat16, enabled=amp):
            logits = net(x)
        loss = -(p * F.log_softmax(logits.float(), dim=1)).sum(dim=1).mean()
        opt.zero_grad()
        loss.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 2.0)
        opt.step()
        step += 1
        keep = min(0.999, step / (step + 20))
        blend(shadow, net, keep)
        if time.time() - saved > 30:
            saved = time.time()
            torch.save(shadow, out / f"{which}.pt")
        if step % 500 == 0:
            print(which, step, f"{time.time() - start:.0f}s loss {loss.item():.3f}",
                  check(which, net, valid, device, limit=1024), flush=True)
    net.load_state_dict(shadow)
    print(which, "final", step, check(which, net, valid, device), flush=True)
    return net


@torch.no_grad()
def outputs(which: str, net: nn.Module, d: Data, device: str, limit: int | None = None
            ) -> np.ndarray:
    net.eval()
    g = torch.Generator(device=device)
    make = finder_batch if which == "finder" else gauge_batch
    n = len(d) if limit is None else min(limit, len(d))
    out = []
    for k in range(0, n, 256):
        x, _ = make(d, torch.arange(k, min(k + 256, n), device=device), g, False)
        with torch.autocast("cpu", dtype=torch.bfloat16, enabled=device == "cpu"):
            logits = net(x)
        out.append(F.softmax(logits.float(), dim=1).cpu().numpy())
    return np.concatenate(out)


def check(which: str, net: nn.Module, d: Data, device: str, limit: int | None = None) -> str:
    p = outputs(which, net, d, device, limit)
    n = len(p)
    if which == "finder":
        row = d.row[:n].cpu().numpy()
        best = p[:, :-1].argmax(axis=1)
        sure = p[:, :-1].max(axis=1)
        off = np.abs(best - row) * d.facts[:n, 7]
        inside = (row > 0) & (row < WHOLE_ROWS - 1)
        window = np.array([p[k, max(0, b - 3):b + 4].sum() for k, b in enumerate(best)])
        wrong = (off > 1.0) & inside
        return (f"n {n} median {np.median(off):.3f} mm, >1 mm {wrong.mean():.4f}, "
                f">1 mm and sure(0.9) {(wrong & (window > 0.9)).mean():.4f}, "
                f"sure {(window > 0.9).mean():.3f} peak {np.median(sure):.2f}")
    mean = p @ BIN_CENTRES_MM
    y = d.target[:n].cpu().numpy()
    err = mean - y
    sd = np.sqrt(p @ BIN_CENTRES_MM**2 - mean**2)
    tier = d.facts[:n, 17]
    parts = [f"t{int(t)} {np.abs(err[tier == t]).mean():.3f}" for t in np.unique(tier)]
    return (f"n {n} MAE {np.abs(err).mean():.3f} mm bias {err.mean():.3f} p95 "
            f"{np.percentile(np.abs(err), 95):.3f} sd {sd.mean():.3f} z-rms "
            f"{np.sqrt(np.mean((err / sd) ** 2)):.2f} " + " ".join(parts))


def fit_temperature(p: np.ndarray, target: np.ndarray) -> float:
    """The temperature under which the scenes kept from teaching are likeliest."""
    inside = (target > BIN_CENTRES_MM[0]) & (target < BIN_CENTRES_MM[-1])
    logits, y = np.log(np.maximum(p[inside], 1e-9)), target[inside]
    column = np.clip(np.searchsorted(BIN_CENTRES_MM, y), 1, len(BIN_CENTRES_MM) - 1)
    share = (y - BIN_CENTRES_MM[column - 1]) / (BIN_CENTRES_MM[1] - BIN_CENTRES_MM[0])
    rows = np.arange(len(y))

    def surprise(t: float) -> float:
        q = np.exp(logits / t - (logits / t).max(axis=1, keepdims=True))
        q /= q.sum(axis=1, keepdims=True)
        at = (1 - share) * q[rows, column - 1] + share * q[rows, column]
        return float(-np.log(np.maximum(at, 1e-6)).mean())

    return min((float(t) for t in np.arange(0.8, 4.01, 0.05)), key=surprise)


def export(net: nn.Module, shape: tuple[int, ...], path: Path) -> None:
    net = net.cpu().eval()
    torch.onnx.export(net, (torch.zeros(1, *shape),), str(path), input_names=["view"],
                      output_names=["logits"], opset_version=17, dynamo=False)


def main() -> None:
    """Train both networks and write them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("shards", nargs="+", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seconds", type=float, default=240)
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--start", type=Path, help="folder with earlier weights")
    parser.add_argument("--only", choices=["finder", "gauge"])
    args = parser.parse_args()
    device = "cuda" if torch.cuda.is_available() else "cpu"
    args.out.mkdir(parents=True, exist_ok=True)
    shards = sorted(args.shards)
    hold = max(1, len(shards) // 12)
    d, valid = Data(shards[hold:], device), Data(shards[:hold], device)
    print("train", len(d), "valid", len(valid), device, flush=True)
    shapes = {"finder": (3 + FINDER_PLANES, WHOLE_ROWS, WHOLE_COLUMNS),
              "gauge": (6 + GAUGE_PLANES, WINDOW_ROWS, WINDOW_COLUMNS)}
    for which in ("gauge", "finder"):
        if args.only and args.only != which:
            continue
        part = 0.6 if which == "gauge" else 0.4
        net = train(which, d, valid, args.seconds * (1 if args.only else part), device, args.seed,
                    args.out, args.start)
        p = outputs(which, net, valid, device)
        if which == "gauge":
            t = fit_temperature(p, valid.target.cpu().numpy())
            (args.out / "gauge.json").write_text(json.dumps({"temperature": round(t, 2)}) + "\n")
        np.savez(args.out / f"{which}_valid.npz", p=p,
                 facts=valid.facts, target=valid.target.cpu().numpy())
        torch.save(net.state_dict(), args.out / f"{which}.pt")
        export(net, shapes[which], args.out / f"surface_{which}.onnx")
    (args.out / "made.json").write_text(json.dumps({"train": len(d), "valid": len(valid)}))


if __name__ == "__main__":
    main()
