"""Text for the printed sheet: a font that comes with the PDF library, nothing unprintable."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from xml.sax.saxutils import escape

REGULAR, BOLD = "SheetRegular", "SheetBold"


@cache
def use_fonts() -> frozenset[int]:
    """Register the fonts; returns the code points that they can print."""
    import reportlab
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    folder = Path(reportlab.__file__).parent / "fonts"
    regular = TTFont(REGULAR, str(folder / "Vera.ttf"))
    pdfmetrics.registerFont(regular)
    pdfmetrics.registerFont(TTFont(BOLD, str(folder / "VeraBd.ttf")))
    pdfmetrics.registerFontFamily(REGULAR, normal=REGULAR, bold=BOLD, italic=REGULAR,
                                  boldItalic=BOLD)
    return frozenset(regular.face.charToGlyph)


#: Shown for the rest of a text that is too long for its place.
MORE = " [... longer; all of it is in the record]"


def printable(text: str, longest: int | None = None) -> str:
    """Markup-safe text; a character that the font lacks is shown as its code, not dropped.

    With ``longest`` it becomes one paragraph, and what is longer than so many printed
    characters is cut there and marked with ``MORE``.
    """
    known = use_fonts()
    if longest is not None:
        text = " ".join(text.split())
    shown = "".join(c if ord(c) in known or c == "\n" else f"[U+{ord(c):04X}]" for c in text)
    if longest is not None and len(shown) > longest:
        shown = shown[:longest] + MORE
    return escape(shown).replace("\n", "<br/>")
