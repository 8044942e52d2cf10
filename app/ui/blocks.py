"""Blocks of words: title, sentences, status line, caution box, value cards, lists.

All words go out as HTML that shows them as they are, whoever typed them
(:mod:`app.ui.text`); no page hands words to a Markdown renderer.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Literal

import streamlit as st

from app.ui.text import as_html

CAUTION = (
    "A second reading, not a medical device. The local order and trained staff decide. "
    "If the photo and the chamber disagree, the chamber is right."
)


def title(text: str, lead: str = "") -> None:
    """The page's name and one sentence on what it is for."""
    more = f'<p class="cs-lead">{as_html(lead)}</p>' if lead else ""
    st.html(f'<h1 class="cs-title">{as_html(text)}</h1>{more}')


def step(text: str) -> None:
    """Heading of one step of the work."""
    st.html(f'<h2 class="cs-step">{as_html(text)}</h2>')


def say(text: str) -> None:
    """A sentence."""
    st.html(f'<p class="cs-say">{as_html(text)}</p>')


def small(text: str) -> None:
    """A remark in smaller letters: where something comes from."""
    st.html(f'<p class="cs-say cs-small">{as_html(text)}</p>')


def alert(text: str) -> None:
    """What is wrong with the field above, read out at once by a screen reader."""
    st.html(f'<p class="cs-box cs-stop" role="alert">{as_html(text)}</p>')


def status_line(text: str, role: Literal["status", "timer"] = "status") -> None:
    """Where the person stands, in one sentence, read out by a screen reader.

    The role "timer" keeps it from being read out each time it changes.
    """
    st.html(f'<p class="cs-status" role="{role}">{as_html(text)}</p>')


def caution_box(text: str = CAUTION) -> None:
    """The standing caution of a page."""
    st.html(f'<div class="cs-box cs-caution"><p>Caution: {as_html(text)}</p></div>')


def notice(head: str, points: Iterable[str] = (), *, stop: bool = False) -> None:
    """A headed notice with points; ``stop`` draws a heavier frame for a refusal."""
    items = "".join(f"<li>{as_html(p)}</li>" for p in points if p)
    listed = f"<ul>{items}</ul>" if items else ""
    kind = "cs-box cs-stop" if stop else "cs-box"
    st.html(f'<div class="{kind}"><p class="cs-head">{as_html(head)}</p>{listed}</div>')


def card(who: str, value: str, unit: str = "", notes: Sequence[str] = (), kind: str = "") -> str:
    """HTML of one value card; ``kind`` is "", "machine", "confirmed" or "difference"."""
    small = f" <small>{as_html(unit)}</small>" if unit else ""
    lines = "".join(f'<p class="cs-note">{as_html(n)}</p>' for n in notes if n)
    extra = f" cs-{kind}" if kind else ""
    return (
        f'<div class="cs-card{extra}"><p class="cs-who">{as_html(who)}</p>'
        f'<p class="cs-value">{as_html(value)}{small}</p>{lines}</div>'
    )


def cards(*parts: str) -> None:
    """Value cards side by side; they stack where the screen is too narrow."""
    st.html(f'<div class="cs-pair">{"".join(parts)}</div>')


def listing(items: Iterable[tuple[str, str]], *, ordered: bool = False) -> None:
    """A list of (head, more): what each item is in strong letters, then the rest of it."""
    lines = "".join(f"<li>{_item(head, more)}</li>" for head, more in items)
    tag = "ol" if ordered else "ul"
    st.html(f'<{tag} class="cs-list">{lines}</{tag}>')


def _item(head: str, more: str) -> str:
    strong = f"<b>{as_html(head)}</b>" if head else ""
    return strong + ("<br>" if head and more else "") + as_html(more)


def table(head: Sequence[str], rows: Iterable[Sequence[str]], numbers: Sequence[int] = ()) -> None:
    """A plain table; the columns named in ``numbers`` are set to the right, heading too."""
    def kind(column: int) -> str:
        return " class=cs-number" if column in numbers else ""

    top = "".join(f'<th scope="col"{kind(i)}>{as_html(h)}</th>' for i, h in enumerate(head))
    body = "".join(
        "<tr>" + "".join(
            f'<td{kind(i)}>{as_html(cell)}</td>' for i, cell in enumerate(row)
        ) + "</tr>"
        for row in rows
    )
    st.html(f'<table class="cs-table"><thead><tr>{top}</tr></thead><tbody>{body}</tbody></table>')
