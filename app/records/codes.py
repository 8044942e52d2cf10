"""Who confirmed and for whom: short codes of the ward's own, never names."""

from __future__ import annotations

import re
import unicodedata

from app.records.errors import ConfirmError

_INITIALS = re.compile(r"[^\W\d_](?:[^\W_]|[.\-]){0,7}")
_BED = re.compile(r"[^\W_](?:[^\W_]|[ ./\-]){0,22}[^\W_]|[^\W_]")


def _clean(text: str) -> str:
    return " ".join(unicodedata.normalize("NFC", str(text)).split())


class Initials(str):
    """Initials of the confirming person: 1 to 8 letters, digits, dots or hyphens."""

    def __new__(cls, text: str) -> Initials:
        """Raises ConfirmError when ``text`` is no set of initials."""
        clean = _clean(text)
        if not _INITIALS.fullmatch(clean):
            raise ConfirmError(
                "Type your initials: 1 to 8 letters, digits, dots or hyphens, a letter first.")
        return super().__new__(cls, clean)


class BedCode(str):
    """The ward's own code for a bed or patient: 1 to 24 letters, digits, spaces, - . /"""

    def __new__(cls, text: str) -> BedCode:
        """Raises ConfirmError when ``text`` is no such code."""
        clean = _clean(text)
        if not _BED.fullmatch(clean):
            raise ConfirmError(
                "Type the bed code of your ward: up to 24 letters, digits, spaces, hyphens, dots "
                "or slashes; no names.")
        return super().__new__(cls, clean)
