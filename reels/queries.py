"""What is read about reels, a fixed number of queries each; and where in a list's order one page ends.

A place in an order is the key of the last row that was given, and the next page begins beyond it. Orders end in a
unique column, so no two rows share a key, and rows that come in between two pages make none drop out.
"""

import base64
import json
from collections.abc import Iterator, Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Any, TypeVar

from django.core.exceptions import ValidationError
from django.db.models import (
    Case,
    Count,
    Exists,
    F,
    Func,
    Max,
    Min,
    Model,
    OuterRef,
    Q,
    QuerySet,
    Sum,
    TextField,
    Value,
    When,
)
from django.db.models.lookups import GreaterThan, LessThan
from django_tasks.base import TaskResultStatus
from django_tasks_db.models import DBTaskResult, get_date_max

from reels.domain import ledger
from reels.domain.winding import UncertainLength, drum_from, length_with_uncertainty
from reels.errors import OffTheDrum
from reels.models import (
    CableEvent,
    GaugeCalibration,
    Hold,
    Installation,
    Machine,
    MachineHold,
    Move,
    Publication,
    PublicationType,
    Reel,
    ReelType,
    WorkerSeen,
    WrapGauge,
)
from reels.models.tasks import HELD_BACK, STATES, STOPPED

Row = TypeVar("Row", bound=Model)

# Cable events that count: not a counter-entry, and not taken back by one.
STANDING = ~Q(kind=CableEvent.Kind.REVERSAL) & Q(reversed_by__isnull=True)


def matching(rows: QuerySet[Row], filters: Mapping[str, Any], **columns: str) -> QuerySet[Row]:
    """The rows that have in each named column what the filter of that name asks for, if it asks for anything."""
    return rows.filter(
        **{column: filters[name] for name, column in columns.items() if filters.get(name) not in (None, "")}
    )


Order = tuple[str, ...]  # columns, each with "-" for downwards, the last one unique


class _InTurn(Func):
    """Columns or values compared one after another, which an index over the columns can answer."""

    template = "(%(expressions)s)"
    output_field = TextField()  # none of its own: both sides are made alike


def beyond(rows: QuerySet[Row], order: Order, key: list[Any]) -> QuerySet[Row]:
    """The rows that come after the one with this key."""
    columns, is_down = [each.removeprefix("-") for each in order], order[0].startswith("-")
    if any(each.startswith("-") != is_down for each in order):
        return rows.filter(_beyond_either_way(order, key))
    fields: list[Any] = [rows.model._meta.get_field(column) for column in columns]
    place = _InTurn(*(Value(value, output_field=field) for value, field in zip(key, fields, strict=True)))
    compared = LessThan if is_down else GreaterThan
    return rows.filter(compared(_InTurn(*(F(column) for column in columns)), place))


def in_pages(rows: QuerySet[Row], order: Order, size: int) -> Iterator[Row]:
    """Every row in this order, so many at a time: each page a query that an index over the order answers.

    For a file of many rows that are only ever added: nothing is sorted or held for the whole of it, on either side, and
    what is added meanwhile is in it or not.
    """
    page = list(rows.order_by(*order)[:size])
    while page:
        yield from page
        key = [getattr(page[-1], column.removeprefix("-")) for column in order]
        page = list(beyond(rows, order, key).order_by(*order)[:size]) if len(page) == size else []


def _beyond_either_way(order: Order, key: list[Any]) -> Q:
    """The same where some columns go up and some down: beyond in a column and equal in all before it."""
    later = Q(pk__in=())  # nothing: what it is or-ed with decides
    equal = Q()
    for column, value in zip(order, key, strict=True):
        name = column.removeprefix("-")
        later |= equal & Q(**{f"{name}__{'lt' if column.startswith('-') else 'gt'}": value})
        equal &= Q(**{name: value})
    return later


def written_place(row: Any, order: Order) -> str:
    """Where a row stands in an order, for an address."""
    values = [getattr(row, column.removeprefix("-")) for column in order]
    key = [repr(value) if isinstance(value, float) else ledger.plain(value) for value in values]
    return base64.urlsafe_b64encode(json.dumps(key).encode()).decode().rstrip("=")


def read_place(text: str, model: type[Model], order: Order) -> list[Any]:
    """The key of a place that `written_place` wrote. Raises one of NO_PLACE for anything else."""
    key = json.loads(base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True))
    if not isinstance(key, list) or len(key) != len(order):
        raise ValueError("another order")
    return [_typed(model, column, part) for column, part in zip(order, key, strict=True)]


NO_PLACE = (ValueError, TypeError, RecursionError, ValidationError)  # what `read_place` raises


def _typed(model: type[Model], column: str, part: Any) -> Any:
    """The value as its column holds it."""
    if type(part) is int:
        return part
    if not isinstance(part, str) or not part.isprintable():
        raise ValueError("no value of a key")
    value = model._meta.get_field(column.removeprefix("-")).to_python(part)  # type: ignore[union-attr]  # never a relation
    if isinstance(value, datetime) and value.tzinfo is None:
        raise ValueError("a time without an offset")
    return value


def installation_of(reel: Reel) -> Installation | None:
    """Where the reel is installed now. One query."""
    return Installation.objects.select_related("machine").filter(reel=reel, removed_at__isnull=True).first()


def move_of(reel: Reel) -> Move | None:
    """The move that the reel is on, if it is in transit. One query."""
    ends = Move.objects.select_related("from_site", "to_site", "sent_by")
    return ends.filter(reel=reel, ended_at__isnull=True).first()


def hold_on(reel: Reel) -> Hold | None:
    """The hold on the reel, if it is held. One query."""
    return Hold.objects.filter(reel=reel, ended_at__isnull=True).first()


def hold_on_machine(machine: Machine) -> MachineHold | None:
    """The hold on the machine, if it is held. One query."""
    return (
        MachineHold.objects.select_related("reel__type", "machine__site")
        .filter(machine=machine, ended_at__isnull=True)
        .first()
    )


def machine_hold_about(reel: Reel, machine_serial: str | None) -> MachineHold | None:
    """The hold of the machine that the reel is in, or of one that a check of this reel held. One query."""
    about = Q(reel=reel) | Q(machine__serial=machine_serial)
    return MachineHold.objects.select_related("machine").filter(about, ended_at__isnull=True).first()


def standing_cable_events(reel: Reel) -> QuerySet[CableEvent]:
    """The reel's cuts and replacements that were not taken back, oldest first."""
    return CableEvent.objects.filter(STANDING, reel=reel).order_by("happened_at", "id")


def publications_in_force(reel_type: ReelType | None, at: datetime) -> QuerySet[Publication]:
    """The publications by which a reel of this type is counted at that moment; None: of any. One query."""
    in_force = Publication.objects.filter(Q(valid_until__isnull=True) | Q(valid_until__gt=at), valid_from__lte=at)
    if reel_type is None:
        return in_force
    types = PublicationType.objects.filter(publication=OuterRef("pk"))
    return in_force.filter(~Exists(types) | Exists(types.filter(type=reel_type)))


def calibration_at(gauge: WrapGauge, day: date) -> GaugeCalibration | None:
    """The calibration that a gauge had on a day. One query, none where its calibrations came with it."""
    made = [each for each in gauge.calibrations.all() if each.calibrated_on <= day]
    return max(made, key=lambda each: (each.calibrated_on, each.pk), default=None)


def cable_length_at(reel: Reel, at: datetime) -> Decimal | None:
    """Metres of cable by the log: what was fitted less what was cut by then; None when what was fitted is unknown.

    Two queries.
    """
    events = standing_cable_events(reel).filter(happened_at__lte=at)
    fitted = events.filter(kind=CableEvent.Kind.REPLACED).last()
    length = fitted.length_fitted_m if fitted else reel.cable_length_m
    if length is None:
        return None
    cuts = events.filter(kind=CableEvent.Kind.CUT)
    if fitted:
        cuts = cuts.filter(happened_at__gte=fitted.happened_at)
    removed = cuts.aggregate(metres=Sum("length_removed_m"))["metres"]
    return Decimal(length) - (removed or Decimal(0))


def cable_serial_of(reel: Reel) -> str:
    """Serial or lot of the cable that is on the reel now; "" where it is not known. One query."""
    fitted = standing_cable_events(reel).filter(kind=CableEvent.Kind.REPLACED).last()
    return fitted.cable_serial if fitted else reel.cable_serial


def length_counted(layers: int | None, wraps: int | None, reel_type: ReelType) -> UncertainLength | None:
    """The cable on the drum that a count stands for, with its standard uncertainty; no query.

    None where there is no count, or one that the type as it is now can't hold.
    """
    if layers is None or wraps is None:
        return None
    try:
        return length_with_uncertainty(layers, wraps, drum_from(vars(reel_type)))
    except OffTheDrum:
        return None


# Tasks --------------------------------------------------------------------------------------------------------------


def tasks_by_state() -> dict[str, int]:
    """How many tasks wait, run, are stopped, and have failed and are still kept. One query."""
    by_state = {name: 0 for name in (*STATES.values(), STOPPED) if name != "done"}
    unfinished = DBTaskResult.objects.exclude(status=TaskResultStatus.SUCCESSFUL)
    for status, queue, number in unfinished.values_list("status", "queue_name").annotate(Count("pk")).order_by():
        is_stopped = status == TaskResultStatus.READY and queue == HELD_BACK
        by_state[STOPPED if is_stopped else STATES[TaskResultStatus(status)]] += number
    return by_state


def oldest_task_due(at: datetime) -> datetime | None:
    """Since when the task that has waited longest might have been begun; None: none waits for a worker. One query."""
    due_at = Case(When(run_after=get_date_max(), then=F("enqueued_at")), default=F("run_after"))
    waiting = DBTaskResult.objects.filter(status=TaskResultStatus.READY).exclude(queue_name=HELD_BACK)
    oldest: datetime | None = waiting.annotate(due_at=due_at).filter(due_at__lte=at).aggregate(at=Min("due_at"))["at"]
    return oldest


def worker_seen_at() -> datetime | None:
    """When a worker said last that it lives. One query."""
    seen: datetime | None = WorkerSeen.objects.aggregate(at=Max("at"))["at"]
    return seen
