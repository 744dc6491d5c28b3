"""Pages of a list in a total order: rows that come in between two pages are neither repeated nor make one drop out.

A cursor holds the key of the last row that was given, and the next page begins after it. Orders end in a unique
column, so no two rows share a key.
"""

import base64
import json
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import Model, Q, QuerySet
from django.http import HttpRequest
from rest_framework.exceptions import ErrorDetail

from reels.api.forms import ParameterRefused
from reels.domain import ledger


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
        rows = rows.filter(_after(rows.model, order, _read(cursor, rows.model, order)))
    size = asked["page_size"]
    results = list(rows.order_by(*order)[: size + 1])
    more = len(results) > size
    results = results[:size]
    return Page(results, _next_path(request, _written(results[-1], order)) if more else None)


def _after(model: type[Model], order: tuple[str, ...], key: list[Any]) -> Q:
    """Rows later in the order than the one with this key: later in a column and equal in all before it."""
    later = Q(pk__in=())  # nothing: what it is or-ed with decides
    equal = Q()
    for column, value in zip(order, key, strict=True):
        name = column.removeprefix("-")
        later |= equal & Q(**{f"{name}__{'lt' if column.startswith('-') else 'gt'}": value})
        equal &= Q(**{name: value})
    return later


def _written(row: Any, order: tuple[str, ...]) -> str:
    key = [ledger.plain(getattr(row, column.removeprefix("-"))) for column in order]
    return base64.urlsafe_b64encode(json.dumps(key).encode()).decode().rstrip("=")


def _read(cursor: str, model: type[Model], order: tuple[str, ...]) -> list[Any]:
    try:
        key = json.loads(base64.b64decode(cursor + "=" * (-len(cursor) % 4), altchars=b"-_", validate=True))
        if not isinstance(key, list) or len(key) != len(order):
            raise ValueError("another order")
        return [_typed(model, column, part) for column, part in zip(order, key, strict=True)]
    except (ValueError, TypeError, RecursionError, ValidationError) as refused:
        raise ParameterRefused(
            {"cursor": [ErrorDetail("No page has given this cursor.", "invalid_cursor")]}
        ) from refused


def _typed(model: type[Model], column: str, part: Any) -> Any:
    """The value as its column holds it. Raises ValueError, TypeError or ValidationError."""
    if type(part) is int:
        return part
    if not isinstance(part, str) or not part.isprintable():
        raise ValueError("no value of a key")
    value = model._meta.get_field(column.removeprefix("-")).to_python(part)  # type: ignore[union-attr]  # never a relation
    if isinstance(value, datetime) and value.tzinfo is None:
        raise ValueError("a time without an offset")
    return value


def _next_path(request: HttpRequest, cursor: str) -> str:
    query = request.GET.copy()
    query["cursor"] = cursor
    return f"{request.path}?{query.urlencode()}"
