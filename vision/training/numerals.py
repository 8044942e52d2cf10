"""Trains the small network that reads the numerals printed beside the long marks.

Everything it learns from is drawn here, from font files given on the command
line; no photograph is used.  Two steps::

    python -m vision.training.numerals atlas FONT_DIR [FONT_DIR ...] --out atlas.npz
    python -m vision.training.numerals train atlas.npz --out vision/data/numerals/net.onnx

Families whose name falls into the held-out share never reach the network; they
serve to measure it (``vision/training/numerals_check.py``).  Needs the ``train``
extra (PyTorch); a graphics card makes it minutes instead of hours.
"""

from __future__ import annotations

import argparse
import copy
import io
import time
from pathlib import Path

import numpy as np
import onnx
import torch
import torch.nn.functional as F
from torch import Tensor, nn

from vision.graduations.numeral_reader import (
    ALPHABET,
    NET_HEIGHT,
)
from vision.training.half_precision import save_in_half_precision
from vision.training.numeral_fonts import build_atlas
from vision.training.numeral_painter import COLUMNS, Painter

# ---------------------------------------------------------------- the network


class Net(nn.Module):
    """A convolutional reader that slides along the patch: (B, 1, H, W) -> (B, W / 2, classes)."""

    def __init__(self, width: float = 1.0) -> None:
        super().__init__()

        def wide(channels: int) -> int:
            return round(channels * width / 8) * 8

        def block(i: int, o: int, k: tuple[int, int], s: tuple[int, int], p: tuple[int, int],
                  d: tuple[int, int] = (1, 1)) -> nn.Sequential:
            return nn.Sequential(nn.Conv2d(i, o, k, s, p, d, bias=False), nn.BatchNorm2d(o),
                                 nn.ReLU())
        self.layers = nn.Sequential(
            block(1, wide(16), (5, 5), (2, 2), (2, 2)),
            block(wide(16), wide(24), (3, 3), (2, 1), (1, 1)),
            block(wide(24), wide(40), (3, 3), (1, 1), (1, 1)),
            block(wide(40), wide(48), (3, 3), (2, 1), (1, 1)),
            block(wide(48), wide(72), (NET_HEIGHT // 8, 3), (1, 1), (0, 1)),
            block(wide(72), wide(72), (1, 3), (1, 1), (0, 2), (1, 2)),
            block(wide(72), wide(72), (1, 3), (1, 1), (0, 4), (1, 4)),
            nn.Conv2d(wide(72), len(ALPHABET) + 1, (1, 1)),
        )

    def forward(self, x: Tensor) -> Tensor:
        return self.layers(x)[:, :, 0].transpose(1, 2)


def export(net: Net, path: Path) -> None:
    """Write the network as ONNX: patches (B, 1, NET_HEIGHT, W) -> (B, classes, 1, W / 2)."""
    layers = net.layers.cpu().eval()
    bytes_out = io.BytesIO()
    torch.onnx.export(layers, (torch.zeros(1, 1, NET_HEIGHT, COLUMNS),), bytes_out,
                      input_names=["patches"], output_names=["logits"], opset_version=17,
                      dynamic_axes={"patches": {0: "b", 3: "w"}, "logits": {0: "b", 3: "v"}},
                      dynamo=False)
    save_in_half_precision(onnx.load_from_string(bytes_out.getvalue()), path)


def _ctc(net: Net, x: Tensor, text: Tensor, weight: Tensor) -> Tensor:
    logp = F.log_softmax(net(x).float(), 2).transpose(0, 1)
    lengths = (text >= 0).sum(1)
    columns = torch.full((x.shape[0],), logp.shape[0], dtype=torch.long, device=x.device)
    # class 0 is "between digits"
    loss = F.ctc_loss(logp, text.clamp(min=0) + 1, columns, lengths, blank=0, reduction="none",
                      zero_infinity=True)
    return (loss * weight).sum() / weight.sum()


def greedy(logits: Tensor) -> list[str]:
    """Best path texts, a quick look during training."""
    best = logits.argmax(2).cpu().numpy()
    out = []
    for row in best:
        keep = row[np.insert(np.diff(row) != 0, 0, True)]
        out.append("".join(ALPHABET[c - 1] for c in keep if c > 0))
    return out


def train(atlas: Path, out: Path, seconds: float, batch: int, seed: int, width: float) -> None:
    """Train for a given time and write the weights after every tenth of it."""
    device = "cuda" if torch.cuda.is_available() else "cpu"
    torch.manual_seed(seed)
    painter = Painter(atlas, device, held=False, seed=seed)
    judge = Painter(atlas, device, held=True, seed=seed + 1)
    net = Net(width).to(device)
    optimiser = torch.optim.AdamW(net.parameters(), lr=2e-3, weight_decay=1e-3)
    start, step, shown = time.time(), 0, 0.0
    while (share := (time.time() - start) / seconds) < 1:
        for group in optimiser.param_groups:
            group["lr"] = 2.5e-3 * min(1, (step + 1) / 300) * (0.02 + 0.98 * (1 - share))
        net.train()
        with torch.no_grad():
            x, text, weight, _ = painter.batch(batch)
        loss = _ctc(net, x, text, weight)
        optimiser.zero_grad()
        loss.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 2.0)
        optimiser.step()
        step += 1
        if share >= shown:
            shown += 0.1
            net.eval()
            with torch.no_grad():
                x, text, weight, _ = judge.batch(2048 if device == "cuda" else 256)
                value = float(_ctc(net, x, text, weight))
                said = greedy(net(x))
            true = ["".join(ALPHABET[c] for c in row if c >= 0) for row in text.cpu().numpy()]
            good = [a == b for a, b, w in zip(said, true, weight.tolist(), strict=True) if w]
            print(f"{share:4.0%} step {step} loss {loss.item():.3f} held-out {value:.3f} "
                  f"exact {np.mean(good):.4f}", flush=True)
            export(copy.deepcopy(net), out)
    export(net, out)


def main() -> None:
    """Command line of the two steps."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    sub = parser.add_subparsers(dest="step", required=True)
    a = sub.add_parser("atlas")
    a.add_argument("folders", nargs="+", type=Path)
    a.add_argument("--out", type=Path, required=True)
    t = sub.add_parser("train")
    t.add_argument("atlas", type=Path)
    t.add_argument("--out", type=Path, required=True)
    t.add_argument("--seconds", type=float, default=480)
    t.add_argument("--batch", type=int, default=768)
    t.add_argument("--seed", type=int, default=1)
    t.add_argument("--width", type=float, default=1.6)
    args = parser.parse_args()
    if args.step == "atlas":
        build_atlas(args.folders, args.out)
    else:
        train(args.atlas, args.out, args.seconds, args.batch, args.seed, args.width)


if __name__ == "__main__":
    main()
