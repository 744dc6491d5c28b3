"""Rows as a CSV file that is sent as it is written."""

import csv
from collections.abc import Iterable, Iterator, Sequence

from django.http import StreamingHttpResponse


class _Line:
    """What csv.writer writes to, to get each line back."""

    def write(self, line: str) -> str:
        return line


def csv_answer(columns: Sequence[str], rows: Iterable[Sequence[object]], name: str) -> StreamingHttpResponse:
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return StreamingHttpResponse(_lines(columns, rows), content_type="text/csv; charset=utf-8", headers=headers)


def _lines(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> Iterator[str]:
    lines = csv.writer(_Line(), lineterminator="\n")
    yield lines.writerow(columns)
    for row in rows:
        yield lines.writerow(row)
