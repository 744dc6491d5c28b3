"""Where a reel stood at a moment that is past: what had happened by then, beside what had been recorded by then."""

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from inspections.pages.words import STATUS
from inspections.queries.status_at import AsOf, ReelThen, reel_then
from reels import access
from reels.errors import OutOfTime
from reels.models import Reel
from reels.pages.acts import beside
from reels.pages.answers import page, reader, show
from reels.pages.filters import Filter, MomentFilter
from reels.pages.formats import count_words

WAYS = {
    AsOf.HAPPENED: ("What had happened", "as far as it is recorded today"),
    AsOf.RECORDED: ("What had been recorded", "whatever was found out later"),
}


class MomentChosen(Filter):
    at = MomentFilter("As of")


@page
def reel_as_of(request: HttpRequest, serial: str) -> HttpResponse:
    """Installations, holds and the count, both ways; now, unless the address says when."""
    person, at = reader(request), timezone.now()
    reel = access.reel_for_read(serial, person, at)
    with timezone.override(ZoneInfo(reel.site.time_zone)):
        form = MomentChosen(request.GET)
    moment: datetime = form.chosen.get("at") or at
    shown: dict[str, Any] = {"filter": form, "moment": moment, "is_now": moment is at}
    try:
        both = reel_then(reel, moment, at)
    except OutOfTime as refused:
        with timezone.override(ZoneInfo(reel.site.time_zone)):
            why = beside(refused)
        return show(request, "inspections/as_of.html", {"then": {**shown, "refused": why}, "reel": reel}, reel.site)
    ways = [_way(reel, by, both[by]) for by in AsOf]
    differ = both[AsOf.HAPPENED] != both[AsOf.RECORDED]
    return show(request, "inspections/as_of.html", {"then": {**shown, "ways": ways, "differ": differ}, "reel": reel},
                reel.site)  # fmt: skip


def _way(reel: Reel, by: AsOf, stood: ReelThen | None) -> dict[str, Any]:
    title, means = WAYS[by]
    count = stood and stood.count
    return {
        "id": by.value, "title": title, "means": means, "stood": stood,
        "badge": STATUS[stood.status] if stood else None,
        "count": count_words(count.layers, count.wraps) if count else "",
        "values": count_words(stood.values.layers, stood.values.wraps) if stood and stood.values else "",
    }  # fmt: skip
