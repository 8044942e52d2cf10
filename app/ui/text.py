"""Text as it was typed, shown as it was typed: the one way from words to a page.

The page server renders every widget's label, option and caption, and ``st.write``, as
Markdown: ``5~10 mL every 2~4 h`` loses its tildes and is struck through, ``*4711*`` its
stars, `` -- `` becomes a dash, and a link to a picture is fetched from a foreign host.
An order on record would be displayed as another order.  Escaping character by character
does not hold, because some replacements run after the escapes are gone.  So words go out
as escaped HTML (:func:`as_html`), and where only Markdown is taken (labels) as one code
span (:func:`as_label`), in which nothing is replaced; the style sheet gives such a span
the look of the words around it.
"""

from __future__ import annotations

import re
import unicodedata
from html import escape

#: Joins letters in some scripts and pictures in one; it hides and turns nothing.
_JOINERS = "\u200c\u200d"
#: Control, format, half a character, separators of lines and paragraphs, not assigned.
_UNSEEN = ("Cc", "Cf", "Cs", "Zl", "Zp")
_BACKTICKS = re.compile("`+")
#: Words in which no Markdown can hide; what is anything else goes into a code span.
_WORDS_ALONE = re.compile(
    r"(?!.*www)[^\W\d_](?:[^\W_]|[,.'%()?;]|\b-\b|:(?= )|(?<=\d):(?=\d\d\b(?!:))"
    r"|(?<=[a-z])/(?=[a-z])| (?=[^ ])|\([+\N{MINUS SIGN}]\))*",
    re.IGNORECASE)


def visible(text: object) -> str:
    """``text`` with every character that hides or turns others around it made visible.

    A right-to-left mark in a note would show the digits after it in another order, and
    half a character cannot be sent to a browser at all; both appear as ``<U+202E>``.  A tab or a
    line's end becomes a space.
    """
    words = str(text)
    return words if words.isprintable() else "".join(_seen(c) for c in words)


def _seen(c: str) -> str:
    if c.isprintable() or c in _JOINERS:
        return c
    if c in "\t\n\r":
        return " "
    return f"<U+{ord(c):04X}>" if unicodedata.category(c) in _UNSEEN else c


def as_html(text: object) -> str:
    """``text`` for the inside of an HTML element or a quoted attribute."""
    return escape(visible(text))


def as_label(text: object) -> str:
    """``text`` for a label, an option or a button: Markdown that shows it as it is.

    The choices of ``st.selectbox`` take no Markdown; they are given :func:`visible`.
    """
    plain = visible(text)
    if _WORDS_ALONE.fullmatch(plain):
        return plain
    head, *more = re.split("(?<=:)m(?=aterial/)", plain)
    # The one replacement that the page server makes in the source, code or not.
    return "&#109;".join([_code(head), *map(_code, more)])


def _code(plain: str) -> str:
    """A code span; it gives up one space at each end, since it has one at both."""
    if not plain.strip():
        return plain
    fence = "`" * (1 + max((len(run) for run in _BACKTICKS.findall(plain)), default=0))
    return f"{fence} {plain} {fence}"
