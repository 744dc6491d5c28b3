"""Lines with letters of more than one script: which way they run, and how letters join.

The order is that of Unicode's annex 9 (python-bidi), the shapes are HarfBuzz's. Pieces are drawn in the order in which
they are read, each at its place, so that who has the document read to them hears what was written; a piece that is
shaped or turned round has its letters beside it (ActualText).
"""

from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import groupby
from typing import Any
from unicodedata import bidirectional

import uharfbuzz
from bidi import algorithm
from bidi.mirror import MIRRORED
from reportlab.pdfbase import pdfmetrics

from reports.pdf.fonts import SHAPED, pieces_of

_SHAPED = frozenset(name for pair in SHAPED for name in pair)
_PRIVATE = 0xE000  # reportlab embeds glyphs by characters: one of a shaped font is known to it by this and its number


@dataclass(frozen=True, slots=True)
class Glyph:
    """A glyph with how far it moves on, and where it is drawn from there; in ems. character: as reportlab knows it."""

    character: str
    advance: float
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Piece:
    """A part of a line in one font and direction. text: as it is read; glyphs: from left to right."""

    font: str
    text: str
    glyphs: tuple[Glyph, ...]

    @property
    def width(self) -> float:
        return sum(each.advance for each in self.glyphs)


def width_of_mixed(text: str, *, bold: bool) -> float:
    """How wide a text is, in ems."""
    return sum(piece.width for piece, _ in _laid_out(text, bold))


def draw_mixed(canvas: Any, line: str, x: float, y: float, size: float, *, bold: bool) -> None:
    """Draw a line with its baseline beginning at a place."""
    for piece, left in _laid_out(line, bold):
        shown = "".join(each.character for each in piece.glyphs)
        if shown == piece.text:
            canvas.setFont(piece.font, size)
            canvas.drawString(x + left * size, y, shown)
            continue
        actual = ("\ufeff" + piece.text).encode("utf-16-be").hex().upper()
        canvas._code.append(f"/Span <</ActualText <{actual}>>> BDC")
        _draw_glyphs(canvas, piece, x + left * size, y, size)
        canvas._code.append("EMC")


def _draw_glyphs(canvas: Any, piece: Piece, x: float, y: float, size: float) -> None:
    text = canvas.beginText(x, y)
    text.setFont(piece.font, size)
    for glyph in piece.glyphs:
        text.setTextOrigin(x + glyph.x * size, y + glyph.y * size)
        text.textOut(glyph.character)
        x += glyph.advance * size
    canvas.drawText(text)


@lru_cache(maxsize=1000)
def _laid_out(line: str, bold: bool) -> tuple[tuple[Piece, float], ...]:
    """The pieces of a line in the order in which they are read, each with where it begins, in ems."""
    visual = _in_visual_order(line)
    levels = dict(visual)
    pieces, start = [], 0
    for font, text in pieces_of(line, bold=bold):
        for level, group in groupby(range(start, start + len(text)), key=lambda i: levels.get(i, 0)):
            indices = list(group)
            part = line[indices[0] : indices[-1] + 1]
            pieces.append((indices[0], _shaped(font, part, backward=level % 2 == 1)))
        start += len(text)
    place = {index: at for at, (index, _) in enumerate(visual)}
    lefts, left = {}, 0.0
    for first, piece in sorted(pieces, key=lambda each: _leftmost(place, *each)):
        lefts[first] = left
        left += piece.width
    return tuple((piece, lefts[first]) for first, piece in pieces)


def _leftmost(place: dict[int, int], first: int, piece: Piece) -> int:
    return min(place.get(index, index) for index in range(first, first + len(piece.text)))


def _in_visual_order(line: str) -> list[tuple[int, int]]:
    """The places of a line's characters from left to right, with their levels.

    A line begins at the right only where it has no letter that runs from the left.
    """
    kinds = {bidirectional(each) for each in line}
    is_backward = bool(kinds & {"R", "AL"}) and "L" not in kinds
    storage = algorithm.get_empty_storage()
    storage["base_level"], storage["base_dir"] = int(is_backward), "LR"[is_backward]
    algorithm.get_embedding_levels(line, storage)
    for index, each in enumerate(storage["chars"]):
        each["index"] = index
    for step in (algorithm.explicit_embed_and_overrides, algorithm.resolve_weak_types, algorithm.resolve_neutral_types,
                 algorithm.resolve_implicit_levels, algorithm.reorder_resolved_levels):  # fmt: skip
        step(storage, False)
    return [(each["index"], each["level"]) for each in storage["chars"]]


def _shaped(font: str, text: str, *, backward: bool) -> Piece:
    if font not in _SHAPED:
        shown = "".join(MIRRORED.get(each, each) for each in reversed(text)) if backward else text
        widths = pdfmetrics.getFont(font).face.charWidths
        return Piece(font, text, tuple(Glyph(each, widths[ord(each)] / 1000, 0, 0) for each in shown))
    face = pdfmetrics.getFont(font).face
    harfbuzz, em = _harfbuzz(font)
    buffer = uharfbuzz.Buffer()
    buffer.add_str(text)
    buffer.guess_segment_properties()
    buffer.direction = "rtl" if backward else "ltr"
    uharfbuzz.shape(harfbuzz, buffer)
    glyphs = []
    for info, at in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True):
        code = _PRIVATE + info.codepoint
        face.charToGlyph[code] = info.codepoint
        face.charWidths[code] = harfbuzz.get_glyph_h_advance(info.codepoint) * 1000 / em
        glyphs.append(Glyph(chr(code), at.x_advance / em, at.x_offset / em, at.y_offset / em))
    return Piece(font, text, tuple(glyphs))


@cache
def _harfbuzz(font: str) -> tuple[Any, int]:
    """The font as HarfBuzz reads it, and how many of its units an em has."""
    face = uharfbuzz.Face(pdfmetrics.getFont(font).face._ttf_data)
    return uharfbuzz.Font(face), face.upem
