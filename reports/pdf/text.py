"""Text in lines: where they break, and how they are drawn."""

import re
from collections.abc import Callable, Sequence
from typing import Any
from unicodedata import category

from reportlab.pdfbase import pdfmetrics

from reports.pdf.fonts import BOLD, PLAIN, is_plain, register
from reports.pdf.scripts import draw_mixed, width_of_mixed
from reports.pdf.style import TextLook

register()
_IDEOGRAPH = "\u3040-\u30ff\u3400-\u9fff\uf900-\ufaff"  # between two of them a line may break
_NOT_FIRST = "、。，．）」』】〕？！：；"  # nor does a line begin with these
_WORDS = re.compile(f"[{_IDEOGRAPH}][{_NOT_FIRST}]* *|[^ {_IDEOGRAPH}]+ *| +")


def width_of(text: str, look: TextLook) -> float:
    """How wide a text is, in points."""
    if not is_plain(text):
        return width_of_mixed(text, bold=look.bold) * look.size
    widths = pdfmetrics.getFont(font_of(look)).face.charWidths
    return float(sum(map(widths.__getitem__, map(ord, text))) * look.size / 1000)


def font_of(look: TextLook) -> str:
    return BOLD if look.bold else PLAIN


def break_lines(text: str, look: TextLook, width: float) -> list[str]:
    """The text in lines of a width; its own breaks are kept. A line ends with the space that it was broken at.

    So the lines, read one after the other, are the words of the text; a word that is wider than a line, such as a
    digest, is broken anywhere and has no space within it.
    """

    def measure(words: str) -> float:
        return width_of(words, look)

    parts = text.split("\n")
    lines: list[str] = []
    for i, part in enumerate(parts):
        end = " " if i < len(parts) - 1 else ""
        *full, last = [part] if measure(part) <= width else _broken(part, measure, width)
        lines += [*full, last if last.endswith(" ") else last + end]
    return lines


def _broken(text: str, measure: Callable[[str], float], width: float) -> list[str]:
    lines, line, used = [], "", 0.0
    for word in _WORDS.findall(text):
        if line and used + measure(word.rstrip(" ")) > width:
            lines.append(line)
            line, used = "", 0.0
        while measure(word.rstrip(" ")) > width:
            fitting = next(n for n in _cuts(word) if measure(word[:n]) <= width or n == 1)
            lines.append(word[:fitting])
            word = word[fitting:]  # noqa: PLW2901  # what is left of it
        line, used = line + word, used + measure(word)
    return [*lines, line]


def _cuts(word: str) -> list[int]:
    """Where a long word may be cut, the last place first: never before what belongs to the letter before it."""
    return [n for n in range(len(word) - 1, 0, -1) if n == 1 or category(word[n]) not in ("Mn", "Mc", "Cf")]


def draw_lines(
    canvas: Any, lines: Sequence[str], look: TextLook, x: float, top: float, width: float, *, centred: bool = False
) -> None:
    """Draw lines from their upper left corner."""
    baseline = top - (look.leading - look.size) / 2 - 0.8 * look.size
    lefts = [x + (width - width_of(line.rstrip(" "), look)) / 2 if centred else x for line in lines]
    if all(map(is_plain, lines)):
        text = canvas.beginText(lefts[0], baseline)
        text.setFont(font_of(look), look.size, look.leading)
        text.setFillColor(look.colour)
        for left, before, line in zip(lefts, [lefts[0], *lefts], lines, strict=False):
            if left != before:
                text.moveCursor(left - before, 0)
            text.textLine(line)
        canvas.drawText(text)
    else:
        canvas.setFillColor(look.colour)
        for i, (left, line) in enumerate(zip(lefts, lines, strict=True)):
            draw_mixed(canvas, line, left, baseline - i * look.leading, look.size, bold=look.bold)
    if look.struck:
        canvas.setStrokeColor(look.colour)
        canvas.setLineWidth(look.size / 14)
        for i, (left, line) in enumerate(zip(lefts, lines, strict=True)):
            y = baseline - i * look.leading + 0.3 * look.size
            canvas.line(left, y, left + width_of(line.rstrip(" "), look), y)
