"""Text in a table that no spreadsheet takes for a formula, and back again without loss.

A spreadsheet of a country that writes decimals with a comma splits a table at
semicolons, inside quotes too, so a formula can begin in the middle of a text.  The
characters: OWASP, "CSV Injection" (community page, from memory); besides them those
that compatibility turns into one of them (Unicode Standard Annex 15, NFKC), as
spreadsheets of countries with full-width writing do.
"""

from __future__ import annotations

import re

#: = + - @ and their full-width, small, superscript and subscript forms.
_BEGINS = ("=+@\\-\uff1d\uff0b\uff0d\uff20\ufe66\ufe62\ufe63\ufe6b"
           "\u207a\u207b\u207c\u208a\u208b\u208c")
#: Where a cell may begin: first, or behind what some spreadsheet splits at; a quotation mark
#: there stands twice in the table, which is an empty text before what follows.
_START = "(?:^|[;|\\t\\r\\n])[ \"\u00a0\u3000]*"
_FORMULA = re.compile(f"({_START})(?=[{_BEGINS}'\\t\\r])")
_MARKED = re.compile(f"({_START})'")


def neutral(text: str) -> str:
    """The text with an apostrophe wherever a formula, or an apostrophe, would begin a cell."""
    return _FORMULA.sub(r"\1'", text)


def as_typed(text: str) -> str:
    """What :func:`neutral` was given."""
    return _MARKED.sub(r"\1", text)
