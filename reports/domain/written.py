"""Rows as the lines of a CSV file, each made as it is asked for."""

import csv
from collections.abc import Iterable, Iterator, Sequence
from itertools import chain


class _Line:
    """What csv.writer writes to, to get each line back."""

    def write(self, line: str) -> str:
        return line


def csv_lines(columns: Sequence[str], rows: Iterable[Iterable[object]]) -> Iterator[str]:
    """The header, and a line for each row."""
    writer = csv.writer(_Line(), lineterminator="\n")
    return map(writer.writerow, chain([columns], rows))
