"""Numbers of reels and of findings as sums over rows: what an act adds to them, and whether the sums are right."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any

from django.db.models import BigIntegerField, Count, DateField, F, Model, Q, QuerySet, Sum, Value
from django.db.models.functions import Cast, TruncWeek

from inspections.models import Finding, FindingNumber, ReelNumber, ReelStatusRow
from inspections.queries.findings import NUMBERS

Sums = Mapping[tuple[Any, ...], Sequence[int]]  # by the columns of a place


def week_of(moment: datetime) -> date:
    """The Monday, in UTC, of the week in which it lies."""
    day = moment.astimezone(UTC).date()
    return day - timedelta(days=day.weekday())


def rows_of_sums(model: type[Any], sums: Sums) -> list[Any]:
    """Rows of ReelNumber or FindingNumber that say these sums, without those of nothing."""
    columns = (*model.place_columns, *model.sum_columns)
    return [
        model(**dict(zip(columns, (*place, *numbers), strict=True))) for place, numbers in sums.items() if any(numbers)
    ]


def moves(before: Iterable[ReelStatusRow], after: Iterable[ReelStatusRow]) -> list[Model]:
    """What makes the numbers with some rows as they were into those with the rows as they are. No query."""
    reels: dict[tuple[Any, ...], list[int]] = defaultdict(lambda: [0, 0, 0])
    findings: dict[tuple[Any, ...], list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    for sign, rows in ((-1, before), (1, after)):
        for row in rows:
            here = row.site_id, row.status
            _add_up(reels[*here, row.type_id, None], [sign, sign * row.has_open_flag, sign * row.is_flagged])
            _add_up(reels[*here, None, week_of(row.last_at)], [sign, 0, 0])
            for part, kind, words, *numbers in row.findings:
                place = row.site_id or row.sent_from_id, row.type_id, part, kind, words
                _add_up(findings[place], [sign, *(sign * number for number in numbers)])
    return rows_of_sums(ReelNumber, reels) + rows_of_sums(FindingNumber, findings)


def _add_up(sums: list[int], numbers: Iterable[int]) -> None:
    sums[:] = map(int.__add__, sums, numbers)


def numbers_amiss() -> list[Any]:
    """What is missing in the kept numbers, or too much, by the rows; nothing where they are right. Two queries."""
    return _amiss(ReelNumber, *_numbers_of_reels()) + _amiss(FindingNumber, _numbers_of_findings())


def _amiss(model: type[Any], *right: QuerySet[Any, Any]) -> list[Any]:
    """right: rows of places and sums. One query, so that they and the kept ones are of one moment."""
    place, sums = len(model.place_columns), defaultdict[Any, list[int]](lambda: [0] * len(model.sum_columns))
    less = {f"n{number}": -Sum(name) for number, name in enumerate(model.sum_columns)}
    names = {f"p{number}": F(name) for number, name in enumerate(model.place_columns)}
    kept = model.objects.order_by().annotate(**names).values(*names).annotate(**less).values_list(*names, *less)
    for row in kept.union(*right, all=True):
        _add_up(sums[row[:place]], row[place:])
    return rows_of_sums(model, sums)


def _numbers_of_reels() -> list[QuerySet[Any, Any]]:
    """By type, and by week."""
    no_type, no_week = Cast(Value(None), BigIntegerField()), Cast(Value(None), DateField())
    none = Cast(Value(0), BigIntegerField())
    week = TruncWeek("last_at", tzinfo=UTC, output_field=DateField())
    rows, place = ReelStatusRow.objects.order_by(), ("site", "status", "of_type", "of_week")
    by_type = rows.annotate(of_type=F("type_id"), of_week=no_week).values(*place).annotate(
        n=Count("pk"), n_open=Count("pk", filter=Q(has_open_flag=True)),
        n_flagged=Count("pk", filter=Q(is_flagged=True)),
    )  # fmt: skip
    by_week = rows.annotate(of_type=no_type, of_week=week).values(*place).annotate(
        n=Count("pk"), n_open=none, n_flagged=none
    )  # fmt: skip
    return [each.values_list(*place, "n", "n_open", "n_flagged") for each in (by_type, by_week)]


def _numbers_of_findings() -> QuerySet[Any, Any]:
    place = ("reel__site", "reel__type", "part", "kind", "kind_words")
    rows = Finding.objects.order_by().values(*place).annotate(n_reels=Count("reel", distinct=True), **NUMBERS)
    numbers: QuerySet[Any, Any] = rows.values_list(*place, "n_reels", *NUMBERS)
    return numbers
