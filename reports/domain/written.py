"""Rows as the lines of a CSV file, each made as it is asked for."""

import csv
import re
from collections.abc import Iterable, Iterator, Sequence
from itertools import chain

_FORMULA = re.compile(r"[=+\-@\t\r]")
_NUMBER = re.compile(r"[+-]?[0-9.]+(e[+-]?[0-9]+)?", re.ASCII | re.IGNORECASE)


class _Line:
    """What csv.writer writes to, to get each line back."""

    def write(self, line: str) -> str:
        return line


def csv_lines(columns: Sequence[str], rows: Iterable[Iterable[object]]) -> Iterator[str]:
    """The header, and a line for each row. For people, who open it in a spreadsheet: no text is taken for a formula."""
    writer = csv.writer(_Line(), lineterminator="\n")
    return map(writer.writerow, chain([columns], (map(_neutral, row) for row in rows)))


def _neutral(cell: object) -> object:
    """A text that a spreadsheet would work out begins with an apostrophe; a number stays a number.

    Source: OWASP, "CSV Injection" (from memory).
    """
    begins_one = isinstance(cell, str) and _FORMULA.match(cell)
    return f"'{cell}" if begins_one and not _NUMBER.fullmatch(str(cell)) else cell
