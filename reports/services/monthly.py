"""The monthly report for one reader: a period at the sites that they may see, or at one of them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, tzinfo

from django.conf import settings

from inspections import access
from reels.models import Person, Site
from reports.domain.monthly import DAY, Ends, MonthlyFigures, Period
from reports.queries import monthly as queries
from reports.queries.monthly import PeriodScope


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthlyReport:
    """sites: those it is about. ends: authorisations that end in the period or the next, as far as one sees them."""

    period: Period
    sites: Sequence[Site]
    figures: MonthlyFigures
    ends: list[Ends]
    made_at: datetime

    @property
    def clock(self) -> tzinfo:
        """By which its days begin and end."""
        return clock_of(self.sites)


def clock_of(sites: Sequence[Site]) -> tzinfo:
    """That of the site, where it is one; UTC for several."""
    return sites[0].zone if len(sites) == 1 else UTC


def monthly_report(period: Period, sites: Sequence[Site], person: Person, at: datetime) -> MonthlyReport:
    """The report about sites that the person may see."""
    clock = clock_of(sites)
    begin, end = _first_moment(period.since, clock), _first_moment(period.next.since, clock)
    scope = PeriodScope(sites=[site.pk for site in sites], begin=begin, end=end)
    answered = set(access.answered_sites(person, at).values_list("pk", flat=True))
    ends = queries.authorisations_that_end(
        scope, _first_moment(period.next.until + DAY, clock), person, [pk for pk in scope.sites if pk in answered]
    )  # fmt: skip
    return MonthlyReport(period=period, sites=sites, figures=figures_of(scope, at), ends=ends, made_at=at)


def figures_of(scope: PeriodScope, at: datetime) -> MonthlyFigures:
    """All that is added up. A fixed number of queries, and eight for every 500 reels that changed since the period."""
    due_days = settings.COUNT_DUE_DAYS
    return MonthlyFigures(
        at_end=queries.standing_at(scope, min(scope.end, at), due_days),
        now=queries.standing_now(scope, at, due_days),
        counts=queries.counts_made(scope),
        values=queries.values_moved(scope),
        findings=queries.findings_of(scope),
        flags=queries.flags_ended(scope),
        lost=queries.cable_lost(scope),
        holds=queries.holds_of(scope, at),
    )


def _first_moment(day: date, clock: tzinfo) -> datetime:
    return datetime.combine(day, time.min, tzinfo=clock)
