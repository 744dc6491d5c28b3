"""From a story to pages: the frame, what stands on every page, and the bytes that reportlab writes."""

import io
from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from reels.domain.drawing import Picture
from reports.pdf import style
from reports.pdf.blocks import Block, NextPage
from reports.pdf.drawings import code_bars, draw_picture
from reports.pdf.fonts import BOLD, PLAIN, printable, register
from reports.pdf.story import Story
from reports.pdf.tags import StructureElement, TaggedCanvas
from reports.pdf.text import break_lines, draw_lines, width_of

PRODUCER = "Wrapledger"
LANGUAGE = "en-GB"
QR_SIZE = 66.0  # points: 23 mm
QUIET_ZONE = 5.0  # points around it: four modules of the largest code that is drawn


@dataclass(frozen=True, slots=True, kw_only=True)
class HeaderAndFooter:
    """What stands on every page.

    header: to the left and to the right at the top; footer: lines at the bottom; qr_text: what the QR code says.
    band: a line in a dashed frame below the header, for what does not stand any more; heard once.
    """

    header: tuple[str, str]
    footer: tuple[str, ...]
    qr_text: str = ""
    band: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TaggedPages:
    """Pages as reportlab wrote them, with the structure that pdfa.py adds."""

    content: bytes
    root: StructureElement
    marked: dict[int, list[StructureElement]]


def lay_out(story: Story, around: HeaderAndFooter, *, title: str, subject: str) -> TaggedPages:
    """The pages of a story. The same story gives the same bytes."""
    register()
    out = io.BytesIO()
    canvas = TaggedCanvas(  # invariant: no clock's time and no random id in the file
        out, pagesize=style.PAGE, invariant=1, lang=LANGUAGE, initialFontName=PLAIN, pageCompression=1,
    )  # fmt: skip
    canvas.setTitle(printable(title))
    canvas.setSubject(printable(subject))
    for put in (canvas.setAuthor, canvas.setCreator, canvas.setProducer):
        put(PRODUCER)
    band = StructureElement("P", repeats=True)
    if around.band:
        story.root.kids.insert(0, band)
    _Pages(canvas, around, band).place(story.blocks)
    canvas.save()
    return TaggedPages(content=out.getvalue(), root=story.root, marked=canvas.marked)


class _Pages:
    """Sets blocks onto pages. top: of what comes next; after: the room that the last block wants below it."""

    def __init__(self, canvas: TaggedCanvas, around: HeaderAndFooter, band: StructureElement) -> None:
        self._canvas, self._around, self._band = canvas, around, band

    def place(self, blocks: Sequence[Block]) -> None:
        self._begin_page()
        left = deque(blocks)
        while left:
            block = left.popleft()
            if isinstance(block, NextPage):
                if not (block.but_first and self._canvas.getPageNumber() > 1):
                    self._next_page()
                continue
            if not self._is_fresh and self._room(block) < _needed(block, left):
                self._next_page()
            if block.height > self._room(block) and (parts := block.part(self._room(block))):
                block = parts[0]
                left.appendleft(parts[1])
            self._set(block)
        self._draw_number_of_pages()

    def _room(self, block: Block) -> float:
        return self._top - self._gap(block) - style.FOOT

    def _gap(self, block: Block) -> float:
        return 0 if self._is_fresh else max(block.before, self._after)

    def _set(self, block: Block) -> None:
        self._top -= self._gap(block)
        block.draw(self._canvas, self._top)
        self._top -= block.height
        self._after, self._is_fresh = block.after, False

    def _next_page(self) -> None:
        self._canvas.showPage()
        self._begin_page()

    def _begin_page(self) -> None:
        self._draw_around(self._canvas)
        self._top, self._after, self._is_fresh = float(style.PAGE[1]) - style.TOP, 0.0, True
        if self._around.band:
            self._draw_band(self._canvas)

    def _draw_number_of_pages(self) -> None:
        """Into the form that every page refers to."""
        canvas = self._canvas
        canvas.beginForm("pages", 0, -3, 30, 12)
        canvas.setFillColor(style.QUIET)
        canvas.setFont(BOLD, 7.5)
        canvas.drawString(0, 0, str(canvas.getPageNumber()))
        canvas.endForm()

    def _draw_around(self, canvas: TaggedCanvas) -> None:
        with canvas.tagged(None):  # an artefact: a screen reader does not read it on every page
            canvas.saveState()
            self._draw_head(canvas)
            self._draw_foot(canvas)
            canvas.restoreState()

    def _draw_band(self, canvas: TaggedCanvas) -> None:
        """On every page; what does not fit in its line is said in full further down."""
        padding, look = style.BAND_BOX.padding, style.BAND
        width = style.WIDTH - 2 * padding
        line, *more = break_lines(printable(self._around.band), look, width)
        if more:
            line, *_ = break_lines(printable(self._around.band), look, width - width_of(" … (in full inside)", look))
            line = f"{line.rstrip()} … (in full inside)"
        height = look.leading + 2 * padding
        with canvas.tagged(None):
            style.BAND_BOX.draw(canvas, style.MARGIN, self._top - height, style.WIDTH, height)
        with canvas.tagged(self._band):
            draw_lines(canvas, [line], look, style.MARGIN + padding, self._top - padding, width)
        self._top -= height + 6

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
        canvas.doForm("pages")  # filled in when all pages are set
        canvas.restoreState()

    def _draw_code(self, canvas: TaggedCanvas, x: float, y: float) -> None:
        if canvas.getPageNumber() == 1:  # drawn once, and referred to by every page
            canvas.beginForm("code", 0, 0, QR_SIZE, QR_SIZE)
            shapes = tuple(code_bars(self._around.qr_text, QR_SIZE - 2 * QUIET_ZONE, x=QUIET_ZONE, y=QUIET_ZONE))
            draw_picture(
                canvas,
                Picture(width=QR_SIZE, height=QR_SIZE, text_size=0, title="", description="", shapes=shapes),
                0,
                0,
                1,
            )
            canvas.endForm()
        canvas.saveState()
        canvas.translate(x, y)
        canvas.doForm("code")
        canvas.restoreState()


def _needed(block: Block, following: Iterable[Block]) -> float:
    """How much room must be left for a block to begin on a page, with all that it stays with."""
    needed = block.least
    for each in following:
        if not block.keeps:
            break
        needed += block.height - block.least + max(block.after, each.before) + each.least
        block = each
    return needed
