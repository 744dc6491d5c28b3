"""Repeatability as a document: the figures of the page, what they may be used for, and how they are worked out."""

from collections.abc import Sequence
from datetime import datetime

from reports.domain.agreement import COMPARISON_WORDS, Agreement, Table
from reports.domain.agreement import words as said
from reports.domain.agreement.figure import difference_figure
from reports.pdf import style, words
from reports.pdf.flowables import Story
from reports.pdf.pdfa import write_sheet

TITLE = "Repeatability"
FIGURE_HEIGHT = 270.0


def agreement_sheet(found: Agreement, filters: Sequence[tuple[str, str]], *, at: datetime) -> bytes:
    """The document. filters: what the counts were chosen by; at: when."""
    story = Story()
    story.heading(f"{TITLE}: {COMPARISON_WORDS[found.comparison]}", 1)
    story.paragraph(f"As of {words.time(at.isoformat())} UTC. In wraps, the first less the second.", style.NOTE)
    story.paragraph(
        "Not to be used to rank people, to reward or to blame them; the last page says what for.", style.BANNER
    )
    story.notes(
        [("Counts chosen by", "; ".join(f"{name} {value}" for name, value in filters) or "none of the filters")]
    )
    finding = said.finding(found)
    story.paragraph(finding)
    if found.differences.bias:
        pairs = [(pair.first, pair.second) for pair in found.pairs]
        story.figure(
            difference_figure(pairs, found.differences, finding, width=style.WIDTH, height=FIGURE_HEIGHT)
        )  # fmt: skip
    story.heading("All pairs", 2)
    story.notes(said.facts(found))
    _points(story, found)
    for table in found.tables:
        _groups(story, table)
    _uses(story)
    foot = (f"As of {words.time(at.isoformat())} UTC", "From the records of the service; not a record itself.", "")
    return write_sheet(story, TITLE, foot, at=at)


def _points(story: Story, found: Agreement) -> None:
    story.heading("Technician against verifier, at each hold point", 2)
    rows = [
        (words.POINTS[row.point], said.share_in_words(row.share), said.kappa_in_words(row.kappa),
         said.SAMPLE_WORDS[row.share.sample])
        for row in found.points
    ]  # fmt: skip
    story.table(("Hold point", "The same (95 %)", "Kappa of face or half", "To be trusted"), rows, (1.2, 1.6, 2, 1.6))


def _groups(story: Story, table: Table) -> None:
    story.heading(f"By {said.GROUPING_WORDS[table.grouping].lower()}", 2)
    rows = [
        (row.name, said.share_in_words(row.share), said.estimate_in_words(row.differences.bias),
         said.limits_in_words(row), said.verdict_in_words(row), said.SAMPLE_WORDS[row.share.sample])
        for row in table.rows
    ]  # fmt: skip
    head = (said.GROUPING_WORDS[table.grouping], "Equal (95 %)", "Bias (95 %)", "Limits", "Beside the rest", "Sample")
    if rows:
        story.table(head, rows, (1, 1.35, 1.25, 1.05, 1.7, 1.2))
    if unnamed := said.unnamed_in_words(table):
        story.paragraph(unnamed, style.NOTE)
    elif not rows:
        story.paragraph("No pair.", style.NOTE)


def _uses(story: Story) -> None:
    for title, lines in (
        ("What this may be used for", said.MAY), ("What it may not be used for", said.MAY_NOT),
        ("How it is worked out", said.HOW),
    ):  # fmt: skip
        story.heading(title, 2)
        for line in lines:
            story.paragraph(f"• {line}")
