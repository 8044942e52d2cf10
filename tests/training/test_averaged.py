"""The mean of two networks' weights."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

onnx = pytest.importorskip("onnx", reason="teaching needs onnx")

from onnx import TensorProto, helper, numpy_helper  # noqa: E402

from vision.training.averaged import averaged, main  # noqa: E402


def network(weight: list[float], name: str = "w", half: bool = False) -> onnx.ModelProto:
    """y = w x, with a whole number beside that is none of the weights."""
    kind = np.float16 if half else np.float32
    stored = [numpy_helper.from_array(np.array(weight, kind), name),
              numpy_helper.from_array(np.array([3], np.int64), "axis")]
    ends = [helper.make_tensor_value_info(n, TensorProto.FLOAT, [len(weight)]) for n in "xy"]
    graph = helper.make_graph([helper.make_node("Mul", ["x", name], ["y"])], "g", ends[:1],
                              ends[1:], stored)
    return helper.make_model(graph)


def weights(net: onnx.ModelProto) -> np.ndarray:
    return numpy_helper.to_array(net.graph.initializer[0])


@pytest.mark.parametrize(("share", "want"), [
    (0.0, [1.0, 2.0]), (0.5, [2.0, 0.0]), (0.25, [1.5, 1.0]), (1.0, [3.0, -2.0])])
@pytest.mark.parametrize("half", [False, True])
def test_weights_lie_so_far_on_the_way(share: float, want: list[float], half: bool) -> None:
    mean = averaged(network([1, 2], half=half), network([3, -2], half=half), share)
    assert weights(mean).tolist() == want
    assert weights(mean).dtype == (np.float16 if half else np.float32)
    assert numpy_helper.to_array(mean.graph.initializer[1]).tolist() == [3]


def test_networks_that_are_not_built_alike_are_refused() -> None:
    for other in (network([1, 2, 3]), network([1, 2], "v")):
        with pytest.raises(ValueError, match="not built alike"):
            averaged(network([1, 2]), other, 0.5)


def test_from_the_command_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name, weight in (("a", [0.0]), ("b", [4.0])):
        onnx.save(network(weight), tmp_path / f"{name}.onnx")
    monkeypatch.setattr("sys.argv", ["averaged", str(tmp_path / "a.onnx"), str(
        tmp_path / "b.onnx"), "--share", "0.75", "--out", str(tmp_path / "c.onnx")])
    main()
    assert weights(onnx.load(tmp_path / "c.onnx")).tolist() == [3.0]
