"""A second opinion for the gauge: another head on the same eyes, taught on other scenes.

``python -m vision.training.surface_head WEIGHTS SHARD... --keep SHARD... --out DIR``
keeps the trunk of a taught gauge (``surface_net`` writes its weights as
``gauge.pt``), teaches one more head on shards it has not seen, and writes the
mean of both heads' probabilities as one network, with the temperature found on the
``--keep`` shards.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F
from torch import nn

from vision.surface_grid import WINDOW_COLUMNS, WINDOW_ROWS
from vision.surface_input import BIN_CENTRES_MM, GAUGE_PLANES
from vision.training.surface_net import (
    Data,
    Gauge,
    blend,
    export,
    fit_temperature,
    gauge_batch,
    soft_bins,
)

EPOCHS, BATCH = 20, 256


class TwoHeads(nn.Module):
    """Logarithm of the mean probability of several heads on one trunk."""

    def __init__(self, look: nn.Module, heads: list[nn.Module]) -> None:
        super().__init__()
        self.look = look
        self.heads = nn.ModuleList(heads)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        seen = self.look(x).flatten(1)
        each = torch.stack([F.softmax(head(seen), dim=1) for head in self.heads])
        return torch.log(each.mean(dim=0) + 1e-7)


@torch.no_grad()
def features(gauge: Gauge, shards: list[Path], rounds: int) -> tuple[torch.Tensor, torch.Tensor]:
    """What the trunk makes of all views: first as they are, then disturbed."""
    gauge.eval()
    g = torch.Generator()
    found, target = [], []
    for shard in shards:
        d = Data([shard], "cpu")
        for again in range(rounds):
            g.manual_seed(again + 1)
            for k in range(0, len(d), 64):
                i = torch.arange(k, min(k + 64, len(d)))
                x, _ = gauge_batch(d, i, g, again > 0)
                found.append(gauge.look(x).flatten(1))
                target.append(d.target[i])
    return torch.cat(found), torch.cat(target)


def teach(gauge: Gauge, x: torch.Tensor, y: torch.Tensor, seed: int) -> nn.Module:
    """One more head, started from the first, held back by noise and dropout."""
    torch.manual_seed(seed)
    head = Gauge(dropout=0.5).say
    head.load_state_dict(gauge.say.state_dict())
    opt = torch.optim.AdamW(head.parameters(), lr=1e-3, weight_decay=0.1)
    spread, wanted, n = x.std(0, keepdim=True), soft_bins(y), len(x)
    steps, step = EPOCHS * n // BATCH, 0
    shadow = {k: v.clone() for k, v in head.state_dict().items()}
    for _ in range(EPOCHS):
        head.train()
        order = torch.randperm(n)
        for k in range(0, n - BATCH + 1, BATCH):
            for group in opt.param_groups:
                group["lr"] = 1e-3 * 0.5 * (1 + np.cos(np.pi * step / steps))
            i = order[k:k + BATCH]
            view = F.dropout(x[i] + 0.3 * spread * torch.randn(BATCH, x.shape[1]), 0.1)
            loss = -(wanted[i] * F.log_softmax(head(view), dim=1)).sum(dim=1).mean()
            opt.zero_grad()
            loss.backward()
            opt.step()
            step += 1
            blend(shadow, head, 0.995)
    head.load_state_dict(shadow)
    return head.eval()


def main() -> None:
    """Teach the second head and write the network."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("weights", type=Path)
    parser.add_argument("shards", nargs="+", type=Path)
    parser.add_argument("--keep", nargs="+", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    gauge = Gauge()
    gauge.load_state_dict(torch.load(args.weights, map_location="cpu"))
    head = teach(gauge, *features(gauge, args.shards, 2), args.seed)
    both = TwoHeads(gauge.look, [gauge.say, head]).eval()
    x, y = features(gauge, args.keep, 1)
    with torch.no_grad():
        p = torch.stack([F.softmax(h.eval()(x), dim=1) for h in both.heads]).mean(0).numpy()
    target = y.numpy()
    print(f"kept {len(target)} MAE {np.abs(p @ BIN_CENTRES_MM - target).mean():.3f} mm")
    args.out.mkdir(parents=True, exist_ok=True)
    temperature = round(fit_temperature(p, target), 2)
    (args.out / "gauge.json").write_text(json.dumps({"temperature": temperature}) + "\n")
    export(both, (6 + GAUGE_PLANES, WINDOW_ROWS, WINDOW_COLUMNS), args.out / "surface_gauge.onnx")


if __name__ == "__main__":
    main()
