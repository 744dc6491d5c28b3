"""The history of a reel on a page of its own: its entries, newest first, by what, by whom and by day."""

from functools import partial

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from inspections.pages.paging import counted_if_few, page_by_place
from inspections.pages.reel.history import entry_in_words
from inspections.pages.reel.history_filter import HistoryFilter, entries_matching, people_in
from reels import access
from reels.pages.answers import page, reader, show

SIZE = 20


@page
def reel_entries(request: HttpRequest, serial: str) -> HttpResponse:
    person = reader(request)
    reel = access.reel_for_read(serial, person, timezone.now())
    entries = access.readable_history(reel)
    form = HistoryFilter(request.GET, by=people_in(entries))
    rows = entries_matching(entries, form.chosen, reel.site)
    as_told = partial(entry_in_words, unit=person.length_unit)
    history = page_by_place(rows, ("-seq",), request.GET, SIZE, as_told, total=counted_if_few(rows), kept=form.kept)
    about = {"told": {"history": history, "filter": form}, "reel": reel, "section": "reels"}
    return show(request, "inspections/entries.html", about, reel.site)
