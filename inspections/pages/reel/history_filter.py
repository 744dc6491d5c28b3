"""Which entries of a reel's history are shown: of what kind, by whom, from one day to another."""

from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import QuerySet

from reels.models import HistoryEntry, Site
from reels.pages.filters import ChoiceFilter, DayFilter, Filter

# Kinds of acts, in the words of the filter; each act is of one kind.
KINDS: dict[str, tuple[str, tuple[str, ...]]] = {
    "counts": ("counts", (
        "count_opened", "keyed", "gauge_taken", "gauge_back", "third_reading_asked",
        "third_reading_taken_back", "third_reading", "reading_recorded", "help_asked", "released",
        "read_again", "count_cancelled", "surprise_accepted", "signed", "void_asked", "voided", "records_imported",
    )),
    "values": ("setup values", (
        "values_issued", "gauge_returned", "read_back", "confirmation", "machine_checked", "values_withdrawn",
        "machine_hold_ended",
    )),
    "cable": ("cable", ("cable_cut", "cable_replaced", "cable_entry_reversed")),
    "events": ("events", ("reel_respooled", "reel_used", "reel_incident", "reel_event_reversed")),
    "findings": ("findings", ("finding_recorded", "finding_lowered", "finding_closed")),
    "place": ("where it is", (
        "reel_received", "installed", "removed", "held", "held_by_notice", "hold_ended", "moved", "sent", "received",
        "called_back", "retired",
    )),
    "flags": ("drift flags", ("flag_assigned", "flag_looked_into", "flag_closed")),
    "documents": ("documents", ("archived",)),
}  # fmt: skip


class HistoryFilter(Filter):
    ids = "history-%s"

    what = ChoiceFilter("What", "everything", ((kind, words) for kind, (words, _) in KINDS.items()))
    by = ChoiceFilter("By", "everybody")
    since = DayFilter("From")
    until = DayFilter("Until")


def entries_matching(rows: QuerySet[HistoryEntry], chosen: dict[str, Any], site: Site) -> QuerySet[HistoryEntry]:
    """The entries that fit; days are those of the clocks at the site."""
    zone = ZoneInfo(site.time_zone)
    if kind := chosen.get("what"):
        rows = rows.filter(act__in=KINDS[kind][1])
    if username := chosen.get("by"):
        rows = rows.filter(actor__username=username)
    if since := chosen.get("since"):
        rows = rows.filter(at__gte=_midnight(since, zone))
    if until := chosen.get("until"):
        rows = rows.filter(at__lt=_midnight(until + timedelta(days=1), zone))
    return rows


def people_in(rows: QuerySet[HistoryEntry]) -> list[tuple[str, str]]:
    """Who did anything in it: user name and full name. One query."""
    rows_with_actor = rows.filter(actor__isnull=False).order_by("actor__full_name")
    return list(rows_with_actor.values_list("actor__username", "actor__full_name").distinct())


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time.min, tzinfo=zone)
