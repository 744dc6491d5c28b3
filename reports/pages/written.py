"""Rows as a CSV file that is sent as it is written."""

from collections.abc import Iterable, Sequence

from django.http import StreamingHttpResponse

from reports.domain.written import csv_lines


def csv_answer(columns: Sequence[str], rows: Iterable[Sequence[object]], name: str) -> StreamingHttpResponse:
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return StreamingHttpResponse(csv_lines(columns, rows), content_type="text/csv; charset=utf-8", headers=headers)
