"""The package's small networks, run by OpenCV."""

from __future__ import annotations

import threading
from functools import lru_cache
from importlib.resources import files
from typing import Any

import cv2
import numpy as np

_LOCK = threading.Lock()


#: Networks that OpenCV's older engine runs in two thirds of the time: it multiplies less in their
#: convolutions of three by three (A. Lavin and S. Gray, *Fast Algorithms for Convolutional Neural
#: Networks*, CVPR 2016).
_OLDER_ENGINE = frozenset({"meniscus/offset_net"})


@lru_cache(maxsize=4)
def _network(name: str) -> Any:
    engine = cv2.dnn.ENGINE_CLASSIC if name in _OLDER_ENGINE else cv2.dnn.ENGINE_AUTO
    return cv2.dnn.readNetFromONNX(str(files("vision") / "data" / f"{name}.onnx"), engine)


def run_network(name: str, planes: np.ndarray) -> np.ndarray:
    """What the network ``data/NAME.onnx`` makes of ``planes`` (batch, channels, rows, columns).

    Float32; OpenCV's networks keep state, so one is run at a time.
    """
    with _LOCK:
        network = _network(name)
        network.setInput(np.ascontiguousarray(planes, dtype=np.float32))
        return np.array(network.forward())
