"""How things stand: what is stale or overdue, questions, the ward's own limits, sums."""

from __future__ import annotations

import streamlit as st

from app.exports.account_text import window
from app.exports.entry_words import clamp_text, level_text, order_text, told_text
from app.records import Moment
from app.records.codes import bed_words
from app.records.shift import clamped, last_look, told
from app.setting_state import setting_state
from app.ui import blocks
from app.ui.chamber_view import show_chamber
from app.ui.output_card import result_card
from app.ui.recent import age
from app.ui.shift.look import Look
from app.ui.shift.write import now_here
from vision.output import Finding, WindowTotal, content_now, is_open
from vision.output.limits import Limits
from vision.output.model import hm

#: The clock of a clamp is drawn anew so often (our choice).
_CLOCK_S = 30
#: The heading of a finding, by the limit it is about.
_HEADS = {"reading_due_minutes": "The reading is overdue",
          "chamber_full_ml": "The chamber"}


def standing_block(look: Look) -> None:
    """Draw the block: what needs a person first."""
    _needs_attention(look)
    if look.others:
        blocks.notice("This patient has another drain", [
            f"{', '.join(map(bed_words, look.others))}: its output is not in the sums below.",
            "" if look.joint is None else f"{look.joint.head}: {look.joint.words(look.now)}"])
    blocks.cards(*_cards(look))
    if look.bed.account.readings:
        show_chamber(look.bed, look.now)
    _order(look)


def _needs_attention(look: Look) -> None:
    if look.level.stale:
        blocks.notice("The level check is stale" if look.level.last else "No level check",
                      [look.level.sentence], stop=True)
    elif look.level.hangs:
        blocks.notice("The drain does not hang level", [look.level.sentence], stop=True)
    _setting(look)
    _clamped(look)
    answered = {f: e for f in look.found if f.verdict == "over"
                and (e := told(f, look.bed.standings)) is not None}
    over = [f for f in look.found if f.verdict == "over" and f not in answered]
    for heading in dict.fromkeys(_head(f) for f in over):
        blocks.notice(heading, [f.sentence for f in over if _head(f) == heading], stop=True)
    questions = look.bed.account.questions
    if questions:
        blocks.notice("To be answered (not counted until then, unless said)",
                      [q.sentence for q in questions], stop=True)
    if answered:
        blocks.notice("Over your own limit, and told", [
            f"{f.sentence.split(' Tell whom')[0]} {told_text(e, look.now)}"
            for f, e in answered.items()])
    rest = [f for f in look.found if f.verdict != "over"]
    if rest:
        blocks.notice("Close to your own limit, or on the way to it", [f.sentence for f in rest])


def _setting(look: Look) -> None:
    """The panel against the order, as the last check on record found it."""
    state = setting_state(look.bed, look.now)
    if state.reason:
        blocks.notice(state.reason.capitalize(), list(filter(None, (
            state.sentence, state.compared))), stop=state.doubt == "off")


@st.fragment(run_every=_CLOCK_S)
def _clamped(look: Look) -> None:
    """The running clock of a drain that is closed for transport."""
    entry = clamped(look.bed.standings)
    if entry is not None:
        blocks.status_line(f"{clamp_text(entry, now_here())} Open it again as the local order "
                           "says, and enter it.", "timer")


def _head(found: Finding) -> str:
    return _HEADS.get(found.limit, "Over your own limit")


def _cards(look: Look) -> list[str]:
    account, now = look.bed.account, Moment.of(look.now)
    cards = []
    if account.readings:
        last = account.readings[-1]
        cards.append(blocks.card("Last reading", f"{last.value_ml}", "mL",
                                 [f"{hm(last.at, look.now)}, {age(Moment.of(last.at), now)}"]))
    else:
        cards.append(blocks.card("Last reading", "none", "", ["in the time shown"]))
    if account.intervals:
        cards.append(result_card(account, look.now))
    if look.six_hours is not None:
        cards.append(_total("Six hours", look.six_hours, look))
    if look.shift is not None and look.shift.covered_hours > 0:
        cards.append(_total("This shift", look.shift, look))
    content = content_now(account)
    if content is not None:
        cards.append(blocks.card("In the chamber", f"{content[1]}", "mL",
                                 [f"known at {hm(content[0], look.now)}", _drain(look)]))
    seen = last_look(look.bed.standings)
    if seen is not None:
        cards.append(blocks.card("Fluid", str(seen.payload["look"]), "", [
            f"seen {hm(seen.happened.local, look.now)} by {seen.initials}"]))
    level = look.level.last
    if level is not None and not look.level.stale:
        cards.append(blocks.card("Level check", f"{level.happened.local:%H:%M}", "", [
            level_text(level), f"{age(level.happened, now)}, by {level.initials}"]))
    return cards


def _total(name: str, w: WindowTotal, look: Look) -> str:
    return blocks.card(name, w.said_ml, "mL", [
        f"{hm(w.start, look.now)} to {hm(w.end, look.now)}", window(w)])


def _drain(look: Look) -> str:
    state = is_open(look.bed.account.events, look.now)
    return {True: "drain open, as confirmed", False: "drain closed, as confirmed",
            None: "drain: open or closed is not on record"}[state]


def _order(look: Look) -> None:
    order = look.bed.order
    blocks.say("Order on record: " + (order_text(order) if order else "none."))
    if look.bed.limits == Limits():
        blocks.say("No limits of your ward are on record for this bed, so none is checked.")
