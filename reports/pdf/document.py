"""From a story to pages: the frame, what stands on every page, and the bytes that reportlab writes."""

import io
from dataclasses import dataclass
from typing import Any

from reportlab.platypus import BaseDocTemplate, Frame, PageTemplate

from reports.pdf import qr, style
from reports.pdf.flowables import Story
from reports.pdf.fonts import BOLD, PLAIN, printable
from reports.pdf.tags import StructureElement, TaggedCanvas

PRODUCER = "Wrapledger"
LANGUAGE = "en-GB"
QR_SIZE = 58.0


@dataclass(frozen=True, slots=True, kw_only=True)
class HeaderAndFooter:
    """What stands on every page.

    head: to the left and to the right at the top; foot: lines at the bottom; code: the QR code's text.
    """

    head: tuple[str, str]
    foot: tuple[str, ...]
    code: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TaggedPages:
    """Pages as reportlab wrote them, with the structure that archive.py adds."""

    content: bytes
    root: StructureElement
    marked: dict[int, list[StructureElement]]


def lay_out(story: Story, furniture: HeaderAndFooter, *, title: str, subject: str) -> TaggedPages:
    """The pages of a story. The same story gives the same bytes."""
    out = io.BytesIO()
    made: list[_Canvas] = []

    def canvas_of(*args: Any, **options: Any) -> _Canvas:
        made.append(_Canvas(*args, **options))
        return made[0]

    document = _Document(
        out, furniture, title=printable(title), subject=printable(subject), author=PRODUCER, creator=PRODUCER,
        producer=PRODUCER, invariant=1, lang=LANGUAGE, initialFontName=PLAIN, pageCompression=1, pagesize=style.PAGE,
    )  # fmt: skip
    document.build(story.flowables, canvasmaker=canvas_of)
    return TaggedPages(content=out.getvalue(), root=story.root, marked=made[0].marked)


class _Canvas(TaggedCanvas):
    def save(self) -> None:
        """For reportlab: how many pages there are is known now."""
        pages = self.getPageNumber() - 1  # a page that nothing was drawn on has begun by now
        self.beginForm("pages", 0, -3, 30, 12)
        self.setFillColor(style.QUIET)
        self.setFont(BOLD, 7.5)
        self.drawString(0, 0, str(pages))
        self.endForm()
        super().save()


class _Document(BaseDocTemplate):  # type: ignore[misc]  # reportlab has no types
    def __init__(self, out: io.BytesIO, furniture: HeaderAndFooter, **options: Any) -> None:
        super().__init__(out, **options)
        self._furniture = furniture
        width, height = style.PAGE
        frame = Frame(
            style.MARGIN, style.FOOT, style.WIDTH, height - style.TOP - style.FOOT,
            leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0,
        )  # fmt: skip
        self.addPageTemplates(PageTemplate("page", [frame], onPage=self._furnish, pagesize=(width, height)))

    def _furnish(self, canvas: TaggedCanvas, _document: Any) -> None:
        with canvas.tagged(None):
            canvas.saveState()
            self._draw_head(canvas)
            self._draw_foot(canvas)
            canvas.restoreState()

    def _draw_head(self, canvas: TaggedCanvas) -> None:
        y = style.PAGE[1] - 40
        left, right = self._furniture.head
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
        for i, line in enumerate(self._furniture.foot):
            canvas.drawString(style.MARGIN, 59 - 9.2 * i, printable(line))
        right = style.PAGE[0] - style.MARGIN
        if self._furniture.code:
            self._draw_code(canvas, right - QR_SIZE + 6, 12)
            right -= QR_SIZE
        canvas.setFont(BOLD, 7.5)
        canvas.drawRightString(right - 14, 59, f"Page {canvas.getPageNumber()} of")
        canvas.saveState()
        canvas.translate(right - 11.5, 59)
        canvas.doForm("pages")  # how many there are is known at the end
        canvas.restoreState()

    def _draw_code(self, canvas: TaggedCanvas, x: float, y: float) -> None:
        if canvas.getPageNumber() == 1:
            canvas.beginForm("code", 0, 0, QR_SIZE, QR_SIZE)
            qr.draw(canvas, self._furniture.code, 0, 0, QR_SIZE)
            canvas.endForm()
        canvas.saveState()
        canvas.translate(x, y)
        canvas.doForm("code")
        canvas.restoreState()
