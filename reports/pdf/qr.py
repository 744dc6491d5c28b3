"""A QR code as one filled path."""

import segno
from reportlab.pdfgen.canvas import Canvas

QUIET = 4  # modules of white around it


def draw(canvas: Canvas, text: str, x: float, y: float, size: float) -> None:
    """Draw the code into a square of a size in points, its quiet zone included."""
    matrix = [list(row) for row in segno.make(text, micro=False, error="m").matrix]
    module = size / (len(matrix) + 2 * QUIET)
    path = canvas.beginPath()
    for i, row in enumerate(matrix):
        top = y + size - (QUIET + i + 1) * module
        for start, length in _runs(row):
            path.rect(x + (QUIET + start) * module, top, length * module, module)
    canvas.saveState()
    canvas.setFillColorRGB(0, 0, 0)
    canvas.drawPath(path, stroke=0, fill=1)
    canvas.restoreState()


def _runs(row: list[int]) -> list[tuple[int, int]]:
    """Where dark modules begin in a row, and how many follow each other."""
    runs: list[tuple[int, int]] = []
    for j, dark in enumerate(row):
        if dark and runs and sum(runs[-1]) == j:
            runs[-1] = (runs[-1][0], runs[-1][1] + 1)
        elif dark:
            runs.append((j, 1))
    return runs
