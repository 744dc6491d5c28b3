"""The drift report on paper: the fleet's intervals, and one reel's evidence with its figure. Drawn up on demand."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from reels.domain.drawing import Picture
from reels.domain.words import counted
from reports.domain.recount_words import percent
from reports.pdf import style, words
from reports.pdf.facts import DriftLine
from reports.pdf.pdfa import write_sheet
from reports.pdf.story import Story

HEADER = ("Between", "Unlogged loss", "When counted", "Count moved", "Logged", "Explanation")
SHARES = (0.9, 0.85, 0.75, 0.75, 0.75, 3.2)
COMPACT = ("Between", "When counted", "Count moved", "Logged")
COMPACT_SHARES = (1.6, 0.9, 0.9, 0.9)
QUIET = percent(0.0)  # of these there is nothing to say but the figures
HOW_TO_READ = (
    "“Unlogged loss” is the probability of one, given everything on record; “when counted” is what it was on the day "
    "of the later count. Flags are chosen over the whole fleet, so that at most one in twenty is expected to be false. "
    "A flag is a reason to investigate, not proof. Days are in UTC."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CourseSheet:
    """One reel's evidence. counts: rows of when, count, length counted, inferred, slip. clocks: of its site."""

    reel: str
    finding: str
    picture: Picture | None
    lines: Sequence[DriftLine]
    counts: Sequence[tuple[datetime, str, str, str, str]]
    cuts: Sequence[tuple[datetime, str]]
    clocks: str = "UTC"


def fleet_drift(lines: Sequence[DriftLine], *, filters: str, left_out: str, as_of: str, at: datetime) -> bytes:
    """The fleet's intervals, most probable first.

    filters: what was asked for; left_out: how many more there are, in words, or ""; as_of: a day, or "" for today.
    """
    story = Story()
    story.heading("Drift report", 1)
    story.paragraph(f"{_when(as_of, at)} {filters}", style.NOTE)
    story.paragraph(HOW_TO_READ, style.NOTE)
    telling, quiet = _by_weight(lines)
    if telling:
        story.table(("Reel", *HEADER), [(each.reel, *_row(each)) for each in telling], (0.7, *SHARES))
    if quiet:
        story.heading(f"With a probability {QUIET}: {counted(len(quiet), 'interval')}", 2)
        story.table(("Reel", *COMPACT), [(each.reel, *_short(each)) for each in quiet], (0.8, *COMPACT_SHARES))
    if not lines:
        story.paragraph("There is no interval to show.")
    if left_out:
        story.paragraph(f"{left_out} less probable intervals are not shown. The CSV file of the report has them all.")
    return write_sheet(story, "Drift report", (_when(as_of, at), "All times are UTC."), at=at)


def reel_drift(sheet: CourseSheet, *, as_of: str, at: datetime) -> bytes:
    """One reel's evidence, newest first."""
    with words.by_clocks(sheet.clocks):
        return _reel_drift(sheet, as_of, at)


def _reel_drift(sheet: CourseSheet, as_of: str, at: datetime) -> bytes:
    story = Story()
    story.heading(f"Drift of reel {sheet.reel}", 1)
    story.paragraph(_when(as_of, at), style.NOTE)
    story.paragraph(sheet.finding, style.BANNER)
    if sheet.picture:
        story.figure(sheet.picture)
    story.paragraph(HOW_TO_READ, style.NOTE)
    telling, quiet = _by_weight(sheet.lines)
    if telling:
        story.heading("Between counts", 2)
        story.table(HEADER, [_row(each) for each in telling], SHARES)
    if quiet:
        story.heading(f"Between counts, with a probability {QUIET}", 2)
        story.table(COMPACT, [_short(each) for each in quiet], COMPACT_SHARES)
    if sheet.counts:
        story.heading("Counts", 2)
        header = ("Counted", "Count", "Length counted", "Length inferred", "Probably a slip")
        story.table(header, [(words.time(f"{at}"), *more) for at, *more in sheet.counts], (1.2, 1.5, 1.1, 0.9, 1.4))
    story.heading("Logged cuts", 2)
    if sheet.cuts:
        story.table(("Happened", "Removed"), [(words.time(f"{at}"), length) for at, length in sheet.cuts], (1, 1))
    else:
        story.paragraph("No cut is logged.")
    return write_sheet(story, f"Drift, reel {sheet.reel}", (f"Reel {sheet.reel}", _when(as_of, at)), at=at)


def _when(as_of: str, at: datetime) -> str:
    drawn = f"Drawn up {words.time(at.isoformat())}."
    return f"As of the end of {as_of}: only what was recorded by then. {drawn}" if as_of else drawn


def _by_weight(lines: Sequence[DriftLine]) -> tuple[list[DriftLine], list[DriftLine]]:
    """Those that are worth a sentence, and the rest."""
    quiet = [each for each in lines if each.p == QUIET and not each.is_flagged]
    return [each for each in lines if each not in quiet], quiet


def _short(each: DriftLine) -> tuple[str, ...]:
    return (f"{each.from_at:%Y-%m-%d} to {each.to_at:%Y-%m-%d}", each.p_then, each.change, each.logged)


def _row(each: DriftLine) -> tuple[str, ...]:
    between = f"{each.from_at:%Y-%m-%d}\n{each.to_at:%Y-%m-%d}"
    return (between, f"{each.p}\nFLAGGED" if each.is_flagged else each.p, each.p_then, each.change, each.logged,
            each.explanation)  # fmt: skip
