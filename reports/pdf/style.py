"""How documents look: one palette, one set of paragraph styles, one page."""

from dataclasses import dataclass

from reportlab.lib.colors import Color, HexColor, white
from reportlab.lib.enums import TA_LEFT
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle

from reels.domain.drawing import Look
from reports.pdf.fonts import BOLD, PLAIN, register

register()  # a paragraph style looks its font up when it is made

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


def _style(name: str, size: float, **more: object) -> ParagraphStyle:
    basic = {"fontName": PLAIN, "fontSize": size, "leading": size * 1.36, "textColor": INK, "alignment": TA_LEFT}
    return ParagraphStyle(name, **{**basic, "splitLongWords": 1, **more})  # digests have no place to break


TITLE = _style("title", 17, fontName=BOLD, spaceAfter=2)
HEADINGS = {
    1: TITLE,
    2: _style("section", 11.5, fontName=BOLD, textColor=ACCENT, spaceBefore=12, spaceAfter=4, keepWithNext=1),
    3: _style("part", 9.5, fontName=BOLD, spaceBefore=7, spaceAfter=3, keepWithNext=1),
}
BODY = _style("body", 8.5, spaceAfter=3)
NOTE = _style("note", 7.5, textColor=QUIET, spaceAfter=3)
BANNER = _style(
    "banner", 8.5, textColor=WARNING, backColor=WARNING_PALE, borderColor=WARNING, borderWidth=0.6,
    borderPadding=(5, 6, 6, 6), spaceBefore=8, spaceAfter=9,
)  # fmt: skip
STRUCK = _style("struck", 11, textColor=QUIET)
CELL = _style("cell", 8)
CELL_HEAD = _style("head", 8, fontName=BOLD)


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
    Look.BAND: Paint(HexColor("#dbe7ea"), None),
    Look.GRID: Paint(None, RULE, 0.5),
    Look.TEXT: Paint(INK, None),
}
