"""Readings and what was keyed in them, as services may read it, and as one person may see it."""

from dataclasses import dataclass
from typing import Any

from django.db.models import Q

from inspections.domain import keying
from inspections.domain.keying import KeyedValue
from inspections.domain.words import InspectionState, Point, Role
from inspections.models import Inspection, Keying, Photo, Reading
from reels.errors import NotFound
from reels.models import Person


def open_reading(inspection: Inspection) -> Reading:
    """The reading under way of an open inspection. One query."""
    return Reading.objects.get(inspection=inspection, ended_at__isnull=True)


def last_reading(inspection: Inspection) -> Reading:
    """The newest reading. One query."""
    return Reading.objects.filter(inspection=inspection).latest("number")


def as_keyed(row: Keying) -> KeyedValue:
    """A stored keying as the domain takes it."""
    return KeyedValue(
        reading=row.reading_id, point=Point(row.point), attempt=row.attempt, role=Role(row.role), value=row.value
    )


def keyed_in(reading: Reading) -> list[KeyedValue]:
    """All that was keyed in a reading, in order, and the serial, which counts for all of them. One query."""
    of_it = Q(reading=reading) | Q(reading__inspection=reading.inspection_id, point=Point.SERIAL)
    return [as_keyed(row) for row in Keying.objects.filter(of_it)]


def keyings_of(inspection: Inspection) -> list[Keying]:
    """All that was keyed in an inspection, in order, blind or not, with photo_digest: for services and records.

    One query.
    """
    rows = Keying.objects.filter(reading__inspection=inspection).select_related("participant", "photo")
    return list(rows.defer("photo__content"))


def shown_keyings(inspection: Inspection) -> list[Keying]:
    """The keyings whose values anybody may see. One query."""
    return shown_of(keyings_of(inspection), is_open=may_be_read(inspection))


def shown_of(rows: list[Keying], *, is_open: bool) -> list[Keying]:
    """Those of an inspection's keyings whose values anybody may see. is_open: see `may_be_read`."""
    return [row for row, seen in zip(rows, _are_shown(rows, is_open=is_open), strict=True) if seen]


def may_be_read(inspection: Inspection) -> bool:
    """Whether the reel may still be read in this count.

    A referred count may be read again, so that whoever asks for help must not learn by it what the other keyed.
    """
    return inspection.state in (InspectionState.OPEN, InspectionState.REFERRED)


def _are_shown(rows: list[Keying], *, is_open: bool) -> list[bool]:
    return keying.shown([as_keyed(row) for row in rows], is_open=is_open)


@dataclass(frozen=True, slots=True)
class SeenKeying:
    """A keying as one person may see it; values: its reading fields, None while they are blind to that person."""

    row: Keying
    values: dict[str, Any] | None


def keyings_for(inspection: Inspection, viewer: Person) -> list[SeenKeying]:
    """All that was keyed in an inspection, as somebody may see it: what is shown to all, and their own. One query."""
    rows = keyings_of(inspection)
    shown = _are_shown(rows, is_open=may_be_read(inspection))
    visible = [seen or row.participant.person_id == viewer.pk for row, seen in zip(rows, shown, strict=True)]
    return [
        SeenKeying(row, keying.fields_at(Point(row.point), row.value) if seen else None)
        for row, seen in zip(rows, visible, strict=True)
    ]


# Photos ------------------------------------------------------------------------------------------------------------


def photos_for(inspection: Inspection, viewer: Person) -> dict[int, Photo]:
    """The photos that somebody may see, by keying, without their bytes. One query."""
    seen = (each.row for each in keyings_for(inspection, viewer) if each.values is not None)
    return {row.pk: row.photo for row in seen if row.photo_digest}


def photo_for(inspection: Inspection, photo_id: int, viewer: Person) -> Photo:
    """A photo with its bytes. Raises NotFound also for one that is blind to this person. Two queries."""
    if not any(photo.pk == photo_id for photo in photos_for(inspection, viewer).values()):
        raise NotFound(what="photo", key=photo_id)
    return Photo.objects.select_related("keying__reading", "keying__participant").get(pk=photo_id)
