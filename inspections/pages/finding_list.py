"""Findings on all reels: how many there are of each kind, and those that are open."""

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from inspections import access
from inspections.domain.findings import ReelPart, Severity
from inspections.models import Finding
from inspections.pages.finding_rows import STOP, WATCH
from inspections.pages.paging import counted_if_few, page_by_place
from inspections.queries.findings import counts_by_kind, with_photos
from reels.access import readable_sites
from reels.pages.act_fields import reel_types_offered
from reels.pages.answers import page, reader, show
from reels.pages.filters import ChoiceFilter, Filter
from reels.queries import matching

SIZE = 30
ORDER = ("severity", "-id")


class FindingFilter(Filter):
    site = ChoiceFilter("Site", "every site")
    type = ChoiceFilter("Type", "every type")


@page
def findings(request: HttpRequest) -> HttpResponse:
    """The findings on the reels that the person may see and asks for: counted, and the open ones, stops first."""
    person, at = reader(request), timezone.now()
    sites = readable_sites(person, at).values_list("code", "name")
    form = FindingFilter(request.GET, site=sites, type=reel_types_offered())
    rows = matching(access.readable_findings(person, at), form.chosen, site="reel__site__code", type="reel__type__code")
    still_open = with_photos(rows.filter(closed_at__isnull=True))
    total = counted_if_few(still_open)
    numbers = matching(access.finding_numbers(person, at), form.chosen, site="site__code", type="type__code")
    shown = {
        "filter": form,
        "counts": [{**each, "part": ReelPart(each["part"]).spoken} for each in counts_by_kind(numbers)],
        "pages": page_by_place(still_open, ORDER, request.GET, SIZE, _line, total=total, kept=form.chosen),
    }
    return show(request, "inspections/finding_list.html", {"list": shown, "section": "findings"})


def _line(row: Finding) -> dict[str, object]:
    return {"row": row, "badge": STOP if row.severity == Severity.STOP else WATCH}
