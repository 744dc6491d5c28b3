"""The monthly report on paper: the tables of its page. Drawn up on demand."""

from collections.abc import Sequence
from datetime import datetime

from reports.pdf import style, words
from reports.pdf.facts import ReportPart
from reports.pdf.pdfa import write_sheet
from reports.pdf.story import Story

TITLE = "Monthly report"


def monthly_sheet(parts: Sequence[ReportPart], *, about: str, at: datetime) -> bytes:
    """The document. about: which period of which sites; at: when it is drawn up."""
    drawn = f"Drawn up {words.time(at.isoformat())}."
    story = Story()
    story.heading(f"{TITLE}: {about}", 1)
    story.paragraph(drawn, style.NOTE)
    for part in parts:
        story.heading(part.title, 2)
        if part.says:
            story.paragraph(part.says, style.NOTE)
        rows = [(line.head, *(cell for _, cell in line.cells)) for line in part.lines]
        if rows:
            story.table(part.columns, rows, part.shares)
        elif part.none:
            story.paragraph(part.none)
    foot = (f"{about}. {drawn}", "From the records of the service; not a record itself.", "")
    return write_sheet(story, TITLE, foot, at=at, subject=f"{TITLE}, {about}")
