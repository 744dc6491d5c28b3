"""What came of the inspections of a reel, and what hangs on one of them."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Exists, Max, OuterRef, Q, QuerySet, Subquery

from inspections.domain.words import LIVE, InspectionState
from inspections.models import ImportedCount, Inspection, Participant, Referral, SignOff, Void
from reels.models import CableEvent, Installation, Person, Reel, ReelEvent, Site


def live_inspection(reel: Reel) -> Inspection | None:
    """The inspection of the reel that is under way. One query."""
    return Inspection.objects.filter(reel=reel, state__in=LIVE).first()


def latest_signed(reel: Reel) -> Inspection | None:
    """The newest count of the reel that both have signed. One query."""
    signed = Inspection.objects.filter(reel=reel, state=InspectionState.SIGNED)
    return signed.order_by("-done_at", "-id").first()


def inspections_as_seen_by(person: Person, reel: Reel) -> list[Any]:
    """All of the reel's, each with the person's `role` in it (None without one) and whether they `has_signed` it.

    One query.
    """
    theirs = Participant.objects.filter(inspection=OuterRef("pk"), person=person)
    signed = SignOff.objects.filter(inspection=OuterRef("pk"), person=person)
    return list(reel.inspections.annotate(role=Subquery(theirs.values("role")), has_signed=Exists(signed)))


LATE_DAYS, LATE_INSPECTIONS = 7, 2000


def work_orders_of_late(site: Site, at: datetime, most: int = 4) -> list[str]:
    """The work orders that counts at a site named in its last days, newest first. Two queries.

    Of all sites' inspections it looks at the latest 2000, so that it costs the same in any fleet.
    """
    newest = Inspection.objects.aggregate(newest=Max("pk"))["newest"] or 0
    late = Inspection.objects.filter(
        pk__gt=newest - LATE_INSPECTIONS, reel__site=site, recorded_at__gt=at - timedelta(days=LATE_DAYS)
    )
    return list(dict.fromkeys(late.order_by("-pk").values_list("work_order", flat=True)))[:most]


@dataclass(frozen=True, slots=True)
class Counted:
    """A count that holds: signed, or of older records."""

    at: datetime
    layers: int
    wraps: int


def newest_count(reel: Reel) -> Counted | None:
    """The reel's newest count that holds. Two queries."""
    columns = ("done_at", "layers", "wraps")
    signed = Inspection.objects.filter(reel=reel, state=InspectionState.SIGNED).order_by("-done_at", "-id")
    imported = ImportedCount.objects.filter(reel=reel).order_by("-counted_at", "-id")
    rows = (signed.values_list(*columns).first(), imported.values_list("counted_at", *columns[1:]).first())
    return max((Counted(*row) for row in rows if row), key=lambda count: count.at, default=None)


def installation_at(reel: Reel, at: datetime) -> Installation | None:
    """The machine that the reel was in at a time. One query."""
    return (
        Installation.objects.select_related("machine")
        .filter(Q(removed_at__isnull=True) | Q(removed_at__gt=at), reel=reel, installed_at__lte=at)
        .first()
    )


def open_referral(inspection: Inspection) -> Referral | None:
    """The referral that waits for its release. One query."""
    return Referral.objects.filter(inspection=inspection, released_at__isnull=True).first()


def sign_offs_of(inspection: Inspection) -> QuerySet[SignOff]:
    """The signatures of an inspection."""
    return SignOff.objects.filter(inspection=inspection).select_related("person")


def void_of(inspection: Inspection) -> Void | None:
    """How the inspection was taken back, or that somebody has asked for it. One query."""
    return Void.objects.select_related("requested_by", "confirmed_by").filter(inspection=inspection).first()


def events_of(reel: Reel) -> QuerySet[ReelEvent]:
    """What happened to a reel, by when it happened, with who recorded it; what was taken back too."""
    rows = ReelEvent.objects.filter(reel=reel).select_related("reel", "recorded_by", "reversed_by")
    return rows.order_by("happened_at", "id")


def cable_events_of(reel: Reel) -> QuerySet[CableEvent]:
    """Every entry about the reel's cable, those taken back too."""
    return CableEvent.objects.filter(reel=reel).select_related("reel", "recorded_by", "reversed_by")
