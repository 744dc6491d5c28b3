"""Each reel's status row: kept by every act of the reel, in its transaction; rebuilt and checked against the records.

A row follows from one reel's records, so an act writes the row of its own reel and no other. There are no kept sums,
for which all acts would have to wait: numbers of reels are counted from an index of these rows.
"""

from collections.abc import Iterator

from django.db import transaction

from inspections.models import ReelStatusRow
from inspections.queries.status import status_rows_of
from reels import access
from reels.models import Chain, Reel, columns

AT_ONCE = 200
KEPT = [field.name for field in ReelStatusRow._meta.concrete_fields if field.name not in ("id", "reel")]


def keep_status(chain: Chain) -> None:
    """The last of every act: the status row of the reel whose history has grown, if it is a reel's. Two queries."""
    _store(list(status_rows_of(Reel.objects.filter(chain=chain))))


def rebuild_status_rows() -> Iterator[tuple[int, int]]:
    """Work out every reel's status row and store those that are not kept so.

    Yields, after some, how many reels and how many of them stored. Acts on the reels at hand wait meanwhile.
    """
    last = 0
    while numbers := _rebuild_after(last):
        last, *done = numbers
        yield done[0], done[1]


def status_row_fault(row: ReelStatusRow, kept: ReelStatusRow | None) -> str | None:
    """The first column in which a kept row is not what the records give."""
    if kept is None:
        return "it has no status row"
    stored = columns(kept)
    for name, value in columns(row).items():
        if stored[name] != value:
            return f"its status row says {name} {stored[name]!r}; its records say {value!r}"
    return None


@transaction.atomic
def _rebuild_after(last: int) -> tuple[int, int, int] | None:
    """The next reels after this id: the last one's id, how many they are, how many rows of them were stored."""
    chains = dict(Reel.objects.filter(pk__gt=last).order_by("pk").values_list("pk", "chain__name")[:AT_ONCE])
    if not chains:
        return None
    access.lock(*chains.values())  # or an act could be overwritten with what was so before it
    kept = ReelStatusRow.objects.in_bulk(chains, field_name="reel_id")
    rows = status_rows_of(Reel.objects.filter(pk__in=chains))
    moved = [row for row in rows if status_row_fault(row, kept.get(row.reel_id))]
    _store(moved)
    return max(chains), len(chains), len(moved)


def _store(rows: list[ReelStatusRow]) -> None:
    ReelStatusRow.objects.bulk_create(rows, update_conflicts=True, unique_fields=["reel"], update_fields=KEPT)
