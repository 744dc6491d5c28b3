"""Where each reel stands, and since when. For many reels at a time."""

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping
from datetime import UTC, datetime, time, timedelta
from typing import Any, NamedTuple

from django.db.models import (
    Count,
    Exists,
    F,
    OuterRef,
    Q,
    QuerySet,
    Sum,
)

from inspections.domain.words import LIVE, InspectionState, Meaning, ReelStatus, Role
from inspections.models import (
    DriftFlag,
    Finding,
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
from inspections.queries.currency import ends_of
from inspections.queries.findings import summaries_of
from inspections.queries.life import lives_of, received_at
from inspections.queries.numbers import week_of
from inspections.queries.search import as_searched
from reels.models import CableEvent, Hold, Installation, Move, Reel, ReelEvent, ReelType
from reels.queries import STANDING, Row


def with_status(reels: QuerySet[Reel]) -> QuerySet[Reel]:
    """The reels with what their status rows say.

    `status` (see ReelStatus), `machine_serial`, `live_id`, `values_id`, and of the latest signed count `counted_at`,
    `layers` and `wraps`.
    """
    return reels.annotate(
        status=F("status_row__status"),
        machine_serial=F("status_row__machine__serial"),
        live_id=F("status_row__live_id"),
        values_id=F("status_row__values_id"),
        counted_at=F("status_row__signed_count_at"),
        layers=F("status_row__layers"),
        wraps=F("status_row__wraps"),
    )


# Where a reel stands, by its records ----------------------------------------------------------------------------------

# Of each, the last is told: rows, and the columns by the names that `_status_row` reads.
_LAST: tuple[tuple[QuerySet[Any], dict[str, str]], ...] = (
    (
        Inspection.objects.filter(state__in=sorted(LIVE)),
        {"live_id": "pk", "live_state": "state", "opened_at": "recorded_at"},
    ),
    (
        Inspection.objects.filter(state=InspectionState.SIGNED).order_by("done_at", "id"),
        {"signed_id": "pk", "counted_at": "done_at", "layers": "layers", "wraps": "wraps", "signed_at": "ended_at"},
    ),
    (
        Installation.objects.filter(removed_at__isnull=True),
        {"installed_at": "installed_at", "machine_id": "machine", "machine_serial": "machine__serial",
         "host": "machine__host"},
    ),
    (Installation.objects.filter(removed_at__isnull=False).order_by("removed_at"), {"removed_at": "removed_at"}),
    (
        SetupValues.objects.filter(withdrawn_at__isnull=True),
        {"values_id": "pk", "values_machine": "machine__serial", "issued_at": "issued_at",
         "confirmed_at": "confirmed_at"},
    ),
    (SetupValues.objects.filter(withdrawn_at__isnull=False).order_by("withdrawn_at"), {"withdrawn_at": "withdrawn_at"}),
    (Hold.objects.filter(ended_at__isnull=True), {"held_at": "placed_at", "held_why": "reason"}),
    (Move.objects.filter(ended_at__isnull=True), {"sent_at": "sent_at"}),
    (CableEvent.objects.order_by("recorded_at"), {"changed_at": "recorded_at"}),
    (ReelEvent.objects.filter(STANDING, ends_count=True).order_by("recorded_at"), {"happened_at": "recorded_at"}),
    (ImportedCount.objects.order_by("counted_at"), {"imported_at": "counted_at"}),
    (DriftFlag.objects.filter(closed_at__isnull=True).order_by("pk"), {"open_flag": "pk"}),
    (FlaggedReel.objects.order_by("pk"), {"flagged_id": "pk"}),
)  # fmt: skip
# Tables of which no row changes leave every reel where it stands.
_READ: list[type[Any]] = [*(table.model for table, _ in _LAST), Finding, Participant, Reading, Reel, Referral, SignOff]
READ_FROM = frozenset(model._meta.db_table for model in _READ)
_NOTHING = dict.fromkeys([name for _, names in _LAST for name in names])
_NOTHING |= dict.fromkeys(("referred_at", "worked_out_at", *Meaning, *Role))


def _with_moments(reels: QuerySet[Reel]) -> list[Any]:
    """The reels, by their ids, with all that says where they stand and since when, and the names they are searched by.

    A query or two for each table, however many reels there are. One for all of it would have some forty subqueries,
    and to put these together at every act takes far longer than all of these take. So whoever asks holds the chains of
    the reels, or reads from one snapshot.
    """
    rows: list[Any] = list(reels.select_related("chain", "type").order_by("pk"))
    if not rows:
        return rows
    by_id = {reel.pk: reel for reel in rows}
    for reel in rows:
        vars(reel).update(_NOTHING, gone_at=reel.retired_at)
    for table, names in _LAST:
        for pk, *values in table.filter(reel__in=by_id).values_list("reel", *names.values()):
            vars(by_id[pk]).update(zip(names, values, strict=True))
    findings = summaries_of(by_id)
    ends = ends_of({reel.pk: reel.counted_at for reel in rows if reel.counted_at})
    lives = lives_of(rows)
    for reel in rows:
        reel.of_findings, reel.lives = findings.get(reel.pk, []), lives.get(reel.pk, ())
        reel.ended_at, reel.ended_why = ends.get(reel.pk, (None, ""))
    _add_of_live_counts({reel.live_id: reel for reel in rows if reel.live_id})
    signed = {reel.signed_id: reel for reel in rows if reel.signed_id}
    if signed:
        for pk, meaning, name in _of_counts(SignOff, signed).values_list("inspection", "meaning", "full_name"):
            vars(signed[pk])[meaning] = name
    return rows


def _add_of_live_counts(live: Mapping[int, Any]) -> None:
    """What is told of counts that are under way. live: reels by their counts."""
    if not live:
        return
    at_work = _of_counts(Participant, live).order_by("pk")
    for pk, role, name in at_work.values_list("inspection", "role", "person__full_name"):
        vars(live[pk])[role] = name
    referrals = _of_counts(Referral, live).filter(released_at__isnull=True)
    for pk, referred_at in referrals.values_list("inspection", "referred_at"):
        live[pk].referred_at = referred_at
    readings = _of_counts(Reading, live).filter(ended_at__isnull=False).order_by("ended_at")
    for pk, ended_at in readings.values_list("inspection", "ended_at"):
        live[pk].worked_out_at = ended_at


def _of_counts(model: type[Row], counts: Collection[int]) -> QuerySet[Row]:
    return model._default_manager.filter(inspection__in=counts)


_LIVE_STATUS = {
    InspectionState.REFERRED: ReelStatus.REFERRED,
    InspectionState.AWAITING_SIGN_OFF: ReelStatus.AWAITING_SIGN_OFF,
    InspectionState.OPEN: ReelStatus.COUNT_OPEN,
}


def status_of(reel: Any) -> ReelStatus:
    """The first that holds, so the order says which one matters more (the table is in DEVELOPERS.md).

    reel: with gone_at, sent_at, held_at, live_state, machine_id, values_id, confirmed_at, counted_at and ended_at.
    """
    if reel.gone_at:
        return ReelStatus.RETIRED
    if reel.sent_at:
        return ReelStatus.IN_TRANSIT
    if reel.held_at:
        return ReelStatus.HELD
    if reel.live_state:
        return _LIVE_STATUS[reel.live_state]
    if reel.machine_id and reel.values_id:
        return ReelStatus.VALUES_CONFIRMED if reel.confirmed_at else ReelStatus.INSTALLED
    if reel.machine_id:
        return ReelStatus.WITHOUT_VALUES
    if reel.values_id:
        return ReelStatus.VALUES_ISSUED
    return ReelStatus.COUNTED if reel.counted_at and not reel.ended_at else ReelStatus.AWAITING_COUNT


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
    ReelStatus.IN_TRANSIT: ("sent_at",),
}
RANK = {status: rank for rank, status in enumerate(SINCE)}


def status_rows_of(reels: QuerySet[Reel]) -> Iterator[ReelStatusRow]:
    """The status rows of some reels as their records give them, by the reels' ids.

    Acts keep what this says, the rebuild puts it back, and the check of all records compares with it.
    """
    yield from map(_status_row, _with_moments(reels))


def status_rows_at(sites: Q) -> QuerySet[ReelStatusRow]:
    """Those of the reels of some sites. sites: as `access.at_readable_sites` gives them."""
    return ReelStatusRow.objects.filter(sites)


def status_rows_in_transit(
    moves: QuerySet[Move], site: str | None = None, of_type: str | None = None
) -> QuerySet[ReelStatusRow]:
    """Those of the reels that are on one of these moves. site: the code of either end; of_type: its code; None: any."""
    under_way = moves.filter(ended_at__isnull=True).order_by()
    if site:
        under_way = under_way.filter(Q(from_site__code=site) | Q(to_site__code=site))
    rows = ReelStatusRow.objects.filter(status=ReelStatus.IN_TRANSIT, reel__in=under_way.values("reel"))
    # Not by a join: SQLite would go through all reels of the type for the few that are on their way.
    return rows.filter(Exists(ReelType.objects.filter(pk=OuterRef("type"), code=of_type))) if of_type else rows


def types_of_reels_at(sites: Q) -> QuerySet[ReelType]:
    """The types of which there is a reel at some sites, by code."""
    numbers = ReelNumber.objects.filter(sites, week=None).values("type").annotate(reels_there=Sum("reels"))
    return ReelType.objects.filter(pk__in=numbers.filter(reels_there__gt=0).values("type")).order_by("code")


def _status_row(reel: Any) -> ReelStatusRow:
    """reel: as `_with_moments` gives it."""
    status = status_of(reel)
    counted_at = latest((reel.counted_at, reel.imported_at))
    last_at = counted_at or received_at(reel)
    return ReelStatusRow(
        reel=reel, serial=reel.serial, type_id=reel.type_id, head=reel.chain.head,
        **_places(reel, status),
        status=status, rank=RANK[status],
        signed_count_at=reel.counted_at, layers=reel.layers, wraps=reel.wraps, counted_at=counted_at, last_at=last_at,
        count_ended_at=reel.ended_at, count_ended_why=reel.ended_why,
        soft_limit_at=earliest(each.soft_at for each in reel.lives),
        hard_limit_at=earliest(each.hard_at for each in reel.lives),
        since=latest(getattr(reel, name) for name in SINCE[status]) or last_at,
        machine_id=reel.machine_id, live_id=reel.live_id, values_id=reel.values_id,
        values_machine=reel.values_machine or "", hold_why=reel.held_why or "",
        has_open_flag=reel.open_flag is not None, is_flagged=reel.flagged_id is not None, findings=reel.of_findings,
        names=as_searched(reel.serial, reel.machine_serial, reel.host,
                          *(vars(reel)[name] for name in (*Meaning, *Role))),
    )  # fmt: skip


def _places(reel: Any, status: ReelStatus) -> dict[str, int | None]:
    """The site in whose stock it is; or in none's, and which sent it."""
    is_sent = status is ReelStatus.IN_TRANSIT
    return {"site_id": None if is_sent else reel.site_id, "sent_from_id": reel.site_id if is_sent else None}


def latest(moments: Iterable[datetime | None]) -> datetime | None:
    """The latest of those moments that there are."""
    return max(filter(None, moments), default=None)


def earliest(moments: Iterable[datetime | None]) -> datetime | None:
    """The earliest of those moments that there are."""
    return min(filter(None, moments), default=None)


# Numbers of reels -----------------------------------------------------------------------------------------------------


class NumberAt(NamedTuple):
    """How many reels there are of a site and a status: all, due for a count, flagged, with drift under review.

    site: None of those in transit, which no reader's sites find.
    """

    site: int | None
    status: str
    all: int
    due: int
    flagged: int
    open: int


class DueBefore(NamedTuple):
    """A count is due of a reel that was counted last by then. by_type: where counts lapse by days of the type."""

    usual: datetime
    by_type: dict[int, datetime]

    def of_type(self, type_id: int | None) -> datetime:
        """By when a reel of this type was counted last, so that a count is due."""
        return self.by_type.get(type_id or 0, self.usual)


def due_before(at: datetime, usual_days: int) -> DueBefore:
    """usual_days: from one count to the next, where a type does not say. One query."""
    days = ReelType.objects.filter(count_days__isnull=False).values_list("pk", "count_days")
    own = {pk: at - timedelta(days=each or 0) for pk, each in days}
    return DueBefore(at - timedelta(days=usual_days), own)


def is_due_before(due: DueBefore) -> Q:
    """Of status rows: that a count is due, and the reel not retired."""
    if not due.by_type:
        return Q(last_at__lte=due.usual) & NOT_RETIRED
    is_due = Q(last_at__lte=due.usual) & ~Q(type__in=list(due.by_type))
    for type_id, before in due.by_type.items():
        is_due |= Q(type=type_id, last_at__lte=before)
    return is_due & NOT_RETIRED


NOT_RETIRED = ~Q(status=ReelStatus.RETIRED)


def numbers_by_status(sites: Q, **at: Any) -> dict[str, int]:
    """How many reels there are of each status at some sites. at: further conditions on site and type. One query."""
    rows = ReelNumber.objects.filter(sites, week=None, **at).values_list("status").annotate(Sum("reels")).order_by()
    return {status: number for status, number in rows if number}


def numbers_at(sites: Q, due: DueBefore) -> list[NumberAt]:
    """How many reels there are of each site and status. Two queries, and one for each type with days of its own."""
    begun = week_of(due.usual)
    # Weeks that are over are summed up, and only the reels of the one under way are looked at.
    just_due = ReelStatusRow.objects.filter(
        sites,
        is_due_before(DueBefore(due.usual, {})),
        last_at__gte=datetime.combine(begun, time.min, tzinfo=UTC),
        rank__in=RANK.values(),  # each, so that the index of a site's reels in their order is used
    )
    now_due = Counter(_by_place(just_due))
    for type_id, before in due.by_type.items():
        between = ReelStatusRow.objects.filter(
            sites, NOT_RETIRED, type=type_id, last_at__gt=min(before, due.usual), last_at__lte=max(before, due.usual)
        )
        if before > due.usual:
            now_due.update(_by_place(between))
        else:
            now_due.subtract(_by_place(between))
    sums = ReelNumber.objects.filter(sites).values_list("site", "status").order_by().annotate(
        all=Sum("reels", filter=Q(week=None), default=0),
        due=Sum("reels", filter=Q(week__lt=begun) & ~Q(status=ReelStatus.RETIRED), default=0),
        flagged=Sum("flagged"), open=Sum("open_flags"),
    )  # fmt: skip
    return [
        NumberAt(site, status, reels, summed + now_due[site, status], flagged, open_flags)
        for site, status, reels, summed, flagged, open_flags in sums if reels
    ]  # fmt: skip


def _by_place(rows: QuerySet[ReelStatusRow]) -> dict[tuple[int | None, str], int]:
    return {
        (site, status): n for site, status, n in rows.order_by().values_list("site", "status").annotate(Count("pk"))
    }
