"""The mean of the weights of two networks that were taught from the same start.

``python -m vision.training.averaged A.onnx B.onnx --share 0.5 --out C.onnx``

Networks that went on from one start by different lots lie in one valley, and the mean of their
weights errs less than either (M. Wortsman and others, *Model soups*, Proc 39th Int Conf on Machine
Learning, PMLR 2022;162:23965-23998).  The mean of the start itself and of what it became keeps
more of what the start did well on other pictures (M. Wortsman and others, *Robust fine-tuning of
zero-shot models*, Proc IEEE/CVF Conf on Computer Vision and Pattern Recognition 2022:7959-7971).
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import onnx
from onnx import numpy_helper


def averaged(one: onnx.ModelProto, other: onnx.ModelProto, share: float) -> onnx.ModelProto:
    """``one`` with weights moved by ``share`` of the way to those of ``other``, in the precision
    of its own.  ``ValueError`` where the two are not built alike."""
    names = [[(w.name, tuple(w.dims)) for w in net.graph.initializer] for net in (one, other)]
    if names[0] != names[1]:
        raise ValueError("The two networks are not built alike: their weights have other names "
                         "or sizes.")
    mean = onnx.ModelProto()
    mean.CopyFrom(one)
    for weight, there in zip(mean.graph.initializer, other.graph.initializer, strict=True):
        a, b = numpy_helper.to_array(weight), numpy_helper.to_array(there)
        if a.dtype.kind == "f":
            moved = (1.0 - share) * a.astype(np.float64) + share * b.astype(np.float64)
            weight.CopyFrom(numpy_helper.from_array(moved.astype(a.dtype), weight.name))
    return mean


def main() -> None:
    """Write the mean of two networks."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("one", type=Path)
    parser.add_argument("other", type=Path)
    parser.add_argument("--share", type=float, default=0.5, help="how far on the way to the other")
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    onnx.save(averaged(onnx.load(args.one), onnx.load(args.other), args.share), args.out)


if __name__ == "__main__":
    main()
