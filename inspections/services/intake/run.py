"""An import under way: what it is allowed, what it has found, and what it has stored so far."""

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime

from inspections.domain.intake.files import CABLE_EVENTS, EVENTS, FORMS, FileProblem, FileRow, read_row
from inspections.domain.intake.rules import SortedRows, TypeFacts
from inspections.services.intake.staging import Staged, Staging
from reels.domain.words import ReelEventKind
from reels.models import ReelType, Site
from reels.services.history import Actor

ACT = "records_imported"
MOST_PROBLEMS = 1000  # kept to be told; the rest is counted

_FORM_OF = {form.file: form for form in FORMS}


@dataclass(slots=True, kw_only=True)
class ImportRun:
    """site_lines: where the files first name each site. sites, types, facts: by the name in the files.

    rows: that could be read, beside unreadable ones. most_problems: how many are kept to be told; all are counted, by
    reason and by row (wrong_rows).
    broken_rows: file and key of rows that other rows may be about.
    unread_files: those that could not be read to their end. stays: of new installations the machine, from when to when,
    and the reel.
    """

    actor: Actor
    at: datetime
    is_dry_run: bool
    progress: Callable[[str], None]
    staging: Staging
    most_problems: int = MOST_PROBLEMS
    problems: list[FileProblem] = field(default_factory=list)
    total: int = 0
    rows: int = 0
    unreadable: int = 0
    reasons: Counter[tuple[str, str | None, str]] = field(default_factory=Counter)
    wrong_rows: set[tuple[str, int]] = field(default_factory=set)
    stored: Counter[str] = field(default_factory=Counter)
    already: Counter[str] = field(default_factory=Counter)
    site_lines: dict[str, int] = field(default_factory=dict)
    sites: dict[str, Site] = field(default_factory=dict)
    new_sites: list[Site] = field(default_factory=list)
    types: dict[str, ReelType] = field(default_factory=dict)
    facts: dict[str, TypeFacts] = field(default_factory=dict)
    broken_rows: set[tuple[str, str]] = field(default_factory=set)
    unread_files: set[str] = field(default_factory=set)
    stays: set[tuple[str, datetime, datetime, str]] = field(default_factory=set)

    @property
    def is_writing(self) -> bool:
        """Whether anything is still to be stored: not in a dry run, and not once there is a problem."""
        return not self.is_dry_run and not self.total

    def report(self, problems: Iterable[FileProblem]) -> bool:
        """Keep problems; whether there was any."""
        before = self.total
        for each in problems:
            self.total += 1
            self.reasons[each.file, each.column, each.allowed] += 1
            if each.line and each.line > 1:  # not the heading
                self.wrong_rows.add((each.file, each.line))
            if len(self.problems) < self.most_problems:
                self.problems.append(each)
        return self.total > before

    @property
    def right(self) -> int:
        """The new rows in which nothing is wrong."""
        return self.rows - self.already.total() - (len(self.wrong_rows) - self.unreadable)

    def take_new(self, file: str, rows: SortedRows) -> list[FileRow]:
        """The new rows among sorted ones; the others are counted or told of."""
        self.report(rows.problems)
        self.already[file] += rows.already
        self.stored[file] += len(rows.new)
        return rows.new

    def is_reported(self, file: str, key: str) -> bool:
        """Whether it was told already why a row that others are about is missing."""
        return file in self.unread_files or (file, key) in self.broken_rows


def row_of(staged: Staged) -> FileRow:
    """A staged row with its cells read; they could be read before."""
    file, line, cells = staged
    row = read_row(_FORM_OF[file], line, cells)
    assert isinstance(row, FileRow), "only rows that could be read are staged"
    if file in (CABLE_EVENTS.file, EVENTS.file) and row.values["recorded_at"] is None:
        row.values["recorded_at"] = row.values["happened_at"]
    if row.values.get("kind") == ReelEventKind.USED and row.values.get("uses") is None:
        row.values["uses"] = 1
    return row
