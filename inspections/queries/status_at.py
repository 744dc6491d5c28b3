"""Where reels stood at a moment that is past, by what had happened or by what had been recorded until then.

What had happened is told as far as it is recorded today; what had been recorded, whatever was found out later.

A reel whose history has not grown since then stands where its status row says; the others are worked out again from
their records, some hundred at a time. So what it costs depends on how many reels there are, and not on how much ever
happened to them.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from itertools import islice
from typing import Any, NamedTuple

from django.db.models import Exists, F, Min, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from inspections.domain.reading import Outcome
from inspections.domain.words import Decision, InspectionState, ReelStatus
from inspections.models import ImportedCount, Inspection, Keying, Reading, ReelStatusRow, Referral, SetupValues
from inspections.queries.currency import Currency, currency_by, ends_of
from inspections.queries.life import received_at
from inspections.queries.status import latest, status_of
from reels.models import HistoryEntry, Hold, Installation, Move, Person, Reel
from reels.services.reels import require_time

AT_ONCE = 500


class AsOf(StrEnum):
    """What is taken to be known of a moment."""

    HAPPENED = "happened"
    RECORDED = "recorded"


class Stood(NamedTuple):
    """A reel at a moment. type: its id; last_at: of the last count by then, of its coming where there was none."""

    status: ReelStatus
    type: int
    last_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class InstalledThen:
    """An installation as it was known. removed_at, removed_by: none while the reel was in the machine."""

    machine: str
    installed_at: datetime
    installed_by: Person
    removed_at: datetime | None
    removed_by: Person | None


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldThen:
    """A hold as it was known. placed_by: none, the service itself."""

    reason: str
    placed_at: datetime
    placed_by: Person | None
    ended_at: datetime | None
    end_reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReelThen:
    """A reel at a moment, its installations and holds by then oldest first.

    machine: the one that it was in. count: the latest signed one; currency: whether it was current, by its type's days
    and uses of today. values: those in force.
    """

    status: ReelStatus
    machine: str | None
    installations: list[InstalledThen]
    holds: list[HeldThen]
    count: Inspection | None
    currency: Currency | None
    values: SetupValues | None

    @property
    def hold(self) -> HeldThen | None:
        """What held it."""
        return next((each for each in self.holds if each.ended_at is None), None)


def reel_then(reel: Reel, moment: datetime, at: datetime) -> dict[AsOf, ReelThen | None]:
    """A reel at a moment in both ways; None where it was not on record by then.

    reel: with its type and site. at: now. Raises OutOfTime for a moment to come, or before the reel was received.
    """
    require_time("as_of", moment, reel, at)
    was_known = HistoryEntry.objects.filter(chain=reel.chain_id, seq=1, at__lte=moment).exists()
    recorded = _reel_at(reel, moment, AsOf.RECORDED) if was_known else None
    return {AsOf.HAPPENED: _reel_at(reel, moment, AsOf.HAPPENED), AsOf.RECORDED: recorded}


def _reel_at(reel: Reel, moment: datetime, by: AsOf) -> ReelThen:
    """Twelve queries."""
    [row] = _rows_at([reel.pk], moment, by)
    installations = [_installed(each) for each in _by_then(Installation, moment, by).filter(reel=reel)]
    count = Inspection.objects.filter(pk=row.signed_id).first()
    end = (row.ended_at, row.ended_why) if row.ended_at else None
    return ReelThen(
        status=status_of(row), installations=installations,
        machine=next((each.machine for each in installations if each.removed_at is None), None),
        holds=[_held(each) for each in _by_then(Hold, moment, by).filter(reel=reel)], count=count,
        currency=currency_by(reel.site, reel.type.count_days, count.done_at, end, moment) if count else None,
        values=SetupValues.objects.filter(pk=row.values_id).select_related("machine").first(),
    )  # fmt: skip


def _by_then(model: type[Any], moment: datetime, by: AsOf) -> QuerySet[Any]:
    """The rows that had begun by then; is_over: whether they had ended, too."""
    span = _SPANS[model]
    rows: QuerySet[Any] = model._default_manager.annotate(known_at=span.begun[by], over_at=span.ended[by])
    rows = rows.filter(known_at__lte=moment).annotate(is_over=Q(over_at__isnull=False, over_at__lte=moment))
    joined = ("machine", "installed_by", "removed_by") if model is Installation else ("placed_by",)
    return rows.select_related(*joined).order_by("pk")


def _installed(row: Any) -> InstalledThen:
    return InstalledThen(
        machine=row.machine.serial, installed_at=row.installed_at, installed_by=row.installed_by,
        removed_at=row.removed_at if row.is_over else None, removed_by=row.removed_by if row.is_over else None,
    )  # fmt: skip


def _held(row: Any) -> HeldThen:
    return HeldThen(
        reason=row.reason, placed_at=row.placed_at, placed_by=row.placed_by,
        ended_at=row.ended_at if row.is_over else None, end_reason=row.end_reason if row.is_over else "",
    )  # fmt: skip


def reels_at(sites: Q, moment: datetime, by: AsOf = AsOf.HAPPENED) -> Iterator[Stood]:
    """Every reel of some sites that had come by then, in no order. One query, and eight for each AT_ONCE that changed.

    sites: as `access.at_readable_sites` gives them.
    """
    newest = HistoryEntry.objects.filter(chain=OuterRef("reel__chain"), seq=OuterRef("reel__chain__length"))
    rows = ReelStatusRow.objects.filter(sites, reel__received_on__lte=moment.date())
    changed = rows.annotate(has_changed=Exists(newest.filter(at__gt=moment)))
    others: list[int] = []
    for reel, status, type_id, last_at, has_changed in (
        changed.values_list("reel", "status", "type", "last_at", "has_changed").iterator(2000)
    ):  # fmt: skip
        if has_changed:
            others.append(reel)
        else:
            yield Stood(ReelStatus(status), type_id, last_at)
    of_others = iter(others)
    while some := list(islice(of_others, AT_ONCE)):
        for row in _rows_at(some, moment, by):
            yield Stood(status_of(row), row.type_id, latest((row.counted_at, row.imported_at)) or received_at(row))


def _rows_at(reels: list[int], moment: datetime, by: AsOf) -> list[Any]:
    """The reels with all that `status_of` asks for. Eight queries."""
    rows: list[Any] = list(_with_what_held(Reel.objects.filter(pk__in=reels), moment, by))
    states = _live_states({reel.live_id for reel in rows if reel.live_id}, moment)
    recorded_by = moment if by is AsOf.RECORDED else None
    ends = ends_of({reel.pk: reel.counted_at for reel in rows if reel.counted_at}, recorded_by)
    for reel in rows:
        when, why = ends.get(reel.pk, (None, ""))
        reel.live_state = states.get(reel.live_id)
        reel.ended_at, reel.ended_why = (when, why) if when and when <= moment else (None, "")
        reel.gone_at = reel.retired_at if reel.retired_at and reel.retired_at <= moment else None
    return rows


def _with_what_held(reels: QuerySet[Reel], moment: datetime, by: AsOf) -> QuerySet[Reel]:
    """The reels with what `status_of` asks for, as it was then. One query."""
    signed = Inspection.objects.filter(state__in=(InspectionState.SIGNED, InspectionState.VOIDED), ended_at__lte=moment)
    signed = signed.exclude(void__confirmed_at__lte=moment).order_by("-done_at", "-id")
    imported = ImportedCount.objects.filter(counted_at__lte=moment)
    values = _standing(SetupValues, moment, by)
    return reels.annotate(
        sent_at=_of_reel(_standing(Move, moment, by), "sent_at"),
        held_at=_of_reel(_standing(Hold, moment, by), "placed_at"),
        machine_id=_of_reel(_standing(Installation, moment, by), "machine"),
        values_id=_of_reel(values, "pk"),
        confirmed_at=_of_reel(values.filter(confirmed_at__lte=moment), "confirmed_at"),
        live_id=_of_reel(_standing(Inspection, moment, by), "pk"),
        counted_at=_of_reel(signed, "done_at"),
        signed_id=_of_reel(signed, "pk"),
        imported_at=_of_reel(imported.order_by("-counted_at"), "counted_at"),
    )


class _Span(NamedTuple):
    """When a row began and ended: as it happened, and as it was recorded."""

    begun: Mapping[AsOf, Any]
    ended: Mapping[AsOf, Any]


def _span(begun: str, ended: str, begun_recorded: str = "", end_recorded: str = "") -> _Span:
    """Without a column for when it was recorded, or without a moment in it: as it happened."""
    return _Span(
        {AsOf.HAPPENED: F(begun), AsOf.RECORDED: Coalesce(begun_recorded, begun) if begun_recorded else F(begun)},
        {AsOf.HAPPENED: F(ended), AsOf.RECORDED: Coalesce(end_recorded, ended) if end_recorded else F(ended)},
    )


_SPANS: dict[type[Any], _Span] = {
    Move: _span("sent_at", "ended_at", "recorded_at", "end_recorded_at"),
    Hold: _span("placed_at", "ended_at", "recorded_at", "end_recorded_at"),
    Installation: _span("installed_at", "removed_at", "recorded_at", "removal_recorded_at"),
    Inspection: _span("recorded_at", "ended_at"),
    SetupValues: _span("issued_at", "withdrawn_at"),
}


def _standing(model: type[Any], moment: datetime, by: AsOf) -> QuerySet[Any]:
    """The rows that had begun by then and not ended, the newest first."""
    span = _SPANS[model]
    rows: QuerySet[Any] = model._default_manager.annotate(known_at=span.begun[by], over_at=span.ended[by])
    still = Q(over_at__isnull=True) | Q(over_at__gt=moment)
    return rows.filter(still, known_at__lte=moment).order_by("-known_at", "-pk")


def _of_reel(rows: QuerySet[Any], column: str) -> Subquery:
    return Subquery(rows.filter(reel=OuterRef("pk")).values(column)[:1])


def _live_states(live: set[int], moment: datetime) -> Mapping[int, InspectionState]:
    """How far counts that were under way had come, by the last of what is recorded of each. Three queries."""
    if not live:
        return {}
    moves = [*_moves_by_readings(live), *_moves_by_referrals(live)]
    states = dict.fromkeys(live, InspectionState.OPEN)
    states.update((inspection, state) for at, _, inspection, state in sorted(moves) if at <= moment)
    return states


_Move = tuple[datetime, int, int, InspectionState]  # when, its place among those of one moment, whose, and to where
_OF_REFERRALS = 2**16  # after those of all readings


def _moves_by_readings(live: set[int]) -> Iterator[_Move]:
    began = Keying.objects.filter(reading__inspection__in=live).order_by().values_list(
        "reading__inspection", "reading__number"
    ).annotate(Min("keyed_at"))  # fmt: skip
    for inspection, number, keyed_at in began:
        yield keyed_at, 2 * number, inspection, InspectionState.OPEN
    ended = Reading.objects.filter(inspection__in=live, ended_at__isnull=False, outcome=Outcome.ACCEPTED)
    for inspection, number, ended_at in ended.values_list("inspection", "number", "ended_at"):
        assert ended_at is not None, "the rows are those with an end"
        yield ended_at, 2 * number + 1, inspection, InspectionState.AWAITING_SIGN_OFF


def _moves_by_referrals(live: set[int]) -> Iterator[_Move]:
    rows = Referral.objects.filter(inspection__in=live)
    for inspection, referred_at, released_at, decision in rows.values_list(
        "inspection", "referred_at", "released_at", "decision"
    ):
        yield referred_at, _OF_REFERRALS, inspection, InspectionState.REFERRED
        if released_at:
            is_accepted = decision == Decision.ACCEPT_PROPOSED
            state = InspectionState.AWAITING_SIGN_OFF if is_accepted else InspectionState.OPEN
            yield released_at, _OF_REFERRALS + 1, inspection, state
