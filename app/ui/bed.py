"""The bed that is meant: the known ones offered, a code like a known one asked about."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from app.records.codes import BedCode, bed_words, other_letters, similar_beds
from app.ui import blocks, guard, ledger
from app.ui.demo import DEMO_BED
from app.ui.text import as_label, visible

#: More beds than this are offered in a list and not as buttons.
_BUTTONS = 8


def bed_of_address() -> str:
    """The bed that the address of the page names, so that a reload finds it; "" where it names
    none, or no bed code."""
    given = st.query_params.get("bed", "")
    code, _ = guard.in_words(lambda: BedCode(given)) if given else (None, "")
    return code or ""


def bed_to_address(bed: str) -> None:
    """Let the address name the bed that was typed; what is no bed code never stands there."""
    code, _ = guard.in_words(lambda: BedCode(bed)) if bed else (None, "")
    if code and st.query_params.get("bed") != code:
        st.query_params["bed"] = code
    elif not code and "bed" in st.query_params:
        del st.query_params["bed"]


def bed_help(key: str, typed: str, take: Callable[[str], None], *, offer: bool = True) -> None:
    """Below a field for a bed: the known ones to press (unless ``offer`` is False), or the
    question about a code like a known one.

    ``take`` puts a bed in the place of what was ``typed``; it runs in a button's callback.
    """
    known, problem = guard.in_words(lambda: ledger.open_store().beds())
    if known is None:
        blocks.notice("The record cannot be read", [problem], stop=True)
        return
    code, _ = guard.in_words(lambda: BedCode(typed))  # what is no code is told at the press
    similar = similar_beds(code, known) if code and code != DEMO_BED else ()
    if code and similar:
        _question(key, code, similar, take)
    elif offer and code not in known:
        _offer(key, known, take)


def bed_doubt(code: str) -> str:
    """Why an entry for this bed must wait, in a sentence; "" when nothing speaks against it.

    Raises a RecordError where the record cannot be read.
    """
    if code == DEMO_BED or st.session_state.get(_other(code)):
        return ""
    similar = similar_beds(code, ledger.open_store().beds())
    return "" if not similar else (
        f"Bed {code} is not on record, and it looks like {_one_of(similar)}. Say which one is "
        "meant, below the bed code.")


def _question(key: str, code: str, similar: tuple[str, ...], take: Callable[[str], None]) -> None:
    other = ", ".join(f"{c} (U+{ord(c):04X})" for c in other_letters(code, similar))
    blocks.notice(f"Did you mean {_one_of(similar)}?", [
        f"Nothing is on record for bed {code}" + (
            f", typed with letters of another alphabet: {other}." if other else ".")], stop=True)
    with st.container(horizontal=True, key=f"beds-meant-{key}"):
        for bed in similar[:_BUTTONS]:
            st.button(as_label(f"Bed {bed_words(bed)}"), key=f"bed-meant-{key}-{bed}",
                      on_click=take, args=(bed,), width="stretch")
    st.checkbox(as_label(f"No: {code} is another bed"), key=_other(code), wrap=True)


def _offer(key: str, known: tuple[str, ...], take: Callable[[str], None]) -> None:
    if len(known) > _BUTTONS:
        chosen = f"bed-known-{key}"

        def changed() -> None:
            if st.session_state[chosen]:
                take(st.session_state[chosen])

        st.selectbox("Or a bed on record", known, index=None, key=chosen, on_change=changed,
                     placeholder="Choose a bed", format_func=visible)
        return
    with st.container(horizontal=True, key=f"beds-known-{key}"):
        for bed in known:
            st.button(as_label(f"Bed {bed_words(bed)}"), key=f"bed-known-{key}-{bed}",
                      on_click=take, args=(bed,), width="stretch")


def _one_of(beds: tuple[str, ...]) -> str:
    return " or ".join(filter(None, (", ".join(beds[:-1]), beds[-1])))


def _other(code: str) -> str:
    return f"bed-other-{code}"
