"""The agreement report: first readings of the counts that somebody may see, under the names that they may see."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta

from django.db.models import QuerySet

from inspections import access
from inspections.models import Inspection
from inspections.queries.first_readings import first_readings, gauges
from reels.access import readable_sites
from reels.models import Person
from reports.domain.agreement import PEOPLE, Agreement, Comparison, Grouping, ReadingPair, Table, agreement_of, named

MOST_COUNTS = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class AgreementScope:
    """Which counts, by when they were done (days in UTC) and under which codes; empty or None: all."""

    comparison: Comparison = Comparison.METHODS
    site: str = ""
    type: str = ""
    gauge: str = ""
    since: date | None = None
    until: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class AgreementReport:
    """The figures under names that the reader may see. is_cut_off: older counts were left out."""

    scope: AgreementScope
    agreement: Agreement
    is_cut_off: bool


def agreement_report(scope: AgreementScope, person: Person, at: datetime) -> AgreementReport:
    """The report for one reader. Eight queries, however many counts there are; the newest MOST_COUNTS are looked at.

    People are named to whoever verifies counts at every site where their pairs come from, and to themselves.
    """
    readings = first_readings(_counts(scope, person, at), MOST_COUNTS)
    agreement = agreement_of(readings, scope.comparison)
    sites = dict(readable_sites(person, at).values_list("code", "name"))
    audited = set(access.audited_sites(person, at).values_list("code", flat=True))
    tables = tuple(_for_reader(table, agreement.pairs, sites, audited, person) for table in agreement.tables)
    return AgreementReport(
        scope=scope, agreement=replace(agreement, tables=tables), is_cut_off=len(readings) == MOST_COUNTS
    )  # fmt: skip


def gauges_seen(person: Person, at: datetime) -> list[str]:
    """The wrap gauges of the counts that the person may see. One query."""
    return gauges(access.readable_inspections(person, at))


def _counts(scope: AgreementScope, person: Person, at: datetime) -> QuerySet[Inspection]:
    columns = {"reel__site__code": scope.site, "reel__type__code": scope.type, "wrap_gauge": scope.gauge}
    rows = access.readable_inspections(person, at).filter(**{name: value for name, value in columns.items() if value})
    if scope.since:
        rows = rows.filter(done_at__gte=datetime.combine(scope.since, time.min, tzinfo=UTC))
    if scope.until:
        rows = rows.filter(done_at__lt=datetime.combine(scope.until, time.min, tzinfo=UTC) + timedelta(days=1))
    return rows


def _for_reader(
    table: Table, pairs: Sequence[ReadingPair], sites: dict[str, str], audited: set[str], reader: Person
) -> Table:
    if table.grouping is Grouping.SITE:
        return named(table, sites)
    if table.grouping not in PEOPLE:
        return table
    names, seen_at = _people(table.grouping, pairs)
    return named(table, names, lambda key: key == str(reader.pk) or seen_at[key] <= audited)


def _people(grouping: Grouping, pairs: Sequence[ReadingPair]) -> tuple[dict[str, str], dict[str, set[str]]]:
    """Names, and the sites that pairs come from, by a person's id."""
    names: dict[str, str] = {}
    seen_at: dict[str, set[str]] = {}
    for pair in pairs:
        who = pair.technician if grouping is Grouping.TECHNICIAN else pair.verifier
        if who:
            names[str(who.person)] = who.name
            seen_at.setdefault(str(who.person), set()).add(pair.source.site)
    return names, seen_at
