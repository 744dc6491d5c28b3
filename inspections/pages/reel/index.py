"""What the list of reels shows, and the filters in its address. Eight queries, however many reels there are."""

from typing import Any
from urllib.parse import urlencode

from django import forms
from django.db.models import Count, F, FilteredRelation, Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from inspections.domain.words import Point, ReelStatus
from inspections.pages.paging import one_page
from inspections.pages.words import STATUS
from inspections.queries.status import with_status
from inspections.queries.third_readings import awaited_from
from inspections.services.evaluation import spoken
from reels import access
from reels.pages.answers import page, reader, show
from reels.pages.filters import ChoiceFilter, Filter
from reels.pages.formats import count_words, day_at

SIZE = 50


class ReelFilter(Filter):
    q = forms.CharField(label="Serial, machine or host", required=False, max_length=60)
    site = ChoiceFilter("Site", "every site")
    type = ChoiceFilter("Reel type", "every type")
    status = ChoiceFilter("Status", "every status", ((status.value, badge.word) for status, badge in STATUS.items()))


def _matching(reels: QuerySet[Any], chosen: dict[str, str]) -> QuerySet[Any]:
    # At most one installation of a reel is under way, so this join never doubles a row.
    now = FilteredRelation("installations", condition=Q(installations__removed_at__isnull=True))
    reels = reels.annotate(now=now)
    if word := chosen.get("q"):
        reels = reels.filter(
            Q(serial__icontains=word) | Q(now__machine__serial__icontains=word) | Q(now__machine__host__icontains=word)
        )
    keys = {"site": "site__code", "type": "type__code"}
    return reels.filter(**{column: chosen[name] for name, column in keys.items() if name in chosen})


def _row(reel: Any) -> dict[str, Any]:
    return {
        "serial": reel.serial,
        "type": reel.type.code,
        "site": reel.site.name,
        "badge": STATUS[ReelStatus(reel.status)],
        "machine": f"{reel.machine_serial} in {reel.host}" if reel.machine_serial else "",
        "count": count_words(reel.layers, reel.wraps),
        "counted_on": day_at(reel.site, reel.counted_at),
    }


def _statuses(rows: QuerySet[Any], chosen: dict[str, str]) -> list[dict[str, Any]]:
    numbers = dict(rows.order_by().values_list("status").annotate(Count("pk", distinct=True)))
    others = {name: value for name, value in chosen.items() if name != "status"}

    def link(status: ReelStatus) -> dict[str, Any]:
        is_chosen = chosen.get("status") == status
        address = "?" + urlencode(others if is_chosen else {**others, "status": status.value})
        return {"badge": STATUS[status], "number": numbers[status], "address": address, "is_chosen": is_chosen}

    return [link(status) for status in STATUS if status in numbers]


@page
def reels(request: HttpRequest) -> HttpResponse:
    """The reels that the person may see and asks for, by serial number."""
    person, at = reader(request), timezone.now()
    readable = access.readable_reels(person, at)
    sites = access.readable_sites(person, at).values_list("code", "name")
    types = readable.order_by("type__code").values_list("type__code", flat=True).distinct()
    form = ReelFilter(request.GET, site=sites, type=types)
    chosen = form.chosen
    rows = _matching(with_status(readable), chosen)
    status = chosen.get("status")
    listed = (rows.filter(status=status) if status else rows).annotate(host=F("now__machine__host"))
    pages = one_page(listed.order_by("serial"), request.GET, SIZE, _row, kept=chosen)
    asked = [
        {"row": row, "spoken": spoken(Point(row.point)), "inspection": row.reading.inspection}
        for row in awaited_from(person, at)
    ]
    shown = {"asked": asked, "filter": form, "pages": pages, "statuses": _statuses(rows, chosen)}
    return show(request, "inspections/reels.html", {"list": shown, "section": "reels"})
