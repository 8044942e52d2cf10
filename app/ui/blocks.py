"""Blocks of words: title, status line, caution box, value cards, lists.

Everything that comes from a person or a file is escaped here, once.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

import streamlit as st

CAUTION = (
    "A second reading, not a medical device. The local order and trained staff decide. "
    "If the photo and the chamber disagree, the chamber is right."
)


def title(text: str, lead: str = "") -> None:
    """The page's name and one sentence on what it is for."""
    more = f'<p class="cs-lead">{escape(lead)}</p>' if lead else ""
    st.html(f'<h1 class="cs-title">{escape(text)}</h1>{more}')


def step(text: str) -> None:
    """Heading of one step of the work."""
    st.html(f'<h2 class="cs-step">{escape(text)}</h2>')


def status_line(text: str) -> None:
    """Where the person stands, in one sentence, read out by a screen reader."""
    st.html(f'<p class="cs-status" role="status">{escape(text)}</p>')


def caution_box(text: str = CAUTION) -> None:
    """The standing caution of a page."""
    st.html(f'<div class="cs-box cs-caution"><p>Caution: {escape(text)}</p></div>')


def notice(head: str, points: Iterable[str] = (), *, stop: bool = False) -> None:
    """A headed notice with points; ``stop`` draws a heavier frame for a refusal."""
    items = "".join(f"<li>{escape(p)}</li>" for p in points if p)
    listed = f"<ul>{items}</ul>" if items else ""
    kind = "cs-box cs-stop" if stop else "cs-box"
    st.html(f'<div class="{kind}"><p class="cs-head">{escape(head)}</p>{listed}</div>')


def card(who: str, value: str, unit: str = "", notes: Sequence[str] = (), kind: str = "") -> str:
    """HTML of one value card; ``kind`` is "", "machine", "confirmed" or "difference"."""
    small = f" <small>{escape(unit)}</small>" if unit else ""
    lines = "".join(f'<p class="cs-note">{escape(n)}</p>' for n in notes if n)
    extra = f" cs-{kind}" if kind else ""
    return (
        f'<div class="cs-card{extra}"><p class="cs-who">{escape(who)}</p>'
        f'<p class="cs-value">{escape(value)}{small}</p>{lines}</div>'
    )


def cards(*parts: str) -> None:
    """Value cards side by side; they stack where the screen is too narrow."""
    st.html(f'<div class="cs-pair">{"".join(parts)}</div>')


def table(head: Sequence[str], rows: Iterable[Sequence[str]], numbers: Sequence[int] = ()) -> None:
    """A plain table; the columns named in ``numbers`` are set to the right, heading too."""
    def kind(column: int) -> str:
        return " class=cs-number" if column in numbers else ""

    top = "".join(f'<th scope="col"{kind(i)}>{escape(h)}</th>' for i, h in enumerate(head))
    body = "".join(
        "<tr>" + "".join(
            f'<td{kind(i)}>{escape(cell)}</td>' for i, cell in enumerate(row)
        ) + "</tr>"
        for row in rows
    )
    st.html(f'<table class="cs-table"><thead><tr>{top}</tr></thead><tbody>{body}</tbody></table>')
