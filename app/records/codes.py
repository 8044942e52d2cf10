"""Who confirmed and for whom: short codes of the ward's own, never names.

One bed has one spelling, whatever keyboard it was typed on.  Entries made before that
rule keep the spelling they were confirmed with and are found under the one form.
"""

from __future__ import annotations

import os
import re
import unicodedata
from collections.abc import Iterable

from app.records.errors import ConfirmError

_INITIALS = re.compile(r"[^\W\d_](?:[^\W_]|[.\-]){0,7}")
_BED = re.compile(r"[^\W_](?:[^\W_]|[ ./\-]){0,22}[^\W_]|[^\W_]")


def _clean(text: str) -> str:
    return " ".join(unicodedata.normalize("NFC", str(text)).split())


def normal_bed(text: str) -> str:
    """The one form of a bed code: compatibility forms folded (Unicode Standard Annex 15,
    NFKC), upper case, every dash a hyphen, single spaces.

    Never fails; whether it is a code at all is for :class:`BedCode` to say.
    """
    if (text := str(text)).isascii():  # has one form, and its only dash is the hyphen
        return " ".join(text.upper().split())
    for _ in range(2):  # upper case may bring forth what folds again
        text = unicodedata.normalize("NFKC", text).upper()
    return " ".join("".join(map(_plain, text)).split())


def _plain(c: str) -> str:
    if unicodedata.category(c) == "Pd" or c == "\N{MINUS SIGN}":
        return "-"
    return "/" if c == "\N{FRACTION SLASH}" else c


#: Between a bed and the label of one of its drains, where a patient has two; the spaces tell
#: it from a slash inside a ward's code.
_DRAIN_MARK = " / "


def with_drain(bed: str, drain: str) -> str:
    """The code of one drain of a patient who has two; the bed's own without a label."""
    return normal_bed(f"{bed}{_DRAIN_MARK}{drain}" if drain.strip() else bed)


def bed_and_drain(code: str) -> tuple[str, str]:
    """A code's bed, and the label of its drain ("" without one)."""
    bed, _, drain = normal_bed(code).partition(_DRAIN_MARK)
    return bed, drain


def bed_words(code: str) -> str:
    """A code as people say it: with the word "drain" before the drain's label."""
    bed, drain = bed_and_drain(code)
    return f"{bed}, drain {drain}" if drain else bed


def other_drains(code: str, known: Iterable[str]) -> tuple[str, ...]:
    """Known codes of the same bed: its other drains."""
    bed = bed_and_drain(code)[0]
    return tuple(k for k in known if bed_and_drain(k)[0] == bed and k != normal_bed(code))


#: Greek and Cyrillic capitals that are printed like Latin ones (some of the confusable characters
#: of Unicode Technical Standard 39, from memory): a keyboard set to another language.
_OTHER_ALPHABETS = str.maketrans("ΑΒΕΖΗΙΚΜΝΟΡΤΥΧ" "АВЕКМНОРСТУХЅІЈԚԜ",
                                 "ABEZHIKMNOPTYX" "ABEKMHOPCTYXSIJQW")
#: Letters taken for digits, in print and in handwriting (common practice, no source).
_LOOKS_LIKE = str.maketrans("OQILSZBGЗ", "001152863", " ./-")
#: In shorter codes any two are a slip apart (our choice).
_SHORTEST_FOR_SLIP = 3


def similar_beds(code: str, known: Iterable[str]) -> tuple[str, ...]:
    """Known beds that ``code`` may have been meant for, none when it is one of them.

    Similar: the same once letters that look like Latin ones or like digits are read as
    those, digits of any script as ours, and hyphens, dots, slashes and spaces are left out,
    or one slip apart (a character more, less, another one, or two neighbours exchanged).
    Another drain of a known bed is no slip.
    """
    code, known = normal_bed(code), tuple(map(normal_bed, known))
    if code in known:
        return ()
    if bed_and_drain(code)[1] and other_drains(code, known):
        known = other_drains(code, known)
        return tuple(k for k in known if len(bed_and_drain(k)[1]) >= _SHORTEST_FOR_SLIP
                     and _one_slip(k, code))
    return tuple(k for k in known if _looks(k) == _looks(code)
                 or min(len(k), len(code)) >= _SHORTEST_FOR_SLIP and _one_slip(k, code))


def other_letters(code: str, known: Iterable[str]) -> tuple[str, ...]:
    """Letters and digits of a code that are not Latin and in none of the ``known`` ones: what
    makes it another code may not be seen."""
    usual = set("".join(known))
    return tuple(dict.fromkeys(c for c in code if c.isalnum() and c not in usual
                               and not c.isascii() and "LATIN" not in unicodedata.name(c, "")))


def _looks(code: str) -> str:
    digits = (str(unicodedata.decimal(c, c)) for c in code)
    return "".join(digits).translate(_OTHER_ALPHABETS).translate(_LOOKS_LIKE)


def _one_slip(a: str, b: str) -> bool:
    same = len(os.path.commonprefix((a, b)))
    a, b = a[same:], b[same:]
    same = len(os.path.commonprefix((a[::-1], b[::-1])))
    a, b = a[:len(a) - same], b[:len(b) - same]
    return max(len(a), len(b)) <= 1 or (len(a) == 2 and a == b[::-1])


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
    """The ward's own code for a bed or patient: 1 to 24 letters, digits, spaces, - . /

    Always in the one form of :func:`normal_bed`.
    """

    def __new__(cls, text: str) -> BedCode:
        """Raises ConfirmError when ``text`` is no such code."""
        clean = normal_bed(text)
        if not _BED.fullmatch(clean):
            raise ConfirmError(
                "Type the bed code of your ward: up to 24 letters, digits, spaces, hyphens, dots "
                "or slashes; no names.")
        return super().__new__(cls, clean)
