"""The tubing as a small graph: what communicates with what, at these handles.

Places: the patient (catheter), the sampling port on the patient line, the
pressure port, the drip chamber, the bag, and the air behind the chamber's vent.
Between them stand two three-way stopcocks, the outlet (clamp or stopcock) and
the vent.  A handle closes one arm of its stopcock and leaves the other two open
to each other, or leaves all three open.

What the connections make possible is in ``vision.flow.tasks``.  The layout is the
ordinary one of an external drain (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from typing import Literal, get_args

Place = Literal["patient", "sampling port", "pressure port", "chamber", "bag", "air"]
PatientHandle = Literal["open to all", "patient", "sampling port", "main stopcock"]
MainHandle = Literal["open to all", "patient line", "pressure port", "chamber"]

PLACES: tuple[Place, ...] = get_args(Place)
PATIENT_HANDLES: tuple[PatientHandle, ...] = get_args(PatientHandle)
MAIN_HANDLES: tuple[MainHandle, ...] = get_args(MainHandle)


@dataclass(frozen=True)
class FlowState:
    """Where the handles stand.

    ``patient_stopcock`` and ``main_stopcock`` name the arm that is closed, or
    "open to all".  ``vent_open`` is False for a vent that is closed, wet or blocked.
    """

    patient_stopcock: PatientHandle
    main_stopcock: MainHandle
    outlet_open: bool = False
    vent_open: bool = True

    @property
    def sentence(self) -> str:
        """The handles in words."""
        return (f"Patient-line stopcock {_handle(self.patient_stopcock)}; "
                f"main stopcock {_handle(self.main_stopcock)}; "
                f"outlet {'open' if self.outlet_open else 'closed'}; "
                f"vent {'free' if self.vent_open else 'closed, wet or blocked'}.")


def all_states() -> Iterator[FlowState]:
    """Every combination of the handles: 4 x 4 x 2 x 2."""
    for combination in product(PATIENT_HANDLES, MAIN_HANDLES, (False, True), (False, True)):
        yield FlowState(*combination)


def open_segments(state: FlowState) -> tuple[tuple[str, str], ...]:
    """The pieces of tubing that are open, as pairs of node names.

    Besides the places there are two nodes for the bores of the stopcocks.
    """
    patient_arms = {"patient": "patient", "sampling port": "sampling port",
                    "main stopcock": "main bore"}
    main_arms = {"patient line": "patient bore", "pressure port": "pressure port",
                 "chamber": "chamber"}
    segments = []
    for arm, node in patient_arms.items():
        if arm == state.patient_stopcock:
            continue
        if arm == "main stopcock" and state.main_stopcock == "patient line":
            continue  # the line between the stopcocks ends at a closed arm
        segments.append(("patient bore", node))
    for arm, node in main_arms.items():
        # The line to the patient stopcock is already in the list, seen from there.
        if arm not in (state.main_stopcock, "patient line"):
            segments.append(("main bore", node))
    if state.outlet_open:
        segments.append(("chamber", "bag"))
    if state.vent_open:
        segments.append(("chamber", "air"))
    return tuple(segments)


def reachable(state: FlowState, start: Place) -> frozenset[str]:
    """The places that communicate with ``start`` (itself included, air excluded).

    The air over the liquid in the chamber does not carry liquid any further, so
    it connects nothing.
    """
    neighbours: dict[str, list[str]] = {}
    for a, b in open_segments(state):
        if "air" not in (a, b):
            neighbours.setdefault(a, []).append(b)
            neighbours.setdefault(b, []).append(a)
    seen, waiting = {str(start)}, [str(start)]
    while waiting:
        for node in neighbours.get(waiting.pop(), ()):
            if node not in seen:
                seen.add(node)
                waiting.append(node)
    return frozenset(seen & set(PLACES))


def communicates(state: FlowState, a: Place, b: Place) -> bool:
    """True when fluid or pressure can pass between the two places."""
    return b in reachable(state, a)


def connection_sentence(state: FlowState) -> str:
    """What the patient's line communicates with, in words."""
    others = [p for p in PLACES if p != "patient" and communicates(state, "patient", p)]
    if not others:
        return "The patient's line is closed."
    return "The patient's line is open to: " + ", ".join(others) + "."


def _handle(closed_arm: str) -> str:
    return "open to all" if closed_arm == "open to all" else f"closed toward the {closed_arm}"
