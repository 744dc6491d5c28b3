"""Repeatability as a document: the figures of the page, what they may be used for, and how they are worked out."""

from collections.abc import Sequence
from datetime import datetime

from reports.domain.agreement import COMPARISON_WORDS, Agreement, Table
from reports.domain.agreement import words as sentences
from reports.domain.agreement.figure import difference_figure
from reports.pdf import style, words
from reports.pdf.pdfa import write_sheet
from reports.pdf.story import Story

TITLE = "Repeatability"
FIGURE_HEIGHT = 270.0


def agreement_sheet(agreement: Agreement, filters: Sequence[tuple[str, str]], *, at: datetime) -> bytes:
    """The document. filters: what the counts were chosen by; at: when."""
    story = Story()
    story.heading(f"{TITLE}: {COMPARISON_WORDS[agreement.comparison]}", 1)
    story.paragraph(f"As of {words.time(at.isoformat())}. In wraps, the first less the second.", style.NOTE)
    story.paragraph(
        "Not to be used to rank, reward or blame people; the last page says what it may be used for.", style.BANNER
    )
    story.notes([("Filters", "; ".join(f"{name} {value}" for name, value in filters) or "none")])
    summary = sentences.finding(agreement)
    story.paragraph(summary)
    if agreement.differences.bias:
        pairs = [(pair.first, pair.second) for pair in agreement.pairs]
        story.figure(
            difference_figure(pairs, agreement.differences, summary, width=style.WIDTH, height=FIGURE_HEIGHT)
        )  # fmt: skip
    story.heading("All pairs", 2)
    story.notes(sentences.facts(agreement))
    _points(story, agreement)
    for table in agreement.tables:
        _groups(story, table)
    _uses(story)
    foot = (f"As of {words.time(at.isoformat())}", "From the records of the service; not a record itself.", "")
    return write_sheet(story, TITLE, foot, at=at)


def _points(story: Story, agreement: Agreement) -> None:
    story.heading("Technician against verifier, at each hold point", 2)
    rows = [
        (words.POINTS[row.point], sentences.share_in_words(row.share), sentences.kappa_in_words(row.kappa),
         sentences.SAMPLE_WORDS[row.share.sample])
        for row in agreement.points
    ]  # fmt: skip
    story.table(("Hold point", "Equal (95 %)", "Kappa of side, face or half", "Sample"), rows, (1.2, 1.6, 2, 1.6))


def _groups(story: Story, table: Table) -> None:
    story.heading(f"By {sentences.GROUPING_WORDS[table.grouping].lower()}", 2)
    rows = [
        (row.name, sentences.share_in_words(row.share), sentences.estimate_in_words(row.differences.bias),
         sentences.limits_in_words(row), sentences.verdict_in_words(row), sentences.SAMPLE_WORDS[row.share.sample])
        for row in table.rows
    ]  # fmt: skip
    head = (sentences.GROUPING_WORDS[table.grouping], "Equal (95 %)", "Bias (95 %)", "Limits", "Compared with the rest",
            "Sample")  # fmt: skip
    if rows:
        story.table(head, rows, (1, 1.35, 1.25, 1.05, 1.7, 1.2))
    if unnamed := sentences.unnamed_in_words(table):
        story.paragraph(unnamed, style.NOTE)
    elif not rows:
        story.paragraph("No pair.", style.NOTE)


def _uses(story: Story) -> None:
    for title, lines in (
        ("What this may be used for", sentences.MAY), ("What it may not be used for", sentences.MAY_NOT),
        ("How it is worked out", sentences.HOW),
    ):  # fmt: skip
        story.heading(title, 2)
        for line in lines:
            story.paragraph(f"• {line}")
