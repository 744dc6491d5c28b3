"""Findings in words, as pages and documents show them."""

from collections.abc import Iterable
from dataclasses import dataclass

from inspections.domain.findings import Remedy, Severity, place_in_words
from inspections.domain.words import Act
from inspections.models import Finding, FindingPhoto
from inspections.queries.findings import SeenFinding, seen_by
from reels.models import Person
from reels.pages.formats import Badge, length

STOP = Badge(word="Stop", icon="held", tone="stop")
WATCH = Badge(word="Watch", icon="half", tone="doing")
CLOSED = Badge(word="Closed", icon="checked", tone="quiet")


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingRow:
    """A finding as a page shows it. is_told: with where it lies and what it looks like; may_decide: by the reader."""

    row: Finding
    badge: Badge
    is_told: bool
    place: str
    photo: FindingPhoto | None
    remedy: str
    may_decide: bool
    may_lower: bool


def finding_rows(rows: Iterable[Finding], viewer: Person, held: frozenset[Act]) -> list[FindingRow]:
    """The findings in words, lengths in the viewer's unit. held: what they are authorised to do. Two queries."""
    seen = seen_by(rows, viewer, lambda row: Act.RELEASE in held)
    return [_finding_row(each, viewer, held) for each in seen]


def _finding_row(seen: SeenFinding, viewer: Person, held: frozenset[Act]) -> FindingRow:
    row = seen.row
    from_end = "" if row.length_from_end_m is None else length(row.length_from_end_m, viewer.length_unit)
    may_decide = Act.RELEASE in held and row.closed_at is None and row.recorded_by_id != viewer.pk
    return FindingRow(
        row=row,
        badge=CLOSED if row.closed_at else STOP if row.severity == Severity.STOP else WATCH,
        is_told=seen.is_told,
        place=place_in_words(row.layer, row.side, row.visible_wrap, from_end) if seen.is_told else "",
        photo=seen.photo,
        remedy=Remedy(row.remedy).spoken if row.remedy else "",
        may_decide=may_decide,
        may_lower=may_decide and row.severity == Severity.STOP,
    )
