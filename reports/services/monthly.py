"""The monthly report for one reader: a period at the sites that they may see, or at one of them."""

import hashlib
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from inspections import access
from reels.errors import NotYet
from reels.models import Person, Site, TaskRun
from reels.services import feed, tasks
from reels.services.tasks import HeldTask, leased
from reports.domain.monthly import Ends, MonthlyFigures, Period
from reports.domain.monthly_kept import figures_from, plain_of
from reports.models import KeptMonthlyReport
from reports.queries import monthly as queries
from reports.queries.monthly import PeriodScope
from reports.services.marks import is_as_marked, mark

TITLE = "Monthly report"
# While somebody waits: 2,000 reels took 0.7 s on a busy machine where all of them had changed since.
MOST_REELS, MOST_REEL_DAYS = 2000, 2000 * 366
FRESH_FOR = timedelta(hours=1)  # a kept report is not worked out again before
KEPT = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthlyReport:
    """sites: those it is about. ends: authorisations that end in the period or the next, as far as one sees them.

    made_at: when the figures were worked out. run: the task that works them out again; None where nothing came since.
    """

    period: Period
    sites: Sequence[Site]
    figures: MonthlyFigures
    ends: list[Ends]
    made_at: datetime
    run: TaskRun | None

    @property
    def clock(self) -> tzinfo:
        """By which its days begin and end."""
        return clock_of(self.sites)


def clock_of(sites: Sequence[Site]) -> tzinfo:
    """That of the site, where it is one; UTC for several."""
    return sites[0].zone if len(sites) == 1 else UTC


def monthly_report(period: Period, sites: Sequence[Site], person: Person, at: datetime) -> MonthlyReport:
    """The report about sites that the person may see.

    Raises NotYet for a large one until the worker has it, TaskFailed where it could not, and QueueFull.
    """
    scope = _scope(period, sites)
    answered = set(access.answered_sites(person, at).values_list("pk", flat=True))
    ends = queries.authorisations_that_end(
        scope, _first_moment(period.next.next.since, clock_of(sites)), person,
        [pk for pk in scope.sites if pk in answered],
    )  # fmt: skip
    figures, made_at, run = _figures(scope, f"{TITLE}, {period.in_words}", at)
    return MonthlyReport(period=period, sites=sites, figures=figures, ends=ends, made_at=made_at, run=run)


def _scope(period: Period, sites: Sequence[Site]) -> PeriodScope:
    clock = clock_of(sites)
    begin, end = _first_moment(period.since, clock), _first_moment(period.next.since, clock)
    return PeriodScope(sites=sorted(site.pk for site in sites), begin=begin, end=end)


def _first_moment(day: date, clock: tzinfo) -> datetime:
    return datetime.combine(day, time.min, tzinfo=clock)


def figures_of(
    scope: PeriodScope, at: datetime, looked_at: Callable[[int], None] = lambda number: None
) -> MonthlyFigures:
    """All that is added up. A fixed number of queries, and eight for every 500 reels that changed since the period.

    looked_at: called now and then with how many reels were looked at.
    """
    due_days = settings.COUNT_DUE_DAYS
    return MonthlyFigures(
        at_end=queries.standing_at(scope, min(scope.end, at), due_days, looked_at),
        now=queries.standing_now(scope, at, due_days),
        counts=queries.counts_made(scope),
        values=queries.values_moved(scope),
        findings=queries.findings_of(scope),
        flags=queries.flags_ended(scope),
        lost=queries.cable_lost(scope),
        holds=queries.holds_of(scope, at),
    )


# Large ones, worked out by the worker and kept ------------------------------------------------------------------------


def _figures(scope: PeriodScope, title: str, at: datetime) -> tuple[MonthlyFigures, datetime, TaskRun | None]:
    """The figures, when they were worked out, and the task that works them out again where more is recorded since."""
    reels = queries.reels_of(scope)
    if reels <= MOST_REELS and reels * (scope.end - scope.begin).days <= MOST_REEL_DAYS:
        return figures_of(scope, at), at, None
    kept = KeptMonthlyReport.objects.filter(scope=_digest(scope)).first()
    if kept is None or not is_as_marked(kept):
        tasks.require_not_failed(tasks.newest(_key(scope)))
        raise NotYet(_have_worked_out(scope, title))
    is_behind = at - kept.made_at > FRESH_FOR and feed.last_number() > kept.place
    return figures_from(kept.figures), kept.made_at, _have_worked_out(scope, title) if is_behind else None


def _digest(scope: PeriodScope) -> str:
    return hashlib.sha256(json.dumps(_plain_scope(scope)).encode()).hexdigest()


def _plain_scope(scope: PeriodScope) -> tuple[list[int], str, str]:
    return list(scope.sites), scope.begin.astimezone(UTC).isoformat(), scope.end.astimezone(UTC).isoformat()


def _key(scope: PeriodScope) -> str:
    return f"monthly {_digest(scope)[:16]}"


def _have_worked_out(scope: PeriodScope, title: str) -> TaskRun:
    return tasks.put(work_out_month, *_plain_scope(scope), key=_key(scope), title=title)


@leased
def work_out_month(context: HeldTask, sites: list[int], begin: str, end: str) -> None:
    """Of these reports the newest KEPT are kept."""
    scope = PeriodScope(sites=sites, begin=datetime.fromisoformat(begin), end=datetime.fromisoformat(end))
    feed.number_waiting()
    place, at, of = feed.last_number(), timezone.now(), queries.reels_of(scope)
    figures = figures_of(scope, at, lambda done: context.progress(f"{done} of {of} reels looked at", done, of))
    with transaction.atomic():
        context.require()
        columns = {"place": place, "made_at": at, "figures": plain_of(figures)}
        row, _ = KeptMonthlyReport.objects.update_or_create(scope=_digest(scope), defaults=columns)
        mark(row)
        older = KeptMonthlyReport.objects.order_by("-made_at", "-pk").values_list("pk", flat=True)[KEPT:]
        KeptMonthlyReport.objects.filter(pk__in=list(older)).delete()
