"""What an open page asks for by itself: whether anything was recorded for its reel, and what of it stops the work.

Nothing here tells a value: a stamp is the digest of the reel's last entry, and what is said is in its history, which
never holds a value that is still blind.
"""

import json
from collections.abc import Iterator

from django.http import HttpRequest, HttpResponse, HttpResponseNotModified, JsonResponse
from django.utils import timezone
from django.utils.http import parse_etags

from inspections import access
from inspections.domain.findings import Severity
from inspections.pages.reel.history import entry_in_words
from reels import access as reel_access
from reels.models import HistoryEntry, Reel
from reels.pages.answers import page, reader

MOST_NEWS = 20  # entries; a page that heard nothing for so long says the newest of them


@page
def count_stamp(request: HttpRequest, inspection_id: int) -> HttpResponse:
    """Of the reel of a count. While its serial is to be read off the data plate, no words that somebody typed."""
    rows = access.readable_inspections(reader(request), timezone.now(), "reel")
    narrow = rows.select_related(None).select_related("reel__chain").only("state", "identified_at", "reel__chain")
    inspection = reel_access.one(narrow, "inspection", pk=inspection_id)
    return _since_then(request, inspection.reel, hides_words=inspection.hides_serial)


@page
def reel_stamp(request: HttpRequest, serial: str) -> HttpResponse:
    rows = reel_access.reels_to_look_at(reader(request), timezone.now())
    narrow = rows.select_related(None).select_related("chain").only("chain")
    return _since_then(request, reel_access.one(narrow, "reel", serial=serial), hides_words=False)


def _since_then(request: HttpRequest, reel: Reel, *, hides_words: bool) -> HttpResponse:
    """304 to whoever names the last entry; else its digest, and what stops the work since the entry that they name."""
    head = reel.chain.head
    seen = [each.strip('"') for each in parse_etags(request.headers.get("If-None-Match", ""))]
    answer: HttpResponse = HttpResponseNotModified()
    if head not in seen:
        says = list(_news(reel, seen, hides_words=hides_words))
        answer = JsonResponse({"stamp": head, "says": says})
    answer.headers["ETag"] = f'"{head}"'
    return answer


def _news(reel: Reel, seen: list[str], *, hides_words: bool) -> Iterator[str]:
    """A sentence for each entry after those seen that stops the work, oldest first. Two queries."""
    entries = reel_access.readable_history(reel)
    last = entries.filter(digest__in=seen).order_by("-seq").values_list("seq", flat=True).first()
    if last is None:
        return
    newest = list(entries.filter(seq__gt=last).order_by("-seq")[:MOST_NEWS])
    for entry in reversed(newest):
        if _stops_work(entry):
            words_of_entry = entry_in_words(entry)
            words = [] if hides_words else words_of_entry.remarks
            yield " ".join([f"{words_of_entry.title}, by {words_of_entry.by}.", *words])


def _stops_work(entry: HistoryEntry) -> bool:
    """Whether the act withdrew setup values, or held a reel or a machine, or recorded a finding that stops."""
    for change in json.loads(bytes(entry.content))["changes"]:
        match change["table"], change["before"], change["after"]:
            case "inspections_setupvalues", dict(), {"withdrawn_at": str()}:
                return True
            case "reels_hold" | "reels_machinehold", None, _:
                return True
            case "inspections_finding", None, {"severity": Severity.STOP.value}:
                return True
    return False
