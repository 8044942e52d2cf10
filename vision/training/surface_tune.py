"""Go on teaching the shipped surface networks on further views, on an ordinary processor.

``python -m vision.training.surface_tune FOLDER --only gauge --seconds 3600 --out DIR``
takes the weights out of the shipped ONNX files and teaches on the shards in FOLDER,
new ones as they come in; ``FOLDER/kept*.npz`` are kept from teaching.  Half-precision
products make this some ten times faster than a plain run on a processor that has them.
"""

from __future__ import annotations

import argparse
import json
import math
import time
from importlib.resources import files
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F
from torch import nn

from vision.surface_grid import WHOLE_COLUMNS, WHOLE_ROWS, WINDOW_COLUMNS, WINDOW_ROWS
from vision.surface_input import FINDER_PLANES, GAUGE_PLANES
from vision.training.surface_head import TwoHeads
from vision.training.surface_net import (
    Data,
    Finder,
    Gauge,
    blend,
    check,
    export,
    finder_batch,
    fit_temperature,
    gauge_batch,
    outputs,
)

SHAPES = {"finder": (3 + FINDER_PLANES, WHOLE_ROWS, WHOLE_COLUMNS),
          "gauge": (6 + GAUGE_PLANES, WINDOW_ROWS, WINDOW_COLUMNS)}
BATCH = 128
#: The folder is looked at again for new shards after so long.
LOOK_AGAIN_S = 60.0
#: So many of the kept views are looked at on the way.
KEPT = 1024


def shipped(which: str, views: torch.Tensor) -> nn.Module:
    """The shipped network, ready to be taught further.

    Its ONNX file has every normalisation folded into the convolution before it; they
    are unfolded with the statistics of ``views``, which leaves what the network says
    as it is.
    """
    import onnx
    from onnx import numpy_helper

    path = files("vision") / "data" / "surface" / f"surface_{which}.onnx"
    graph = onnx.load_from_string(path.read_bytes()).graph
    folded, named = [], {}
    for tensor in graph.initializer:
        value = torch.from_numpy(numpy_helper.to_array(tensor).copy())
        if tensor.name.startswith("onnx::Conv"):
            folded.append(value)
        else:
            named[tensor.name] = value
    net: nn.Module = Finder() if which == "finder" else TwoHeads(
        Gauge().look, [Gauge().say, Gauge().say])
    net.load_state_dict(named, strict=False)
    pairs: list[tuple[nn.Conv2d, nn.BatchNorm2d]] = [(m[0], m[1])  # type: ignore[misc]
              for m in net.modules() if isinstance(m, nn.Sequential)
             and len(m) == 3 and isinstance(m[1], nn.BatchNorm2d)]
    if len(pairs) * 2 != len(folded):
        raise ValueError("The shipped network has another shape than the one to be taught.")
    for (conv, norm), weight, bias in zip(pairs, folded[::2], folded[1::2], strict=True):
        conv.weight.data.copy_(weight)
        norm.bias.data.copy_(bias)

    def unfold(norm: nn.BatchNorm2d, seen: tuple[torch.Tensor]) -> None:
        mean, var = seen[0].mean(dim=(0, 2, 3)), seen[0].var(dim=(0, 2, 3), unbiased=False)
        for kept, now in ((norm.running_mean, mean), (norm.running_var, var)):
            assert kept is not None
            kept.copy_(now)
        norm.weight.data.copy_(torch.sqrt(var + norm.eps))
        norm.bias.data.add_(mean)

    hooks = [norm.register_forward_pre_hook(unfold) for _, norm in pairs]
    net.eval()
    with torch.no_grad():
        net(views)
    for hook in hooks:
        hook.remove()
    return net


class Shards:
    """The shards of a folder, one random view after another; new shards join in."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.known: dict[Path, Data] = {}
        self.looked = -1e9
        self.refresh()

    def refresh(self) -> None:
        """Take in what has come since."""
        if time.time() - self.looked < LOOK_AGAIN_S:
            return
        self.looked = time.time()
        for path in sorted(self.folder.glob("shard*.npz")):
            if path not in self.known:
                self.known[path] = Data([path], "cpu")

    def __len__(self) -> int:
        return sum(map(len, self.known.values()))

    def batch(self, which: str, g: torch.Generator) -> tuple[torch.Tensor, torch.Tensor]:
        """A disturbed batch, half from each of two shards."""
        make = finder_batch if which == "finder" else gauge_batch
        every = list(self.known.values())
        pick = torch.randint(0, len(every), (2,), generator=g).tolist()
        parts = [make(d, torch.randint(0, len(d), (BATCH // 2,), generator=g), g, True)
                 for d in (every[k] for k in pick)]
        return torch.cat([p[0] for p in parts]), torch.cat([p[1] for p in parts])


def _spoken(which: str, logits: torch.Tensor) -> torch.Tensor:
    """Logarithm of the probabilities; the gauge with its two heads says it itself."""
    return logits if which == "gauge" else F.log_softmax(logits, dim=1)


def tune(which: str, net: nn.Module, shards: Shards, valid: Data, seconds: float, rate: float,
         out: Path) -> nn.Module:
    """Teach for so long; the mean of the later weights is what is kept."""
    torch.manual_seed(3)
    g = torch.Generator()
    g.manual_seed(int(time.time()))
    net = net.to(memory_format=torch.channels_last)  # type: ignore[call-overload]
    opt = torch.optim.AdamW(net.parameters(), lr=rate, weight_decay=1e-2)
    shadow = {k: v.detach().clone() for k, v in net.state_dict().items()}
    start, step, told, loss_mean = time.time(), 0, time.time(), 0.0
    while (share := (time.time() - start) / seconds) < 1.0:
        shards.refresh()
        for group in opt.param_groups:
            group["lr"] = rate * min(1.0, (step + 1) / 50) * 0.5 * (1 + math.cos(math.pi * share))
        x, p = shards.batch(which, g)
        net.train()
        with torch.autocast("cpu", dtype=torch.bfloat16):
            logits = net(x.contiguous(memory_format=torch.channels_last))
        loss = -(p * _spoken(which, logits.float())).sum(dim=1).mean()
        opt.zero_grad()
        loss.backward()  # type: ignore[no-untyped-call]
        nn.utils.clip_grad_norm_(net.parameters(), 2.0)
        opt.step()
        step += 1
        loss_mean += (loss.item() - loss_mean) / min(step, 50)
        blend(shadow, net, 0.99)
        if time.time() - told > 300:
            told = time.time()
            live = {k: v.clone() for k, v in net.state_dict().items()}
            net.load_state_dict(shadow)
            print(which, step, f"{len(shards)} views, loss {loss_mean:.3f}",
                  check(which, net, valid, "cpu", limit=KEPT), flush=True)
            torch.save(shadow, out / f"{which}.pt")
            net.load_state_dict(live)
    net.load_state_dict(shadow)
    return net.eval()


def main() -> None:
    """Teach one network further and write it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--only", choices=["finder", "gauge"], required=True)
    parser.add_argument("--seconds", type=float, default=3600)
    parser.add_argument("--rate", type=float, default=6e-4)
    parser.add_argument("--threads", type=int, default=1)
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    torch.set_num_threads(args.threads)
    args.out.mkdir(parents=True, exist_ok=True)
    valid = Data(sorted(args.folder.glob("kept*.npz")), "cpu")
    shards = Shards(args.folder)
    g = torch.Generator()
    g.manual_seed(1)
    make = finder_batch if args.only == "finder" else gauge_batch
    views, _ = make(valid, torch.arange(min(256, len(valid))), g, False)
    net = shipped(args.only, views)
    print("shipped", check(args.only, net, valid, "cpu", limit=KEPT), flush=True)
    net = tune(args.only, net, shards, valid, args.seconds, args.rate, args.out)
    print("taught", check(args.only, net, valid, "cpu", limit=KEPT), flush=True)
    if args.only == "gauge":
        p = outputs("gauge", net, valid, "cpu")
        t = fit_temperature(p, valid.target.numpy())
        (args.out / "gauge.json").write_text(json.dumps({"temperature": round(t, 2)}) + "\n")
    export(net, SHAPES[args.only], args.out / f"surface_{args.only}.onnx")


if __name__ == "__main__":
    np.seterr(all="raise", under="ignore")
    main()
