"""Counts worth making next, as a page and a file."""

from collections.abc import Iterator
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from inspections.domain.words import ReelStatus
from inspections.pages.words import STATUS
from reels import access
from reels.pages.answers import awaiting, page, reader, show
from reels.pages.filters import ChoiceFilter, Filter
from reels.pages.formats import count_words, day_words, length
from reels.standby import may_be_stale
from reports.domain.drift_rows import moment
from reports.domain.recount_words import COLUMNS, percent, reason, to_do_first
from reports.pages.written import csv_answer
from reports.services import assessments
from reports.services.assessments import FleetStanding
from reports.services.recounts import WorthCounting, counts_worth_making


class RecountFilter(Filter):
    site = ChoiceFilter("Site", "every site")


@page
@may_be_stale
def recounts(request: HttpRequest) -> HttpResponse:
    form, counts, standing = _asked(request)
    unit = reader(request).length_unit
    shown = {"filter": form, "lines": [_line(each, unit) for each in counts], "standing": standing, "section": "drift"}
    return show(request, "reports/recounts.html", shown)


@never_cache
@require_safe
@awaiting
@may_be_stale
def recounts_csv(request: HttpRequest) -> HttpResponseBase:
    """The list of the page; lengths in metres."""
    _, counts, _ = _asked(request)
    return csv_answer(COLUMNS, _as_written(counts), "counts-worth-making.csv")


def _asked(request: HttpRequest) -> tuple[RecountFilter, list[WorthCounting], FleetStanding]:
    person, at = reader(request), timezone.now()
    form = RecountFilter(request.GET, site=access.readable_sites(person, at).values_list("code", "name"))
    standing = assessments.fleet_standing()
    return form, counts_worth_making(access.readable_reels(person, at), form.chosen), standing


def _line(each: WorthCounting, unit: str) -> dict[str, Any]:
    return {
        "reel": each.reel,
        "badge": STATUS[ReelStatus(each.reel.status)],
        "p": percent(each.worth.p_cut),
        "lost": _lost(each, unit),
        "settles": percent(each.worth.settled_share),
        "gain": f"{each.worth.worth_nats:.2f} nats, {length(each.worth.worth_m, unit, places=1)}",
        "reason": _reason(each, unit),
        "first": to_do_first(each.reel.status, each.reel.machine_serial),
    }


def _reason(each: WorthCounting, unit: str) -> str:
    interval = each.interval
    count = f"{count_words(each.layers, each.wraps)}, of {day_words(interval.to_at, each.reel.site)}"
    way = "shorter" if interval.observed_change_m < 0 else "longer"
    logged = f" ({length(interval.logged_cut_m, unit)} logged)" if interval.logged_cut_m else ""
    return reason(
        each.worth, count, _lost(each, unit), f"{length(abs(interval.observed_change_m), unit)} {way}{logged}"
    )


def _lost(each: WorthCounting, unit: str) -> str:
    interval = each.interval
    cut, low, high = (length(metres, unit) for metres in (interval.cut_m, interval.cut_low_m, interval.cut_high_m))
    return f"{cut}, between {low} and {high}"


def _as_written(counts: list[WorthCounting]) -> Iterator[list[object]]:
    for each in counts:
        interval, worth = each.interval, each.worth
        lengths = [f"{metres:.3f}" for metres in (interval.cut_m, interval.cut_low_m, interval.cut_high_m)]
        shares = [
            f"{x:.6f}"
            for x in (
                worth.doubt_bits,
                worth.worth_bits,
                worth.settled_share,
                worth.worth_nats,
                worth.doubt_m,
                worth.worth_m,
            )
        ]
        yield [
            each.reel.serial, each.reel.site.code, each.reel.status, moment(interval.to_at), each.layers, each.wraps,
            f"{worth.p_cut:.6f}", *lengths, *shares, _reason(each, "m").replace("\u00a0", " "),
        ]  # fmt: skip
