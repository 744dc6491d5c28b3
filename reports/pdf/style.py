"""How documents look: one palette, one set of looks for text, one page."""

from dataclasses import dataclass
from typing import Any

from reportlab.lib.colors import Color, HexColor, white
from reportlab.lib.pagesizes import A4

from reels.domain.drawing import Look

PAGE = A4
MARGIN = 48.0
TOP = 62.0  # down to the text; the header stands above it
FOOT = 84.0  # up to the text; the footer's lines and the QR code stand below it
WIDTH = PAGE[0] - 2 * MARGIN

# As on the pages: reels/static/reels/wrapledger.css.
INK = HexColor("#1b242b")
QUIET = HexColor("#515c66")
RULE = HexColor("#d6cfc2")
PALE = HexColor("#f4f1ea")
ACCENT = HexColor("#0c5566")
WARNING = HexColor("#6f4400")
WARNING_PALE = HexColor("#fbeccd")


@dataclass(frozen=True, slots=True, kw_only=True)
class TextLook:
    """How a text is set. size in points; before, after: the room around it; keeps: it stays with what follows."""

    size: float
    bold: bool = False
    colour: Color = INK
    struck: bool = False
    before: float = 0
    after: float = 0
    keeps: bool = False

    @property
    def leading(self) -> float:
        return self.size * 1.36


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A frame around a block. dash: lengths of its dashes and gaps."""

    line: Color
    fill: Color | None = None
    width: float = 0.6
    padding: float = 6
    dash: tuple[float, float] | None = None

    def draw(self, canvas: Any, x: float, y: float, width: float, height: float) -> None:
        canvas.saveState()
        if self.dash:
            canvas.setDash(*self.dash)
        if self.fill:
            canvas.setFillColor(self.fill)
        canvas.setStrokeColor(self.line)
        canvas.setLineWidth(self.width)
        canvas.rect(x, y, width, height, stroke=1, fill=int(self.fill is not None))
        canvas.restoreState()


TITLE = TextLook(size=17, bold=True, after=2, keeps=True)
HEADINGS = {
    1: TITLE,
    2: TextLook(size=11.5, bold=True, colour=ACCENT, before=12, after=4, keeps=True),
    3: TextLook(size=9.5, bold=True, before=7, after=3, keeps=True),
}
ISSUER = TextLook(size=9, bold=True, colour=QUIET, after=1)
PART = TextLook(size=8.5, bold=True, before=5, after=2, keeps=True)  # within a part of an annex
BODY = TextLook(size=8.5, after=3)
NOTE = TextLook(size=7.5, colour=QUIET, after=3)
CAPTION = TextLook(size=7.5, colour=QUIET, after=3, keeps=True)  # above a table
BANNER = TextLook(size=8.5, colour=WARNING, before=8, after=9)
BOXES = {BANNER: Box(line=WARNING, fill=WARNING_PALE)}  # around paragraphs of a look
CELL = TextLook(size=8)
CELL_HEAD = TextLook(size=8, bold=True)
RESULT_NAME = TextLook(size=10, bold=True)
RESULT = TextLook(size=34, bold=True)
RESULT_BOX = Box(line=ACCENT, fill=PALE, width=1.2)
STRUCK_NAME = TextLook(size=10, bold=True, colour=QUIET)
STRUCK = TextLook(size=34, bold=True, colour=QUIET, struck=True)
STRUCK_BOX = Box(line=INK, width=1.2, dash=(4, 3))
BAND = TextLook(size=8.5, bold=True)
BAND_BOX = Box(line=INK, width=0.9, padding=3.5, dash=(4, 3))


@dataclass(frozen=True, slots=True)
class Paint:
    fill: Color | None
    line: Color | None
    width: float = 0.6


PALETTE = {
    Look.CORE: Paint(HexColor("#8b979e"), HexColor("#5c6a72")),
    Look.FLANGE: Paint(HexColor("#8b979e"), HexColor("#5c6a72")),
    Look.WRAP: Paint(HexColor("#dbe7ea"), HexColor("#4d6f78"), 0.4),
    Look.PART_WRAP: Paint(ACCENT, HexColor("#0c4a57"), 0.5),
    Look.TAKEN_OFF: Paint(white, WARNING, 0.7),
    Look.SCALE_LINE: Paint(None, INK, 0.8),
    Look.ARC: Paint(None, HexColor("#b07800"), 2.4),
    Look.CROSSOVER: Paint(None, ACCENT, 3),
    Look.OUTLINE: Paint(None, INK, 0.8),
    Look.MARK: Paint(INK, INK, 0.6),
    Look.CODE: Paint(HexColor("#000000"), None),
    Look.BAND: Paint(HexColor("#dbe7ea"), None),
    Look.GRID: Paint(None, RULE, 0.5),
    Look.TEXT: Paint(INK, None),
}
