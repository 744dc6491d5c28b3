"""The CSV files that bring older records in: their columns, what each cell may hold, and what is wrong with a row.

Lines of text go in, rows and problems come out; nobody here knows where the lines came from. A cell is taken as it
stands, spaces around it aside. Lengths keep three decimals, as the records do.
"""

import csv
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from reels.domain.life import LIMIT_NAMES
from reels.domain.text import character_not_taken
from reels.domain.words import (
    SERIAL,
    SERIAL_IN_WORDS,
    CountEffect,
    LinePlace,
    Parity,
    ReelEventKind,
    Side,
    UnusualRule,
    WindingSense,
)

MOST_OF_SMALL = 32_767  # what a small whole number of the records can hold
MOST_OF_LENGTH = Decimal(1_000_000)
PLACES = Decimal("0.001")

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_WHOLE = re.compile(r"\d{1,9}", re.ASCII)
_DAY = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
_MOMENT = re.compile(r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d:\d\d(\.\d+)?([Zz]|[+-]\d\d:\d\d)", re.ASCII)
_SLUG = re.compile(r"[A-Za-z0-9_-]{1,30}", re.ASCII)


class CellRefused(ValueError):
    """A cell that can't be taken; the message says what is allowed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FileProblem:
    """One thing that is wrong: where, what was seen, what is allowed. line: None for a whole file; column: or row."""

    file: str
    line: int | None
    column: str | None
    seen: str
    allowed: str

    def __str__(self) -> str:
        where = [self.file, self.line and f"line {self.line}", self.column and f"column {self.column}"]
        return f"{', '.join(part for part in where if part)}: {self.seen}; allowed: {self.allowed}"


@dataclass(frozen=True, slots=True, kw_only=True)
class FileRow:
    """One row whose every cell could be taken. values: by column; a wanted column that is absent is left out."""

    file: str
    line: int
    values: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Column:
    """A column: how its cell is read, whether the cell may be empty, and whether the header must have it."""

    name: str
    read: Callable[[str], Any]
    may_be_empty: bool = False
    is_required: bool = True


@dataclass(frozen=True, slots=True)
class FileForm:
    """One of the files: its name and its columns, in any order."""

    file: str
    columns: tuple[Column, ...]


# Cells --------------------------------------------------------------------------------------------------------------


def text(most: int) -> Callable[[str], str]:
    """A cell of words, so many characters at most."""

    def read(cell: str) -> str:
        if len(cell) > most:
            raise CellRefused(f"up to {most} characters on one line")
        if seen := character_not_taken(cell, has_lines=False):
            raise CellRefused(f"up to {most} characters on one line, without {seen}")
        return cell

    return read


def serial(cell: str) -> str:
    """A cell with a reel's serial number, which also stands in paths."""
    if not re.fullmatch(SERIAL, cell):
        raise CellRefused(SERIAL_IN_WORDS)
    return cell


def is_slug(text: str) -> bool:
    """Whether this may be a code."""
    return _SLUG.fullmatch(text) is not None


def slug(cell: str) -> str:
    """A cell with a code."""
    if not is_slug(cell):
        raise CellRefused("a code of up to 30 letters (A to Z), digits, - and _")
    return cell


def whole(least: int, most: int = MOST_OF_SMALL) -> Callable[[str], int]:
    """A cell with a whole number."""

    def read(cell: str) -> int:
        if not _WHOLE.fullmatch(cell) or not least <= int(cell) <= most:
            raise CellRefused(f"a whole number from {least} to {most}")
        return int(cell)

    return read


def number(*, above_zero: bool) -> Callable[[str], Decimal]:
    """A cell with a length; NaN and infinity are none."""
    allowed = (
        f"a number {'more than 0' if above_zero else 'from 0'} to less than {MOST_OF_LENGTH}, with a decimal point"
    )

    def read(cell: str) -> Decimal:
        if len(cell) > 40 or not _NUMBER.fullmatch(cell):
            raise CellRefused(allowed)
        value = Decimal(cell)
        if not 0 <= value < MOST_OF_LENGTH:  # before it is rounded: an exponent may stand for anything
            raise CellRefused(allowed)
        value = value.quantize(PLACES)
        if value >= MOST_OF_LENGTH or (above_zero and value == 0):
            raise CellRefused(allowed)
        return value

    return read


def word(*words: str) -> Callable[[str], str]:
    """A cell with one of a few words."""

    def read(cell: str) -> str:
        if cell not in words:
            raise CellRefused(" or ".join(words))
        return cell

    return read


def yes_no(cell: str) -> bool:
    """A cell that says yes or no."""
    return word("yes", "no")(cell) == "yes"


def day(cell: str) -> date:
    """A cell with a day."""
    try:
        if _DAY.fullmatch(cell):
            return date.fromisoformat(cell)
    except ValueError:
        pass
    raise CellRefused("a day of the calendar as 2026-03-02")


def moment(cell: str) -> datetime:
    """A cell with a time; without its offset from UTC a time says too little."""
    try:
        if _MOMENT.fullmatch(cell):
            return datetime.fromisoformat(cell.upper())
    except ValueError:
        pass
    raise CellRefused("a time with its offset from UTC, as 2026-03-02T09:00:00Z or 2026-03-02T10:00:00+01:00")


# Files --------------------------------------------------------------------------------------------------------------

_length = number(above_zero=True)

LAPSES_BY = ("count_days", "count_uses")
EFFECTS = ("after_use", "after_incident")
REEL_TYPES = FileForm(
    "reel_types.csv",
    (
        Column("code", slug),
        Column("core_diameter_mm", _length),
        Column("cable_diameter_mm", _length),
        Column("wraps_odd_layer", whole(2)),
        Column("wraps_even_layer", whole(2)),
        Column("max_layers", whole(1, 1000)),
        Column("layer_rise_mm", _length, may_be_empty=True),
        Column("anchor_side", word(*Side)),
        Column("lead_wraps", whole(0)),
        Column("layer_rise_u_mm", number(above_zero=False), may_be_empty=True, is_required=False),
        Column("pitch_mm", _length, may_be_empty=True, is_required=False),
        Column("diameter_u_mm", number(above_zero=False), may_be_empty=True, is_required=False),
        Column("reference_side", word(*Side), may_be_empty=True, is_required=False),
        Column("scale_line_at", word(*LinePlace), may_be_empty=True, is_required=False),
        Column("winding_sense", word(*WindingSense), may_be_empty=True, is_required=False),
        Column("arc_from_deg", whole(0, 360), may_be_empty=True, is_required=False),
        Column("arc_to_deg", whole(0, 360), may_be_empty=True, is_required=False),
        Column("arc_publication", text(120), may_be_empty=True, is_required=False),
        Column("crossover_begins_layer", yes_no, may_be_empty=True, is_required=False),
        Column("unusual", word(*UnusualRule), may_be_empty=True, is_required=False),
        Column("least_length_m", number(above_zero=False), may_be_empty=True, is_required=False),
        *(Column(name, whole(1), may_be_empty=True, is_required=False) for name in (*LAPSES_BY, *LIMIT_NAMES)),
        *(Column(name, word(*CountEffect), may_be_empty=True, is_required=False) for name in EFFECTS),
        *(
            Column(f"{parity}_{what}_mark", text(40), may_be_empty=True, is_required=False)
            for what in ("face", "scale")
            for parity in Parity
        ),
    ),
)
REELS = FileForm(
    "reels.csv",
    (
        Column("serial", serial),
        Column("type", slug),
        Column("site", text(80)),
        Column("received_on", day),
        Column("cable_length_m", _length, may_be_empty=True),
        Column("part_number", text(40), may_be_empty=True, is_required=False),
        Column("cable_part_number", text(40), may_be_empty=True, is_required=False),
        Column("cable_serial", text(40), may_be_empty=True, is_required=False),
    ),
)
COUNTS = FileForm(
    "counts.csv",
    (
        Column("reel", text(40)),
        Column("counted_at", moment),
        Column("layers", whole(0)),
        Column("wraps", whole(0)),
        Column("counted_by", text(120), may_be_empty=True),
        Column("verified_by", text(120), may_be_empty=True),
        Column("document", text(120), may_be_empty=True),
        Column("publication", text(120), may_be_empty=True, is_required=False),
        Column("revision", text(40), may_be_empty=True, is_required=False),
    ),
)
CABLE_EVENTS = FileForm(
    "cable_events.csv",
    (
        Column("reel", text(40)),
        Column("happened_at", moment),
        Column("kind", word("cut", "replaced")),
        Column("length_removed_m", _length, may_be_empty=True),
        Column("recorded_at", moment, may_be_empty=True),
        Column("document", text(120), may_be_empty=True),
        Column("cable_serial", text(40), may_be_empty=True, is_required=False),
    ),
)
EVENTS = FileForm(
    "events.csv",
    (
        Column("reel", text(40)),
        Column("happened_at", moment),
        Column("kind", word(*ReelEventKind.happenings())),
        Column("recorded_at", moment, may_be_empty=True),
        Column("document", text(120), may_be_empty=True),
        Column("uses", whole(1), may_be_empty=True, is_required=False),
        Column("hours", number(above_zero=False), may_be_empty=True, is_required=False),
        Column("length_out_m", number(above_zero=False), may_be_empty=True, is_required=False),
        Column("words", text(2000), may_be_empty=True, is_required=False),
    ),
)
INSTALLATIONS = FileForm(
    "installations.csv",
    (
        Column("reel", text(40)),
        Column("machine", text(40)),
        Column("installed_at", moment),
        Column("removed_at", moment, may_be_empty=True),
        Column("document", text(120), may_be_empty=True),
    ),
)
MOVES = FileForm(
    "moves.csv",
    (
        Column("reel", text(40)),
        Column("from_site", text(80)),
        Column("to_site", text(80)),
        Column("sent_at", moment),
        Column("received_at", moment),
        Column("found_sound", yes_no),
        Column("document", text(120), may_be_empty=True),
        Column("words", text(2000), may_be_empty=True, is_required=False),
    ),
)
FORMS = (REEL_TYPES, REELS, COUNTS, CABLE_EVENTS, EVENTS, INSTALLATIONS, MOVES)


def cells_of(form: FileForm, lines: Iterable[str]) -> Iterator[tuple[int, dict[str, str]] | FileProblem]:
    """The rows of a file as cells by column, each with the number of its first line; problems in between.

    lines: the file's text, line by line, with their ends. After a problem with the header nothing more is read.
    """
    reader = csv.reader(lines, strict=True)
    header: list[str] | None = None
    line = 1
    try:
        for cells in reader:
            if header is None:
                header = [cell.strip() for cell in cells]
                if wrong := list(_header_problems(form, header)):
                    yield from wrong
                    return
            elif cells:
                yield _cells(form, header, line, cells)
            line = reader.line_num + 1
    except csv.Error as refused:
        yield FileProblem(file=form.file, line=line, column=None, seen=str(refused), allowed="comma-separated cells")
    if header is None:
        yield FileProblem(file=form.file, line=None, column=None, seen="the file is empty", allowed="a header row")


def read_row(form: FileForm, line: int, cells: dict[str, str]) -> FileRow | list[FileProblem]:
    """The row with its cells read, or everything that is wrong with them."""
    values: dict[str, Any] = {}
    problems = []
    for column in form.columns:
        cell = cells.get(column.name)
        if cell is None:
            continue
        try:
            values[column.name] = _read_cell(column, cell)
        except CellRefused as refused:
            problems.append(problem(form.file, line, column.name, cell, str(refused)))
    return problems or FileRow(file=form.file, line=line, values=values)


def problem(file: str, line: int, column: str | None, seen: object, allowed: str) -> FileProblem:
    """A problem with one cell, shown as it was seen, shortened when it is long."""
    shown = str(seen) if len(str(seen)) <= 60 else f"{str(seen)[:57]}…"
    return FileProblem(file=file, line=line, column=column, seen=f"{shown!r} was seen", allowed=allowed)


def _read_cell(column: Column, cell: str) -> Any:
    if cell:
        return column.read(cell)
    if not column.may_be_empty:
        raise CellRefused("not empty")
    return None


def _cells(form: FileForm, header: list[str], line: int, cells: list[str]) -> tuple[int, dict[str, str]] | FileProblem:
    if len(cells) != len(header):
        seen, allowed = f"{len(cells)} cells were seen", f"{len(header)}, as many as the header has"
        return FileProblem(file=form.file, line=line, column=None, seen=seen, allowed=allowed)
    return line, {name: cell.strip() for name, cell in zip(header, cells, strict=True)}


def _header_problems(form: FileForm, header: list[str]) -> Iterator[FileProblem]:
    known = [column.name for column in form.columns]
    required = [column.name for column in form.columns if column.is_required]
    allowed = f"{', '.join(required)}" + (f"; if wanted {', '.join(known[len(required) :])}" * (known != required))
    for place, name in enumerate(header):
        if name not in known:
            yield FileProblem(file=form.file, line=1, column=name or None, seen="an unknown column", allowed=allowed)
        elif name in header[:place]:
            yield FileProblem(file=form.file, line=1, column=name, seen="the column twice", allowed="once")
    for name in required:
        if name not in header:
            yield FileProblem(file=form.file, line=1, column=name, seen="the column is missing", allowed=allowed)
