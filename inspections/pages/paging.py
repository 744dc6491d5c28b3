"""One page of a long list, with the addresses of its neighbours."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any
from urllib.parse import urlencode

from django.core.paginator import Paginator
from django.http import QueryDict

NO_OTHERS: Mapping[str, str] = MappingProxyType({})


@dataclass(frozen=True, slots=True, kw_only=True)
class Pages:
    """Where one is in a list; `earlier` and `later` are empty at its ends."""

    rows: list[Any]
    number: int
    of: int
    total: int
    earlier: str
    later: str


def one_page(rows: Any, asked: QueryDict, size: int, as_shown: Callable[[Any], Any], *,
             kept: Mapping[str, str] = NO_OTHERS, anchor: str = "", total: int | None = None) -> Pages:  # fmt: skip
    """The page that is asked for, or the nearest there is. Two queries; one, where it is known how many rows there are.

    rows: a query in its full order. as_shown: what a page shows of a row. kept: what else stands in the address.
    """
    paginator = Paginator(rows, size)
    if total is not None:
        paginator.count = total
    page = paginator.get_page(asked.get("page"))

    def address(to: int) -> str:
        return f"?{urlencode({**kept, 'page': to})}{anchor}"

    return Pages(
        rows=[as_shown(row) for row in page.object_list],
        number=page.number,
        of=page.paginator.num_pages,
        total=page.paginator.count,
        earlier=address(page.number - 1) if page.has_previous() else "",
        later=address(page.number + 1) if page.has_next() else "",
    )
