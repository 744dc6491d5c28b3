"""Drawings on paper: reels/domain/drawing.py by reportlab's canvas."""

from typing import assert_never

import segno

from reels.domain.drawing import Bar, Disc, Look, Picture, Shape, Trace, Words
from reports.pdf import style
from reports.pdf.fonts import printable
from reports.pdf.style import TextLook
from reports.pdf.tags import TaggedCanvas
from reports.pdf.text import draw_lines, width_of

ANCHORS = {"start": 0.0, "middle": 0.5, "end": 1.0}


def draw_picture(canvas: TaggedCanvas, picture: Picture, x: float, y: float, scale: float) -> None:
    """Draw a picture with its lower left corner at a place."""
    canvas.saveState()
    canvas.translate(x, y)
    canvas.scale(scale, scale)
    for shape in picture.shapes:
        _draw(canvas, shape, picture.text_size)
    canvas.restoreState()


def _draw(canvas: TaggedCanvas, shape: Shape, text_size: float) -> None:
    if isinstance(shape, Words):
        look = TextLook(size=text_size, bold=shape.bold)
        text = printable(shape.text)
        left = shape.x - ANCHORS[shape.anchor] * width_of(text, look)
        draw_lines(canvas, [text], look, left, shape.y + (look.leading - look.size) / 2 + 0.8 * look.size, 0)
        return
    paint = style.PALETTE[shape.look]
    if paint.fill:
        canvas.setFillColor(paint.fill)
    if paint.line:
        canvas.setStrokeColor(paint.line)
        canvas.setLineWidth(paint.width)
    painted = {"fill": int(paint.fill is not None), "stroke": int(paint.line is not None)}
    match shape:
        case Disc():
            canvas.circle(shape.x, shape.y, shape.radius, **painted)
        case Bar():
            canvas.rect(shape.x, shape.y, shape.width, shape.height, **painted)
        case Trace():
            _draw_trace(canvas, shape, painted)
        case _:
            assert_never(shape)


def _draw_trace(canvas: TaggedCanvas, trace: Trace, painted: dict[str, int]) -> None:
    path = canvas.beginPath()
    path.moveTo(*trace.points[0])
    for point in trace.points[1:]:
        path.lineTo(*point)
    if trace.closed:
        path.close()
        canvas.drawPath(path, **painted)
        return
    if trace.dashed:
        canvas.setDash(3, 2)
    canvas.drawPath(path, fill=0, stroke=1)
    if trace.dashed:
        canvas.setDash()


def code_bars(text: str, size: float, *, x: float = 0, y: float = 0) -> list[Bar]:
    """A QR code of a size with its lower left corner at a place, without its quiet zone of four modules.

    The dark modules, runs of a row in one, so that no hairline shows between them.
    """
    rows = segno.make(text, error="m", micro=False).matrix
    module = size / len(rows)
    bars = []
    for i, row in enumerate(rows):
        start = 0
        for end in range(1, len(row) + 1):
            if end == len(row) or row[end] != row[start]:
                if row[start]:
                    top = y + size - (i + 1) * module
                    bars.append(Bar(x + start * module, top, (end - start) * module, module, Look.CODE))
                start = end
    return bars
