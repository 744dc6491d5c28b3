"""What the board shows: every reel's place in one pass, and details of the few that a page shows."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Exists, F, FilteredRelation, Max, OuterRef, Q, QuerySet, Subquery

from inspections.domain.words import LIVE, InspectionState
from inspections.models import DriftFlag, ImportedCount, Inspection, Reading, Referral, SetupValues
from inspections.queries import with_status
from reels.models import CableEvent, Hold, Installation, Reel


@dataclass(frozen=True, slots=True)
class Place:
    """Where a reel stands. counted_at: its last count, one of older records too; None: never."""

    pk: int
    serial: str
    site: str
    type: str
    status: str
    counted_at: datetime | None
    received_on: Any
    has_open_flag: bool


def places(reels: QuerySet[Reel], word: str = "") -> list[Place]:
    """Every one of these reels in whose serial number, machine or host the word occurs, unordered. One query."""
    if word:
        now = FilteredRelation("installations", condition=Q(installations__removed_at__isnull=True))
        reels = reels.annotate(now=now).filter(
            Q(serial__icontains=word) | Q(now__machine__serial__icontains=word) | Q(now__machine__host__icontains=word)
        )
    imported = ImportedCount.objects.filter(reel=OuterRef("pk")).order_by("-counted_at").values("counted_at")[:1]
    flags = DriftFlag.objects.filter(reel=OuterRef("pk"), closed_at__isnull=True)
    found = with_status(reels).annotate(imported_at=Subquery(imported), has_open_flag=Exists(flags)).order_by()
    columns = ("pk", "serial", "site__code", "type__code", "status", "counted_at", "imported_at", "received_on",
               "has_open_flag")  # fmt: skip
    return [
        Place(pk, serial, site, kind, status, max(filter(None, (counted, imported)), default=None), received, flag)
        for pk, serial, site, kind, status, counted, imported, received, flag in found.values_list(*columns)
    ]


def moments(reels: QuerySet[Reel]) -> dict[int, Any]:
    """Of a few reels, by id: since when they stand where they stand, with their machine, host and hold. One query."""
    here = OuterRef("pk")
    live = Inspection.objects.filter(reel=here, state__in=LIVE)
    referral = Referral.objects.filter(inspection__reel=here, released_at__isnull=True)
    ended = Reading.objects.filter(inspection__reel=here, inspection__state=InspectionState.AWAITING_SIGN_OFF)
    hold = Hold.objects.filter(reel=here, ended_at__isnull=True)
    installed = Installation.objects.filter(reel=here, removed_at__isnull=True)
    in_force = SetupValues.objects.filter(reel=here, withdrawn_at__isnull=True)
    withdrawn = SetupValues.objects.filter(reel=here, withdrawn_at__isnull=False).order_by("-withdrawn_at")
    signed = Inspection.objects.filter(reel=here, state=InspectionState.SIGNED).order_by("-done_at", "-id")
    changed = CableEvent.objects.filter(reel=here).order_by("-recorded_at")
    found = reels.select_related("site", "type").annotate(
        live_id=Subquery(live.values("pk")[:1]),
        opened_at=Subquery(live.values("recorded_at")[:1]),
        referred_at=Subquery(referral.values("referred_at")[:1]),
        worked_out_at=Subquery(ended.values("inspection").annotate(last=Max("ended_at")).values("last")[:1]),
        held_at=Subquery(hold.values("placed_at")[:1]),
        held_why=Subquery(hold.values("reason")[:1]),
        installed_at=Subquery(installed.values("installed_at")[:1]),
        machine=Subquery(installed.values("machine__serial")[:1]),
        host=Subquery(installed.values("machine__host")[:1]),
        values_id=Subquery(in_force.values("pk")[:1]),
        values_machine=Subquery(in_force.values("machine__serial")[:1]),
        issued_at=Subquery(in_force.values("issued_at")[:1]),
        confirmed_at=Subquery(in_force.values("confirmed_at")[:1]),
        withdrawn_at=Subquery(withdrawn.values("withdrawn_at")[:1]),
        signed_at=Subquery(signed.values("ended_at")[:1]),
        changed_at=Subquery(changed.values("recorded_at")[:1]),
        gone_at=F("retired_at"),
    )
    return {reel.pk: reel for reel in found}
