"""The board of maintenance control: every reel by site and status, and what each needs next, since when."""

from collections import defaultdict
from collections.abc import Mapping
from datetime import datetime
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.conf import settings
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.formats import date_format

from inspections.domain.words import ReelStatus
from inspections.models import ReelStatusRow
from inspections.pages.paging import page_by_place
from inspections.pages.reel.cable_length import LIMIT_REACHED
from inspections.pages.reel.moves import shown_move
from inspections.pages.words import STATUS
from inspections.queries.currency import currency_in
from inspections.queries.search import Found, with_word
from inspections.queries.status import (
    RANK,
    DueBefore,
    NumberAt,
    due_before,
    is_due_before,
    numbers_at,
    status_rows_at,
)
from reels import access
from reels.domain.life import LifeLimit
from reels.models import Move, Person, Site
from reels.pages.answers import page, reader, show
from reels.pages.filters import ChoiceFilter, Filter
from reels.pages.formats import Badge, day_at
from reels.pages.pieces import address_of, badges_html, day_html

SIZE = 50
ORDER = ("rank", "last_at", "serial")
SHOWN = (
    *ORDER, "reel", "site", "type", "status", "since", "counted_at", "machine__serial", "machine__host", "live_id",
    "values_id", "values_machine", "hold_why", "is_flagged", "has_open_flag", "signed_count_at", "count_ended_at",
    "count_ended_why", "soft_limit_at", "hard_limit_at", "type__count_days",
)  # fmt: skip
DUE = Badge(word="Count due", icon="awaited", tone="doing")
LAPSED = Badge(word="Count lapsed", icon="awaited", tone="stop")
FLAG_OPEN = Badge(word="Drift under review", icon="half", tone="doing")
FLAGGED = Badge(word="Drift flagged", icon="referred", tone="stop")

# What a reel needs next.
NEXT = {
    ReelStatus.HELD: "End the hold or retire the reel",
    ReelStatus.REFERRED: "Decide on the referred count",
    ReelStatus.WITHOUT_VALUES: "Remove the reel and count it",
    ReelStatus.AWAITING_SIGN_OFF: "Sign the count",
    ReelStatus.COUNT_OPEN: "Finish the count",
    ReelStatus.AWAITING_COUNT: "Count the reel",
    ReelStatus.COUNTED: "Issue setup values",
    ReelStatus.VALUES_ISSUED: "Install the reel in {machine}",
    ReelStatus.INSTALLED: "Set, read back and confirm the values",
    ReelStatus.VALUES_CONFIRMED: "",
    ReelStatus.RETIRED: "",
    ReelStatus.IN_TRANSIT: "",  # on no site's board
}

# The same once the count has lapsed.
COUNT_AGAIN = {
    ReelStatus.COUNTED: "Count the reel",
    ReelStatus.VALUES_ISSUED: "Count the reel",
    ReelStatus.INSTALLED: "Remove the reel and count it",
    ReelStatus.VALUES_CONFIRMED: "Remove the reel and count it",
}
# Those of which the status says already that a count is wanted or under way.
LIVE = (ReelStatus.COUNT_OPEN, ReelStatus.AWAITING_SIGN_OFF, ReelStatus.REFERRED)
COUNTING = (ReelStatus.AWAITING_COUNT, *LIVE)


class BoardFilter(Filter):
    q = forms.CharField(label="Serial, machine, host or person", required=False, max_length=60)
    site = ChoiceFilter("Site", "every site")
    status = ChoiceFilter(
        "Status", "every status",
        ((each.value, badge.word) for each, badge in STATUS.items() if each is not ReelStatus.IN_TRANSIT),
    )  # fmt: skip
    look = ChoiceFilter(
        "Needs attention", "everything",
        [("due", "count due"), ("flagged", "drift flagged"), ("open", "drift under review")],
    )  # fmt: skip


@page
def board(request: HttpRequest) -> HttpResponse:
    """Eight queries, however many reels there are, and one for each type with days of its own."""
    asked, person, at = request.GET, reader(request), timezone.now()
    sites = {site.pk: site for site in access.readable_sites(person, at)}
    form = BoardFilter(asked, site=[(site.code, site.name) for site in sites.values()])
    chosen, due = form.chosen, due_before(at, settings.COUNT_DUE_DAYS)
    at_sites = Q(site__in=list(sites))
    searched = with_word(status_rows_at(at_sites), chosen.get("q", ""))
    known = _numbers(at_sites, searched, chosen, due)
    numbers = known or []
    listed = _wanted(searched.rows, chosen, due, sites)
    in_transit = [shown_move(row, at) for row in _in_transit(person, at)]
    shown = {
        "filter": form,
        "sites": [site.name for site in sites.values()],
        "sums": _sums(numbers, sites, chosen),
        "pages": page_by_place(
            listed.values_list(*SHOWN, named=True), ORDER, asked, SIZE,
            lambda row: _row(row, sites[row.site], due, at), kept=chosen,
            total=None if known is None else _total(known, chosen, sites),
        ),
        "due": sum(each.due for each in numbers),
        "flagged": sum(each.flagged for each in numbers),
        "due_days": settings.COUNT_DUE_DAYS,
        "in_transit": in_transit,
        "late": sum(each["badge"].word == "Late" for each in in_transit),
    }  # fmt: skip
    return show(request, "reports/board.html", {"board": shown, "section": "board"})


def _in_transit(person: Person, at: datetime) -> QuerySet[Move]:
    """Those that are late first; more than a page of them are on the page of moves."""
    return access.moves_of_sites(person, at).filter(ended_at__isnull=True).order_by("late_at", "id")[:SIZE]


def _numbers(sites: Q, searched: Found, chosen: dict[str, str], due: DueBefore) -> list[NumberAt] | None:
    """Two queries; one where a word is searched for, and None where too many reels have it to be counted."""
    if "q" not in chosen:
        return numbers_at(sites, due)
    if not searched.are_few:
        return None
    # Added up here: asked to group them, SQLite goes through an index of all reels.
    sums: dict[tuple[int, str], list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    columns = ("site", "status", "type", "last_at", "is_flagged", "has_open_flag")
    for site, status, of_type, last_at, is_flagged, is_open in searched.rows.order_by().values_list(*columns):
        is_due = status != ReelStatus.RETIRED and last_at <= due.of_type(of_type)
        sums[site, status] = [a + b for a, b in zip(sums[site, status], (1, is_due, is_flagged, is_open), strict=True)]
    return [NumberAt(*place, *numbers) for place, numbers in sums.items()]


def _total(numbers: list[NumberAt], chosen: dict[str, str], sites: Mapping[int, Site]) -> int:
    """How many reels fit the filters."""
    codes: dict[int | None, str] = {site.pk: site.code for site in sites.values()}
    return sum(
        getattr(each, chosen.get("look", "all"))
        for each in numbers
        if chosen.get("site", codes[each.site]) == codes[each.site] and chosen.get("status", each.status) == each.status
    )


def _wanted(rows: QuerySet[ReelStatusRow], chosen: dict[str, str], due: DueBefore,
            sites: Mapping[int, Site]) -> QuerySet[ReelStatusRow]:  # fmt: skip
    looks = {"due": is_due_before(due), "flagged": Q(is_flagged=True), "open": Q(has_open_flag=True)}
    if look := chosen.get("look"):
        rows = rows.filter(looks[look])
    if code := chosen.get("site"):
        rows = rows.filter(site__in=[pk for pk, site in sites.items() if site.code == code])
    # By its rank, for the indexes are in the board's order.
    return rows.filter(rank=RANK[ReelStatus(chosen["status"])]) if "status" in chosen else rows


def _sums(numbers: list[NumberAt], sites: Mapping[int, Site], chosen: dict[str, str]) -> list[dict[str, Any]]:
    """A line of each status that there is: its number at each site and in all, and how long its bar is of 100."""
    by_place = {(each.site, each.status): each.all for each in numbers}
    in_all: dict[str, int] = defaultdict(int)
    for each in numbers:
        in_all[each.status] += each.all
    most = max(in_all.values(), default=0) or 1
    kept = {name: value for name, value in chosen.items() if name == "q"}

    def cell(status: ReelStatus, site: Site) -> dict[str, Any]:
        address = "?" + urlencode({**kept, "site": site.code, "status": status.value})
        return {"number": by_place.get((site.pk, status), 0), "site": site.name, "address": address}

    return [
        {"badge": STATUS[status], "number": in_all[status], "length": f"{100 * in_all[status] / most:.1f}",
         "address": "?" + urlencode({**kept, "status": status.value}),
         "cells": [cell(status, site) for site in sites.values()]}
        for status in STATUS if status in in_all
    ]  # fmt: skip


def _row(row: Any, site: Site, due: DueBefore, at: datetime) -> dict[str, Any]:
    """A reel as the board shows it; reel, address: where it is shown, and where the next thing is done."""
    status = ReelStatus(row.status)
    is_due = status is not ReelStatus.RETIRED and row.last_at <= due.of_type(row.type)
    currency = None if status in (ReelStatus.RETIRED, *LIVE) else currency_in(row, site, row.type__count_days, at)
    lapsed = currency.why if currency else ""
    marks = (
        (LAPSED, lapsed and status is not ReelStatus.AWAITING_COUNT),
        (DUE, is_due and not lapsed and status not in COUNTING),
        (FLAGGED, row.is_flagged), (FLAG_OPEN, row.has_open_flag), *_life_marks(row, status, at),
    )  # fmt: skip
    next_thing = NEXT[status].format(machine=row.values_machine)
    if lapsed and status in COUNT_AGAIN:
        next_thing = f"{COUNT_AGAIN[status]}: its count has lapsed"
    elif is_due and status is ReelStatus.VALUES_CONFIRMED:
        next_thing = "Remove the reel and count it: a count is due"
    until = day_at(site, currency.until) if currency and not lapsed else None
    stands = f"count current until {date_format(until, 'j M Y')}" if until and status in COUNT_AGAIN else ""
    whys = filter(None, (row.hold_why, stands or (lapsed and f"count lapsed: {lapsed}")))
    since, counted_on = day_at(site, row.since), day_at(site, row.counted_at)
    assert since is not None, "a status row always says since when"
    reel = address_of("reel", row.serial)
    return {
        "serial": row.serial, "site": site.name,
        "machine": f"{row.machine__serial} in {row.machine__host}" if row.machine__serial else "",
        "badges": badges_html([STATUS[status], *(badge for badge, holds in marks if holds)]), "next": next_thing,
        "why": "; ".join(whys), "since": day_html(since), "counted_on": day_html(counted_on) if counted_on else "never",
        "reel": reel, "address": _address(status, row, reel),
    }  # fmt: skip


def _life_marks(row: Any, status: ReelStatus, at: datetime) -> list[tuple[Badge, bool]]:
    is_over = bool(row.hard_limit_at and row.hard_limit_at <= at)
    is_near = bool(row.soft_limit_at and row.soft_limit_at <= at)
    limit = LifeLimit.HARD if is_over else LifeLimit.SOFT
    return [(LIMIT_REACHED[limit], (is_over or is_near) and status is not ReelStatus.RETIRED)]


def _address(status: ReelStatus, row: Any, reel: str) -> str:
    """Where the next thing is done; the reel's own page where it is done by several."""
    if row.live_id and status in (ReelStatus.REFERRED, ReelStatus.AWAITING_SIGN_OFF, ReelStatus.COUNT_OPEN):
        return address_of("inspection", row.live_id)
    if row.values_id and status in (ReelStatus.INSTALLED, ReelStatus.VALUES_ISSUED):
        return address_of("setup-values", row.values_id)
    return reel
