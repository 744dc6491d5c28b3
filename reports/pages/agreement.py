"""Repeatability: how well methods, people, gauges and sites agree, as a page, two files and a document."""

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.utils import timezone
from django.utils.safestring import SafeString
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from inspections.pages.words import LABELS
from reels import access
from reels.pages.answers import page, reader, show
from reels.pages.figures import drawn
from reels.pages.filters import ChoiceFilter, DayFilter, Filter
from reels.pages.formats import Badge
from reels.standby import may_be_stale
from reports.domain.agreement import COMPARISON_NAMES, COMPARISON_WORDS, Comparison, GroupRow, Sample, Table, words
from reports.domain.agreement.figure import difference_figure
from reports.pages.pdf import document
from reports.pages.written import csv_answer
from reports.services import agreement
from reports.services.agreement import AgreementReport, AgreementScope

STANDS_OUT = Badge(word="Stands out", icon="referred", tone="stop")
TRUST = {
    Sample.ENOUGH: Badge(word="Enough pairs", icon="checked", tone="good"),
    Sample.SMALL: Badge(word="Small sample", icon="half", tone="doing"),
    Sample.TOO_FEW: Badge(word="Too few pairs", icon="awaited", tone="quiet"),
}


class AgreementFilter(Filter):
    compare = forms.ChoiceField(
        label="Compared", required=False, choices=[(each.value, name) for each, name in COMPARISON_NAMES.items()]
    )
    site = ChoiceFilter("Site", "every site")
    type = ChoiceFilter("Reel type", "every type")
    gauge = ChoiceFilter("Wrap gauge", "every gauge")
    since = DayFilter("Counted from")
    until = DayFilter("Counted until")

    @property
    def scope(self) -> AgreementScope:
        chosen = self.chosen
        comparison = Comparison(chosen.pop("compare", Comparison.METHODS))
        return AgreementScope(comparison=comparison, **chosen)


@page
@may_be_stale
def repeatability(request: HttpRequest) -> HttpResponse:
    form, report = _asked(request)
    finding = words.finding(report.agreement)
    shown = {
        "filter": form, "report": report, "compared": COMPARISON_WORDS[report.scope.comparison], "finding": finding,
        "figure": _figure(report, finding), "facts": words.facts(report.agreement),
        "points": [
            (LABELS[each.point], words.share_in_words(each.share), words.kappa_in_words(each.kappa),
             TRUST[each.share.sample])
            for each in report.agreement.points
        ],
        "tables": [_table(table) for table in report.agreement.tables],
        "export": form.query,
    }  # fmt: skip
    guidance = {"may": words.MAY, "may_not": words.MAY_NOT, "how": words.HOW, "most": agreement.MOST_COUNTS}
    return show(request, "reports/repeatability.html", {"shown": shown, "section": "repeatability", **guidance})


@never_cache
@require_safe
@may_be_stale
def repeatability_csv(request: HttpRequest) -> HttpResponseBase:
    _, report = _asked(request)
    return csv_answer(words.COLUMNS, words.figures_as_written(report.agreement), "repeatability.csv")


@never_cache
@require_safe
@may_be_stale
def pairs_csv(request: HttpRequest) -> HttpResponseBase:
    """The pairs that the page's figures come from, for whoever works them out again."""
    _, report = _asked(request)
    return csv_answer(words.PAIR_COLUMNS, words.pairs_as_written(report.agreement), "repeatability-pairs.csv")


@page
def repeatability_pdf(request: HttpRequest) -> HttpResponse:
    from reports.pdf.sheets.agreement import agreement_sheet

    form, report = _asked(request)
    filters = [(str(form.fields[name].label), str(value)) for name, value in form.chosen.items() if name != "compare"]
    return document(agreement_sheet(report.agreement, filters, at=timezone.now()), "repeatability.pdf")


def _asked(request: HttpRequest) -> tuple[AgreementFilter, AgreementReport]:
    person, at = reader(request), timezone.now()
    sites = access.readable_sites(person, at).values_list("code", "name")
    types = access.reel_types().values_list("code", flat=True)
    form = AgreementFilter(request.GET, site=sites, type=types, gauge=agreement.gauges_seen(person, at))
    return form, agreement.agreement_report(form.scope, person, at)


def _figure(report: AgreementReport, finding: str) -> SafeString | None:
    figures = report.agreement
    if figures.differences.bias is None:
        return None
    pairs = [(pair.first, pair.second) for pair in figures.pairs]
    return drawn(difference_figure(pairs, figures.differences, finding), "differences")


def _table(table: Table) -> dict[str, Any]:
    return {
        "title": words.GROUPING_WORDS[table.grouping],
        "key": table.grouping.value.replace("_", "-"),
        "lines": [_line(row) for row in table.rows],
        "unnamed": words.unnamed_in_words(table),
    }


def _line(row: GroupRow) -> dict[str, Any]:
    return {
        "name": row.name,
        "equal": words.share_in_words(row.share),
        "bias": words.estimate_in_words(row.differences.bias),
        "limits": words.limits_in_words(row),
        "trust": None if row.share.sample is Sample.ENOUGH else TRUST[row.share.sample],
        "standing": words.verdict_in_words(row),
        "badge": STANDS_OUT if row.stands_out else None,
    }
