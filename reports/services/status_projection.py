"""Where each reel stands, kept so that the board need not work it out for every reel each time it is looked at.

A status row follows from a reel's history alone, so that it is right as long as the history's head is the one it was
made from. Whether any history has grown is one number: how many entries they have together.
"""

from collections.abc import Iterable
from datetime import UTC, datetime, time
from typing import Any

from django.db.models import Exists, Max, OuterRef, Q, QuerySet, Subquery, Sum

from inspections.domain.words import ReelStatus
from inspections.queries.status import latest, with_moments
from reels.models import Chain, Reel
from reports.models import ReelStatusRow, StatusWatermark

AT_ONCE = 200
ONE = 1  # the only row of StatusWatermark

# In the order of the board, and the columns of which the latest says since when a reel stands there.
SINCE: dict[ReelStatus, tuple[str, ...]] = {
    ReelStatus.HELD: ("held_at",),
    ReelStatus.REFERRED: ("referred_at",),
    ReelStatus.WITHOUT_VALUES: ("withdrawn_at", "installed_at"),
    ReelStatus.AWAITING_SIGN_OFF: ("worked_out_at",),
    ReelStatus.COUNT_OPEN: ("opened_at",),
    ReelStatus.AWAITING_COUNT: ("changed_at", "withdrawn_at"),
    ReelStatus.COUNTED: ("signed_at", "withdrawn_at"),
    ReelStatus.VALUES_ISSUED: ("issued_at",),
    ReelStatus.INSTALLED: ("installed_at", "issued_at"),
    ReelStatus.VALUES_CONFIRMED: ("confirmed_at",),
    ReelStatus.RETIRED: ("gone_at",),
}
RANK = {status: rank for rank, status in enumerate(SINCE)}
UPDATED = [field.name for field in ReelStatusRow._meta.concrete_fields if field.name not in ("id", "reel")]


def bring_up_to_date() -> None:
    """Work out anew where those reels stand whose history has grown. One query when none has."""
    made = StatusWatermark.objects.filter(pk=ONE).values("entries")
    counted = Chain.objects.aggregate(entries=Sum("length"), known=Max(Subquery(made)))
    entries = counted["entries"] or 0
    if entries == counted["known"]:
        return
    last = 0
    while moved := list(_moved().filter(pk__gt=last)[:AT_ONCE]):  # their heads are read before anything else of them
        _keep(moved)
        last = moved[-1].pk
    StatusWatermark.objects.update_or_create(pk=ONE, defaults={"entries": entries})


def status_rows_at(sites: Iterable[int], word: str = "") -> QuerySet[ReelStatusRow]:
    """Those of the reels of some sites, by their ids, in whose serial number, machine or host the word occurs."""
    rows = ReelStatusRow.objects.filter(site__in=list(sites))
    if not word:
        return rows
    names = ("serial", "machine__serial", "machine__host")
    return rows.filter(Q(*((f"{name}__icontains", word) for name in names), _connector=Q.OR))


def _moved() -> QuerySet[Reel]:
    fresh = ReelStatusRow.objects.filter(reel=OuterRef("pk"), head=OuterRef("chain__head"))
    return Reel.objects.filter(~Exists(fresh)).select_related("chain").order_by("pk")


def _keep(reels: list[Reel]) -> None:
    heads = {reel.pk: reel.chain.head for reel in reels}
    reels_with_moments = with_moments(Reel.objects.filter(pk__in=heads))
    rows = [_status_row(reel, heads[reel.pk]) for reel in reels_with_moments]
    ReelStatusRow.objects.bulk_create(rows, update_conflicts=True, unique_fields=["reel"], update_fields=UPDATED)


def _status_row(reel: Any, head: str) -> ReelStatusRow:
    """reel: as `with_moments` gives it."""
    status = ReelStatus(reel.status)
    counted_at = latest((reel.counted_at, reel.imported_at))
    last_at = counted_at or datetime.combine(reel.received_on, time.min, tzinfo=UTC)
    return ReelStatusRow(
        reel=reel, serial=reel.serial, site_id=reel.site_id, head=head, status=status, rank=RANK[status],
        counted_at=counted_at, last_at=last_at,
        since=latest(getattr(reel, name) for name in SINCE[status]) or last_at,
        machine_id=reel.machine_id, live_id=reel.live_id, values_id=reel.values_id,
        values_machine=reel.values_machine or "", hold_why=reel.held_why or "", has_open_flag=reel.has_open_flag,
    )  # fmt: skip
