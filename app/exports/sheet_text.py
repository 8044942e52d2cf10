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


def printable(text: str) -> str:
    """Markup-safe text; a character that the font lacks is shown as its code, not dropped."""
    known = use_fonts()
    return escape("".join(c if ord(c) in known or c == "\n" else f"[U+{ord(c):04X}]"
                          for c in text)).replace("\n", "<br/>")
