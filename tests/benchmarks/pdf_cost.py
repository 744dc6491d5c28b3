"""What a document costs: `python -m tests.benchmarks.pdf_cost [HOW MANY]`.

The bare document beside it is plain reportlab with the same fonts: as many table cells and paragraphs with the same
texts, and as many drawing shapes; no tags, bookmarks, page furniture, QR code or archival parts. Asked for: pages cost
at most 2 times as much before sealing, and a thousand of them in bounded memory. Processor time of one process.
"""

import io
import resource
import statistics
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any
from xml.sax.saxutils import escape

from reportlab.graphics.shapes import Circle, Drawing
from reportlab.lib.colors import black, white
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.platypus import Paragraph, SimpleDocTemplate, Table

from reports.pdf.blocks import Block, Figures, TableBlock, TextBlock
from reports.pdf.fonts import PLAIN
from reports.pdf.seal import check_seal, seal_document
from reports.pdf.seal_keys import new_key
from reports.pdf.sheets.inspection import inspection_pdf, render_inspection, story_of
from tests.reports.pdf.sample_facts import facts

ROUNDS = 25
HOW_MANY = 1000
TEXT = ParagraphStyle("text", fontName=PLAIN, fontSize=8, leading=10.9)
NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def texts_of(block: Block) -> Any:
    """What a bare document shows of a block: the number of a drawing's shapes, rows of cells, or a paragraph."""
    if isinstance(block, Figures):
        return sum(len(picture.shapes) for picture, _ in block.pictures)
    if isinstance(block, TableBlock):
        return block.widths, [["".join(cell.lines) for cell in row.cells] for row in block.rows]
    return "".join(block.lines) if isinstance(block, TextBlock) else ""


def _bare(each: Any) -> Any:
    if isinstance(each, int):
        return _drawing(each)
    if isinstance(each, tuple):
        widths, texts = each
        rows = [[_cell(*pair) for pair in zip(row, widths, strict=True)] for row in texts]
        return Table(rows, colWidths=widths, style=[("FONT", (0, 0), (-1, -1), PLAIN, 8, 10.9)])
    return Paragraph(escape(each), TEXT)


def _cell(text: str, width: float) -> Any:
    """A paragraph only where one line does not hold it, as somebody who minds the cost would."""
    return text if stringWidth(text, PLAIN, 8) <= width - 12 else Paragraph(escape(text), TEXT)


def _drawing(shapes: int) -> Drawing:
    drawing = Drawing(150, 150)
    for i in range(shapes):
        drawing.add(Circle(i % 30 * 5, i // 30 * 5, 2, fillColor=white, strokeColor=black, strokeWidth=0.4))
    return drawing


def build_bare(texts: list[Any]) -> int:
    out = io.BytesIO()
    document = SimpleDocTemplate(out, invariant=1, initialFontName=PLAIN, pageCompression=1)
    document.build([_bare(each) for each in texts])
    return len(out.getvalue())


def milliseconds(action: Callable[[], object]) -> float:
    """Processor time of one call, the median of several."""
    action()
    times = []
    for _ in range(ROUNDS):
        begun = time.process_time()
        action()
        times.append((time.process_time() - begun) * 1000)
    return statistics.median(times)


def main(how_many: int) -> None:
    key, content = new_key(name="Benchmark", at=NOW), inspection_pdf(facts())
    whole = seal_document(content, key, at=NOW)
    texts = [texts_of(each) for each in story_of(facts()).blocks]  # outside of the clock
    plain, pages = milliseconds(lambda: build_bare(texts)), milliseconds(lambda: render_inspection(facts()))
    say = sys.stdout.write
    say(f"bare document       {plain:7.1f} ms\n")
    say(f"pages of a record   {pages:7.1f} ms, {pages / plain:.2f} times the bare one (asked for: at most 2)\n")
    whole_cost = milliseconds(lambda: seal_document(inspection_pdf(facts()), key, at=NOW))
    say(f"archival, validated {milliseconds(lambda: inspection_pdf(facts())):7.1f} ms with the pages\n")
    say(f"and sealed          {whole_cost:7.1f} ms, {whole_cost / plain:.2f} times the bare one\n")
    say(f"seal                {milliseconds(lambda: seal_document(content, key, at=NOW)):7.1f} ms\n")
    say(f"check of a seal     {milliseconds(lambda: check_seal(whole)):7.1f} ms\n")
    say(f"size                {len(whole):7d} bytes\n")
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    for _ in range(how_many):
        seal_document(inspection_pdf(facts()), key, at=NOW)
    after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    say(f"{how_many} sealed documents: peak memory grew from {before // 1024} to {after // 1024} MiB\n")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else HOW_MANY)
