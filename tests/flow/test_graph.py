"""Flow paths: every position of the handles, connectivity by networkx, and the trade's rules."""

import itertools

import networkx as nx
import pytest

from vision.flow.graph import (
    MAIN_HANDLES,
    PATIENT_HANDLES,
    PLACES,
    FlowState,
    all_states,
    communicates,
    connection_sentence,
    reachable,
)
from vision.flow.tasks import BOTH_AT_ONCE, TASKS, handles_for, verdict, verdicts


def drawn_by_hand(state: FlowState) -> nx.Graph:
    """The tubing drawn anew, with every arm a node of its own, for networkx to walk."""
    g = nx.Graph()
    g.add_nodes_from(PLACES)
    # what each arm leads to
    g.add_edges_from([("patient", "P.patient"), ("sampling port", "P.sampling port"),
                      ("P.main stopcock", "M.patient line"), ("pressure port", "M.pressure port"),
                      ("chamber", "M.chamber")])
    # inside a stopcock, any two arms that the handle does not close meet
    for prefix, handle, arms in (
        ("P.", state.patient_stopcock, ("patient", "sampling port", "main stopcock")),
        ("M.", state.main_stopcock, ("patient line", "pressure port", "chamber")),
    ):
        left = [prefix + arm for arm in arms if arm != handle]
        g.add_edges_from(itertools.combinations(left, 2))
    if state.outlet_open:
        g.add_edge("chamber", "bag")
    return g


def test_every_combination_is_there_once():
    states = list(all_states())
    assert len(states) == len(set(states)) == 4 * 4 * 2 * 2
    assert len(PATIENT_HANDLES) == len(MAIN_HANDLES) == 4


@pytest.mark.parametrize("state", list(all_states()), ids=str)
def test_connectivity_is_that_of_networkx(state):
    g = drawn_by_hand(state)
    for place in PLACES:
        expected = nx.node_connected_component(g, place) & set(PLACES)
        assert reachable(state, place) == expected
    for a, b in itertools.combinations(PLACES, 2):
        assert communicates(state, a, b) == communicates(state, b, a) == nx.has_path(g, a, b)


@pytest.mark.parametrize("state", list(all_states()), ids=str)
def test_tasks_of_every_combination_follow_from_networkx(state):
    """The rules once more, as sets of places joined in networkx's graph."""
    g = drawn_by_hand(state)

    def joined(a, b):
        return nx.has_path(g, a, b)

    vent, outlet = state.vent_open, state.outlet_open
    patient = {p for p in PLACES if joined("patient", p)}
    sampling = {p for p in PLACES if joined("sampling port", p)}
    pressure = {p for p in PLACES if joined("pressure port", p)}

    def word(works, unsafe):
        return "unsafe" if unsafe else "possible" if works else "impossible"

    expected = {
        "drain": word("chamber" in patient, "chamber" in patient and not vent),
        "measure pressure": word("pressure port" in patient,
                                 {"pressure port", "chamber"} <= patient),
        "sample": word("patient" in sampling,
                       "patient" in sampling and bool({"chamber", "pressure port"} & sampling)),
        "flush toward the chamber": word(
            "chamber" in sampling, "patient" in sampling or ("chamber" in sampling and not vent)),
        "empty": word(outlet and vent, outlet and not vent and "chamber" in patient),
        "zero": word("chamber" in pressure and vent, "patient" in pressure),
    }
    found = {v.task: v.possibility for v in verdicts(state)}
    assert found == expected
    for v in verdicts(state):
        assert bool(v.reasons) == (v.possibility != "possible"), "every no has its reason"


# --------------------------------------------------------------------------
# Check values from ordinary teaching of the handles: common practice, no source.


@pytest.mark.parametrize("main", ["open to all", "pressure port"])
def test_closed_toward_the_patient_pushes_to_the_chamber_and_never_to_the_patient(main):
    state = FlowState("patient", main)
    assert communicates(state, "sampling port", "chamber")
    assert verdict("flush toward the chamber", state).possibility == "possible"
    for any_main in MAIN_HANDLES:
        assert not communicates(FlowState("patient", any_main), "sampling port", "patient")


@pytest.mark.parametrize("main", MAIN_HANDLES)
def test_closed_toward_the_main_stopcock_leaves_patient_and_sampling_port(main):
    state = FlowState("main stopcock", main, outlet_open=True)
    assert reachable(state, "patient") == {"patient", "sampling port"}
    assert verdict("sample", state).possibility == "possible"


def test_main_closed_toward_the_chamber_reads_the_pressure_without_draining():
    state = FlowState("sampling port", "chamber")
    assert verdict("measure pressure", state).possibility == "possible"
    assert verdict("drain", state).possibility == "impossible"


def test_main_closed_toward_the_pressure_port_drains_only():
    state = FlowState("sampling port", "pressure port")
    assert verdict("drain", state).possibility == "possible"
    assert verdict("measure pressure", state).possibility == "impossible"


@pytest.mark.parametrize("patient_stopcock", PATIENT_HANDLES)
def test_main_closed_toward_the_patient_line_does_neither(patient_stopcock):
    state = FlowState(patient_stopcock, "patient line")
    assert verdict("drain", state).possibility == "impossible"
    assert verdict("measure pressure", state).possibility == "impossible"


def test_draining_and_measuring_at_once_is_named():
    state = FlowState("sampling port", "open to all")
    measured, drained = verdict("measure pressure", state), verdict("drain", state)
    assert measured.possibility == "unsafe" and BOTH_AT_ONCE in measured.reasons
    assert drained.possibility == "possible" and BOTH_AT_ONCE in drained.notes


def test_zero_needs_the_patient_closed_off_and_a_free_vent():
    assert verdict("zero", FlowState("patient", "open to all")).possibility == "possible"
    assert verdict("zero", FlowState("sampling port", "patient line")).possibility == "possible"
    assert verdict("zero", FlowState("sampling port", "open to all")).possibility == "unsafe"
    blocked = FlowState("sampling port", "patient line", vent_open=False)
    assert verdict("zero", blocked).possibility == "impossible"


def test_a_blocked_vent_with_an_open_outlet_is_a_siphon():
    state = FlowState("sampling port", "pressure port", outlet_open=True, vent_open=False)
    for task in ("drain", "empty"):
        found = verdict(task, state)
        assert found.possibility == "unsafe" and "bag's height" in found.reasons[0]


def test_reasons_and_states_are_plain_words():
    state = FlowState("patient", "chamber", outlet_open=True)
    assert state.sentence == ("Patient-line stopcock closed toward the patient; main stopcock "
                              "closed toward the chamber; outlet open; vent free.")
    assert connection_sentence(state) == "The patient's line is closed."
    assert connection_sentence(FlowState("sampling port", "open to all")) == (
        "The patient's line is open to: pressure port, chamber.")


@pytest.mark.parametrize("task", TASKS)
def test_every_task_has_a_position_without_reservations(task):
    assert handles_for(task)
    for state in handles_for(task):
        assert verdict(task, state).possibility == "possible"
