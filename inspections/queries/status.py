"""Where each reel stands, and since when. For many reels at a time."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, NamedTuple

from django.db.models import (
    BigIntegerField,
    Case,
    CharField,
    Count,
    DateField,
    Exists,
    F,
    Max,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Sum,
    Value,
    When,
)
from django.db.models.functions import Cast, TruncWeek

from inspections.domain.words import LIVE, InspectionState, Meaning, ReelStatus, Role
from inspections.models import (
    DriftFlag,
    FlaggedReel,
    ImportedCount,
    Inspection,
    Participant,
    Reading,
    ReelNumber,
    ReelStatusRow,
    Referral,
    SetupValues,
    SignOff,
)
from inspections.queries.currency import with_ends
from inspections.queries.search import as_searched
from reels.models import CableEvent, Hold, Installation, Reel, ReelEvent, ReelType


def with_status(reels: QuerySet[Reel]) -> QuerySet[Reel]:
    """The reels with `status` (see ReelStatus), `machine_serial`, `layers` and `wraps` of their latest signed count.

    One query, for one reel or for thousands.
    """
    live = Inspection.objects.filter(reel=OuterRef("pk"), state__in=LIVE)
    signed = Inspection.objects.filter(reel=OuterRef("pk"), state=InspectionState.SIGNED).order_by("-done_at", "-id")
    installed = Installation.objects.filter(reel=OuterRef("pk"), removed_at__isnull=True)
    in_force = SetupValues.objects.filter(reel=OuterRef("pk"), withdrawn_at__isnull=True)
    counted = reels.annotate(
        live_state=Subquery(live.values("state")[:1]),
        counted_at=Subquery(signed.values("done_at")[:1]),
        layers=Subquery(signed.values("layers")[:1]),
        wraps=Subquery(signed.values("wraps")[:1]),
        machine_serial=Subquery(installed.values("machine__serial")[:1]),
        values_id=Subquery(in_force.values("pk")[:1]),
        values_confirmed_at=Subquery(in_force.values("confirmed_at")[:1]),
        is_held=Exists(Hold.objects.filter(reel=OuterRef("pk"), ended_at__isnull=True)),
    )
    standing: QuerySet[Reel] = with_ends(counted).annotate(status=_STATUS)
    return standing


_LIVE_STATUS = (
    (InspectionState.REFERRED, ReelStatus.REFERRED),
    (InspectionState.AWAITING_SIGN_OFF, ReelStatus.AWAITING_SIGN_OFF),
    (InspectionState.OPEN, ReelStatus.COUNT_OPEN),
)


# The first that holds is the status, so the order says which one matters more (the table is in DEVELOPERS.md).
_STATUS = Case(
    When(retired_at__isnull=False, then=Value(ReelStatus.RETIRED.value)),
    When(is_held=True, then=Value(ReelStatus.HELD.value)),
    *(When(live_state=state.value, then=Value(status.value)) for state, status in _LIVE_STATUS),
    When(
        machine_serial__isnull=False, values_confirmed_at__isnull=False, then=Value(ReelStatus.VALUES_CONFIRMED.value)
    ),
    When(machine_serial__isnull=False, values_id__isnull=False, then=Value(ReelStatus.INSTALLED.value)),
    When(machine_serial__isnull=False, then=Value(ReelStatus.WITHOUT_VALUES.value)),
    When(values_id__isnull=False, then=Value(ReelStatus.VALUES_ISSUED.value)),
    When(counted_at__isnull=False, is_changed_since=False, then=Value(ReelStatus.COUNTED.value)),
    default=Value(ReelStatus.AWAITING_COUNT.value),
    output_field=CharField(),
)


def with_moments(reels: QuerySet[Reel]) -> QuerySet[Any]:
    """The reels with their status and everything that says since when they stand where they stand. One query.

    `imported_at` is of the last count of older records; `machine_id` is where the reel is installed.
    """
    here = OuterRef("pk")
    live = Inspection.objects.filter(reel=here, state__in=LIVE)
    referral = Referral.objects.filter(inspection__reel=here, released_at__isnull=True)
    ended = Reading.objects.filter(inspection__reel=here, inspection__state=InspectionState.AWAITING_SIGN_OFF)
    hold = Hold.objects.filter(reel=here, ended_at__isnull=True)
    installed = Installation.objects.filter(reel=here, removed_at__isnull=True)
    in_force = SetupValues.objects.filter(reel=here, withdrawn_at__isnull=True)
    withdrawn = SetupValues.objects.filter(reel=here, withdrawn_at__isnull=False).order_by("-withdrawn_at")
    signed = Inspection.objects.filter(reel=here, state=InspectionState.SIGNED).order_by("-done_at", "-id")
    changed = CableEvent.objects.filter(reel=here).order_by("-recorded_at")
    happened = ReelEvent.objects.filter(reel=here, ends_count=True).order_by("-recorded_at")
    removed = Installation.objects.filter(reel=here, removed_at__isnull=False).order_by("-removed_at")
    imported = ImportedCount.objects.filter(reel=here).order_by("-counted_at")
    return with_status(reels).annotate(
        live_id=Subquery(live.values("pk")[:1]),
        opened_at=Subquery(live.values("recorded_at")[:1]),
        referred_at=Subquery(referral.values("referred_at")[:1]),
        worked_out_at=Subquery(ended.values("inspection").annotate(last=Max("ended_at")).values("last")[:1]),
        held_at=Subquery(hold.values("placed_at")[:1]),
        held_why=Subquery(hold.values("reason")[:1]),
        installed_at=Subquery(installed.values("installed_at")[:1]),
        machine_id=Subquery(installed.values("machine")[:1]),
        values_machine=Subquery(in_force.values("machine__serial")[:1]),
        issued_at=Subquery(in_force.values("issued_at")[:1]),
        confirmed_at=F("values_confirmed_at"),
        withdrawn_at=Subquery(withdrawn.values("withdrawn_at")[:1]),
        signed_at=Subquery(signed.values("ended_at")[:1]),
        changed_at=Subquery(changed.values("recorded_at")[:1]),
        happened_at=Subquery(happened.values("recorded_at")[:1]),
        removed_at=Subquery(removed.values("removed_at")[:1]),
        gone_at=F("retired_at"),
        imported_at=Subquery(imported.values("counted_at")[:1]),
        has_open_flag=Exists(DriftFlag.objects.filter(reel=here, closed_at__isnull=True)),
        is_flagged=Exists(FlaggedReel.objects.filter(reel=here)),
    )


# In the order of the board, and the columns of which the latest says since when a reel stands there.
SINCE: dict[ReelStatus, tuple[str, ...]] = {
    ReelStatus.HELD: ("held_at",),
    ReelStatus.REFERRED: ("referred_at",),
    ReelStatus.WITHOUT_VALUES: ("withdrawn_at", "installed_at"),
    ReelStatus.AWAITING_SIGN_OFF: ("worked_out_at",),
    ReelStatus.COUNT_OPEN: ("opened_at",),
    ReelStatus.AWAITING_COUNT: ("changed_at", "happened_at", "removed_at", "withdrawn_at"),
    ReelStatus.COUNTED: ("signed_at", "withdrawn_at"),
    ReelStatus.VALUES_ISSUED: ("issued_at",),
    ReelStatus.INSTALLED: ("installed_at", "issued_at"),
    ReelStatus.VALUES_CONFIRMED: ("confirmed_at",),
    ReelStatus.RETIRED: ("gone_at",),
}
RANK = {status: rank for rank, status in enumerate(SINCE)}


def status_rows_of(reels: QuerySet[Reel]) -> Iterator[ReelStatusRow]:
    """The status rows of some reels as their records give them, by the reels' ids. One query.

    Acts keep what this says, the rebuild puts it back, and the check of all records compares with it.
    """
    for reel in with_names(with_moments(reels)).annotate(head=F("chain__head")).order_by("pk"):
        yield _status_row(reel)


def status_rows_at(sites: Q) -> QuerySet[ReelStatusRow]:
    """Those of the reels of some sites. sites: as `access.at_readable_sites` gives them."""
    return ReelStatusRow.objects.filter(sites)


def with_names(reels: QuerySet[Any]) -> QuerySet[Any]:
    """The reels with the names that they are searched by, beside their own and their machine's. No query more."""
    signed = SignOff.objects.filter(inspection__reel=OuterRef("pk"), inspection__state=InspectionState.SIGNED)
    signed = signed.order_by("-inspection__done_at", "-inspection")
    at_work = Participant.objects.filter(inspection__reel=OuterRef("pk"), inspection__state__in=LIVE).order_by("-pk")
    installed = Installation.objects.filter(reel=OuterRef("pk"), removed_at__isnull=True)
    named: QuerySet[Any] = reels.annotate(
        host=Subquery(installed.values("machine__host")[:1]),
        counted_by=Subquery(signed.filter(meaning=Meaning.COUNTED).values("full_name")[:1]),
        verified_by=Subquery(signed.filter(meaning=Meaning.VERIFIED).values("full_name")[:1]),
        technician=Subquery(at_work.filter(role=Role.TECHNICIAN).values("person__full_name")[:1]),
        verifier=Subquery(at_work.filter(role=Role.VERIFIER).values("person__full_name")[:1]),
    )
    return named


def types_of_reels_at(sites: Q) -> QuerySet[ReelType]:
    """The types of which there is a reel at some sites, by code."""
    return ReelType.objects.filter(Exists(ReelStatusRow.objects.filter(sites, type=OuterRef("pk")))).order_by("code")


def _status_row(reel: Any) -> ReelStatusRow:
    """reel: as `with_moments` gives it, with its history's head."""
    status = ReelStatus(reel.status)
    counted_at = latest((reel.counted_at, reel.imported_at))
    last_at = counted_at or datetime.combine(reel.received_on, time.min, tzinfo=UTC)
    return ReelStatusRow(
        reel=reel, serial=reel.serial, type_id=reel.type_id, site_id=reel.site_id, head=reel.head,
        status=status, rank=RANK[status],
        signed_count_at=reel.counted_at, layers=reel.layers, wraps=reel.wraps, counted_at=counted_at, last_at=last_at,
        since=latest(getattr(reel, name) for name in SINCE[status]) or last_at,
        machine_id=reel.machine_id, live_id=reel.live_id, values_id=reel.values_id,
        values_machine=reel.values_machine or "", hold_why=reel.held_why or "", has_open_flag=reel.has_open_flag,
        is_flagged=reel.is_flagged,
        names=as_searched(reel.serial, reel.machine_serial, reel.host, reel.counted_by, reel.verified_by,
                          reel.technician, reel.verifier),
    )  # fmt: skip


def latest(moments: Iterable[datetime | None]) -> datetime | None:
    """The latest of those moments that there are."""
    return max(filter(None, moments), default=None)


# Numbers of reels -----------------------------------------------------------------------------------------------------


class NumberAt(NamedTuple):
    """How many reels there are of a site and a status: all, due for a count, flagged, with drift under review."""

    site: int
    status: str
    all: int
    due: int
    flagged: int
    open: int


def week_of(moment: datetime) -> date:
    """The Monday, in UTC, of the week in which it lies."""
    day = moment.astimezone(UTC).date()
    return day - timedelta(days=day.weekday())


def is_due_before(due_before: datetime) -> Q:
    """Of status rows: counted last by then, so that a count is due, and not retired."""
    return Q(last_at__lte=due_before) & ~Q(status=ReelStatus.RETIRED)


def numbers_by_status(sites: Q, **at: Any) -> dict[str, int]:
    """How many reels there are of each status at some sites. at: further conditions on site and type. One query."""
    rows = ReelNumber.objects.filter(sites, week=None, **at).values_list("status").annotate(Sum("reels")).order_by()
    return {status: number for status, number in rows if number}


def numbers_at(sites: Q, due_before: datetime) -> list[NumberAt]:
    """How many reels there are of each site and status. Two queries.

    due_before: a count is due of a reel that was counted last by then.
    """
    begun = week_of(due_before)
    # Weeks that are over are summed up, and only the reels of the one under way are looked at.
    just_due = ReelStatusRow.objects.filter(
        sites,
        is_due_before(due_before),
        last_at__gte=datetime.combine(begun, time.min, tzinfo=UTC),
        rank__in=RANK.values(),  # each, so that the index of a site's reels in their order is used
    )
    now_due = {(site, status): n for site, status, n in just_due.values_list("site", "status").annotate(Count("pk"))}
    sums = ReelNumber.objects.filter(sites).values_list("site", "status").order_by().annotate(
        all=Sum("reels", filter=Q(week=None), default=0),
        due=Sum("reels", filter=Q(week__lt=begun) & ~Q(status=ReelStatus.RETIRED), default=0),
        flagged=Sum("flagged"), open=Sum("open_flags"),
    )  # fmt: skip
    return [
        NumberAt(site, status, reels, due + now_due.get((site, status), 0), flagged, open_flags)
        for site, status, reels, due, flagged, open_flags in sums if reels
    ]  # fmt: skip


def numbers_amiss() -> list[ReelNumber]:
    """What is missing in the kept numbers of reels, or too much, by the status rows; nothing where they are right.

    One query, so that both are of one moment.
    """
    no_type, no_week = Cast(Value(None), BigIntegerField()), Cast(Value(None), DateField())
    none = Cast(Value(0), BigIntegerField())
    week = TruncWeek("last_at", tzinfo=UTC, output_field=DateField())
    rows, kept = ReelStatusRow.objects.order_by(), ReelNumber.objects.order_by()
    place = ("site", "status", "of_type", "of_week")
    by_type = rows.annotate(of_type=F("type_id"), of_week=no_week).values(*place).annotate(
        n=Count("pk"), n_open=Count("pk", filter=Q(has_open_flag=True)),
        n_flagged=Count("pk", filter=Q(is_flagged=True)),
    )  # fmt: skip
    by_week = rows.annotate(of_type=no_type, of_week=week).values(*place).annotate(
        n=Count("pk"), n_open=none, n_flagged=none
    )  # fmt: skip
    less = kept.annotate(of_type=F("type_id"), of_week=F("week")).values(*place).annotate(
        n=-Sum("reels"), n_open=-Sum("open_flags"), n_flagged=-Sum("flagged")
    )  # fmt: skip
    first, *others = (each.values_list(*place, "n", "n_open", "n_flagged") for each in (by_type, by_week, less))
    every: Any = first.union(*others, all=True)
    sums: dict[Place, list[int]] = defaultdict(lambda: [0, 0, 0])
    for site, status, of_type, of_week, *numbers in every:
        _add_up(sums[site, status, of_type, of_week], numbers)
    return as_numbers(sums)


Place = tuple[int, str, int | None, date | None]  # site, status, and type or week


def moves(before: Iterable[ReelStatusRow], after: Iterable[ReelStatusRow]) -> list[ReelNumber]:
    """What makes the numbers with some rows as they were into those with the rows as they are. No query."""
    sums: dict[Place, list[int]] = defaultdict(lambda: [0, 0, 0])
    for sign, rows in ((-1, before), (1, after)):
        for row in rows:
            here = row.site_id, row.status
            _add_up(sums[*here, row.type_id, None], [sign, sign * row.has_open_flag, sign * row.is_flagged])
            _add_up(sums[*here, None, week_of(row.last_at)], [sign, 0, 0])
    return as_numbers(sums)


def as_numbers(sums: Mapping[Place, Sequence[int]]) -> list[ReelNumber]:
    """Rows of sums (reels, those with drift under review, those flagged), without those of nothing."""
    return [
        ReelNumber(site_id=site, status=status, type_id=of_type, week=week,
                   reels=n, open_flags=n_open, flagged=n_flagged)
        for (site, status, of_type, week), (n, n_open, n_flagged) in sums.items() if n or n_open or n_flagged
    ]  # fmt: skip


def _add_up(sums: list[int], numbers: Iterable[int]) -> None:
    sums[:] = map(int.__add__, sums, numbers)
