"""What is set onto pages, one below the other: each block knows its height, and where it may be parted."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol

from reels.domain.drawing import Picture
from reports.pdf import style
from reports.pdf.drawings import draw_picture
from reports.pdf.style import Box, TextLook
from reports.pdf.tags import StructureElement, TaggedCanvas
from reports.pdf.text import draw_lines

PADDING = 4.0  # left and right within a table's cell
ABOVE, BELOW = 2.5, 3.0  # within a table's row
WHOLE = 120.0  # points: a row that is no higher stays on one page
FEW = 2  # lines that are not left alone before or after a break


class Block(Protocol):
    """Something on a page. All in points.

    before, after: the room that it wants around it; keeps: whether it stays with what comes next.
    """

    before: float
    after: float
    keeps: bool

    @property
    def height(self) -> float: ...

    @property
    def least(self) -> float:
        """How much of it must fit for it to begin on a page."""
        ...

    def part(self, room: float) -> "tuple[Block, Block] | None":
        """What fits into the room and what is left; None where it cannot be parted there."""
        ...

    def draw(self, canvas: TaggedCanvas, top: float) -> None: ...


@dataclass(kw_only=True)
class UnpartedBlock:
    """A block that is never parted."""

    height: float
    before: float = 0
    after: float = 0
    keeps: bool = False

    @property
    def least(self) -> float:
        return self.height

    def part(self, room: float) -> None:
        return None

    def draw(self, canvas: TaggedCanvas, top: float) -> None:
        pass


@dataclass(kw_only=True)
class NextPage(UnpartedBlock):
    """What follows begins on a page of its own; but_first: unless the first page is full already."""

    height: float = 0
    but_first: bool = False


@dataclass(kw_only=True)
class TextBlock:
    """A paragraph or heading. bookmark: its key, level and text."""

    lines: list[str]
    look: TextLook
    element: StructureElement
    box: Box | None = None
    bookmark: tuple[str, int, str] | None = None
    before: float = 0
    after: float = 0
    keeps: bool = False

    @property
    def _padding(self) -> float:
        return self.box.padding if self.box else 0

    @property
    def height(self) -> float:
        return len(self.lines) * self.look.leading + 2 * self._padding

    @property
    def least(self) -> float:
        return self.height if len(self.lines) < 2 * FEW else FEW * self.look.leading + 2 * self._padding

    def part(self, room: float) -> "tuple[TextBlock, TextBlock] | None":
        fitting = min(int((room - 2 * self._padding) / self.look.leading), len(self.lines) - FEW)
        if fitting < FEW:
            return None
        return replace(self, lines=self.lines[:fitting]), replace(self, lines=self.lines[fitting:], bookmark=None)

    def draw(self, canvas: TaggedCanvas, top: float) -> None:
        if self.box:
            with canvas.tagged(None):
                self.box.draw(canvas, style.MARGIN, top - self.height, style.WIDTH, self.height)
        if self.bookmark:
            key, level, text = self.bookmark
            canvas.bookmarkPage(key, fit="XYZ", top=top + 4)
            canvas.addOutlineEntry(text, key, level)
        width = style.WIDTH - 2 * self._padding
        with canvas.tagged(self.element):
            draw_lines(canvas, self.lines, self.look, style.MARGIN + self._padding, top - self._padding, width)


@dataclass(kw_only=True)
class Figures(UnpartedBlock):
    """Drawings, one beside the other, in the middle of the page."""

    pictures: Sequence[tuple[Picture, StructureElement]]
    scale: float

    def draw(self, canvas: TaggedCanvas, top: float) -> None:
        x = style.MARGIN + (style.WIDTH - sum(each.width for each, _ in self.pictures) * self.scale) / 2
        for picture, element in self.pictures:
            y = top - (self.height + picture.height * self.scale) / 2
            with canvas.tagged(element):
                draw_picture(canvas, picture, x, y, self.scale)
            x += picture.width * self.scale


@dataclass(slots=True)
class Cell:
    """A cell of a table: its text in lines, and its element."""

    lines: list[str]
    look: TextLook
    element: StructureElement


@dataclass(slots=True)
class TableRow:
    """A row of a table. above, below: the room around its text."""

    cells: list[Cell]
    above: float = ABOVE
    below: float = BELOW

    @property
    def height(self) -> float:
        return max(len(cell.lines) * cell.look.leading for cell in self.cells) + self.above + self.below

    @property
    def least(self) -> float:
        return self.height if self.height <= WHOLE else WHOLE

    def part(self, room: float) -> "tuple[TableRow, TableRow] | None":
        """The lines that fit and those that are left; cells that have none left are empty below."""
        inner = room - self.above - self.below
        if self.height <= WHOLE or inner < WHOLE / 2:
            return None
        fitting = [int(inner / cell.look.leading) for cell in self.cells]
        head, rest = (
            [Cell(cell.lines[cut], cell.look, cell.element) for cell, cut in zip(self.cells, cuts, strict=True)]
            for cuts in ([slice(n) for n in fitting], [slice(n, None) for n in fitting])
        )
        return replace(self, cells=head), replace(self, cells=rest)


@dataclass(kw_only=True)
class TableBlock:
    """Rows of cells. head: how many of them are repeated on each further page; grid: lines around every cell."""

    rows: list[TableRow]
    widths: list[float]
    head: int = 0
    grid: bool = False
    centred: bool = False
    ruled: bool = True
    box: Box | None = None
    before: float = 2
    after: float = 5
    keeps: bool = False
    _heights: list[float] = field(init=False)

    def __post_init__(self) -> None:
        self._heights = [row.height for row in self.rows]

    @property
    def height(self) -> float:
        return sum(self._heights)

    @property
    def least(self) -> float:
        if self.box:
            return self.height
        first = self.rows[self.head : self.head + 1]
        return sum(self._heights[: self.head]) + sum(row.least for row in first)

    def part(self, room: float) -> "tuple[TableBlock, TableBlock] | None":
        if self.box:
            return None
        fitting, used = 0, 0.0
        while fitting < len(self.rows) and used + self._heights[fitting] <= room:
            used += self._heights[fitting]
            fitting += 1
        above, below = self.rows[:fitting], self.rows[fitting:]
        if below and (parted := below[0].part(room - used)):
            above, below = [*above, parted[0]], [parted[1], *below[1:]]
        elif len(below) == 1 and len(above) > self.head + 1:  # a last row is not left alone
            above, below = above[:-1], [above[-1], *below]
        if len(above) <= self.head:
            return None
        return replace(self, rows=above), replace(self, rows=[*self.rows[: self.head], *below])

    def draw(self, canvas: TaggedCanvas, top: float) -> None:
        with canvas.tagged(None):
            self._draw_lines(canvas, top)
        for row, height in zip(self.rows, self._heights, strict=True):
            x = style.MARGIN
            for cell, width in zip(row.cells, self.widths, strict=True):
                if any(cell.lines):
                    with canvas.tagged(cell.element):
                        inner = width - 2 * PADDING
                        draw_lines(
                            canvas, cell.lines, cell.look, x + PADDING, top - row.above, inner, centred=self.centred
                        )
                x += width
            top -= height

    def _draw_lines(self, canvas: TaggedCanvas, top: float) -> None:
        left, right = style.MARGIN, style.MARGIN + sum(self.widths)
        if self.box:
            self.box.draw(canvas, left, top - self.height, right - left, self.height)
        if self.head:
            canvas.setFillColor(style.PALE)
            height = sum(self._heights[: self.head])
            canvas.rect(left, top - height, right - left, height, stroke=0, fill=1)
        if not self.ruled:
            return
        canvas.setStrokeColor(style.RULE)
        canvas.setLineWidth(0.4)
        bottoms = [top - sum(self._heights[: i + 1]) for i in range(len(self.rows))]
        lines = [(left, y, right, y) for y in ([top, *bottoms] if self.grid else bottoms)]
        if self.grid:
            places = [left + sum(self.widths[:i]) for i in range(len(self.widths) + 1)]
            lines += [(x, top, x, bottoms[-1]) for x in places]
        canvas.lines(lines)
