"""The pieces that every document is made of: headings, paragraphs, tables and figures, each with its tag."""

from collections.abc import Mapping, Sequence
from typing import Any, assert_never
from xml.sax.saxutils import escape

from reportlab.graphics import shapes
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.platypus import Flowable, PageBreak, Paragraph, Spacer, Table

from reels.domain.drawing import Bar, Disc, Picture, Shape, Trace, Words
from reports.pdf import style
from reports.pdf.fonts import BOLD, PLAIN, printable
from reports.pdf.tags import StructureElement
from reports.pdf.words import signed

PADDING = 4.0


class TaggedParagraph(Paragraph):  # type: ignore[misc]  # reportlab has no types
    """A paragraph that belongs to an element, on every page that it runs over; and to a bookmark, if it has one."""

    element: StructureElement | None = None
    bookmark: tuple[str, int] | None = None  # its key and level

    def draw(self) -> None:
        if self.bookmark:
            key, level = self.bookmark
            self.canv.bookmarkPage(key, fit="XYZ", top=self.canv.absolutePosition(0, self.height)[1] + 4)
            self.canv.addOutlineEntry(self.getPlainText(), key, level)
        if self.element is None:  # within a table's cell, which is marked as a whole
            super().draw()
            return
        with self.canv.tagged(self.element):
            super().draw()

    def split(self, available_width: float, available_height: float) -> list["TaggedParagraph"]:
        parts: list[TaggedParagraph] = super().split(available_width, available_height)
        for part in parts:
            part.element = self.element
        if parts:
            parts[0].bookmark = self.bookmark
        return parts


class TaggedText(str):
    """A cell's text that fits on a line, with its element; reportlab lays out a paragraph far more slowly."""

    __slots__ = ("cell",)
    cell: StructureElement


class CellParagraph(TaggedParagraph):
    """A cell's text that runs over several lines."""

    cell: StructureElement

    def split(self, available_width: float, available_height: float) -> list[TaggedParagraph]:
        parts = super().split(available_width, available_height)
        for part in parts:
            part.cell = self.cell
        return parts


def _tag_cells(table: Any, event: str, *details: Any) -> None:
    """reportlab calls this as it draws a table: cells belong to elements, rules and backgrounds are artefacts."""
    if event in ("startBG", "startLines"):
        table.canv.begin(None)
    elif event == "startCell":
        value = details[2]
        first = value[0] if isinstance(value, (list, tuple)) and value else value  # flowables come as a tuple
        table.canv.begin(getattr(first, "cell", None))
    elif event in ("endBG", "endLines", "endCell"):
        table.canv.end()


class TaggedFigure(Flowable):  # type: ignore[misc]  # reportlab has no types
    def __init__(self, picture: Picture, element: StructureElement, scale: float) -> None:
        super().__init__()
        self.width, self.height = picture.width * scale, picture.height * scale
        self.hAlign = "CENTER"
        self._drawing, self._element = to_reportlab(picture), element
        self._drawing.renderScale = scale

    def draw(self) -> None:
        with self.canv.tagged(self._element):
            self._drawing.drawOn(self.canv, 0, 0)


class Story:
    """A document as it is written: what flows onto the pages, and its structure."""

    def __init__(self) -> None:
        self.flowables: list[Any] = []
        self.root = StructureElement("Document")
        self._headings = 0

    def heading(self, text: str, level: int) -> None:
        """A heading of level 1 to 3, with a bookmark."""
        self._headings += 1
        paragraph = _paragraph(text, style.HEADINGS[level], TaggedParagraph)
        paragraph.element = self.root.add(f"H{level}")
        paragraph.bookmark = (f"heading-{self._headings}", level - 1)
        self.flowables.append(paragraph)

    def paragraph(self, text: str, look: ParagraphStyle = style.BODY) -> None:
        """A paragraph of plain text; line breaks are kept."""
        paragraph = _paragraph(text, look, TaggedParagraph)
        paragraph.element = self.root.add("P")
        self.flowables.append(paragraph)

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

    def result(self, count: Mapping[str, Any]) -> None:
        """Layers, wraps and parity of a count, to be read from afar, each under its name."""
        element = self.root.add("Table")
        names, figures = element.add("TR"), element.add("TR")
        columns = {"Layers": count["layers"], "Wraps": count["wraps"], "Parity of layers": count["parity"]}
        rows = [
            [_plain_cell(name, names.add("TH", scope="Column")) for name in columns],
            [_plain_cell(f"{figure}", figures.add("TD")) for figure in columns.values()],
        ]
        look = [
            ("FONT", (0, 0), (-1, 0), BOLD, 10, 13), ("FONT", (0, 1), (-1, 1), BOLD, 34, 42),
            ("TEXTCOLOR", (0, 0), (-1, -1), style.INK), ("ALIGN", (0, 0), (-1, -1), "CENTER"),
            ("BOX", (0, 0), (-1, -1), 1.2, style.ACCENT), ("BACKGROUND", (0, 0), (-1, -1), style.PALE),
            ("BOTTOMPADDING", (0, 1), (-1, 1), 12),
        ]  # fmt: skip
        self._add_table(rows, [style.WIDTH / 3] * 3, look, spaceBefore=6, spaceAfter=8)

    def struck(self, name: str, text: str) -> None:
        """What is no longer valid, under its name: struck through, in a dashed frame."""
        element = self.root.add("Table")
        line = element.add("TR")
        head, cell = line.add("TH", scope="Row"), line.add("TD")
        paragraph = CellParagraph(f"<strike>{escape(printable(text))}</strike>", style.STRUCK)
        paragraph.cell = cell
        look = [
            ("FONT", (0, 0), (-1, -1), BOLD, 10, 13), ("TEXTCOLOR", (0, 0), (-1, -1), style.QUIET),
            ("VALIGN", (0, 0), (-1, -1), "MIDDLE"), ("BOX", (0, 0), (-1, -1), 0.8, style.QUIET, None, (4, 3)),
        ]  # fmt: skip
        widths = [0.19 * style.WIDTH, 0.81 * style.WIDTH]
        self._add_table([[_plain_cell(name, head), paragraph]], widths, look, spaceBefore=14, spaceAfter=10)

    def figure(self, *pictures: Picture) -> None:
        """Drawings, one beside the other; those that are wider than the page are made to fit."""
        scale = min(1.0, style.WIDTH / sum(each.width for each in pictures))
        figures = [TaggedFigure(each, self.root.add("Figure", alt=each.description), scale) for each in pictures]
        if len(figures) == 1:
            self.flowables.append(figures[0])
            return
        whole = ((0, 0), (-1, -1))
        look = [
            ("VALIGN", *whole, "MIDDLE"),
            ("FONT", *whole, PLAIN),
            ("LEFTPADDING", *whole, 0),
            ("RIGHTPADDING", *whole, 0),
        ]
        self.flowables.append(Table([figures], colWidths=[figure.width for figure in figures], style=look))

    def gap(self, points: float = 6) -> None:
        self.flowables.append(Spacer(1, points))

    def next_page(self) -> None:
        """What follows begins on a page of its own."""
        self.flowables.append(PageBreak())

    def _table(
        self, rows: Sequence[Sequence[str]], shares: Sequence[float], *, heads: set[int], has_header: bool,
        blank: bool = False,
    ) -> None:  # fmt: skip
        widths = [share * style.WIDTH / sum(shares) for share in shares]
        element = self.root.add("Table")
        cells = []
        for i, row in enumerate(rows):
            is_header = has_header and i == 0
            line = element.add("TR")
            scopes = ["Column" if is_header else "Row" if j in heads and text else "" for j, text in enumerate(row)]
            cells.append([
                _cell(text, width, line, scope, is_bold=bool(scope) and is_header == has_header)
                for text, width, scope in zip(row, widths, scopes, strict=True)
            ])  # fmt: skip
        look = _table_style(set() if has_header else heads, has_header)
        if blank:
            room = ("TOPPADDING", "BOTTOMPADDING")
            look += [(side, (0, int(has_header)), (-1, -1), 6.5) for side in room]
            look += [("INNERGRID", (0, 0), (-1, -1), 0.4, style.RULE), ("BOX", (0, 0), (-1, -1), 0.4, style.RULE)]
        self._add_table(cells, widths, look, repeatRows=int(has_header), splitInRow=1, spaceBefore=2, spaceAfter=5)

    def _add_table(self, cells: list[list[Any]], widths: list[float], look: list[Any], **options: Any) -> None:
        self.flowables.append(Table(cells, colWidths=widths, style=look, renderCB=_tag_cells, **options))


def _table_style(heads: set[int], has_header: bool) -> list[tuple[Any, ...]]:
    whole = ((0, 0), (-1, -1))
    commands: list[tuple[Any, ...]] = [
        ("FONT", *whole, PLAIN, 8, 10.9), ("TEXTCOLOR", *whole, style.INK), ("VALIGN", *whole, "TOP"),
        ("LEFTPADDING", *whole, PADDING), ("RIGHTPADDING", *whole, PADDING), ("TOPPADDING", *whole, 2.5),
        ("BOTTOMPADDING", *whole, 3), ("LINEBELOW", *whole, 0.4, style.RULE),
        *(("FONT", (j, 0), (j, -1), BOLD, 8, 10.9) for j in heads),
    ]  # fmt: skip
    if has_header:
        commands += [("FONT", (0, 0), (-1, 0), BOLD, 8, 10.9), ("BACKGROUND", (0, 0), (-1, 0), style.PALE)]
    return commands


def _cell(text: str, width: float, row: StructureElement, scope: str, *, is_bold: bool) -> Any:
    element = row.add("TH", scope=scope, repeats=scope == "Column") if scope else row.add("TD")
    shown = printable(text)
    if "\n" not in shown and stringWidth(shown, BOLD if is_bold else PLAIN, 8) <= width - 2 * PADDING:
        return _plain_cell(shown, element)
    paragraph = _paragraph(text, style.CELL_HEAD if is_bold else style.CELL, CellParagraph)
    paragraph.cell = element
    return paragraph


def _plain_cell(shown: str, element: StructureElement) -> TaggedText:
    cell = TaggedText(shown)
    cell.cell = element
    return cell


def _paragraph(text: str, look: ParagraphStyle, kind: type[Any]) -> Any:
    return kind(escape(printable(text)).replace("\n", "<br/>"), look)


# Drawings: reels/domain/drawing.py in reportlab's shapes ------------------------------------------------------------


def to_reportlab(picture: Picture) -> shapes.Drawing:
    """The picture as a reportlab drawing of the same size."""
    drawing = shapes.Drawing(picture.width, picture.height)
    for shape in picture.shapes:
        drawing.add(_shape(shape, picture.text_size))
    return drawing


def _shape(shape: Shape, text_size: float) -> Any:
    if isinstance(shape, Words):
        font = BOLD if shape.bold else PLAIN
        return shapes.String(
            shape.x, shape.y, printable(shape.text), textAnchor=shape.anchor, fontName=font, fontSize=text_size,
            fillColor=style.INK,
        )  # fmt: skip
    paint = style.PALETTE[shape.look]
    line: dict[str, Any] = {"strokeColor": paint.line, "strokeWidth": paint.width}
    match shape:
        case Disc():
            return shapes.Circle(shape.x, shape.y, shape.radius, fillColor=paint.fill, **line)
        case Bar():
            return shapes.Rect(shape.x, shape.y, shape.width, shape.height, fillColor=paint.fill, **line)
        case Trace():
            points = [number for point in shape.points for number in point]
            if shape.closed:
                return shapes.Polygon(points, fillColor=paint.fill, **line)
            return shapes.PolyLine(points, strokeDashArray=[3, 2] if shape.dashed else None, **line)
    assert_never(shape)
