"""What the monthly report adds up: by when things happened, over the period and the sites alone.

Each query is over one column of time that has an index, so it reads what lies in the period (what is still open, and
what ended since, for what went on through it) and nothing from before. The reels are those that are at the sites now.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from itertools import chain
from typing import Any

from django.db.models import Count, Exists, F, Model, OuterRef, Q, QuerySet, Sum
from django.db.models.functions import Coalesce, Least

from inspections.domain.drift.records import Ending
from inspections.domain.reading import Outcome
from inspections.domain.words import Decision, InspectionState, ReelStatus
from inspections.models import (
    Authorisation,
    DriftFlag,
    Finding,
    ImportedCount,
    Inspection,
    Reading,
    Referral,
    SetupValues,
)
from inspections.queries.status import due_before, numbers_at, numbers_by_status
from inspections.queries.status_at import AT_ONCE, reels_at
from reels.access import settled
from reels.models import CableEvent, Hold, MachineHold, Person, Posting
from reels.queries import STANDING
from reports.domain.monthly import (
    CableLost,
    CountsMade,
    Ends,
    FindingsOfKind,
    FlagsEnded,
    Held,
    InferredLoss,
    StandingAt,
    ValuesMoved,
    days_within,
    findings_by_kind,
)
from reports.models import AssessedInterval, FleetAssessment
from reports.queries.notices import goes_on_longer


@dataclass(frozen=True, slots=True, kw_only=True)
class PeriodScope:
    """From begin up to end, at the sites with these ids."""

    sites: Sequence[int]
    begin: datetime
    end: datetime

    def within(self, column: str) -> Q:
        """That a moment lies in the period."""
        return Q(**{f"{column}__gte": self.begin, f"{column}__lt": self.end})

    def of_reels(self, model: type[Model], column: str) -> QuerySet[Any]:
        """The rows of the reels at the sites whose moment lies in the period, in no order."""
        return model._default_manager.filter(self.within(column), reel__site__in=self.sites).order_by()

    def open_at_end(self, model: type[Model], begun: str, ended: str) -> list[QuerySet[Any]]:
        """The rows that had begun by the end and had not ended: those that are open today, and those that ended since.

        Two, as each has an index of its own.
        """
        rows = model._default_manager.filter(reel__site__in=self.sites, **{f"{begun}__lt": self.end}).order_by()
        return [rows.filter(**{f"{ended}__isnull": True}), rows.filter(**{f"{ended}__gte": self.end})]


def reels_of(scope: PeriodScope) -> int:
    """How many there are now. One query."""
    return sum(numbers_by_status(Q(site__in=scope.sites)).values())


# Where reels stand ----------------------------------------------------------------------------------------------------


def standing_now(scope: PeriodScope, at: datetime, due_days: int) -> StandingAt:
    """Three queries, and one for each type with days of its own."""
    numbers = numbers_at(Q(site__in=scope.sites), due_before(at, due_days))
    reels = dict.fromkeys(ReelStatus, 0)
    for each in numbers:
        reels[ReelStatus(each.status)] += each.all
    return StandingAt(at=at, reels=reels, due=sum(each.due for each in numbers))


def standing_at(
    scope: PeriodScope, moment: datetime, due_days: int, looked_at: Callable[[int], None] = lambda number: None
) -> StandingAt:
    """As it was at a moment that is past: as many queries as `reels_at` says, and one.

    looked_at: called now and then with how many reels were looked at.
    """
    due, reels, n_due = due_before(moment, due_days), dict.fromkeys(ReelStatus, 0), 0
    for number, each in enumerate(reels_at(Q(site__in=scope.sites), moment)):
        if number % AT_ONCE == 0:
            looked_at(number)
        reels[each.status] += 1
        n_due += each.status is not ReelStatus.RETIRED and each.last_at <= due.of_type(each.type)
    return StandingAt(at=moment, reels=reels, due=n_due)


# What was done --------------------------------------------------------------------------------------------------------


def counts_made(scope: PeriodScope) -> CountsMade:
    """Four queries."""
    state, done = Q(state=InspectionState.SIGNED), scope.of_reels(Inspection, "done_at")
    inspections = done.aggregate(
        signed=Count("pk", filter=state), from_paper=Count("pk", filter=state & Q(from_paper=True)),
        voided=Count("pk", filter=Q(state=InspectionState.VOIDED)),
        cancelled=Count("pk", filter=Q(state=InspectionState.CANCELLED)),
    )  # fmt: skip
    again = Reading.objects.filter(
        scope.within("inspection__done_at"), inspection__reel__site__in=scope.sites, outcome=Outcome.REREAD
    )
    referrals = Referral.objects.filter(scope.within("referred_at"), inspection__reel__site__in=scope.sites)
    return CountsMade(
        **inspections, brought_in=scope.of_reels(ImportedCount, "counted_at").count(),
        **again.order_by().aggregate(rereads=Count("pk"), reread=Count("inspection", distinct=True)),
        **referrals.order_by().aggregate(
            referred=Count("pk"), released_to_read=Count("pk", filter=Q(decision=Decision.READ_AGAIN)),
            released_as_proposed=Count("pk", filter=Q(decision=Decision.ACCEPT_PROPOSED)),
        ),
    )  # fmt: skip


def values_moved(scope: PeriodScope) -> ValuesMoved:
    """Three queries."""
    moved = {column: scope.of_reels(SetupValues, f"{column}_at").count() for column in ValuesMoved.__slots__}
    return ValuesMoved(**moved)


# What was found and lost ----------------------------------------------------------------------------------------------


def findings_of(scope: PeriodScope) -> tuple[FindingsOfKind, ...]:
    """Four queries."""
    still_open: dict[Any, int] = {}
    for rows in scope.open_at_end(Finding, "recorded_at", "closed_at"):
        for kind, number in _by_kind(rows).items():
            still_open[kind] = still_open.get(kind, 0) + number
    recorded, closed = (_by_kind(scope.of_reels(Finding, column)) for column in ("recorded_at", "closed_at"))
    return findings_by_kind(recorded, closed, still_open)


def _by_kind(rows: QuerySet[Any]) -> dict[Any, int]:
    kinds = rows.values_list("part", "kind_words", "severity").annotate(Count("pk"))
    return {(part, kind, severity): number for part, kind, severity, number in kinds}


def flags_ended(scope: PeriodScope) -> FlagsEnded:
    """Four queries."""
    closed = dict(scope.of_reels(DriftFlag, "closed_at").values_list("ending").annotate(Count("pk")))
    return FlagsEnded(
        raised=scope.of_reels(DriftFlag, "raised_at").count(),
        closed={ending: closed.get(ending, 0) for ending in Ending},
        still_open=sum(rows.count() for rows in scope.open_at_end(DriftFlag, "raised_at", "closed_at")),
    )


def cable_lost(scope: PeriodScope) -> CableLost:
    """Three queries."""
    events = scope.of_reels(CableEvent, "happened_at").filter(STANDING)
    cut = Q(kind=CableEvent.Kind.CUT)
    logged = events.aggregate(
        cuts=Count("pk", filter=cut), cut_m=Sum("length_removed_m", filter=cut, default=Decimal(0)),
        replaced=Count("pk", filter=Q(kind=CableEvent.Kind.REPLACED)),
    )  # fmt: skip
    known = FleetAssessment.objects.first()
    if known is None:
        return CableLost(**logged, inferred=None, assessed_at=None)
    # By their probability: there are far fewer flagged intervals than intervals in a period.
    flagged = AssessedInterval.objects.filter(
        scope.within("to_at"), p_unlogged_cut__gte=known.flag_at, assessment__reel__site__in=scope.sites
    ).order_by("to_at", "assessment__reel__serial")  # fmt: skip
    columns = ("assessment__reel__serial", "from_at", "to_at", "cut_m", "cut_low_m", "cut_high_m")
    inferred = (
        InferredLoss(reel=reel, from_at=from_at, to_at=to_at, cut_m=cut_m, low_m=low_m, high_m=high_m)
        for reel, from_at, to_at, cut_m, low_m, high_m in flagged.values_list(*columns)
    )
    return CableLost(**logged, inferred=tuple(inferred), assessed_at=known.made_at)


def holds_of(scope: PeriodScope, at: datetime) -> tuple[Held, ...]:
    """Those on reels and on machines that lay in the period, the longest in it first. Four queries.

    at: now; how long one that goes on was in a period that is not over.
    """
    held = [
        *chain.from_iterable(_holds(scope, Hold, "reel", "")),
        *chain.from_iterable(_holds(scope, MachineHold, "machine", "machine ")),
    ]
    end = min(scope.end, at)
    holds = [
        Held(what=what, since=since, until=until, reason=reason, days=days_within(since, until, scope.begin, end))
        for what, since, until, reason in held
    ]
    return tuple(sorted(holds, key=lambda each: (-each.days, each.what, each.since)))


def _holds(scope: PeriodScope, model: type[Model], of: str, kind: str) -> list[Any]:
    rows = model._default_manager.filter(**{f"{of}__site__in": scope.sites}, placed_at__lt=scope.end).order_by()
    met = rows.filter(ended_at__isnull=True), rows.filter(ended_at__gt=scope.begin)
    return [
        [(f"{kind}{serial}", *more) for serial, *more in each.values_list(
            f"{of}__serial", "placed_at", "ended_at", "reason")]
        for each in met
    ]  # fmt: skip


# Whose authorisation ends ---------------------------------------------------------------------------------------------


def authorisations_that_end(scope: PeriodScope, until: datetime, reader: Person, answered: Sequence[int]) -> list[Ends]:
    """Those that end from the period's begin on and before until, where no other one for the same goes on. One query.

    Everybody's for the sites that the reader answers for (answered, their ids), or for every site and posted there; the
    reader's own. Those that somebody ended come in too.
    """
    ends_at = Coalesce(Least("valid_until", "ended_at"), "valid_until", "ended_at")
    here = Posting.objects.filter(Q(site__isnull=True) | Q(site__in=answered), person=OuterRef("person"))
    seen = Q(site__in=answered) | (Q(site__isnull=True) & Exists(here)) if answered else Q(pk__in=())
    rows = Authorisation.objects.annotate(ends_at=ends_at).filter(
        seen | Q(person=reader), Q(site__isnull=True) | Q(site__in=scope.sites), ~goes_on_longer("ends_at"),
        settled("person__"), ends_at__gte=scope.begin, ends_at__lt=until,
    )  # fmt: skip
    columns = ("person__full_name", "act", "reel_type__code", "site__name", "ends_at", "ended_at")
    return [
        Ends(person=name, act=act, reel_type=reel_type, site=site, at=at, is_early=at == ended_at)
        for name, act, reel_type, site, at, ended_at in rows.order_by(
            "ends_at", "person__full_name", "act", F("reel_type__code").asc(nulls_first=True), "pk"
        ).values_list(*columns)
    ]  # fmt: skip
