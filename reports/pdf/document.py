"""From a story to pages: the frame, what stands on every page, and the bytes that reportlab writes."""

import io
from dataclasses import dataclass
from typing import Any

from reportlab.graphics.barcode.qr import QrCodeWidget
from reportlab.graphics.shapes import Drawing
from reportlab.platypus import BaseDocTemplate, Frame, PageTemplate

from reports.pdf import style
from reports.pdf.flowables import Story
from reports.pdf.fonts import BOLD, PLAIN, printable
from reports.pdf.tags import StructureElement, TaggedCanvas

PRODUCER = "Wrapledger"
LANGUAGE = "en-GB"
QR_SIZE = 58.0  # points: 20 mm


@dataclass(frozen=True, slots=True, kw_only=True)
class HeaderAndFooter:
    """What stands on every page.

    header: to the left and to the right at the top; footer: lines at the bottom; qr_text: what the QR code says.
    """

    header: tuple[str, str]
    footer: tuple[str, ...]
    qr_text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TaggedPages:
    """Pages as reportlab wrote them, with the structure that pdfa.py adds."""

    content: bytes
    root: StructureElement
    marked: dict[int, list[StructureElement]]


def lay_out(story: Story, around: HeaderAndFooter, *, title: str, subject: str) -> TaggedPages:
    """The pages of a story. The same story gives the same bytes."""
    out = io.BytesIO()
    canvases: list[_Canvas] = []  # reportlab makes its canvas itself, and keeps it

    def canvas_maker(*args: Any, **options: Any) -> _Canvas:
        canvases.append(_Canvas(*args, **options))
        return canvases[0]

    document = _Document(  # invariant: no clock's time and no random id in the file
        out, around, title=printable(title), subject=printable(subject), author=PRODUCER, creator=PRODUCER,
        producer=PRODUCER, invariant=1, lang=LANGUAGE, initialFontName=PLAIN, pageCompression=1, pagesize=style.PAGE,
    )  # fmt: skip
    document.build(story.flowables, canvasmaker=canvas_maker)
    return TaggedPages(content=out.getvalue(), root=story.root, marked=canvases[0].marked)


class _Canvas(TaggedCanvas):
    def save(self) -> None:
        """For reportlab: draw the number of pages, known only now, into the form that every page refers to."""
        pages = self.getPageNumber() - 1  # reportlab has begun a further page by now, and drawn nothing on it
        self.beginForm("pages", 0, -3, 30, 12)
        self.setFillColor(style.QUIET)
        self.setFont(BOLD, 7.5)
        self.drawString(0, 0, str(pages))
        self.endForm()
        super().save()


class _Document(BaseDocTemplate):  # type: ignore[misc]  # reportlab has no types
    def __init__(self, out: io.BytesIO, around: HeaderAndFooter, **options: Any) -> None:
        super().__init__(out, **options)
        self._around = around
        width, height = style.PAGE
        frame = Frame(
            style.MARGIN, style.FOOT, style.WIDTH, height - style.TOP - style.FOOT,
            leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0,
        )  # fmt: skip
        self.addPageTemplates(PageTemplate("page", [frame], onPage=self._draw_around, pagesize=(width, height)))

    def _draw_around(self, canvas: TaggedCanvas, _document: Any) -> None:
        with canvas.tagged(None):  # an artefact: a screen reader does not read it on every page
            canvas.saveState()
            self._draw_head(canvas)
            self._draw_foot(canvas)
            canvas.restoreState()

    def _draw_head(self, canvas: TaggedCanvas) -> None:
        y = style.PAGE[1] - 40
        left, right = self._around.header
        canvas.setFillColor(style.ACCENT)
        canvas.setFont(BOLD, 8.5)
        canvas.drawString(style.MARGIN, y, printable(left))
        canvas.drawRightString(style.PAGE[0] - style.MARGIN, y, printable(right))
        canvas.setStrokeColor(style.ACCENT)
        canvas.setLineWidth(1)
        canvas.line(style.MARGIN, y - 7, style.PAGE[0] - style.MARGIN, y - 7)

    def _draw_foot(self, canvas: TaggedCanvas) -> None:
        canvas.setStrokeColor(style.RULE)
        canvas.setLineWidth(0.6)
        canvas.line(style.MARGIN, 72, style.PAGE[0] - style.MARGIN, 72)
        canvas.setFillColor(style.QUIET)
        canvas.setFont(PLAIN, 6.6)
        for i, line in enumerate(self._around.footer):
            canvas.drawString(style.MARGIN, 59 - 9.2 * i, printable(line))
        right = style.PAGE[0] - style.MARGIN
        if self._around.qr_text:
            self._draw_code(canvas, right - QR_SIZE + 6, 12)
            right -= QR_SIZE
        canvas.setFont(BOLD, 7.5)
        canvas.drawRightString(right - 14, 59, f"Page {canvas.getPageNumber()} of")
        canvas.saveState()
        canvas.translate(right - 11.5, 59)
        canvas.doForm("pages")  # filled in by _Canvas.save
        canvas.restoreState()

    def _draw_code(self, canvas: TaggedCanvas, x: float, y: float) -> None:
        if canvas.getPageNumber() == 1:  # drawn once, and referred to by every page
            canvas.beginForm("code", 0, 0, QR_SIZE, QR_SIZE)
            code = QrCodeWidget(self._around.qr_text, barLevel="M", barWidth=QR_SIZE, barHeight=QR_SIZE)
            Drawing(QR_SIZE, QR_SIZE, code).drawOn(canvas, 0, 0)
            canvas.endForm()
        canvas.saveState()
        canvas.translate(x, y)
        canvas.doForm("code")
        canvas.restoreState()
