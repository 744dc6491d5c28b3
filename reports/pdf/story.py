"""A document as it is written: headings, paragraphs, tables and figures, each with its tag."""

from collections.abc import Mapping, Sequence
from typing import Any

from reels.domain.drawing import Picture
from reports.pdf import style
from reports.pdf.blocks import PADDING, Block, Cell, Figures, NextPage, TableBlock, TableRow, TextBlock, UnpartedBlock
from reports.pdf.fonts import printable
from reports.pdf.style import TextLook
from reports.pdf.tags import StructureElement
from reports.pdf.text import break_lines
from reports.pdf.words import signed

BLANK = 6.5  # points above and below in a row that is written into


class Story:
    """What goes onto the pages, in order, and its structure."""

    def __init__(self) -> None:
        self.blocks: list[Block] = []
        self.root = StructureElement("Document")
        self._headings = 0

    def heading(self, text: str, level: int) -> None:
        """A heading of level 1 to 3, with a bookmark."""
        self._headings += 1
        bookmark = (f"heading-{self._headings}", level - 1, printable(text))
        self._text(text, style.HEADINGS[level], f"H{level}", bookmark)

    def paragraph(self, text: str, look: TextLook = style.BODY) -> None:
        """A paragraph of plain text; line breaks are kept."""
        self._text(text, look, "P")

    def facts(self, pairs: Sequence[tuple[str, str]], *, blank: bool = False) -> None:
        """Names with their values, two pairs a row; blank: with room to write."""
        if len(pairs) % 2:
            pairs = [*pairs, ("", "")]
        rows = [[*pairs[i], *pairs[i + 1]] for i in range(0, len(pairs), 2)]
        self._table(rows, (0.19, 0.31, 0.19, 0.31), heads={0, 2}, has_header=False, blank=blank)

    def notes(self, pairs: Sequence[tuple[str, str]]) -> None:
        """Names with texts that may be long, one a row; nothing where there are none."""
        if pairs:
            self._table(pairs, (0.19, 0.81), heads={0}, has_header=False)

    def table(
        self, header: Sequence[str], rows: Sequence[Sequence[str]], shares: Sequence[float], *, blank: bool = False
    ) -> None:
        """A table under a header row, which is repeated on each page; shares: of the width, for each column.

        The first cell of a row is its head. blank: with room to write in the empty cells.
        """
        self._table([header, *rows], shares, heads={0}, has_header=True, blank=blank)

    def calculation(self, steps: Sequence[tuple[Any, ...]]) -> None:
        """The steps of a count's calculation: label, before, change, after, explanation."""
        rows = [(label, f"{before}", signed(change), f"{after}", why) for label, before, change, after, why in steps]
        self.table(("Step", "Before", "Change", "After", "Explanation"), rows, (0.23, 0.09, 0.09, 0.09, 0.5))

    def result(self, count: Mapping[str, Any], *, is_struck: bool = False) -> None:
        """Layers, wraps and parity of a count, to be read from afar, each under its name.

        is_struck: they are not valid any more: struck through, in a dashed frame.
        """
        name_look = style.STRUCK_NAME if is_struck else style.RESULT_NAME
        figure_look = style.STRUCK if is_struck else style.RESULT
        element = self.root.add("Table")
        names, figures = element.add("TR"), element.add("TR")
        columns = {"Layers": count["layers"], "Wraps": count["wraps"], "Parity of layers": count["parity"]}
        rows = [
            TableRow([Cell([name], name_look, names.add("TH", scope="Column")) for name in columns], above=3),
            TableRow([Cell([f"{one}"], figure_look, figures.add("TD")) for one in columns.values()], above=0, below=6),
        ]
        self.blocks.append(
            TableBlock(rows=rows, widths=[style.WIDTH / 3] * 3, centred=True, ruled=False,
                       box=style.STRUCK_BOX if is_struck else style.RESULT_BOX,
                       before=6, after=8)
        )  # fmt: skip

    def figure(self, *pictures: Picture, highest: float = style.PAGE[1], keeps: bool = False) -> None:
        """Drawings, one beside the other; those that are wider than the page, or too high, are made to fit.

        keeps: with what says what they show.
        """
        height = max(each.height for each in pictures)
        scale = min(1.0, style.WIDTH / sum(each.width for each in pictures), highest / height)
        self.blocks.append(
            Figures(pictures=[(each, self.root.add("Figure", alt=each.description)) for each in pictures], scale=scale,
                    height=height * scale, keeps=keeps)
        )  # fmt: skip

    def gap(self, points: float = 6) -> None:
        self.blocks.append(UnpartedBlock(height=points))

    def next_page(self, *, but_first: bool = False) -> None:
        """What follows begins on a page of its own; but_first: unless the first page is full already."""
        self.blocks.append(NextPage(but_first=but_first))

    def _table(
        self, rows: Sequence[Sequence[str]], shares: Sequence[float], *, heads: set[int], has_header: bool,
        blank: bool = False,
    ) -> None:  # fmt: skip
        widths = [share * style.WIDTH / sum(shares) for share in shares]
        element = self.root.add("Table")
        room = {"above": BLANK, "below": BLANK} if blank else {}
        lines = []
        for i, row in enumerate(rows):
            is_header = has_header and i == 0
            line = element.add("TR")
            scopes = ["Column" if is_header else "Row" if j in heads and text else "" for j, text in enumerate(row)]
            cells = [
                _cell(
                    text, style.CELL_HEAD if scope and is_header == has_header else style.CELL, width,
                    line.add("TH", scope=scope, repeats=is_header) if scope else line.add("TD"),
                )
                for text, width, scope in zip(row, widths, scopes, strict=True)
            ]  # fmt: skip
            lines.append(TableRow(cells, **({} if is_header else room)))
        self.blocks.append(TableBlock(rows=lines, widths=widths, head=int(has_header), grid=blank))

    def _text(self, text: str, look: TextLook, tag: str, bookmark: tuple[str, int, str] | None = None) -> None:
        box = style.BOXES.get(look)
        width = style.WIDTH - (2 * box.padding if box else 0)
        self.blocks.append(
            TextBlock(lines=break_lines(printable(text), look, width), look=look, element=self.root.add(tag), box=box,
                      bookmark=bookmark, before=look.before, after=look.after, keeps=look.keeps)
        )  # fmt: skip


def shortened(text: str, most: int = 300) -> str:
    """A text for page 1, which has room for so many characters; what is longer is in the annex in full."""
    return text if len(text) <= most else f"{text[:most].rsplit(' ', 1)[0]} … (in full in the annex)"


def _cell(text: str, look: TextLook, width: float, element: StructureElement) -> Cell:
    return Cell(break_lines(printable(text), look, width - 2 * PADDING), look, element)
