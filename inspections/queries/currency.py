"""Whether a count is current: still true, as far as anybody recorded what happened to the reel since.

It is ended by a cut, another cable, a re-spooling, a finding closed by such work, a use or an incident that its type
says ends it, and a removal from the machine unless it is known that no cable went out. It lapses by the uses and the
days of its type. What ends by days is a moment, compared when it is read.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Case, Exists, F, OuterRef, Q, QuerySet, Subquery, Sum, When
from django.db.models.functions import Coalesce

from inspections.domain.findings import Remedy
from inspections.queries.findings import closed_by_work
from reels.domain.words import ReelEventKind, counted
from reels.models import CableEvent, Installation, Reel, ReelEvent, ReelType
from reels.queries import STANDING

MAYBE_USED = Q(cable_went_out=True) | Q(cable_went_out__isnull=True)  # that nobody knows counts as used


@dataclass(frozen=True, slots=True, kw_only=True)
class Currency:
    """Of a count. until: when it lapses by days, if it does. why: what ended it, and when; empty: it is current."""

    until: datetime | None
    ended_at: datetime | None = None
    why: str = ""

    @property
    def is_current(self) -> bool:
        """Whether nothing has ended it."""
        return not self.why


def currency_of(reel: Reel, counted_at: datetime, at: datetime) -> Currency:
    """Of a count of the reel that was done at a time, as it is at another. Four queries."""
    until = lapses_at(reel.type, counted_at)
    ends = [(when, f"on {reel.site.day_of(when)} {why}") for when, why in _ends(reel, counted_at)]
    if until and until <= at:
        ends.append((until, f"it was counted more than {counted(reel.type.count_days or 0, 'day')} ago"))
    if not ends:
        return Currency(until=until)
    ended_at, why = min(ends)
    return Currency(until=until, ended_at=ended_at, why=why)


def lapses_at(reel_type: ReelType, counted_at: datetime) -> datetime | None:
    """When a count of that time lapses by the days of its type."""
    return counted_at + timedelta(days=reel_type.count_days) if reel_type.count_days else None


def with_ends(reels: QuerySet[Reel]) -> QuerySet[Any]:
    """The reels, which have `counted_at`, with `is_changed_since`: whether anything but time has ended that count."""
    here, counted_at = OuterRef("pk"), OuterRef("counted_at")
    cable = CableEvent.objects.filter(STANDING, reel=here, happened_at__gte=counted_at)
    work = closed_by_work(here).filter(closed_at__gte=counted_at)
    events = ReelEvent.objects.filter(reel=here, ends_count=True, happened_at__gte=counted_at)
    removed = Installation.objects.filter(MAYBE_USED, reel=here, removed_at__gte=counted_at)
    uses = ReelEvent.objects.filter(reel=here, kind=ReelEventKind.USED, happened_at__gte=counted_at)
    in_all = uses.order_by().values("reel").annotate(in_all=Sum("uses")).values("in_all")
    ended = Exists(cable) | Exists(work) | Exists(events) | Exists(removed)
    has_lapsed = Q(type__count_uses__isnull=False, uses_since__gte=F("type__count_uses"))
    counted_uses = reels.annotate(uses_since=Coalesce(Subquery(in_all), 0), ended_since=ended)
    return counted_uses.annotate(
        is_changed_since=Case(When(Q(ended_since=True) | has_lapsed, then=True), default=False)
    )


def _ends(reel: Reel, since: datetime) -> Iterator[tuple[datetime, str]]:
    """What has ended counts of the reel that were done by then, and when; in no order."""
    for cable in CableEvent.objects.filter(STANDING, reel=reel, happened_at__gte=since):
        yield cable.happened_at, f"an entry says: {cable.get_kind_display()}"
    for finding in closed_by_work(reel).filter(closed_at__gte=since):
        assert finding.closed_at is not None, "the rows are those that are closed"
        yield finding.closed_at, f"finding {finding.pk} was closed: {Remedy(finding.remedy).spoken}"
    for gone in Installation.objects.select_related("machine").filter(MAYBE_USED, reel=reel, removed_at__gte=since):
        assert gone.removed_at is not None, "the rows are those with a time"
        used = "after use" if gone.cable_went_out else "and nobody said whether cable went out"
        yield gone.removed_at, f"it was removed from machine {gone.machine.serial} {used}"
    yield from _ended_by_events(reel, since)


def _ended_by_events(reel: Reel, since: datetime) -> Iterator[tuple[datetime, str]]:
    uses, most = 0, reel.type.count_uses
    for event in ReelEvent.objects.filter(reel=reel, happened_at__gte=since).order_by("happened_at", "id"):
        if event.ends_count:
            yield event.happened_at, f"this was recorded: {event.named}"
        uses += event.uses or 0
        if event.uses and most and uses >= most:
            yield event.happened_at, f"it had {counted(uses, 'use')}; a count of its type is good for fewer than {most}"
