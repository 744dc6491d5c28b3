"""The fonts of every document, kept here so that the same record gives the same bytes everywhere.

DejaVu Sans 2.37 for all that it has; Noto Sans for Hebrew, Arabic and Devanagari (SIL Open Font License), as in
Debian's fonts-noto-core 20201225; Droid Sans Fallback for Chinese, Japanese and Korean (Apache License 2.0), as in its
fonts-droid-fallback 6.0.1. All have TrueType outlines, the only ones that reportlab embeds; the LICENCE files are
theirs. sRGB.icc is the colour profile that PDF/A asks for (Graeme Gill's, no copyright).
"""

from functools import cache
from itertools import groupby
from pathlib import Path
from typing import Any
from unicodedata import bidirectional, category, normalize

from reportlab import rl_config
from reportlab.graphics import shapes
from reportlab.lib.fonts import addMapping
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

FOLDER = Path(__file__).resolve().parent
PLAIN, BOLD = "DejaVu", "DejaVu-Bold"
SHAPED = (  # whose letters change and join: each is set by what its font says of its neighbours
    ("NotoSansHebrew-Regular", "NotoSansHebrew-Bold"),
    ("NotoSansArabic-Regular", "NotoSansArabic-Bold"),
    ("NotoSansDevanagari-Regular", "NotoSansDevanagari-Bold"),
)
IDEOGRAPHS = "DroidSansFallbackFull"
SCRIPTS = (*SHAPED, (IDEOGRAPHS, IDEOGRAPHS))  # plain and bold


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
    """The text with what can't be shown named by its code points, such as [U+0E01 U+0E02].

    That is what no font here has, whose gap would break PDF/A. The exact text is in the record that the document has.
    """
    composed = normalize("NFC", text)  # the fonts have composed letters; a letter with a combining accent has none
    if is_plain(composed):
        return composed
    pieces = groupby(composed, key=lambda each: bool(_font_of(each, bold=False)))
    return "".join(
        "".join(piece) if is_shown else f"[{' '.join(f'U+{ord(each):04X}' for each in piece)}]"
        for is_shown, piece in pieces
    )


def is_printable(text: str) -> bool:
    """Whether every character of a text can be shown."""
    composed = normalize("NFC", text)
    return is_plain(composed) or all(_font_of(each, bold=False) for each in composed)


def is_plain(text: str) -> bool:
    """Whether a text is set letter by letter, from left to right, in the font of the documents alone."""
    return _plain().issuperset(text)


def pieces_of(text: str, *, bold: bool) -> list[tuple[str, str]]:
    """A printable text in pieces of one font each: its name, and the piece. What joins letters stays with them."""
    pieces: list[tuple[str, str]] = []
    for each in text:
        before = pieces[-1] if pieces else ("", "")
        joins = category(each) in ("Mn", "Mc", "Cf") and before[0] and ord(each) in _face(before[0]).charToGlyph
        name = before[0] if joins else _font_of(each, bold=bold)
        if name == before[0]:
            pieces[-1] = (name, before[1] + each)
        else:
            pieces.append((name, each))
    return pieces


def _font_of(character: str, *, bold: bool) -> str:
    """The name of the font that has a character, or ""."""
    if character in _plain():
        return BOLD if bold else PLAIN
    if category(character) in ("Cc", "Co", "Cn"):  # control characters, and those that mean nothing to others
        return ""
    names = (name for pair in SCRIPTS if ord(character) in _face(name := pair[bold]).charToGlyph)
    return next(names, "")


def _face(name: str) -> Any:
    """The face of a font, which is read when it is needed first: that of Chinese has four megabytes."""
    if name not in pdfmetrics.getRegisteredFontNames():
        pdfmetrics.registerFont(TTFont(name, FOLDER / f"{name}.ttf"))
    return pdfmetrics.getFont(name).face


@cache
def _plain() -> frozenset[str]:
    register()
    faces = (pdfmetrics.getFont(name).face for name in (PLAIN, BOLD))
    drawn = frozenset.intersection(*(frozenset(face.charToGlyph) for face in faces))
    left_to_right = (chr(code) for code in drawn if bidirectional(chr(code)) not in ("R", "AL", "AN"))
    return frozenset(each for each in left_to_right if each >= " ") | {"\n"}  # below are control characters
