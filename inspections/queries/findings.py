"""Findings: those that are open, what each says to whom, and what may still be told to nobody."""

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, F, Max, Q, QuerySet, Sum

from inspections.domain.findings import OTHER, ReelPart, Remedy, Severity
from inspections.errors import FindingMissing, StopFindingOpen
from inspections.models import Finding, FindingKind, FindingNumber, FindingPhoto, Inspection, Participant, SetupValues
from inspections.queries.keyings import may_be_read
from reels.errors import NotFound
from reels.models import Hold, Person, Reel, ReelType

_ENDS_COUNTS = [remedy for remedy in Remedy if remedy.ends_counts]


def with_photos(rows: QuerySet[Finding]) -> QuerySet[Finding]:
    """The findings with their reels, counts, people and photos, without the bytes. No query more."""
    people = ("recorded_by", "lowered_by", "closed_by")
    return rows.select_related("reel", "inspection", *people, "photo").defer("photo__content")


def open_stops(reel: Reel) -> QuerySet[Finding]:
    """The findings that hold the reel."""
    return Finding.objects.filter(reel=reel, severity=Severity.STOP, closed_at__isnull=True)


def is_stopped(reel: Reel) -> bool:
    """Whether a stop finding is open. One query."""
    return open_stops(reel).exists()


def stop_fault(finding: Finding) -> str | None:
    """A stop that does not stop. A query or two for each that is open."""
    if not finding.is_open_stop:
        return None
    if not Hold.objects.filter(reel=finding.reel_id, ended_at__isnull=True).exists():
        return "it is an open stop, and its reel is not held"
    if SetupValues.objects.filter(reel=finding.reel_id, withdrawn_at__isnull=True).exists():
        return "it is an open stop, and setup values of its reel are in force"
    return None


def require_no_stop(reel: Reel) -> None:
    """While a stop finding is open, a count is frozen and nothing is issued. One query. Raises StopFindingOpen."""
    if stop := open_stops(reel).first():
        raise StopFindingOpen(finding=stop.pk, named=stop.named)


def parts_without_finding(inspection: Inspection) -> list[ReelPart]:
    """What was found not sound, while nobody has said what is wrong with it. One query, none where all is sound."""
    unsound = inspection.unsound_parts
    if not unsound:
        return []
    known = set(findings_in_count(inspection).values_list("part", flat=True))
    return [part for part in unsound if part not in known]


def require_findings(inspection: Inspection) -> None:
    """Before anything is keyed. Raises StopFindingOpen or FindingMissing."""
    require_no_stop(inspection.reel)
    if parts := parts_without_finding(inspection):
        raise FindingMissing(inspection=inspection.pk, parts=", ".join(part.spoken for part in parts))


def closed_by_work() -> QuerySet[Finding]:
    """The findings by whose closing a reel's counts no longer hold."""
    return Finding.objects.filter(remedy__in=_ENDS_COUNTS)


def findings_of(reel: Reel) -> QuerySet[Finding]:
    """All of a reel's findings, those that are open first, the newest first."""
    return with_photos(Finding.objects.filter(reel=reel)).order_by("closed_at", "-id")


def findings_in_count(inspection: Inspection) -> QuerySet[Finding]:
    """The findings that a count has to do with: recorded at it, or open when it was begun, the oldest first."""
    begun_at = inspection.recorded_at
    was_open = Q(closed_at__isnull=True) | Q(closed_at__gte=begun_at)
    rows = Finding.objects.filter(
        Q(inspection=inspection) | (Q(recorded_at__lte=begun_at) & was_open), reel=inspection.reel_id
    )
    return with_photos(rows)


def kinds_of(reel_type: ReelType) -> list[FindingKind]:
    """What the reels of a type are looked over for, part by part, without `other`. One query."""
    in_order = list(ReelPart)
    rows = FindingKind.objects.filter(reel_type=reel_type, is_offered=True)
    return sorted(rows, key=lambda kind: (in_order.index(ReelPart(kind.part)), kind.pk))


def kind_for(reel_type: ReelType, part: str, code: str) -> FindingKind | None:
    """The kind that a type lists for a part; None where it lists no such one. `other` is every type's. One query."""
    if code == OTHER:
        return FindingKind(
            reel_type=reel_type, part=part, code=OTHER, words="something else", least_severity=Severity.STOP
        )
    return FindingKind.objects.filter(reel_type=reel_type, part=part, code=code, is_offered=True).first()


_IS_OPEN = Q(closed_at__isnull=True)
NUMBERS = {
    "n": Count("pk"), "n_open": Count("pk", filter=_IS_OPEN),
    "n_stops": Count("pk", filter=_IS_OPEN & Q(severity=Severity.STOP)),
}  # fmt: skip


def summaries_of(reels: Collection[int]) -> dict[int, list[list[Any]]]:
    """The findings of those reels that have any, as their status rows keep them: see ReelStatusRow. One query."""
    place = ("reel", "part", "kind", "kind_words")
    rows = Finding.objects.filter(reel__in=reels).order_by(*place).values(*place).annotate(**NUMBERS)
    summaries: dict[int, list[list[Any]]] = defaultdict(list)
    for reel, *summary in rows.values_list(*place, *NUMBERS):
        summaries[reel].append(summary)
    return summaries


def counts_by_kind(rows: QuerySet[FindingNumber]) -> list[dict[str, Any]]:
    """How many findings of each kind there are on the reels of each type, the most recorded first. One query."""
    by_kind = rows.order_by().values("part", "kind", reel_type=F("type__code"))
    sums = {name: Sum(name) for name in FindingNumber.sum_columns}
    counted: Any = by_kind.annotate(kind_words=Max("kind_words"), **sums).filter(recorded__gt=0)
    return list(counted.order_by("-recorded", "reel_type", "part", "kind"))


# Who may see where one lies -------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenFinding:
    """A finding as one person may see it; is_told: with where it lies, what it looks like and its photo."""

    row: Finding
    is_told: bool

    @property
    def photo(self) -> FindingPhoto | None:
        """Its photo, if there is one and it may be seen. No query for what came from here."""
        return getattr(self.row, "photo", None) if self.is_told else None

    @property
    def photo_digest(self) -> str:
        """SHA-256 of that photo, or nothing."""
        return self.photo.digest if self.photo else ""

    @property
    def details(self) -> Finding | None:
        """What has DETAILS, where they may be seen."""
        return self.row if self.is_told else None

    @property
    def shown_reel(self) -> str | None:
        """The reel's serial, unless the count at which it was recorded has still to read it."""
        is_hidden = self.row.inspection is not None and self.row.inspection.hides_serial
        return None if is_hidden else self.row.reel.serial


def is_blind(finding: Finding) -> bool:
    """Whether the count at which it was recorded may still be read, and its place tell somebody what to read."""
    return finding.inspection is not None and may_be_read(finding.inspection)


def seen_by(rows: Iterable[Finding], viewer: Person, may_release: Callable[[Finding], bool]) -> list[SeenFinding]:
    """The findings as somebody may see them. may_release: whether they may close one. One query at most.

    Whoever may close one has to see it all; not who takes part in the count themselves.
    """
    rows = list(rows)
    blind = {row.inspection_id for row in rows if is_blind(row)}
    parts = Participant.objects.filter(person=viewer, inspection__in=blind)
    taken_part = set(parts.values_list("inspection", flat=True)) if blind else set()
    return [
        SeenFinding(
            row=row,
            is_told=not is_blind(row)
            or row.recorded_by_id == viewer.pk
            or (may_release(row) and row.inspection_id not in taken_part),
        )
        for row in rows
    ]


def photo_of(finding: Finding, viewer: Person, may_release: Callable[[Finding], bool]) -> FindingPhoto:
    """Its photo with the bytes. Raises NotFound also for one that is blind to this person."""
    [seen] = seen_by([finding], viewer, may_release)
    if seen.photo is None:
        raise NotFound(what="photo", key=finding.pk)
    return FindingPhoto.objects.get(finding=finding)
