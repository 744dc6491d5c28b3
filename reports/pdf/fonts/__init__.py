"""The fonts of every document: DejaVu Sans 2.37, kept here so that the same record gives the same bytes everywhere.

LICENCE-DejaVu.txt is theirs. sRGB.icc is the colour profile that PDF/A asks for (Graeme Gill's, no copyright).
"""

from functools import cache
from itertools import groupby
from pathlib import Path
from unicodedata import bidirectional, normalize

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
    # PDF/A wants every font embedded, and reportlab's defaults name Helvetica, which it never embeds.
    rl_config.canvas_basefontname = PLAIN
    shapes.STATE_DEFAULTS["fontName"] = PLAIN


def colour_profile() -> bytes:
    return (FOLDER / "sRGB.icc").read_bytes()


def printable(text: str) -> str:
    """The text with what can't be shown named by its code points, such as [U+65E5 U+672C].

    That is what the fonts don't have, whose gap would break PDF/A, and what runs from right to left, which would stand
    here the wrong way round. The exact text is in the record that the document carries.
    """
    composed = normalize("NFC", text)  # the fonts have composed letters; a letter with a combining accent has none
    if is_printable(composed):
        return composed
    pieces = groupby(composed, key=_shown().__contains__)
    return "".join(
        "".join(piece) if is_shown else f"[{' '.join(f'U+{ord(each):04X}' for each in piece)}]"
        for is_shown, piece in pieces
    )


def is_printable(text: str) -> bool:
    """Whether every character of a text can be shown."""
    return _shown().issuperset(normalize("NFC", text))


@cache
def _shown() -> frozenset[str]:
    register()
    faces = (pdfmetrics.getFont(name).face for name in (PLAIN, BOLD))
    drawn = frozenset.intersection(*(frozenset(face.charToGlyph) for face in faces))
    left_to_right = (chr(code) for code in drawn if bidirectional(chr(code)) not in ("R", "AL", "AN"))
    return frozenset(each for each in left_to_right if each >= " ") | {"\n"}  # below are control characters
