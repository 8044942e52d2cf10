"""The confirming act: initials, the ward's own bed code, one button."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import streamlit as st

from app.records import BedCode, Initials, RecordError
from app.records.codes import normal_bed
from app.ui import blocks, missing, signed_in, theme
from app.ui.bed import bed_doubt, bed_help
from app.ui.text import as_label


@dataclass(frozen=True)
class Signature:
    """Who confirms and for which bed; None beside a sentence in ``problems``.

    ``identity`` is who is signed in, where sign-in is on: hand it to ``confirm``.
    """

    by: Initials | None
    bed: BedCode | None
    problems: tuple[str, ...]
    identity: str | None = None


def signature(initials: str, bed: str) -> Signature:
    """Check what was typed; every problem is named at once."""
    problems: list[str] = []
    code: BedCode | None = None
    by: Initials | None = None
    try:
        code = BedCode(bed)
        problems += filter(None, [bed_doubt(code)])
    except RecordError as problem:
        problems.append(str(problem))
    try:
        by = Initials(initials)
    except RecordError as problem:
        problems.append(str(problem))
    return Signature(by, code, tuple(problems), signed_in.identity())


def confirm_block(
    key: str,
    on_confirm: Callable[[Signature], None],
    *,
    problems: Sequence[str] = (),
    label: str = "Confirm and record",
    fixed_bed: str = "",
    typed_bed: str = "",
) -> str:
    """Draw the fields and the button; returns the bed code typed so far.

    ``on_confirm`` runs in the button's own callback, so that the act is done
    before anything is drawn again.  ``key`` has to name the very thing that is
    confirmed.  The button is never greyed out: pressed too early it says what is
    missing (``problems``, kept by the page: a list of each press's own), and nothing is recorded.
    """
    bed_key, by_key = f"bed-{key}", f"by-{key}"
    if fixed_bed:
        blocks.say(f"Bed code: {fixed_bed}")
    else:
        begun = st.session_state.get(bed_key, typed_bed)
        typed = st.text_input(
            "Bed code of your ward (no names)", value=typed_bed if begun == typed_bed else "",
            key=bed_key, max_chars=24, autocomplete="off", placeholder="for example QUAY-3")
        bed_help(key, typed or "", partial(st.session_state.__setitem__, bed_key))

    def pressed() -> None:
        bed = fixed_bed or st.session_state.get(bed_key) or ""
        on_confirm(signature(st.session_state.get(by_key) or "", bed))

    with theme.enter_presses(f"confirm-{key}"):
        st.text_input("Your initials", key=by_key, max_chars=8, autocomplete="off")
        missing.last_press(problems, f"confirm-{key}")
        st.button(as_label(label), key=f"confirm-{key}", type="primary", on_click=pressed,
                  width="stretch")
    return normal_bed(fixed_bed or st.session_state.get(bed_key) or "")
