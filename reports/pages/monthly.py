"""The monthly report: a period of a site, or of all that one may see, on a page, as a file and as a document."""

from datetime import datetime
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from reels import access
from reels.pages.answers import awaiting, page, reader, show
from reels.pages.filters import ChoiceFilter, DayFilter, Filter
from reels.standby import may_be_stale
from reports.domain.monthly import FIRST, LAST, period_asked_for
from reports.domain.monthly_rows import FigureRow, figure_rows
from reports.pages.monthly_parts import parts_of
from reports.pages.pdf import document
from reports.pages.written import csv_answer
from reports.services import monthly
from reports.services.monthly import MonthlyReport


class MonthlyFilter(Filter):
    site = ChoiceFilter("Site", "every site")
    since = DayFilter("From")
    until = DayFilter("Until, that day too")

    def clean(self) -> dict[str, Any]:
        chosen = self.cleaned_data
        for name in ("since", "until"):
            if (day := chosen.get(name)) and not FIRST <= day <= LAST:
                self.add_error(name, f"You entered {day}; days from {FIRST} to {LAST} are looked at.")
        since, until = chosen.get("since"), chosen.get("until")
        if since and until and since > until:
            self.add_error("until", f"You entered {until}, and the period begins on {since}; it ends then or later.")
        return chosen


@page
@may_be_stale
def monthly_page(request: HttpRequest) -> HttpResponse:
    form, report = _asked(request, timezone.now())
    site = report.sites[0] if len(report.sites) == 1 else None
    shown = {
        "filter": form, "report": report, "about": _about(report), "export": form.query,
        "parts": parts_of(report, reader(request).length_unit),
    }  # fmt: skip
    return show(request, "reports/monthly.html", {"shown": shown, "section": "board"}, site)


@never_cache
@require_safe
@awaiting
@may_be_stale
def monthly_csv(request: HttpRequest) -> HttpResponseBase:
    _, report = _asked(request, timezone.now())
    return csv_answer(FigureRow._fields, figure_rows(report.figures, report.ends), "monthly.csv")


@page
def monthly_pdf(request: HttpRequest) -> HttpResponse:
    """Drawn up on demand, and not kept."""
    from reports.pdf.sheets.monthly import monthly_sheet

    at = timezone.now()
    _, report = _asked(request, at)
    parts = parts_of(report, reader(request).length_unit)
    return document(monthly_sheet(parts, about=_about(report), at=at), "monthly.pdf")


def _asked(request: HttpRequest, at: datetime) -> tuple[MonthlyFilter, MonthlyReport]:
    person = reader(request)
    sites = list(access.readable_sites(person, at))
    form = MonthlyFilter(request.GET, site=[(site.code, site.name) for site in sites])
    chosen = form.chosen
    sites = [site for site in sites if site.code == chosen.get("site", site.code)]
    today = at.astimezone(monthly.clock_of(sites)).date()
    period = period_asked_for(chosen.get("since"), chosen.get("until"), today)
    return form, monthly.monthly_report(period, sites, person, at)


def _about(report: MonthlyReport) -> str:
    """Which period, of where."""
    names = [site.name for site in report.sites]
    where = names[0] if len(names) == 1 else f"{len(names)} sites: {', '.join(names)}" if names else "no site"
    return f"{report.period.in_words}, {where}"
