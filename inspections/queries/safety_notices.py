"""Which reels a safety notice covers, which notices cover a reel, and what became of the reels of a notice."""

from datetime import datetime
from typing import Any

from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from inspections.domain.words import InspectionState, NoticedState
from inspections.models import Inspection, NoticedReel, SafetyNotice
from reels import access
from reels.domain.text import compared
from reels.models import CableEvent, Hold, Person, Reel
from reels.queries import STANDING, publications_in_force


def covered_by(notice: SafetyNotice, at: datetime) -> QuerySet[Reel]:
    """The reels in service to which all that it names applies, and that it has not told of yet.

    A publication applies to those that were counted last by it, and to those of types that are counted by it at that
    moment. Of a publication and of a lot one query more each.
    """
    reels: QuerySet[Any] = with_what_notices_name(Reel.objects.filter(retired_at__isnull=True))
    if notice.pk:
        reels = reels.filter(~Exists(NoticedReel.objects.filter(notice=notice.pk, reel=OuterRef("pk"))))
    if notice.publication:
        reels = reels.filter(_worked_by(notice.publication, notice.publication_revision, at))
    if notice.cable_lot:
        reels = reels.filter(lot__in=_spellings(notice.cable_lot, reels))
    named = {"type": notice.type_id, "site": notice.site_id}
    return reels.filter(**{name: value for name, value in named.items() if value})


def _spellings(lot: str, reels: QuerySet[Any]) -> set[str]:
    """The lot as reels have it written: what is not ASCII may differ by what nobody sees."""
    others = reels.filter(lot__regex="[^ -~]").values_list("lot", flat=True)
    return {lot, compared(lot), *(other for other in others if compared(other) == compared(lot))}


def _worked_by(code: str, revision: str, at: datetime) -> Q:
    """That a reel was counted last by a publication, or is of a type that is counted by it now."""
    named = {"code": code, **({"revision": revision} if revision else {})}
    in_force = list(publications_in_force(None, at).filter(**named).prefetch_related("types"))
    if any(not row.types.all() for row in in_force):  # it is for every type
        return Q()
    counted_by = {"counted_by": code, **({"counted_by_revision": revision} if revision else {})}
    return Q(**counted_by) | Q(type__in=[of_it for row in in_force for of_it in row.types.all()])


def covering(reel: Reel, at: datetime) -> list[SafetyNotice]:
    """The standing notices that cover a reel and have not told of it yet. One query where none is of its type and site.

    Else three: which cable it has now, and by which publication it was counted, is costlier to find.
    """
    noticed = NoticedReel.objects.filter(notice=OuterRef("pk"), reel=reel)
    here = standing().filter(
        ~Exists(noticed), Q(type__isnull=True) | Q(type=reel.type_id), Q(site__isnull=True) | Q(site=reel.site_id)
    )
    notices = list(here.order_by("pk"))
    if not notices:
        return []
    row: Any = with_what_notices_name(Reel.objects.filter(pk=reel.pk)).get()
    worked_by = set(publications_in_force(reel.type, at).values_list("code", "revision"))
    if row.counted_by:
        worked_by.add((row.counted_by, row.counted_by_revision))
    named = {("", "")} | {(code, any_or_this) for code, revision in worked_by for any_or_this in ("", revision)}
    lots = ("", compared(row.lot or ""))
    return [
        notice
        for notice in notices
        if (notice.publication, notice.publication_revision) in named and compared(notice.cable_lot) in lots
    ]


def with_what_notices_name(reels: QuerySet[Reel]) -> QuerySet[Reel]:
    """The reels with the `lot` of the cable that is on them now, and by which publication they were counted last.

    `counted_by` and `counted_by_revision`: of the latest signed count.
    """
    fitted = CableEvent.objects.filter(STANDING, kind=CableEvent.Kind.REPLACED, reel=OuterRef("pk"))
    last = fitted.order_by("-happened_at", "-id").values("cable_serial")[:1]
    signed = Inspection.objects.filter(reel=OuterRef("pk"), state=InspectionState.SIGNED).order_by("-done_at", "-id")
    return reels.annotate(
        lot=Coalesce(Subquery(last), F("cable_serial")),
        counted_by=Subquery(signed.values("publication")[:1]),
        counted_by_revision=Subquery(signed.values("publication_revision")[:1]),
    )


def standing() -> QuerySet[SafetyNotice]:
    """Those that are not lifted."""
    return SafetyNotice.objects.filter(lifted_at__isnull=True)


def safety_notices() -> QuerySet[SafetyNotice]:
    """Every notice with how many reels it told of and how many of these it holds now; the newest first.

    They are open to everybody who is logged in; which reels, to whoever may see these.
    """
    holds = Q(noticed_reels__hold__isnull=False, noticed_reels__hold__ended_at__isnull=True)
    rows = SafetyNotice.objects.select_related("type", "site", "issued_by", "lifted_by")
    return rows.annotate(reels=Count("noticed_reels"), held=Count("noticed_reels", filter=holds))


def noticed_reels(notice: SafetyNotice, person: Person, at: datetime) -> QuerySet[NoticedReel]:
    """Those that the person may see, with their holds, in the order in which they were told of."""
    rows = NoticedReel.objects.filter(access.at_readable_sites(person, at, "reel__site"), notice=notice)
    return rows.select_related("reel__type", "reel__site", "reel__status_row", "hold__ended_by", "notice")


def notice_fault(row: NoticedReel) -> str | None:
    """A standing notice that found a reel held, and did not hold it once it was let go. A query or two."""
    if row.state is not NoticedState.HELD_BEFORE or Hold.objects.filter(reel=row.reel_id, ended_at=None).exists():
        return None
    return "its notice stands, and nothing holds its reel"


def notices_of(reel: Reel) -> QuerySet[NoticedReel]:
    """The notices that told of a reel. One query."""
    return NoticedReel.objects.filter(reel=reel).select_related("notice", "hold")
