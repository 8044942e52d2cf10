"""Blocks of words: title, sentences, status line, caution box, value cards, lists.

All words go out as HTML that shows them as they are, whoever typed them
(``templates/blocks.html``, :mod:`app.ui.text`); no page hands words to a Markdown renderer.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Literal

import streamlit as st
from markupsafe import Markup

from app.ui.text import visible
from vision.drawing.templates import templates

CAUTION = (
    "A second reading, not a medical device. The local order and trained staff decide. "
    "If the photo and the chamber disagree, the chamber is right."
)


_TEMPLATES = templates("app.ui")
_TEMPLATES.finalize = lambda value: value if isinstance(value, Markup) else visible(value)


def block(name: str, *values: object) -> Markup:
    """One of the blocks as HTML."""
    made: Markup = getattr(_TEMPLATES.get_template("blocks.html").module, name)(*values)
    return made.strip()


def _show(name: str, *values: object) -> None:
    st.html(block(name, *values))


def title(text: str, lead: str = "") -> None:
    """The page's name and one sentence on what it is for."""
    _show("title", text, lead)


def step(text: str) -> None:
    """Heading of one step of the work."""
    _show("step", text)


def say(text: str) -> None:
    """A sentence."""
    _show("say", text)


def small(text: str) -> None:
    """A remark in smaller letters: where something comes from."""
    _show("small", text)


def alert(text: str) -> None:
    """What is wrong with the field above, read out at once by a screen reader."""
    _show("alert", text)


def status_line(text: str, role: Literal["status", "timer"] = "status") -> None:
    """Where the person stands, in one sentence, read out by a screen reader.

    The role "timer" keeps it from being read out each time it changes.
    """
    _show("status", text, role)


def caution_box(text: str = CAUTION) -> None:
    """The standing caution of a page."""
    _show("caution", text)


def notice(head: str, points: Iterable[str] = (), *, stop: bool = False) -> None:
    """A headed notice with points; ``stop`` draws a heavier frame for a refusal."""
    _show("notice", head, [p for p in points if p], stop)


def card(who: str, value: str, unit: str = "", notes: Sequence[str] = (), kind: str = "") -> str:
    """HTML of one value card; ``kind`` is "", "machine", "confirmed" or "difference"."""
    return block("card", who, value, unit, notes, kind)


def cards(*parts: str) -> None:
    """Value cards side by side; they stack where the screen is too narrow."""
    _show("cards", parts)


def listing(items: Iterable[tuple[str, str]], *, ordered: bool = False) -> None:
    """A list of (head, more): what each item is in strong letters, then the rest of it."""
    _show("listing", items, "ol" if ordered else "ul")


def table(head: Sequence[str], rows: Iterable[Sequence[str]], numbers: Sequence[int] = ()) -> None:
    """A plain table; the columns named in ``numbers`` are set to the right, heading too."""
    _show("table", head, rows, numbers)


def picture(source: str, title: str) -> None:
    """A picture of our own that keeps its colours; ``source`` is a data address."""
    _show("picture", source, title)


def bed_line(reasons: Sequence[str], parts: Sequence[tuple[str, str, str]],
             below: Sequence[tuple[str, str] | None], share: float | None) -> None:
    """One bed of the ward: what presses, (head, what, more) of each part, what stands ``below``
    them (all drains together, the round under way); ``share`` is how full the chamber is."""
    _show("bed_line", reasons, parts, [line for line in below if line], share)


def watch(no_alarm: str) -> None:
    """The button that asks the browser for leave to tell (:mod:`app.ui.ward.watch`)."""
    _show("watch", no_alarm)
