"""Each reel's status row: kept by every act of the reel, in its transaction; rebuilt and checked against the records.

A row follows from one reel's records, so an act writes the row of its own reel and no other. Numbers of reels are kept
without a row that all acts would have to wait for: an act that moves its reel adds rows that say one fewer here and one
more there, the sum of all rows is the number, and the worker folds many of them into one.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Set
from contextlib import contextmanager
from contextvars import ContextVar
from functools import partial
from typing import Any

from django.db import connection, transaction
from django.db.models import Q, QuerySet

from inspections import names_index
from inspections.domain.words import LIVE
from inspections.models import FindingNumber, FlaggedReel, Participant, ReelNumber, ReelStatusRow
from inspections.queries.numbers import moves, numbers_amiss, rows_of_sums
from inspections.queries.status import READ_FROM, status_rows_of
from reels import access
from reels.domain.life import LIMIT_NAMES
from reels.models import Machine, Person, Reel, ReelType, columns
from reels.services import tasks
from reels.services.history import ActRecorder
from reels.services.tasks import HeldTask, leased

AT_ONCE = 200
FOLD_EVERY = 500  # rows that acts have added; a page sums up no more than twice as many
_put_off: ContextVar[set[int] | None] = ContextVar("put_off", default=None)  # chains of reels
KEPT = [field.name for field in ReelStatusRow._meta.concrete_fields if field.name not in ("id", "reel")]


def keep_status(act: ActRecorder) -> None:
    """The last of every act: the status row of the reel whose history has grown, if it is a reel's."""
    put_off = _put_off.get()
    if put_off is not None:
        put_off.add(act.chain.pk)
    elif READ_FROM.isdisjoint(change.table for change in act.changes):
        # Such as a keying, of which a count has a dozen: the reel stands where it stood, its history is longer.
        ReelStatusRow.objects.filter(reel__chain=act.chain).update(head=act.chain.head)
    else:
        _keep(Reel.objects.filter(chain=act.chain))


@contextmanager
def kept_once() -> Iterator[None]:
    """For many acts in one transaction: a reel's status row is kept when this ends, once, not after each of its acts.

    Nobody else sees the rows before the transaction ends, and no service reads its own reel's.
    """
    with transaction.atomic():
        chains: set[int] = set()
        token = _put_off.set(chains)
        try:
            yield
        finally:
            _put_off.reset(token)
        some = sorted(chains)
        for start in range(0, len(some), AT_ONCE):
            _keep(Reel.objects.filter(chain__in=some[start : start + AT_ONCE]))


def keep_others(act: ActRecorder) -> None:
    """The last of every act, too: the rows of reels whose machine, person or type says something else now.

    A machine or a person is called otherwise; counts of a type are good for another number of uses, or its lives end
    at other limits.
    """
    of_machines, of_people, of_types = (
        [
            change.id
            for change in act.changes
            if change.table == model._meta.db_table and not columns_read.isdisjoint(change.before or ())
        ]
        for model, columns_read in (
            (Machine, {"host"}), (Person, {"full_name"}), (ReelType, {"count_uses", *LIMIT_NAMES}),
        )
    )  # fmt: skip
    if of_machines or of_people or of_types:
        counts = Participant.objects.filter(person__in=of_people, inspection__state__in=LIVE).values("inspection")
        concerned = Q(machine__in=of_machines) | Q(live_id__in=counts) | Q(type__in=of_types)
        chains = dict(ReelStatusRow.objects.filter(concerned).values_list("reel", "reel__chain__name"))
        access.lock(*chains.values())
        _keep(Reel.objects.filter(pk__in=chains))


def _keep(reels: QuerySet[Reel]) -> None:
    if rows := list(status_rows_of(reels)):
        _store(rows, ReelStatusRow.objects.in_bulk([row.reel_id for row in rows], field_name="reel_id"))


def rebuild_status_rows() -> Iterator[tuple[int, int]]:
    """Work out every reel's status row and store those that are not kept so; at last, put the numbers right.

    Yields, after some, how many reels and how many of them stored. Acts on the reels at hand wait meanwhile.
    """
    last = 0
    while numbers := _rebuild_after(last):
        last, *done = numbers
        yield done[0], done[1]
    _add(numbers_amiss())
    names_index.rebuild(connection)


def status_row_fault(row: ReelStatusRow, kept: ReelStatusRow | None) -> str | None:
    """The first column in which a kept row is not what the records give."""
    if kept is None:
        return "it has no status row"
    stored = columns(kept)
    for name, value in columns(row).items():
        if stored[name] != value:
            return f"its status row says {name} {stored[name]!r}; its records say {value!r}"
    return None


def status_faults() -> Iterator[tuple[str, str]]:
    """Each kept row that is not what its reel's records give, and each number that is not that of the rows.

    Where it is and why, in words. So many queries for each AT_ONCE reels, and one.
    """
    reels, last = Reel.objects.order_by("pk"), 0
    while ids := list(reels.filter(pk__gt=last).values_list("pk", flat=True)[:AT_ONCE]):
        kept = ReelStatusRow.objects.in_bulk(ids, field_name="reel_id")
        for row in status_rows_of(reels.filter(pk__in=ids)):
            if why := status_row_fault(row, kept.get(row.reel_id)):
                yield f"reel {row.serial}", why
        last = ids[-1]
    for amiss in numbers_amiss():
        what = str(amiss._meta.verbose_name_plural)
        yield what, f"the kept {what} need {amiss} at {amiss.site}"


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
    _store(moved, kept)
    return max(chains), len(chains), len(moved)


def _store(rows: list[ReelStatusRow], kept: Mapping[int, ReelStatusRow]) -> None:
    """kept: as they were before, by reel, where they were."""
    if rows:
        ReelStatusRow.objects.bulk_create(rows, update_conflicts=True, unique_fields=["reel"], update_fields=KEPT)
        _add(moves([kept[row.reel_id] for row in rows if row.reel_id in kept], rows))


# Numbers of reels -----------------------------------------------------------------------------------------------------


_SUMMED: tuple[type[Any], ...] = (ReelNumber, FindingNumber)


def _add(numbers: list[Any]) -> None:
    for model in _SUMMED:
        rows = [number for number in numbers if isinstance(number, model)]
        model._default_manager.bulk_create(rows)
        if any(number.pk % FOLD_EVERY == 0 for number in rows):
            # After the commit, and whatever comes of it: no act waits for the queue, or fails because it is full.
            transaction.on_commit(
                partial(tasks.put, fold_numbers, key="numbers", title="Numbers of reels"), robust=True
            )


@leased
def fold_numbers(context: HeldTask) -> None:
    """Make one row of those that are of one place. Whoever sums them up sees all of them, or that one."""
    with transaction.atomic():
        context.require()
        fold()


def fold() -> None:
    """The same, within a transaction."""
    for model in _SUMMED:
        _fold(model)


def _fold(model: type[Any]) -> None:
    by_place = defaultdict(list)
    for row in model.objects.select_for_update():
        by_place[tuple(getattr(row, name) for name in model.place_columns)].append(row)
    many = {place: rows for place, rows in by_place.items() if len(rows) > 1}
    folded = [row.pk for rows in many.values() for row in rows]
    for start in range(0, len(folded), AT_ONCE):
        model.objects.filter(pk__in=folded[start : start + AT_ONCE]).delete()
    sums = {
        place: [sum(getattr(row, name) for row in rows) for name in model.sum_columns] for place, rows in many.items()
    }
    model.objects.bulk_create(rows_of_sums(model, sums))


def keep_flagged(flagged: Set[int]) -> None:
    """Have these reels be flagged, by their ids, and no others. Acts on those of which it is news wait meanwhile."""
    changed = sorted(flagged ^ set(FlaggedReel.objects.values_list("reel", flat=True)))
    for start in range(0, len(changed), AT_ONCE):
        some = changed[start : start + AT_ONCE]
        reels = Reel.objects.filter(pk__in=some)
        with transaction.atomic():
            access.lock(*reels.values_list("chain__name", flat=True))
            FlaggedReel.objects.filter(reel__in=some).delete()
            FlaggedReel.objects.bulk_create(FlaggedReel(reel_id=reel) for reel in some if reel in flagged)
            _keep(reels)
