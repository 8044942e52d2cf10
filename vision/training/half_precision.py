"""Networks written as ONNX, their large weights in half precision to keep the file small."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import onnx
from onnx import TensorProto, helper, numpy_helper


def save_in_half_precision(model: onnx.ModelProto, path: Path) -> None:
    """Write ``model`` with every tensor of more than 500 numbers as float16."""
    graph, casts = model.graph, []
    for tensor in list(graph.initializer):
        value = numpy_helper.to_array(tensor)
        if value.dtype == np.float32 and value.size > 500:
            graph.initializer.remove(tensor)
            graph.initializer.append(numpy_helper.from_array(
                value.astype(np.float16), tensor.name + "_half"))
            casts.append(helper.make_node("Cast", [tensor.name + "_half"], [tensor.name],
                                          to=TensorProto.FLOAT))
    nodes = casts + list(graph.node)
    del graph.node[:]
    graph.node.extend(nodes)
    onnx.checker.check_model(model)
    path.parent.mkdir(parents=True, exist_ok=True)
    onnx.save(model, str(path))
