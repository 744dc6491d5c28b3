"""What the list of reels shows, and the filters in its address. As many queries for many reels as for few."""

from collections import Counter
from collections.abc import Mapping
from datetime import datetime
from functools import partial
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from inspections.access import authorisations_in_force
from inspections.domain.words import Act, Point, ReelStatus
from inspections.models import ReelStatusRow
from inspections.pages.paging import page_by_place, sum_known
from inspections.pages.words import STATUS
from inspections.queries.currency import currency_in
from inspections.queries.search import Found, with_word
from inspections.queries.status import numbers_by_status, status_rows_at, status_rows_in_transit, types_of_reels_at
from inspections.queries.third_readings import awaited_from
from inspections.services.evaluation import spoken
from reels import access
from reels.models import Person
from reels.pages.answers import page, reader, show
from reels.pages.filters import ChoiceFilter, Filter
from reels.pages.formats import count_words, day_at
from reels.pages.pieces import address_of, badge_html, day_html
from reels.queries import matching

SIZE = 50


class ReelFilter(Filter):
    q = forms.CharField(label="Serial, machine, host or person", required=False, max_length=60)
    site = ChoiceFilter("Site", "every site")
    type = ChoiceFilter("Reel type", "every type")
    status = ChoiceFilter("Status", "every status", ((status.value, badge.word) for status, badge in STATUS.items()))


def _numbers(sites: Q, searched: Found, chosen: dict[str, str]) -> Mapping[str, int | None]:
    """How many reels of each status fit the other filters; None: of those searched for, too many to be counted.

    One query.
    """
    if searched.are_few:
        # Counted here: asked to group them, SQLite goes through an index of all reels.
        return Counter(searched.rows.order_by().values_list("status", flat=True))
    at = {f"{name}__code": chosen[name] for name in ("site", "type") if name in chosen}
    numbers = numbers_by_status(sites, **at)
    return dict.fromkeys(numbers) if "q" in chosen else numbers


def _row(row: ReelStatusRow, at: datetime) -> dict[str, Any]:
    site = row.site or row.reel.site
    counted_on = day_at(site, row.signed_count_at)
    currency = currency_in(row, site, row.type.count_days if row.type else None, at)
    return {
        "serial": row.serial,
        "type": row.type.code if row.type else "",
        "site": row.site.name if row.site else f"sent from {row.reel.site.name}",
        "address": address_of("reel", row.serial),
        "badge": badge_html(STATUS[ReelStatus(row.status)]),
        "machine": f"{row.machine.serial} in {row.machine.host}" if row.machine else "",
        "count": count_words(row.layers, row.wraps),
        "counted_on": day_html(counted_on) if counted_on else "",
        "lapsed": currency.why if currency and row.status != ReelStatus.RETIRED else "",
    }


def _statuses(numbers: Mapping[str, int | None], chosen: dict[str, str]) -> list[dict[str, Any]]:
    others = {name: value for name, value in chosen.items() if name != "status"}

    def link(status: ReelStatus) -> dict[str, Any]:
        is_chosen = chosen.get("status") == status
        address = "?" + urlencode(others if is_chosen else {**others, "status": status.value})
        badge = badge_html(STATUS[status])
        return {"badge": badge, "number": numbers[status], "address": address, "is_chosen": is_chosen}

    return [link(status) for status in STATUS if numbers.get(status, 0) != 0]


def _stock(status: str) -> str:
    """The status itself, where a reel of it is in a site's stock."""
    return "" if status == ReelStatus.IN_TRANSIT else status


def _in_transit(person: Person, at: datetime, chosen: dict[str, str]) -> QuerySet[ReelStatusRow]:
    """The reels on their way from or to one's sites that fit the filters; in no list of a stock."""
    rows = status_rows_in_transit(access.moves_of_sites(person, at), chosen.get("site"), chosen.get("type"))
    return with_word(rows, chosen.get("q", "")).rows


@page
def reels(request: HttpRequest) -> HttpResponse:
    """The reels that the person may see and asks for, by serial number."""
    person, at = reader(request), timezone.now()
    sites = access.at_readable_sites(person, at)
    offered = access.readable_sites(person, at).values_list("code", "name")
    form = ReelFilter(request.GET, site=offered, type=types_of_reels_at(sites).values_list("code", flat=True))
    chosen = form.chosen
    rows = matching(status_rows_at(sites), chosen, site="site__code", type="type__code")
    searched = with_word(rows, chosen.get("q", ""))
    sent = _in_transit(person, at, chosen)
    numbers = {**_numbers(sites, searched, chosen), ReelStatus.IN_TRANSIT: sent.count()}
    is_sent = chosen.get("status") == ReelStatus.IN_TRANSIT
    listed = sent if is_sent else matching(searched.rows, chosen, status="status")
    listed = listed.select_related("type", "site", "machine", "reel__site")
    pages = page_by_place(
        listed, ("serial",), request.GET, SIZE, partial(_row, at=at), kept=chosen,
        total=sum_known(n for status, n in numbers.items() if chosen.get("status", _stock(status)) == status),
    )  # fmt: skip
    asked = [
        {"row": row, "spoken": spoken(Point(row.point)), "inspection": row.reading.inspection}
        for row in awaited_from(person, at)
    ]
    may_register = authorisations_in_force(person, at).filter(act=Act.MAINTAIN).exists()
    shown = {
        "asked": asked,
        "may_register": may_register,
        "filter": form,
        "pages": pages,
        "statuses": _statuses(numbers, chosen),
    }
    return show(request, "inspections/reels.html", {"list": shown, "section": "reels"})
