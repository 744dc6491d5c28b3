"""The fonts of every document: DejaVu Sans 2.37, kept here so that the same record gives the same bytes everywhere.

LICENCE-DejaVu.txt is theirs. sRGB.icc is the colour profile that PDF/A asks for (Graeme Gill's, no copyright).
"""

from functools import cache
from pathlib import Path

from reportlab import rl_config
from reportlab.graphics import shapes
from reportlab.lib.fonts import addMapping
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

FOLDER = Path(__file__).resolve().parent
PLAIN, BOLD = "DejaVu", "DejaVu-Bold"


@cache
def register() -> None:
    """Make the two fonts known, and the default of everything that would else name one that is not embedded."""
    for name, file in ((PLAIN, "DejaVuSans.ttf"), (BOLD, "DejaVuSans-Bold.ttf")):
        pdfmetrics.registerFont(TTFont(name, FOLDER / file))
        addMapping(PLAIN, int(name == BOLD), 0, name)
    rl_config.canvas_basefontname = PLAIN
    shapes.STATE_DEFAULTS["fontName"] = PLAIN


def colour_profile() -> bytes:
    return (FOLDER / "sRGB.icc").read_bytes()


def printable(text: str) -> str:
    """The text with what the fonts can't show named by its code point, such as [U+65E5].

    A glyph that is not there would break PDF/A; the exact text is in the record that the document carries.
    """
    register()
    known = _characters()
    return "".join(c if ord(c) in known or c == "\n" else f"[U+{ord(c):04X}]" for c in text)


@cache
def _characters() -> frozenset[int]:
    faces = (pdfmetrics.getFont(name).face for name in (PLAIN, BOLD))
    drawn = frozenset.intersection(*(frozenset(face.charToGlyph) for face in faces))
    return frozenset(code for code in drawn if code >= 0x20)  # below are control characters
