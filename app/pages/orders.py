"""The page "Orders": what the written order of a bed says, typed by a person and confirmed."""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field

import streamlit as st

from app.records import ClockDoubtError, Entry, Moment, Standing, confirm
from app.records.codes import bed_and_drain, with_drain
from app.records.errors import ConfirmError
from app.ui import blocks, guard, kept, ledger, theme, ways
from app.ui.bed import bed_help, bed_of_address, bed_to_address
from app.ui.confirm import Signature, confirm_block
from app.ui.order.form import order_fields, typed_order
from app.ui.recent import age
from app.ui.round.overview import order_points
from app.ui.text import as_label
from vision.output.model import hm

TITLE = "Orders"
ORDER = 35
_LAST = "orders-last"
#: How the keys of the boxes for a sign end.  The other boxes are a person's word on what is
#: before them, which a page that begins anew asks for again.
_SIGN = "-minus"


@dataclass
class OrdersState:
    """One bed's order.  ``turn`` counts orders confirmed and keys every field of the one being
    typed; ``fields`` is what they hold, for a session that begins anew (:mod:`app.ui.kept`)."""

    bed: str = ""
    turn: int = 0
    form_key: str = field(default_factory=lambda: uuid.uuid4().hex)
    fields: dict[str, str | bool] = field(default_factory=dict)
    missing: tuple[str, ...] = ()
    clock_doubt: bool = False
    recorded: str = ""

    @property
    def key(self) -> str:
        """Of every field of this order."""
        return f"order-{self.bed}-{self.turn}"


def page() -> None:
    """Draw the page."""
    bed = _bed()
    state = kept.of_browser(f"order {bed}", lambda: OrdersState(bed)) if bed else OrdersState()
    theme.start_at_top(f"orders-{state.turn}")
    blocks.title("Orders", "What the written order says, typed by a person. The tool never "
                           "suggests a value.")
    if state.recorded:
        blocks.cards(blocks.card("On record", "Order", "", [state.recorded], "confirmed"))
        with st.container(key="way-round", gap=None):
            ways.link("round", f"Open the round of bed {state.bed}", bed=state.bed)
    st.text_input("Bed code of your ward (no names)", key="orders-bed", max_chars=24,
                  autocomplete="off", placeholder="for example QUAY-3")
    bed_help("orders", st.session_state["orders-bed"] or "",
             _take)
    st.text_input("Drain, if the patient has two (for example L or R)", key="orders-drain",
                  max_chars=8, autocomplete="off")
    if not bed:
        blocks.status_line("Next: the bed.")
        blocks.caution_box()
        return
    history, problem = guard.in_words(
        lambda: ledger.open_store().current(state.bed, kind="order"))
    if history is None:
        blocks.notice("The record cannot be read", [problem], stop=True)
        return
    left, right = st.columns(2, gap="medium")
    with right:
        _on_record(history)
    with left:
        _bring_back(state)
        _form(state, history[-1].entry if history else None)
        _remember(state)
    blocks.caution_box()


def _bed() -> str:
    """The bed that is typed; a page that begins takes it from the address, or from the last
    visit.  The address follows, so that a reload finds the same bed."""
    bed, drain = bed_and_drain(bed_of_address() or st.session_state.get(_LAST, ""))
    st.session_state.setdefault("orders-bed", bed)
    st.session_state.setdefault("orders-drain", drain)
    typed = st.session_state["orders-bed"] or ""
    found = with_drain(typed, st.session_state["orders-drain"] or "") if typed else ""
    st.session_state[_LAST] = found
    bed_to_address(found)
    return found


def _bring_back(state: OrdersState) -> None:
    """What was typed before a reload, or before a visit to another page."""
    for name, value in state.fields.items():
        if name not in st.session_state:
            st.session_state[name] = value


def _remember(state: OrdersState) -> None:
    for name, value in st.session_state.items():
        if not str(name).startswith(state.key):
            continue
        if isinstance(value, str) or str(name).endswith(_SIGN):
            state.fields[str(name)] = value
        elif value is None:
            state.fields.pop(str(name), None)


def _take(code: str) -> None:
    """A bed that was pressed, and the label of its drain."""
    st.session_state["orders-bed"], st.session_state["orders-drain"] = bed_and_drain(code)


def _on_record(history: tuple[Standing, ...]) -> None:
    """The order that stands, and the ones before it."""
    now = Moment.now()
    blocks.step("On record")
    if not history:
        blocks.say("No order yet.")
        return
    last = history[-1].entry
    blocks.notice(f"{age(last.happened, now)}, confirmed by {last.initials}, entry {last.number}",
                  order_points(last))
    if len(history) > 1:
        with st.expander(as_label(f"Orders before ({len(history) - 1})")):
            for standing in reversed(history[:-1]):
                e = standing.entry
                blocks.notice(f"{hm(e.happened.local, now.local)}, confirmed by {e.initials}, "
                              f"entry {e.number}", order_points(e))


def _form(state: OrdersState, before: Entry | None) -> None:
    blocks.step("A changed order" if before is not None else "The order")
    if before is not None:
        blocks.say("Type the whole order: it is a new entry, and the one before stays readable.")
    key, turn = state.key, state.turn
    order_fields(key, before)
    made, problem = guard.in_words(lambda: typed_order(key, before))
    if made is not None:
        blocks.status_line(f"You confirm: {made.sentence}")
    if state.clock_doubt:
        st.checkbox("I have checked date and time of this machine: they are right",
                    key=f"{key}-clock", wrap=True)

    def pressed(who: Signature) -> None:
        if state.turn != turn:
            return
        if who.problems:
            state.missing = who.problems
            return
        entry, sentence = guard.in_words(lambda: _write(state, key, before, who))
        if entry is None:
            state.missing = (sentence,)
            return
        state.turn, state.form_key = state.turn + 1, uuid.uuid4().hex
        state.missing, state.clock_doubt, state.fields = (), False, {}
        state.recorded = (f"Order of bed {entry.bed}, confirmed by {entry.initials} at "
                          f"{entry.recorded.local:%H:%M}, entry {entry.number}.")

    confirm_block(key, pressed, problems=state.missing, fixed_bed=state.bed,
                  label="Confirm the order and record")


def _write(state: OrdersState, key: str, before: Entry | None, who: Signature) -> Entry:
    if who.by is None or who.bed is None:
        raise ConfirmError("Bed code and initials are needed.")
    draft = typed_order(key, before).draft()
    try:
        return ledger.open_store().add(confirm(
            draft, by=who.by, bed=who.bed, key=f"page-{state.form_key}",
            happened_at=Moment.now(), identity=who.identity,
            clock_checked=bool(st.session_state.get(f"{key}-clock"))))
    except ClockDoubtError:
        state.clock_doubt = True
        raise
