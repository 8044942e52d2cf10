"""What a person may type as text: one line, nothing that hides or reorders what is read."""

from __future__ import annotations

import unicodedata

from app.records.errors import ConfirmError

#: Characters in one text; the pages' fields take no more (our choice).
LONGEST_TEXT = 200

#: Control characters, halves of characters, line and paragraph separators (Unicode categories).
_REFUSED = {"Cc", "Cs", "Zl", "Zp"}
#: Marks that reorder the text around them (Unicode Standard Annex 9, "explicit formatting").
_REORDERING = {chr(c) for c in (*range(0x202A, 0x202F), *range(0x2066, 0x206A))}


def plain_text(text: str, what: str, longest: int = LONGEST_TEXT) -> str:
    """``text`` without spaces around it; ConfirmError with ``what`` as the subject."""
    text = text.strip()
    if text and not any(unicodedata.category(c)[0] in "LNPS" for c in text):
        raise ConfirmError(f"{what} holds nothing that can be read.")
    if len(text) > longest or any(
            c in _REORDERING or unicodedata.category(c) in _REFUSED for c in text):
        raise ConfirmError(f"{what} must be one line of plain text of at most {longest} "
                           f"characters; it has {len(text)} now.")
    return text
