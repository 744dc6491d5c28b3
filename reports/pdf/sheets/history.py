"""A reel's history on paper, drawn up on demand and not kept."""

from collections.abc import Sequence
from datetime import datetime

from reels.domain.words import counted
from reports.pdf import style, words
from reports.pdf.facts import HistoryLine
from reports.pdf.pdfa import write_sheet
from reports.pdf.story import Story


def reel_history(serial: str, facts: Sequence[tuple[str, str]], lines: Sequence[HistoryLine], *, at: datetime,
                 clocks: str = "UTC") -> bytes:  # fmt: skip
    """What happened to a reel, in order. The last digest covers all of it. clocks: the zone of its site."""
    with words.by_clocks(clocks):
        return _history(serial, facts, lines, at)


def _history(serial: str, facts: Sequence[tuple[str, str]], lines: Sequence[HistoryLine], at: datetime) -> bytes:
    story = Story()
    story.heading(f"History of reel {serial}", 1)
    how_many = counted(len(lines), "entry", "entries")
    story.paragraph(f"{how_many}, as of {words.time(at.isoformat())}.", style.NOTE)
    story.facts(facts)
    story.table(
        ("No.", "When", "What", "By", "SHA-256 begins"),
        [(f"{each.seq}", words.time(each.at.isoformat()), each.act, each.by, each.digest[:16]) for each in lines],
        (0.4, 1.2, 2.2, 1.1, 1.1),
    )
    story.paragraph(
        "Each entry contains the digest of the entry before it, so that the last digest covers the whole history.",
        style.NOTE,
    )
    footer = (f"Reel {serial}", "SHA-256 of the last entry:", lines[-1].digest if lines else "—")
    return write_sheet(story, f"History of reel {serial}", footer, at=at)
