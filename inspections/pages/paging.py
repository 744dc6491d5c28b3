"""One page of a long list, with the addresses of its neighbours."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any
from urllib.parse import urlencode

from django.db.models import QuerySet
from django.http import QueryDict

from reels.queries import NO_PLACE, beyond, read_place, written_place

MOST_COUNTED = 1000
NO_OTHERS: Mapping[str, str] = MappingProxyType({})


@dataclass(frozen=True, slots=True, kw_only=True)
class Pages:
    """Where one is in a list; `earlier` and `later` are empty at its ends.

    total: None where there are too many rows to be counted for a page. most: how many are.
    """

    rows: list[Any]
    total: int | None
    earlier: str
    later: str
    most: int = MOST_COUNTED


def counted_if_few(rows: QuerySet[Any]) -> int | None:
    """How many rows there are, if no more than MOST_COUNTED. One query, that reads no more than these."""
    number = rows.order_by().values("pk")[: MOST_COUNTED + 1].count()
    return number if number <= MOST_COUNTED else None


def page_by_place(rows: QuerySet[Any], order: tuple[str, ...], asked: QueryDict, size: int,
                  as_shown: Callable[[Any], Any], *, total: int | None,
                  kept: Mapping[str, str] = NO_OTHERS, anchor: str = "") -> Pages:  # fmt: skip
    """The page after or before the place in an order that is asked for, or the first. One query, as dear for the last.

    order: as `reels.queries.beyond` has it. total: how many rows there are; None: they are not counted. as_shown:
    what a page shows of a row. kept: what else stands in the address.
    """
    is_back = "before" in asked
    way = tuple(each.removeprefix("-") if each.startswith("-") else f"-{each}" for each in order) if is_back else order
    place = _place_in(asked.get("before" if is_back else "after", ""), rows, order)
    if place is None:
        is_back, way = False, order
    some = list((beyond(rows, way, place) if place else rows).order_by(*way)[: size + 1])
    if place and not some:  # an address from when there was more
        return page_by_place(rows, order, QueryDict(), size, as_shown, total=total, kept=kept, anchor=anchor)
    has_more, some = len(some) > size, some[:size]
    if is_back:
        some.reverse()

    def address(there_is_one: bool, name: str, row: int) -> str:
        if not (some and there_is_one):
            return ""
        return f"?{urlencode({**kept, name: written_place(some[row], order)})}{anchor}"

    return Pages(
        rows=[as_shown(row) for row in some], total=total,
        earlier=address(has_more if is_back else place is not None, "before", 0),
        later=address(is_back or has_more, "after", -1),
    )  # fmt: skip


def sum_known(numbers: Iterable[int | None]) -> int | None:
    """Their sum; None where any of them is not known."""
    known = list(numbers)
    return None if None in known else sum(filter(None, known))


def _place_in(text: str, rows: QuerySet[Any], order: tuple[str, ...]) -> list[Any] | None:
    """The place that an address names, or None where it names none."""
    try:
        return read_place(text, rows.model, order)
    except NO_PLACE:
        return None
