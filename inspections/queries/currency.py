"""Whether a count is current: still true, as far as anybody recorded what happened to the reel since.

It is ended by a cut, another cable, a re-spooling, a finding closed by such work, a use or an incident that its type
says ends it, and a removal from the machine unless it is known that no cable went out. It lapses by the uses and the
days of its type. What ends by days is a moment, compared when it is read.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import chain
from typing import Any, NamedTuple

from django.db.models import Q, QuerySet

from inspections.domain.findings import Remedy
from inspections.models import Finding
from inspections.queries.findings import closed_by_work
from reels.domain.words import counted
from reels.models import CableEvent, Installation, Reel, ReelEvent, Site
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
    end = ends_of({reel.pk: counted_at}).get(reel.pk)
    return currency_by(reel.site, reel.type.count_days, counted_at, end, at)


def currency_in(row: Any, site: Site, count_days: int | None, at: datetime) -> Currency | None:
    """Of the latest signed count of a reel, as its status row has it; None where there is none. No query.

    row: of ReelStatusRow, or those columns of it. count_days: of its type.
    """
    if row.signed_count_at is None:
        return None
    end = (row.count_ended_at, row.count_ended_why) if row.count_ended_at else None
    return currency_by(site, count_days, row.signed_count_at, end, at)


def currency_by(site: Site, count_days: int | None, counted_at: datetime, end: tuple[datetime, str] | None,
                at: datetime) -> Currency:  # fmt: skip
    """Of a count at a moment. end: what ended it first beside time, by then. No query."""
    until = counted_at + timedelta(days=count_days) if count_days else None
    ends = [(end[0], f"on {site.day_of(end[0])} {end[1]}")] if end else []
    if until and until <= at:
        ends.append((until, f"it was counted more than {counted(count_days or 0, 'day')} ago"))
    if not ends:
        return Currency(until=until)
    ended_at, why = min(ends)
    return Currency(until=until, ended_at=ended_at, why=why)


def ends_of(counted_at: Mapping[int, datetime], recorded_by: datetime | None = None) -> dict[int, tuple[datetime, str]]:
    """What first ended counts of some reels that were done at these times, but for time itself, and when.

    counted_at: by the reel's id. recorded_by: as far as it was recorded by then. Four queries, however many reels.
    """
    return ends_of_counts({reel: (reel, when) for reel, when in counted_at.items()}, recorded_by)


def ends_of_counts(
    counts: Mapping[int, tuple[int, datetime]], recorded_by: datetime | None = None
) -> dict[int, tuple[datetime, str]]:
    """The same of any counts, several of one reel too. counts: the reel's id, and when it was done, by any key."""
    if not counts:
        return {}
    least = min(when for _, when in counts.values())
    ends, events = _ends({reel for reel, _ in counts.values()}, least, recorded_by)
    first = {}
    for key, (reel, counted_at) in counts.items():
        later = (end for end in (*ends[reel], *_ended_by_events(events[reel], counted_at)) if end[0] >= counted_at)
        if end := min(later, default=None):
            first[key] = end
    return first


_End = tuple[datetime, str]


def _ends(
    reels: set[int], least: datetime, recorded_by: datetime | None
) -> tuple[Mapping[int, list[_End]], Mapping[int, list[ReelEvent]]]:
    """What ends each count from before it, and the events, of which some end counts only together; by the reel's id."""
    at: dict[str, Any] = {"reel__in": reels}
    known = _recorded_by(recorded_by)
    ends, events = defaultdict(list), defaultdict(list)
    for reel, when, why in chain(
        _ended_by_cable(CableEvent.objects.filter(known.entries, happened_at__gte=least, **at)),
        _ended_by_work(closed_by_work().filter(known.closings, closed_at__gte=least, **at)),
        _ended_by_removal(Installation.objects.filter(known.removals, MAYBE_USED, removed_at__gte=least, **at)),
    ):
        ends[reel].append((when, why))
    rows = ReelEvent.objects.filter(known.entries, happened_at__gte=least, **at).select_related("reel__type")
    for event in rows.order_by("happened_at", "id"):
        events[event.reel_id].append(event)
    return ends, events


class _Known(NamedTuple):
    """Which rows are known: entries that stand, findings that are closed, removals."""

    entries: Q
    closings: Q = Q()
    removals: Q = Q()


def _recorded_by(moment: datetime | None) -> _Known:
    if moment is None:
        return _Known(STANDING)
    stood = Q(reversed_by__isnull=True) | Q(reversed_by__recorded_at__gt=moment)
    removals = Q(removal_recorded_at__lte=moment) | Q(removal_recorded_at__isnull=True, removed_at__lte=moment)
    return _Known(~Q(kind="reversal") & stood & Q(recorded_at__lte=moment), Q(closed_at__lte=moment), removals)


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


def _ended_by_events(events: Iterable[ReelEvent], counted_at: datetime) -> Iterator[_End]:
    """events: of one reel, by when they happened."""
    uses = 0
    for event in events:
        most = event.reel.type.count_uses
        if event.happened_at < counted_at:
            continue
        if event.ends_count:
            yield event.happened_at, f"this was recorded: {event.named}"
        uses += event.uses or 0
        if event.uses and most and uses >= most:
            good = f"a count of its type is good for fewer than {most}"
            yield event.happened_at, f"it had {counted(uses, 'use')}; {good}"
