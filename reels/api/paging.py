"""Pages of a list in a total order: rows that come in between two pages are neither repeated nor make one drop out."""

from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet
from django.http import HttpRequest
from rest_framework.exceptions import ErrorDetail

from reels.api.forms import ParameterRefused
from reels.queries import NO_PLACE, beyond, read_place, written_place


@dataclass(frozen=True, slots=True)
class Page:
    """One page: its rows, and the path of the next or None."""

    results: list[Any]
    next: str | None


def page(rows: QuerySet[Any], order: tuple[str, ...], asked: dict[str, Any], request: HttpRequest) -> Page:
    """One page of rows. One query.

    order: columns, each with "-" for downwards, the last one unique. asked: what PageQuery took in.
    Raises ParameterRefused for a cursor that no page gave.
    """
    if cursor := asked.get("cursor"):
        try:
            rows = beyond(rows, order, read_place(cursor, rows.model, order))
        except NO_PLACE as refused:
            detail = ErrorDetail("No page has given this cursor.", "invalid_cursor")
            raise ParameterRefused({"cursor": [detail]}) from refused
    size = asked["page_size"]
    results = list(rows.order_by(*order)[: size + 1])
    more = len(results) > size
    results = results[:size]
    return Page(results, _next_path(request, written_place(results[-1], order)) if more else None)


def _next_path(request: HttpRequest, cursor: str) -> str:
    query = request.GET.copy()
    query["cursor"] = cursor
    return f"{request.path}?{query.urlencode()}"
