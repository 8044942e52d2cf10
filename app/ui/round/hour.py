"""The hour on one page: before the photo, own reading, both readings, what it comes to."""

from __future__ import annotations

from functools import partial

import streamlit as st

from app.exports.entry_words import what
from app.records import Entry
from app.ui import blocks, doubtful, missing, theme
from app.ui.bed import bed_help
from app.ui.chamber import result, several, steps
from app.ui.chamber.confirm import keep_field, second_look_field
from app.ui.chamber.statements import statements_field
from app.ui.chamber.steps import typed_value
from app.ui.chamber.value import value_fields
from app.ui.demo import DEMO_BED
from app.ui.photo_picker import pick_photo
from app.ui.round import overview
from app.ui.round.chip import chip
from app.ui.round.drain import drain_row
from app.ui.round.emptied import emptied_row
from app.ui.round.fluid import fluid_row
from app.ui.round.level import level_row
from app.ui.round.output import output_block
from app.ui.round.put import no_reading, put_on_record
from app.ui.round.setting import setting_row
from app.ui.round.state import RoundState
from app.ui.round.view import View
from app.ui.round.way import begin_again, go, then
from app.ui.scale_picker import scale_of_bed
from app.ui.text import as_label


def photo_view(state: RoundState, view: View) -> None:
    """What is due, what still holds, and the one big button."""
    overview.due_clock(view)
    bed_help("before", view.bed, partial(st.query_params.__setitem__, "bed"), offer=False)
    level_row(state, view)
    setting_row(state, view)
    drain_row(state, view)
    fluid_row(state, view)
    chamber = state.chamber
    if chamber.photo is not None:
        steps.plain_picture(chamber)
        st.button("Go on with this photo", key=f"on-{state.key}-{chamber.key}", type="primary",
                  on_click=go, args=(state, state.furthest), width="stretch")
        steps.let_go(chamber, partial(begin_again, state))
        return
    if chamber.photo_problem:
        blocks.notice("This photo cannot be used", [chamber.photo_problem], stop=True)
    demo = then(state, partial(steps.take_demo, chamber)) if view.bed == DEMO_BED else None
    take = then(state, partial(_take, state, view))
    pick_photo(f"round-{state.key}-{chamber.generation}", take, chamber.refuse_photo, demo,
               camera=steps.chamber_camera(chamber, take))
    st.button("Without a photo: your eye alone", key=f"eye-{state.key}", width="stretch",
              on_click=then(state, partial(_by_eye, state, view)))
    with st.expander("No reading in this hour", key=f"no-reading-{state.key}"):
        _no_reading(state)
    with st.expander("Last known, and the order"):
        overview.last_known(view)
        overview.order_lines(view)


def own_view(state: RoundState, view: View) -> None:
    """You first: the scale of the bed, and what your eye reads."""
    chamber = state.chamber
    steps.used_before(chamber)
    if not state.eye:
        with st.container(key="hour-photo"):
            steps.plain_picture(chamber)
    if chamber.scale is None:
        last = view.last_reading
        if last is not None and scale_of_bed(view.bed, last.scale) is None:
            blocks.say(f"This bed was last read with the ward's own scale '{last.scale}', whose "
                       "file is not kept here: give it again, or choose what is printed on this "
                       "chamber.")
        steps.scale_step(chamber)
    elif not chamber.committed:
        last = view.last_reading
        known = last is not None and last.scale == chamber.scale.name
        head = "Scale of this bed" if known else "Scale chosen"
        with st.expander(as_label(f"{head}: {chamber.scale.name}; choose another"),
                         key=f"scale-of-{state.key}"):
            steps.scale_step(chamber)
    if chamber.committed:
        blocks.say(f"You read {chamber.own}." if state.eye else
                   f"You read {chamber.own} before the tool spoke. It stands." if chamber.own else
                   "You went on without a reading of your own.")
        st.button("Go on to both readings", key=f"on-{state.key}-{chamber.key}", type="primary",
                  on_click=go, args=(state, state.furthest), width="stretch")
    else:
        steps.own_step(chamber, then(state, state.commit_eye if state.eye else chamber.commit_own),
                       None if state.eye else then(state, chamber.skip_own))
    if state.eye:
        st.button("Take a photo after all", key=f"no-eye-{state.key}", width="stretch",
                  on_click=begin_again, args=(state,))
    else:
        steps.let_go(chamber, partial(begin_again, state))


def both_view(state: RoundState, view: View) -> None:
    """Both readings, the choice, the four statements, the emptying, and one last press."""
    chamber = state.chamber
    if state.eye:
        blocks.status_line(f"Your eye alone: {chamber.own} mL.")
    else:
        result.ask_the_tool(chamber)
        result.value_cards(chamber, compact=True)
        result.refusal(chamber)
        several.strip(chamber)
        several.one_more(chamber, first=True)
        result.question(chamber)
        result.close_up(chamber)
        second_look_field(chamber)
    with st.container(key="hour-choice", gap="xsmall"):
        value_fields(chamber)
        statements_field(chamber.key)
        emptied_row(state, view, typed_value(chamber.value.text, chamber).value)
        doubtful.answer_field(state.key)
        if state.clock_doubt:
            st.checkbox("I have checked date and time of this machine: they are right",
                        key=f"clock-{state.key}", wrap=True)
        with theme.enter_presses(f"put-{state.key}", "xsmall"):
            who = chip(state)
            missing.last_press(state.missing, f"put-{state.key}")
            if state.missing:
                st.button("Back to level, setting and drain", key=f"back-{state.key}",
                          on_click=go, args=(state, "photo"), width="stretch")
            st.button(as_label(f"Put on record as {who}" if who else "Put on record"),
                      key=f"put-{state.key}", type="primary", width="stretch",
                      on_click=put_on_record, args=(state, state.key))
    if not state.eye:
        with st.expander("More: what the tool saw, another scale, another photo",
                         key=f"more-{state.key}-{chamber.answers}"):
            keep_field(chamber)
            several.one_more(chamber, first=False, folded=False)
            result.pictures(chamber)
            result.explanation(chamber)
            steps.scale_step(chamber)
            steps.let_go(chamber, partial(begin_again, state))


def done_view(state: RoundState, view: View) -> None:
    """What went on record, and this hour against the order, in the order's words."""
    blocks.status_line("On record: " + "; ".join(_entry(e) for e in state.done) + ".")
    output_block(view)
    overview.due_clock(view)
    st.button("Another reading at this bed", key=f"again-{state.key}", width="stretch",
              on_click=go, args=(state, "photo"))


def _entry(entry: Entry) -> str:
    return f"{what(entry)} (entry {entry.number})"


def _take(state: RoundState, view: View, photo, source) -> None:  # type: ignore[no-untyped-def]
    steps.take_photo(state.chamber, photo, source)
    _last_scale(state, view)


def _by_eye(state: RoundState, view: View) -> None:
    state.begin_eye()
    _last_scale(state, view)


def _last_scale(state: RoundState, view: View) -> None:
    """The scale of the bed's last reading; another one can be chosen."""
    if state.chamber.scale is None and view.last_reading is not None:
        state.chamber.choose_scale(scale_of_bed(view.bed, view.last_reading.scale))


def _no_reading(state: RoundState) -> None:
    why = f"why-read-{state.key}"
    blocks.say("What is left out stands on the record as skipped, with your reason.")
    st.text_input("Why there is no reading", key=why, max_chars=200, autocomplete="off")
    with theme.enter_presses(f"put-none-{state.key}"):
        who = chip(state)
        missing.last_press(state.missing, f"put-none-{state.key}")
        st.button(as_label(f"No reading: put on record as {who}" if who else
                           "No reading: put it on record"), key=f"put-none-{state.key}",
                  type="primary", width="stretch", on_click=no_reading,
                  args=(state, state.key, why))
