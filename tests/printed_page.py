"""A page of a PDF as grey values: its filled rectangles and stroked lines, without its words.

Reads the page's own drawing operators (pypdf; PDF as in ISO 32000-1, 8.3 to 8.5), so it sees
what a printer would, whatever the code meant to draw.
"""

from __future__ import annotations

import io

import numpy as np
from pypdf import PdfReader
from pypdf.generic import ContentStream

MM_PER_POINT = 25.4 / 72  # ISO 32000-1, 8.3.2.3


def page_shapes(pdf: bytes, index: int) -> tuple[tuple[float, float], list, list]:
    """((width, height), rectangles, lines) of a page, mm from its lower left corner, y up.

    Rectangles are (grey, x0, y0, x1, y1) with grey 0 to 1; lines (x0, y0, x1, y1).
    """
    reader = PdfReader(io.BytesIO(pdf))
    page = reader.pages[index]
    matrix, grey, stack = np.eye(3), 0.0, []
    path: list[tuple[str, np.ndarray]] = []
    rectangles, lines = [], []
    for operands, operator in ContentStream(page.get_contents(), reader).operations:
        v = [float(o) for o in operands if isinstance(o, (int, float))]
        if operator == b"q":
            stack.append((matrix, grey))
        elif operator == b"Q":
            matrix, grey = stack.pop()
        elif operator == b"cm":
            a, b, c, d, e, f = v
            matrix = np.array([[a, b, 0], [c, d, 0], [e, f, 1]]) @ matrix
        elif operator in (b"g", b"rg"):
            grey = float(np.mean(v))
        elif operator == b"re":
            x, y, w, h = v
            path.append(("re", np.array([[x, y, 1], [x + w, y + h, 1]]) @ matrix))
        elif operator in (b"m", b"l"):
            path.append((operator.decode(), np.array([[*v, 1]]) @ matrix))
        elif operator in (b"f", b"f*", b"S", b"n", b"B"):
            if operator in (b"f", b"f*", b"B"):
                rectangles += [(grey, *(p[:, :2] * MM_PER_POINT).ravel())
                               for kind, p in path if kind == "re"]
            if operator == b"S":
                ends = [p[0, :2] * MM_PER_POINT for kind, p in path if kind != "re"]
                lines += [(*a, *b) for a, b in zip(ends, ends[1:], strict=False)]
            path = []
    return ((float(page.mediabox.width) * MM_PER_POINT,
             float(page.mediabox.height) * MM_PER_POINT), rectangles, lines)


def page_grey(pdf: bytes, index: int, px_per_mm: int, white: float = 235,
              black: float = 25) -> np.ndarray:
    """(H, W) float grey values; a pixel partly covered is grey by the share covered."""
    (width, height), rectangles, lines = page_shapes(pdf, index)
    paper = np.ones((round(height * px_per_mm), round(width * px_per_mm)))

    def cover(low: float, high: float, count: int) -> tuple[slice, np.ndarray]:
        """The pixels from ``low`` to ``high`` (px) and the share of each in between."""
        first, last = max(0, int(low)), min(count, int(np.ceil(high)))
        edges = np.arange(first, last)
        return slice(first, last), np.clip(
            np.minimum(high, edges + 1) - np.maximum(low, edges), 0, 1)

    thin = [(0.0, min(x0, x1) - 0.1, min(y0, y1) - 0.1, max(x0, x1) + 0.1, max(y0, y1) + 0.1)
            for x0, y0, x1, y1 in lines]
    for grey, x0, y0, x1, y1 in [*rectangles, *thin]:
        columns, across = cover(x0 * px_per_mm, x1 * px_per_mm, paper.shape[1])
        rows, down = cover((height - y1) * px_per_mm, (height - y0) * px_per_mm, paper.shape[0])
        share = down[:, None] * across[None, :]
        # Shares add up: two rectangles that touch leave no seam between them.
        part = paper[rows, columns]
        paper[rows, columns] = np.clip(part + (share if grey > 0.5 else -share), 0, 1)
    return black + (white - black) * paper
