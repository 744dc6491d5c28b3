"""A drawing for a document: reels/domain/drawing.py in reportlab's shapes."""

from typing import Any, assert_never

from reportlab.graphics import shapes

from reels.domain.drawing import Bar, Disc, Picture, Shape, Trace, Words
from reports.pdf.fonts import BOLD, PLAIN, printable
from reports.pdf.style import INK, PALETTE


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
            fillColor=INK,
        )  # fmt: skip
    paint = PALETTE[shape.look]
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
