"""How a file that somebody has is read: its separator, its columns, its decimal mark, its dates, its serials.

A file from a spreadsheet is turned into one of our own (`files.py`), line for line, so that all that checks and stores
rows knows one form alone and names the line that a person finds in their own file. What can't be turned is left as it
stands, and refused there in words. What is ambiguous is asked and never guessed: whether 03/04/2026 is in March or in
April, and whether 1,250 is one and a quarter.
"""

import csv
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from zoneinfo import ZoneInfo

from inspections.domain.intake import files
from inspections.domain.intake.headings import form_named, matched

SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
MARKS = {".": "point: 12.5", ",": "comma: 12,5"}
DAY_ORDERS = {"dmy": "day, month, year: 31/12/2026", "mdy": "month, day, year: 12/31/2026"}
LOOKED_AT = 200  # rows from which the separator and what the columns hold is told
WORDS = frozenset({"kind", "anchor_side", "reference_side", "scale_line_at", "winding_sense", "unusual", "found_sound",
                   "crossover_begins_layer", *files.EFFECTS})  # fmt: skip
SERIALS = ("reel", "serial")
SPELT = WORDS | {*SERIALS, "type", "code", "site", "from_site", "to_site", "machine"}

_LOCAL = re.compile(r"(\d{1,2})[./-](\d{1,2})[./-](\d{4})(?:[ T,]+(\d{1,2}:\d\d(?::\d\d)?))?", re.ASCII)
_YEAR_FIRST = re.compile(r"(\d{4})[./-](\d{1,2})[./-](\d{1,2})(?:[ T,]+(\d{1,2}:\d\d(?::\d\d)?))?", re.ASCII)
_GROUPED = re.compile(r"\d{1,3}(,\d{3})+|\d{1,3}(\.\d{3})+", re.ASCII)
_NUMERAL = re.compile(r"[+-]?[\d., '\u00a0]+", re.ASCII)


class _Lines:
    """What csv.writer writes to."""

    def __init__(self, lines: list[str]) -> None:
        self._lines = lines

    def write(self, line: str) -> None:
        self._lines.append(line)


class NotRead(ValueError):
    """A file that is no text."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Understanding:
    """How one file is read.

    file: which of our files it stands for, "" where that is not known. columns: our column by its heading there.
    decimal_mark, day_order: "" where the cells leave it open, or none needs it. time_zone: of times without an offset,
    by its IANA name; "": such times are refused. time_of_day: of moments that are only a day, "" to refuse them.
    spellings: what is on record by how the file has it, of serials, codes, sites and set words. as_spelt: no serial is
    taken for another spelling of one on record.
    """

    file: str
    separator: str
    columns: Mapping[str, str] = field(default_factory=dict)
    decimal_mark: str = ""
    day_order: str = ""
    time_zone: str = ""
    time_of_day: str = ""
    spellings: Mapping[str, str] = field(default_factory=dict)
    as_spelt: bool = False

    @property
    def form(self) -> files.FileForm | None:
        """The form of our own file."""
        return next((form for form in files.FORMS if form.file == self.file), None)


def text_of(content: bytes) -> str:
    """The text of a file: UTF-8 or UTF-16 with a byte-order mark, UTF-8 without one. Raises NotRead."""
    encoding = "utf-16" if content[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    try:
        text = content.decode(encoding)
    except UnicodeDecodeError as refused:
        seen = f"byte {refused.start + 1} is 0x{content[refused.start]:02x}"
        raise NotRead(f"{seen}, which is no text in UTF-8. Save the file again as CSV UTF-8.") from refused
    if "\0" in text:
        raise NotRead("This is no text; save the sheet as CSV.")
    return text


def understand(text: str, name: str = "", separator: str = "") -> Understanding:
    """What the file itself tells of how it is to be read. name: the file's, which may say what it holds.

    separator: where somebody said which it is.
    """
    separator = separator or _separator(text)
    header, _ = _table(text, separator)
    form = form_named(name) or _form_of(header)
    if form is None:
        return Understanding(file="", separator=separator)
    return completed(text, Understanding(file=form.file, separator=separator, columns=matched(form, header)))


def completed(text: str, understood: Understanding) -> Understanding:
    """With what its cells tell, where nobody has said it."""
    header, rows = _table(text, understood.separator)
    mark = understood.decimal_mark or _decimal_mark(understood, header, rows)
    order = understood.day_order or _day_order(_cells(understood, header, rows, _is_time))
    return replace(understood, decimal_mark=mark, day_order=order)


def headings(text: str, separator: str) -> list[str]:
    """The headings of the file."""
    return _table(text, separator)[0]


def examples(text: str, separator: str) -> dict[str, str]:
    """By heading, the first cell that holds something."""
    header, rows = _table(text, separator)
    return {
        name: next((row[i] for row in rows if i < len(row) and row[i].strip()), "") for i, name in enumerate(header)
    }


def questions(text: str, understood: Understanding) -> list[str]:
    """What has to be said before the file can be read, by the name of what is asked: one of Understanding's."""
    form = understood.form
    if form is None:
        return ["file"]
    header, rows = _table(text, understood.separator)
    asked = []
    if any(column.is_required and not column.may_be_empty and column.name not in understood.columns
           for column in form.columns):  # fmt: skip
        asked.append("columns")
    moments = _cells(understood, header, rows, _is_time)
    if not understood.day_order and any(_LOCAL.fullmatch(cell) for cell in moments):
        asked.append("day_order")
    times = _cells(understood, header, rows, lambda column: column.read is files.moment)
    if not understood.time_zone and any(_LOCAL.fullmatch(cell) or _YEAR_FIRST.fullmatch(cell) for cell in times):
        asked.append("time_zone")
    numbers = _cells(understood, header, rows, _is_number)
    if not understood.decimal_mark and any("," in cell or _GROUPED.fullmatch(cell) for cell in numbers):
        asked.append("decimal_mark")
    return asked


# One of our own files -----------------------------------------------------------------------------------------------


def as_ours(text: str, understood: Understanding, spellings: Mapping[str, str] | None = None) -> str:
    """The file as one of ours, line for line. spellings: serials of the records by how the file spells them."""
    form, lines = understood.form, list[str]()
    assert form, "it was asked what the file holds"
    stated = [column for column in form.columns if column.name in understood.columns]
    empty = [column for column in form.columns if column.is_required and column.may_be_empty and column not in stated]
    writer = csv.writer(_Lines(lines), lineterminator="\n")
    writer.writerow([column.name for column in (*stated, *empty)])
    header: list[str] | None = None
    written = 1
    for line, cells in _rows(text, understood.separator):
        if header is None:
            header = _headings(cells)
            continue
        lines.append("\n" * (line - written - 1))  # so that a problem names the line of the file as it came
        at = [header.index(understood.columns[column.name]) for column in stated]
        ours = [
            _ours(column, cells[i].strip() if i < len(cells) else "", understood, spellings or {})
            for column, i in zip(stated, at, strict=True)
        ]
        surplus = [""] * any(cell.strip() for cell in cells[len(header) :])  # a cell too many is refused there
        writer.writerow([*ours, *[""] * len(empty), *surplus])
        written = line + sum(cell.count("\n") for cell in ours)
    return "".join(lines)


def _ours(column: files.Column, cell: str, understood: Understanding, spellings: Mapping[str, str]) -> str:
    if not cell or (column.name in SPELT and cell in understood.spellings):
        return understood.spellings.get(cell, "")
    if column.name in SERIALS:
        return spellings.get(cell, cell)
    if column.name in WORDS:
        return cell.lower().replace(" ", "_").replace("-", "_")
    if _is_time(column):
        return _time(column, cell, understood)
    return _number(cell, understood.decimal_mark) if _is_number(column) else cell


def _time(column: files.Column, cell: str, understood: Understanding) -> str:
    """A day or a time in the calendar's order; as it was, where it can't be told."""
    match = _YEAR_FIRST.fullmatch(cell)
    if match:
        year, month, day, clock = match.groups()
    elif (match := _LOCAL.fullmatch(cell)) and understood.day_order:
        first, second, year, clock = match.groups()
        day, month = (first, second) if understood.day_order == "dmy" else (second, first)
    else:
        return cell
    date = f"{year}-{int(month):02}-{int(day):02}"
    if column.read is files.day:
        return date if clock in (None, "0:00", "00:00", "00:00:00") else cell
    clock = clock or understood.time_of_day
    if not clock or not understood.time_zone:
        return cell
    hours, minutes, *seconds = clock.split(":")
    try:
        local = datetime.fromisoformat(f"{date}T{int(hours):02}:{minutes}:{seconds[0] if seconds else '00'}")
    except ValueError:
        return cell
    here = local.replace(tzinfo=ZoneInfo(understood.time_zone))
    # In the hour that a clock change leaves out or has twice, the offset is the sender's to say.
    return here.isoformat() if here.utcoffset() == here.replace(fold=1).utcoffset() else cell


def _number(cell: str, mark: str) -> str:
    if not mark or not _NUMERAL.fullmatch(cell):
        return cell
    other = "," if mark == "." else "."
    whole, _, part = cell.partition(mark)
    groups = re.split(rf"[{other} '\u00a0]", whole)
    if len(groups) > 1 and not all(len(group) == 3 for group in groups[1:]):
        return cell  # such as 12.5 where the mark is a comma
    return "".join(groups) + (f".{part}" if part else "")


# Serials ------------------------------------------------------------------------------------------------------------


def serial_key(serial: str) -> tuple[str | int, ...]:
    """What is the same of two spellings of one serial: letters in either case, and numbers without leading zeros."""
    parts = re.findall(r"[^\W\d_]+|\d+", serial.upper())
    return tuple(int(part) if part.isdecimal() and part.isascii() else part for part in parts)


def spellings_of(seen: Iterable[str], known: Sequence[str]) -> dict[str, str]:
    """The serial on record that each spelling can only mean; one that is on record as it stands is left out."""
    by_key: dict[tuple[str | int, ...], list[str]] = {}
    for serial in known:
        by_key.setdefault(serial_key(serial), []).append(serial)
    exact = set(known)
    meant = {spelt: by_key.get(serial_key(spelt), []) for spelt in set(seen) - exact if serial_key(spelt)}
    return {spelt: serials[0] for spelt, serials in sorted(meant.items()) if len(serials) == 1}


def serials_in(text: str, understood: Understanding) -> set[str]:
    """Every spelling of a serial of a reel in the file."""
    header, rows = _table(text, understood.separator, most=None)
    return set(_cells(understood, header, rows, lambda column: column.name in SERIALS))


# What is refused ----------------------------------------------------------------------------------------------------


def refused_rows(text: str, understood: Understanding, problems: Iterable[files.FileProblem]) -> str:
    """The rows that were refused as they came, each with why, as a file to mend and bring in again.

    A cell that a spreadsheet would take for a formula is led in by an apostrophe.
    """
    why: dict[int, list[str]] = {}
    for each in problems:
        if each.file == understood.file and each.line:
            why.setdefault(each.line, []).append(f"{each.column or 'the row'}: {each.seen}; allowed: {each.allowed}")
    lines: list[str] = []
    writer = csv.writer(_Lines(lines), delimiter=understood.separator, lineterminator="\r\n")
    header: list[str] | None = None
    for line, cells in _rows(text, understood.separator):
        if header is None:
            header = cells
            writer.writerow([*map(_harmless, cells), "why it was refused"])
        elif line in why:
            padded = [*cells, *[""] * (len(header) - len(cells))]
            writer.writerow([*map(_harmless, padded), " / ".join(why[line])])
    return "".join(lines)


def _harmless(cell: str) -> str:
    is_number = re.fullmatch(r"[+-]?[\d.,]+", cell, re.ASCII)
    return f"'{cell}" if cell[:1] in ("=", "+", "-", "@", "\t", "\r") and not is_number else cell


# What the cells tell ------------------------------------------------------------------------------------------------


def _separator(text: str) -> str:
    """By which the heading falls into most names that are known, then into most that all rows have.

    Not by csv.Sniffer, which takes a letter or a point for the separator of a narrow file.
    """
    first_line = re.match(r"sep=(.)\r?\n", text)
    if first_line:
        return first_line.group(1)

    def fits(separator: str) -> tuple[int, int, int]:
        header, rows = _table(text, separator)
        known = max(len(matched(form, header)) for form in files.FORMS)
        return known, sum(len(row) == len(header) for row in rows) if len(header) > 1 else 0, len(header)

    return max(SEPARATORS, key=fits)


def _form_of(header: Sequence[str]) -> files.FileForm | None:
    """The file whose needed columns are all there, the fewest others first; None where that is not so of any."""

    def missing(form: files.FileForm) -> int:
        by_column = matched(form, header)
        return sum(each.is_required and not each.may_be_empty and each.name not in by_column for each in form.columns)

    whole = [form for form in files.FORMS if missing(form) == 0]
    return max(whole, key=lambda form: len(matched(form, header)), default=None)


def _decimal_mark(understood: Understanding, header: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    numbers = _cells(understood, header, rows, _is_number)
    marks = {_last_mark(cell) for cell in numbers if not _GROUPED.fullmatch(cell)} - {""}
    return marks.pop() if len(marks) == 1 else ""


def _last_mark(cell: str) -> str:
    """The mark that can only be the decimal one: the last of a number in which it stands once."""
    marks = [letter for letter in cell if letter in ".,"]
    return marks[-1] if marks and marks.count(marks[-1]) == 1 else ""


def _day_order(cells: Iterable[str]) -> str:
    pairs = [match.groups() for match in map(_LOCAL.fullmatch, cells) if match]
    day_first, month_first = (any(int(pair[i]) > 12 for pair in pairs) for i in (0, 1))
    return "" if day_first is month_first else "dmy" if day_first else "mdy"


def _is_time(column: files.Column) -> bool:
    return column.read in (files.moment, files.day)


def _is_number(column: files.Column) -> bool:
    return column.name.endswith(("_m", "_mm")) or column.name == "hours"


def _cells(understood: Understanding, header: Sequence[str], rows: Iterable[Sequence[str]], of: object) -> list[str]:
    """The filled cells of the columns that are of a kind."""
    assert callable(of)
    form = understood.form
    columns = [column for column in form.columns if column.name in understood.columns and of(column)] if form else []
    at = [header.index(understood.columns[column.name]) for column in columns]
    return [cell for row in rows for i in at if i < len(row) and (cell := row[i].strip())]


def _table(text: str, separator: str, most: int | None = LOOKED_AT) -> tuple[list[str], list[list[str]]]:
    rows = []
    for _, cells in _rows(text, separator):
        rows.append(cells)
        if most is not None and len(rows) > most:
            break
    return (_headings(rows[0]), rows[1:]) if rows else ([], [])


def _headings(cells: Sequence[str]) -> list[str]:
    """Each by a name of its own: a second one of the same words has its number, one without any its place."""
    names: list[str] = []
    for place, cell in enumerate(map(str.strip, cells), start=1):
        name, again = cell or f"column {place}", 2
        while name in names:
            name, again = f"{cell} ({again})", again + 1
        names.append(name)
    return names


def _rows(text: str, separator: str) -> Iterator[tuple[int, list[str]]]:
    """The rows that hold something, each with the number of its first line."""
    # One after the other: what a file's first rows tell is asked for several times.
    lines = (each[0] for each in re.finditer(r"[^\r\n]*(?:\r\n|\r|\n)|[^\r\n]+", text.removeprefix("\ufeff")))
    reader = csv.reader(lines, delimiter=separator)
    line = 1
    try:
        for cells in reader:
            is_told = line == 1 and text.startswith("sep=")
            if any(cell.strip() for cell in cells) and not is_told:
                yield line, cells
            line = reader.line_num + 1
    except csv.Error as refused:
        raise NotRead(f"Line {line}: {refused}; save the sheet as CSV again.") from refused
