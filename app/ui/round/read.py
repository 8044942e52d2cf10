"""Step 5: the chamber, read first by the person and then by the tool.

The pieces are those of the page "Chamber"; the bed is the round's.
"""

from __future__ import annotations

from functools import partial

import streamlit as st

from app.ui import blocks
from app.ui.chamber import result, several, steps
from app.ui.chamber.confirm import confirm_step
from app.ui.demo import DEMO_BED
from app.ui.photo_picker import pick_photo
from app.ui.round.eye import by_eye
from app.ui.round.state import RoundState
from app.ui.round.view import View


def read_step(state: RoundState, view: View) -> None:
    """Draw the step."""
    chamber = state.chamber
    if chamber.photo is None:
        if chamber.photo_problem:
            blocks.notice("This photo cannot be used", [chamber.photo_problem], stop=True)
        blocks.say("Hold the phone at the height of the liquid, straight in front, "
                   "with the whole scale in the picture.")
        demo = (lambda d: steps.take_demo(chamber, d)) if view.bed == DEMO_BED else None
        pick_photo(f"round-{chamber.generation}", partial(steps.take_photo, chamber),
                   chamber.refuse_photo, demo)
        with st.expander("Without a photo: your eye alone", key=f"round-box-eye-{state.turn}"):
            by_eye(state, view)
        return
    steps.photo_step(chamber)
    if not chamber.may_read:
        steps.plain_picture(chamber)
        steps.scale_step(chamber)
        steps.own_step(chamber)
        steps.let_go(chamber)
        return
    result.ask_the_tool(chamber)
    result.value_cards(chamber)
    result.refusal(chamber)
    several.strip(chamber)
    several.one_more(chamber, first=True)
    result.question(chamber)
    result.pictures(chamber)
    several.one_more(chamber, first=False)
    result.explanation(chamber)
    steps.other_scale(chamber)
    st.session_state.setdefault(f"by-{chamber.key}", state.initials)
    confirm_step(chamber, bed=view.bed)
    steps.let_go(chamber)
