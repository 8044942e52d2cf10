"""The few pieces of HTML that the report is made of; all text is escaped."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from importlib.resources import files

from vision.accuracy.figures import Rate
from vision.accuracy.statistics import Interval

DASH = "\N{EN DASH}"


class Raw(str):
    """Text that is HTML already."""


def cell(value: object) -> str:
    """Text of a table cell, escaped unless it is ``Raw``; a dash for None."""
    if value is None:
        return DASH
    return value if isinstance(value, Raw) else escape(str(value))


def table(head: Sequence[str], rows: Iterable[Sequence[object]], style: str = "") -> Raw:
    """A table that scrolls sideways on a narrow screen."""
    top = "".join(f"<th>{escape(h)}</th>" for h in head)
    body = "".join("<tr>" + "".join(f"<td>{cell(c)}</td>" for c in row) + "</tr>" for row in rows)
    return Raw(f'<div class="scroll" tabindex="0"><table class="{style}">'
               f"<thead><tr>{top}</tr></thead><tbody>{body}</tbody></table></div>")


def number(value: float | None, form: str = ".3f") -> str:
    """A number, or a dash."""
    return DASH if value is None else format(value, form)


def between(ci: Interval | None, form: str = ".3f") -> str:
    """An interval as "low to high", or a dash."""
    return DASH if ci is None else f"{ci.low:{form}} to {ci.high:{form}}"


def share(rate: Rate) -> str:
    """A proportion with its count and exact interval, or a dash for an empty one."""
    if rate.rate is None or rate.ci is None:
        return DASH
    return (f"{100 * rate.rate:.1f} % ({rate.count} of {rate.n}; "
            f"{100 * rate.ci.low:.1f} to {100 * rate.ci.high:.1f})")


def page(title: str, body: str) -> str:
    """A whole page with its styles inside; nothing is fetched from anywhere."""
    css = (files("vision.accuracy") / "report.css").read_text(encoding="utf-8")
    return ('<!doctype html><html lang="en"><head><meta charset="utf-8">'
            '<meta name="viewport" content="width=device-width, initial-scale=1">'
            f"<title>{escape(title)}</title><style>{css}</style></head>"
            f"<body>{body}</body></html>\n")
