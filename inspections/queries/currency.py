"""Whether a count is current: still true, as far as anybody recorded what happened to the reel since.

It is ended by a cut, another cable, a re-spooling, a finding closed by such work, a use or an incident that its type
says ends it, and a removal from the machine unless it is known that no cable went out. It lapses by the uses and the
days of its type. What ends by days is a moment, compared when it is read.
"""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import chain

from django.db.models import Q, QuerySet

from inspections.domain.findings import Remedy
from inspections.models import Finding
from inspections.queries.findings import closed_by_work
from reels.domain.words import counted
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
    ends = [(when, f"on {reel.site.day_of(when)} {why}") for _, when, why in _ends({reel.pk: counted_at})]
    if until and until <= at:
        ends.append((until, f"it was counted more than {counted(reel.type.count_days or 0, 'day')} ago"))
    if not ends:
        return Currency(until=until)
    ended_at, why = min(ends)
    return Currency(until=until, ended_at=ended_at, why=why)


def lapses_at(reel_type: ReelType, counted_at: datetime) -> datetime | None:
    """When a count of that time lapses by the days of its type."""
    return counted_at + timedelta(days=reel_type.count_days) if reel_type.count_days else None


def ended_since(counted_at: Mapping[int, datetime], until: datetime | None = None) -> set[int]:
    """Those of some reels whose counts of these times were ended by anything but time, by a moment if one is given.

    counted_at: by the reel's id. Four queries, however many reels.
    """
    ends = _ends(counted_at) if counted_at else ()
    return {reel for reel, when, _ in ends if until is None or when <= until}


def _ends(counted_at: Mapping[int, datetime]) -> Iterator[tuple[int, datetime, str]]:
    """What has ended counts of some reels that were done at these times, and when, with the reel's id; in no order."""
    at = {"reel__in": counted_at}
    least = min(counted_at.values())
    for reel, when, why in chain(
        _ended_by_cable(CableEvent.objects.filter(STANDING, happened_at__gte=least, **at)),
        _ended_by_work(closed_by_work().filter(closed_at__gte=least, **at)),
        _ended_by_removal(Installation.objects.filter(MAYBE_USED, removed_at__gte=least, **at)),
    ):
        if when >= counted_at[reel]:
            yield reel, when, why
    yield from _ended_by_events(counted_at)


def _ended_by_cable(events: QuerySet[CableEvent]) -> Iterator[tuple[int, datetime, str]]:
    for event in events:
        yield event.reel_id, event.happened_at, f"an entry says: {event.get_kind_display()}"


def _ended_by_work(findings: QuerySet[Finding]) -> Iterator[tuple[int, datetime, str]]:
    for finding in findings:
        assert finding.closed_at is not None, "the rows are those that are closed"
        yield finding.reel_id, finding.closed_at, f"finding {finding.pk} was closed: {Remedy(finding.remedy).spoken}"


def _ended_by_removal(installations: QuerySet[Installation]) -> Iterator[tuple[int, datetime, str]]:
    for gone in installations.select_related("machine"):
        assert gone.removed_at is not None, "the rows are those with a time"
        used = "after use" if gone.cable_went_out else "and nobody said whether cable went out"
        yield gone.reel_id, gone.removed_at, f"it was removed from machine {gone.machine.serial} {used}"


def _ended_by_events(counted_at: Mapping[int, datetime]) -> Iterator[tuple[int, datetime, str]]:
    uses: Counter[int] = Counter()
    events = ReelEvent.objects.filter(reel__in=counted_at, happened_at__gte=min(counted_at.values()))
    for event in events.select_related("reel__type").order_by("happened_at", "id"):
        reel, most = event.reel_id, event.reel.type.count_uses
        if event.happened_at < counted_at[reel]:
            continue
        if event.ends_count:
            yield reel, event.happened_at, f"this was recorded: {event.named}"
        uses[reel] += event.uses or 0
        if event.uses and most and uses[reel] >= most:
            good = f"a count of its type is good for fewer than {most}"
            yield reel, event.happened_at, f"it had {counted(uses[reel], 'use')}; {good}"
