"""Go on teaching from the networks as they are shipped: ONNX weights back into PyTorch.

In the shipped files each batch normalisation is folded into its convolution.  It is unfolded here
with the mean and spread that its input has in views to be taught with, so that the network says
the same as before whether it normalises by its own batch or by what it has kept.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import onnx
import torch
from onnx import numpy_helper
from torch import nn

_WEIGHTED = {"Conv", "ConvTranspose", "Gemm", "MatMul"}


def _onnx_weights(path: Path) -> list[list[np.ndarray]]:
    """Weights and biases of each layer, in the order in which the layers run."""
    graph = onnx.load(str(path)).graph
    known = {i.name: numpy_helper.to_array(i).astype(np.float32) for i in graph.initializer}
    for node in graph.node:  # what is kept in half precision is cast first
        if node.op_type == "Cast" and node.input[0] in known:
            known[node.output[0]] = known[node.input[0]]
        if node.op_type == "Constant" and node.attribute[0].type == onnx.AttributeProto.TENSOR:
            known[node.output[0]] = numpy_helper.to_array(node.attribute[0].t)
    return [[known[i] for i in node.input if i in known] for node in graph.node
            if node.op_type in _WEIGHTED]


@torch.no_grad()
def start_from(net: nn.Module, path: Path, views: torch.Tensor) -> None:
    """Give ``net`` the weights of the ONNX file at ``path``; ``views`` (N, planes, rows, columns)
    are inputs like those to be taught with.

    Raises
    ------
    ValueError
        The file is of a network of another shape.
    """
    order: list[tuple[nn.Module, nn.BatchNorm2d | None]] = []
    last: list[nn.Module] = []

    def ran(module: nn.Module, _inputs: Any, _output: Any) -> None:
        if isinstance(module, nn.BatchNorm2d):
            order[-1] = (order[-1][0], module)
        else:
            order.append((module, None))
            last.append(module)

    hooks = [m.register_forward_hook(ran) for m in net.modules()
             if isinstance(m, nn.Conv2d | nn.ConvTranspose2d | nn.Linear | nn.BatchNorm2d)]
    net.eval()
    net(views[:2])
    for hook in hooks:
        hook.remove()
    kept = _onnx_weights(path)
    if len(kept) != len(order):
        raise ValueError(f"{path} has {len(kept)} layers, the network {len(order)}.")
    for (layer, norm), found in zip(order, kept, strict=True):
        weight = torch.from_numpy(np.array(found[0]))
        if weight.shape != layer.weight.shape:
            raise ValueError(f"{path}: {tuple(weight.shape)}, not {tuple(layer.weight.shape)}.")
        layer.weight.copy_(weight)
        bias = torch.from_numpy(np.array(found[1]))
        if norm is None:
            layer.bias.copy_(bias)
        else:
            norm.running_mean.zero_()
            norm.running_var.fill_(1.0 - norm.eps)
            norm.weight.fill_(1.0)
            norm.bias.copy_(bias)
    _normalised_by(net, [norm for _, norm in order if norm is not None], views)


def _normalised_by(net: nn.Module, norms: list[nn.BatchNorm2d], views: torch.Tensor) -> None:
    """Let each normalisation take off what ``views`` have there, and put it back."""
    seen: dict[nn.Module, tuple[torch.Tensor, torch.Tensor]] = {}

    def look(module: nn.Module, inputs: Any, _output: Any) -> None:
        x = inputs[0].float()
        seen[module] = (x.mean(dim=(0, 2, 3)), x.var(dim=(0, 2, 3)))

    hooks = [m.register_forward_hook(look) for m in norms]
    net(views)
    for hook in hooks:
        hook.remove()
    for norm in norms:
        mean, var = seen[norm]
        var = var.clamp_min(1e-4)
        norm.running_mean.copy_(mean)
        norm.running_var.copy_(var)
        norm.bias.add_(mean)
        norm.weight.copy_((var + norm.eps).sqrt())
