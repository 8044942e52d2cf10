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
import time
from collections.abc import Callable
from pathlib import Path

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
)
from vision.meniscus_image.views import (
    WHOLE_COLUMNS,
    WHOLE_ROWS,
    WINDOW_COLUMNS,
    WINDOW_ROWS,
)
from vision.training.half_precision import save_in_half_precision
from vision.training.surface_architectures import OffsetNet, RowNet
from vision.training.surface_batches import Data, offset_batch, row_batch
from vision.training.warm_start import start_from


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
    fastest = 2e-3 if start is None else 2e-4  # faster forgets (docs/teaching.md)
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
    filled = d.filled[:n]
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
        if not filled.all():
            parts.append(f"of empty ones sure {(window[~filled] > 0.5).mean():.4f}")
        return (f"n {n} median {np.median(off):.3f} mm, >1 mm {wrong.mean():.4f}, "
                f">1 mm and sure(0.9) {(wrong & (window > 0.9)).mean():.4f}, "
                f"sure {(window > 0.9).mean():.3f} peak {np.median(sure):.2f} " + " ".join(parts))
    other = outputs(which, net, d, device, limit, decoys=True)[:, -1]
    p, tier = p[filled], tier[filled]
    here, p = p[:, -1], p[:, :-1]
    mean = p @ BIN_CENTRES_MM
    y = d.target_found()[:n][filled]
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
              f" of empty ones {(other[~filled] > 0.5).mean() if not filled.all() else 0:.4f}"
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

    here, elsewhere = odds(p[d.filled, -1]), odds(decoys[:, -1])
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
