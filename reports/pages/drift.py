"""Drift for the analyst: the fleet's intervals ranked, and a flag."""

from dataclasses import dataclass, replace
from datetime import date, datetime
from itertools import islice, takewhile
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils import timezone

from inspections import access
from inspections.domain.drift import fleet_findings
from inspections.domain.words import Act
from inspections.pages.paging import Pages, counted_if_few, page_by_place
from inspections.queries import histories
from reels import access as reel_access
from reels.domain.words import LengthUnit
from reels.models import Person
from reels.pages.answers import page, reader, show
from reels.pages.filters import ChoiceFilter, DayFilter, Filter
from reels.standby import may_be_stale
from reports.domain.drift_figure import AROUND
from reports.domain.drift_rows import end_of
from reports.domain.recount_words import percent
from reports.errors import FleetTooLarge
from reports.models import AssessedInterval
from reports.pages.interval_rows import Interval, flag_row, interval_of, with_figures, with_flags
from reports.services import assessments, drift_report
from reports.services.assessments import FleetStanding
from reports.services.self_check import newest_in_words

SIZE = 50
AS_OF_SHOWN = 100
FLAGS_SHOWN = 50
ON_PAPER = 300  # intervals of a document
LEAST = {"even": 0.5, "all": 0.0}  # the least probability that a choice shows; flagged ones without one


class DriftFilter(Filter):
    site = ChoiceFilter("Site", "every site")
    type = ChoiceFilter("Reel type", "every type")
    show = ChoiceFilter("Intervals", "flagged", [("even", "at least even odds"), ("all", "all")])
    as_of = DayFilter("As of the end of")

    @property
    def in_words(self) -> str:
        """What is chosen, as a sentence of a document says it."""
        fields: Any = self.fields
        words = {name: dict(fields[name].choices)[self.chosen.get(name, "")] for name in ("site", "type", "show")}
        return f"Intervals: {words['show']}. Reels of {words['site']} and {words['type']}."


@dataclass(frozen=True, slots=True, kw_only=True)
class OnPaper:
    """The intervals that a document shows, of how many; filters: what was asked for, in words.

    total: None where there are too many to be counted.
    """

    intervals: list[Interval]
    total: int | None
    filters: str
    as_of: date | None


@page
@may_be_stale
def fleet_drift(request: HttpRequest) -> HttpResponse:
    """The ranked intervals of the reels that the person may see, with the flags that somebody looks into."""
    person, at = reader(request), timezone.now()
    form, reels = _asked_for(request.GET, person, at)
    chosen, refused, standing = form.chosen, "", FleetStanding()
    if as_of := chosen.get("as_of"):
        pages, refused = _as_of(reels, as_of, chosen, person)
    else:
        standing = assessments.fleet_standing()
        pages = _today(reels, request.GET, form, person, at)
    flags = drift_report.flags_matching(access.readable_flags(person, at), {"state": "open"})
    export = {name: value for name, value in form.kept.items() if name != "show"} | {"format": "csv"}
    shown = {
        "filter": form,
        "pages": pages,
        "flags": [flag_row(row) for row in flags.order_by("id")[:FLAGS_SHOWN]],
        "may_assign": access.maintains_anything(person, at),
        "standing": standing,
        "findings": () if as_of else _of_the_fleet(person, at),
        "self_check": None if as_of else newest_in_words(LengthUnit(person.length_unit)),
        "as_of": as_of,
        "refused": refused,
        "export": f"/api/v1/reports/drift?{urlencode(export)}",
        "document": reverse("drift-document") + form.query,
    }
    return show(request, "reports/drift.html", {"drift": shown, "section": "drift"})


def _of_the_fleet(person: Person, at: datetime) -> tuple[str, ...]:
    """What all counts show together: changed rules, and habits of people at the sites that the person may see."""
    sites = reel_access.readable_sites(person, at).values_list("code", "name")
    return fleet_findings(histories.parameters_of(histories.learned_rates()), dict(sites))


def on_paper(asked: QueryDict, person: Person, at: datetime) -> OnPaper:
    """The intervals of the page, as far as they go into a document. Raises FleetTooLarge as of a day, and NotYet."""
    form, reels = _asked_for(asked, person, at)
    as_of = form.chosen.get("as_of")
    total: int | None
    if as_of:
        rows, total = _first_as_of(reels, as_of, form.chosen, person, ON_PAPER)
    else:
        assessments.fleet_standing()
        flagged_from = drift_report.flag_at()
        ranked = drift_report.ranked(reels, LEAST.get(form.chosen.get("show", ""), flagged_from))
        unit, total = person.length_unit, counted_if_few(ranked)
        rows = [interval_of(row, row.assessment.reel.serial, unit, flagged_from) for row in ranked[:ON_PAPER]]
    return OnPaper(intervals=rows, total=total, filters=form.in_words, as_of=as_of)


def _asked_for(asked: QueryDict, person: Person, at: datetime) -> tuple[DriftFilter, Any]:
    sites = reel_access.readable_sites(person, at).values_list("code", "name")
    form = DriftFilter(asked, site=sites, type=reel_access.reel_types().values_list("code", flat=True))
    return form, drift_report.reels_of(reel_access.readable_reels(person, at), form.chosen)


def _today(reels: Any, asked: QueryDict, form: DriftFilter, person: Person, at: datetime) -> Pages:
    flagged_from, held = drift_report.flag_at(), access.held_acts(person, at)
    least = LEAST.get(form.chosen.get("show", ""), flagged_from)

    def shown(row: AssessedInterval) -> Interval:
        reel = row.assessment.reel
        interval = interval_of(row, reel.serial, person.length_unit, flagged_from, reel.site)
        return interval if Act.MAINTAIN in held.on(reel.type_id, reel.site_id) else replace(interval, assign="")

    rows = drift_report.ranked(reels, least)
    number, order = counted_if_few(rows), drift_report.RANKED
    pages = page_by_place(rows, order, asked, SIZE, lambda row: row, total=number, kept=form.kept)
    near = drift_report.near(pages.rows, AROUND)
    reels_shown = [row.assessment.reel_id for row in pages.rows]
    flags = drift_report.flags_matching(access.readable_flags(person, at), {"state": "open"})
    intervals = with_flags(map(shown, pages.rows), flags.filter(reel__in=reels_shown))
    return replace(pages, rows=with_figures(intervals, near))


def _as_of(reels: Any, as_of: date, chosen: dict[str, Any], person: Person) -> tuple[Pages, str]:
    """The first intervals as of a day; nothing but why, where the fleet is too large for a page."""
    try:
        rows, total = _first_as_of(reels, as_of, chosen, person, AS_OF_SHOWN)
    except FleetTooLarge as refused:
        return Pages(rows=[], total=0, earlier="", later=""), str(refused)
    theirs = reels.filter(serial__in={row.reel for row in rows})
    every = drift_report.kept_report_as_of(theirs, end_of(as_of)).rows
    return Pages(rows=with_figures(rows, drift_report.by_reel(every)), total=total, earlier="", later=""), ""


def _first_as_of(reels: Any, as_of: date, chosen: dict[str, Any], person: Person,
                 most: int) -> tuple[list[Interval], int]:  # fmt: skip
    """The most probable intervals as of a day, and how many there are."""
    report = drift_report.kept_report_as_of(reels, end_of(as_of))
    least = LEAST.get(chosen.get("show", ""), report.flag_at)
    rows = takewhile(lambda row: row.p_unlogged_cut >= least, report.rows)
    # A flag is about what is known today.
    shown = list(islice(rows, most))
    sites = {reel.serial: reel.site for reel in reels.filter(serial__in={row.reel for row in shown})}
    first = [
        replace(interval_of(row, row.reel, person.length_unit, report.flag_at, sites[row.reel]), assign="")
        for row in shown
    ]
    return first, len(first) + sum(1 for _ in rows)


# One flag -----------------------------------------------------------------------------------------------------------


@page
def flag(request: HttpRequest, flag_id: int) -> HttpResponse:
    person, at = reader(request), timezone.now()
    row = reel_access.one(access.readable_flags(person, at), "flag", pk=flag_id)
    maintains = Act.MAINTAIN in access.acts_held(person, row.reel, at)
    may = {"maintains": maintains, "may_look": maintains or row.assigned_to_id == person.pk}
    about = {"flag": row, "badge": flag_row(row).badge, "p": percent(float(row.p_unlogged_cut)), "reel": row.reel}
    return show(request, "reports/flag.html", {**about, **may, "section": "drift"}, row.reel.site)
