"""Labels for reels: the code leads a phone to the reel's page, and fills in nothing anywhere."""

from collections.abc import Sequence
from datetime import datetime

from reels.domain.drawing import Look, Picture, Shape, Trace, Words
from reports.pdf import style
from reports.pdf.drawings import code_bars
from reports.pdf.facts import ReelLabel
from reports.pdf.pdfa import write_sheet
from reports.pdf.story import Story

WIDTH, HEIGHT = 240.0, 110.0  # points: two beside each other on A4, and the code is read at arm's length
CODE, MARGIN = 84.0, 13.0
ON_A_PAGE = 10


def label_sheet(labels: Sequence[ReelLabel], *, at: datetime) -> bytes:
    """An A4 sheet, or several, with these labels."""
    story = Story()
    story.heading("Label" if len(labels) == 1 else f"Labels of {len(labels)} reels", 1)
    story.paragraph(
        "The code leads to the reel's page. It is no proof of which reel this is: at a count the serial is read off "
        "the data plate, never off a label.",
        style.NOTE,
    )
    pictures = [_picture(each) for each in labels]
    for start in range(0, len(pictures), 2):
        if start and start % ON_A_PAGE == 0:
            story.next_page()
        story.figure(*pictures[start : start + 2])
        story.gap()
    return write_sheet(story, "Reel labels", ("Labels; not a record.",), at=at)


def _picture(label: ReelLabel) -> Picture:
    """The code of the address, and in print the serial with the type and part number."""
    lines = [label.reel_type, *([f"P/N {label.part_number}"] if label.part_number else [])]
    left = CODE + 2 * MARGIN
    shapes: tuple[Shape, ...] = (
        Trace(((1, 1), (WIDTH - 1, 1), (WIDTH - 1, HEIGHT - 1), (1, HEIGHT - 1)), Look.OUTLINE, closed=True),
        *code_bars(label.address, CODE, x=MARGIN, y=MARGIN),
        Words(left, HEIGHT - 42, label.serial, "start", bold=True),
        *(Words(left, HEIGHT - 58 - 14 * i, line, "start") for i, line in enumerate(lines)),
    )
    return Picture(
        width=WIDTH, height=HEIGHT, text_size=10, title=f"Label of reel {label.serial}", shapes=shapes,
        description=f"Label of reel {label.serial}, type {label.reel_type}, with a QR code of {label.address}.",
    )  # fmt: skip
