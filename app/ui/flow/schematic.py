"""The tubing as a plain diagram of lines and words, for one position of the handles.

Pure: a state in, a drawing out.  It is a diagram of connections and no picture
of any device: thick lines communicate with the patient, thin lines are open
among themselves, broken lines are closed off.
"""

from __future__ import annotations

from markupsafe import Markup

from vision.drawing.svg import Drawing, drawing, element, path, words
from vision.flow.graph import FlowState, connection_sentence, open_segments

_WIDTH, _HEIGHT = 400.0, 236.0
_Y = 112.0
_AT = {
    "patient": (14.0, _Y), "patient bore": (98.0, _Y), "main bore": (196.0, _Y),
    "chamber": (286.0, _Y), "sampling port": (98.0, 176.0), "pressure port": (196.0, 48.0),
    "bag": (286.0, 200.0), "air": (286.0, 48.0),
}
#: Every piece of tubing: its two ends, and the two nodes whose joining opens it.
_PIECES = (
    ("patient", "patient bore"), ("patient bore", "sampling port"), ("patient bore", "main bore"),
    ("main bore", "pressure port"), ("main bore", "chamber"), ("chamber", "bag"),
    ("chamber", "air"),
)


def schematic(state: FlowState) -> Drawing:
    """Draw the tubing with the handles at ``state``."""
    joined = {frozenset(pair) for pair in open_segments(state)}
    with_patient = _nodes_with_patient(joined)
    parts = []
    for a, b in _PIECES:
        is_open = frozenset((a, b)) in joined
        parts.append(_tube(a, b, is_open, is_open and a in with_patient and b in with_patient))
    parts += [_bar(*bar) for bar in _closed_arms(state)]
    parts += _places()
    return drawing(parts, f"Diagram of the tubing. {state.sentence} {connection_sentence(state)}",
                   _WIDTH, _HEIGHT)


def _nodes_with_patient(joined: set[frozenset[str]]) -> set[str]:
    """Nodes, stopcock bores included, to which an open way leads from the patient."""
    seen, grown = {"patient"}, True
    while grown:
        more = {n for pair in joined if pair & seen and "air" not in pair for n in pair} - seen
        seen |= more
        grown = bool(more)
    return seen


def _tube(a: str, b: str, is_open: bool, with_patient: bool) -> Markup:
    (x1, y1), (x2, y2) = _edge(a, b), _edge(b, a)
    return path(f"M{x1:g} {y1:g}L{x2:g} {y2:g}",
                stroke_width=7 if with_patient else 2.4 if is_open else 1.4,
                stroke_dasharray="" if is_open else "2 6")


def _edge(node: str, toward: str) -> tuple[float, float]:
    """Where a tube begins: at the chamber's wall, else at the node itself."""
    (x, y), (to_x, to_y) = _AT[node], _AT[toward]
    if node != "chamber":
        return x, y
    return (x - 17, y) if to_x < x else (x, y + 22 if to_y > y else y - 22)


def _closed_arms(state: FlowState) -> list[tuple[float, float, bool]]:
    """Where a bar stands across a tube: (x, y, tube is horizontal)."""
    (ax, ay), (bx, by), (cx, cy) = _AT["patient bore"], _AT["main bore"], _AT["chamber"]
    bars = {
        ("p", "patient"): (ax - 24, ay, True), ("p", "main stopcock"): (ax + 24, ay, True),
        ("p", "sampling port"): (ax, ay + 24, False),
        ("m", "patient line"): (bx - 24, by, True), ("m", "chamber"): (bx + 24, by, True),
        ("m", "pressure port"): (bx, by - 24, False),
    }
    found = [bars[key] for key in (("p", state.patient_stopcock), ("m", state.main_stopcock))
             if key in bars]
    if not state.outlet_open:
        found.append((cx, cy + 52, False))
    if not state.vent_open:
        found.append((cx, cy - 42, False))
    return found


def _bar(x: float, y: float, across_horizontal: bool) -> Markup:
    d = f"M{x:g} {y - 11:g}v22" if across_horizontal else f"M{x - 11:g} {y:g}h22"
    return path(d, stroke_width=4.5)


def _places() -> list[Markup]:
    (ax, ay), (bx, by), (cx, cy) = _AT["patient bore"], _AT["main bore"], _AT["chamber"]
    named = ((8, ay - 14, "patient"), (ax - 40, 196, "sampling port"),
             (bx - 42, 38, "pressure port"), (cx - 14, 38, "vent"), (cx + 24, cy + 5, "chamber"),
             (cx + 14, 178, "outlet"), (cx - 12, 220, "bag"), (ax - 34, ay - 34, "patient-line"),
             (ax - 34, ay - 18, "stopcock"), (bx - 22, by + 28, "main"),
             (bx - 22, by + 44, "stopcock"))
    return [*(element("circle", cx=x, cy=y, r=9, stroke_width=2) for x, y in ((ax, ay), (bx, by))),
            path(f"M{cx - 17:g} {cy - 22:g}h34v44h-34z", stroke_width=2),
            *(words(*word) for word in named)]
