"""Third readings: which are awaited, and what may be seen of those that were made."""

from collections.abc import Collection
from datetime import datetime
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet

from inspections import access
from inspections.domain import keying
from inspections.domain.words import Act, InspectionState, Point
from inspections.models import Inspection, Keying, Participant, Reading, ThirdReading
from inspections.queries.keyings import as_keyed
from reels.access import one
from reels.models import Person

MAY_MAKE = (Act.COUNT, Act.VERIFY)
_AWAITED = {"taken_back_at__isnull": True, "read_at__isnull": True}


def third_readings_of(inspection: Inspection) -> QuerySet[ThirdReading]:
    """All that were asked for in an inspection, in order, what was read among them: for services and records."""
    return ThirdReading.objects.filter(reading__inspection=inspection).select_related("asked_by", "read_by")


def third_readings_in(reading: Reading) -> list[ThirdReading]:
    """Those of one reading, in order, without what was read. One query."""
    rows = ThirdReading.objects.filter(reading=reading).select_related("asked_by", "read_by")
    return list(rows.defer("value", "salt"))


def third_reading_of(inspection: Inspection, third_id: int) -> ThirdReading:
    """One of them, without what was read. Raises NotFound. One query."""
    rows = ThirdReading.objects.filter(reading__inspection=inspection).select_related("reading", "asked_by")
    row: ThirdReading = one(rows.defer("value", "salt"), "third reading", pk=third_id)
    return row


def awaited_in(reading: Reading) -> dict[Point, ThirdReading]:
    """Those that nobody has read yet, by point. One query."""
    rows = ThirdReading.objects.filter(reading=reading, **_AWAITED).select_related("asked_by")
    return {Point(row.point): row for row in rows}


def shown_third_readings(rows: Collection[ThirdReading], keyings: Collection[Keying], *, is_open: bool) -> list[Any]:
    """Those whose values anybody may see: once the two agree at that point of that reading, or the count is over.

    keyings: of the inspection. is_open: see `queries.keyings.may_be_read`.
    """
    agreed = {
        (number, point)
        for number in {row.reading_id for row in rows}
        for point in keying.agreed_values([as_keyed(each) for each in keyings if each.reading_id == number])
    }
    return [row for row in rows if row.read_at and (not is_open or (row.reading_id, Point(row.point)) in agreed)]


def awaited_from(person: Person, at: datetime) -> list[ThirdReading]:
    """The third readings that this person may make now, the oldest first. Three queries, the postings included."""
    # Few are awaited anywhere, so these are looked at first, and not all counts at the person's sites.
    counts = access.readable_inspections(person, at).filter(state=InspectionState.OPEN)
    rows = ThirdReading.objects.filter(
        Exists(counts.filter(pk=OuterRef("reading__inspection"))),
        ~Exists(Participant.objects.filter(inspection=OuterRef("reading__inspection"), person=person)),
        access.held_acts(person, at).where(
            *MAY_MAKE, reel_type="reading__inspection__reel__type", site="reading__inspection__reel__site"
        ),
        reading__ended_at__isnull=True,
        **_AWAITED,
    )
    related = ("asked_by", "reading__inspection__reel__type", "reading__inspection__reel__site")
    return list(rows.select_related(*related).defer("value", "salt"))


def may_make(row: ThirdReading, person: Person, at: datetime) -> bool:
    """Whether this person takes no part in the count and may count or verify it. Two queries."""
    inspection = row.reading.inspection
    held = access.acts_held(person, inspection.reel, at)
    return not held.isdisjoint(MAY_MAKE) and not takes_part(inspection, person)


def takes_part(inspection: Inspection, person: Person) -> bool:
    """Whether somebody is one of the two people of a count. One query."""
    return inspection.participants.filter(person=person).exists()
