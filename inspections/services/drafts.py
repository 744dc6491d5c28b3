"""A step of the worksheet: what somebody types there is kept for them alone, in no history, until they key it."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from inspections import access
from inspections.domain.words import Point, Role
from inspections.models import Draft, Inspection
from inspections.services import counting
from reels.models import Person
from reels.services.history import Actor

MOST_FIELDS = 20
MOST_CHARACTERS = 200


@transaction.atomic
def keep_draft(*, inspection_id: int, step: str, values: Mapping[str, str], person: Person, at: datetime) -> None:
    """Keep what somebody has typed at a step; what they typed there before gives way.

    values: as typed, at most 20 fields of 200 characters; the rest is left out.
    Raises NotFound for an inspection that the person may not see.
    """
    inspection = access.inspection_for_read(inspection_id, person, at)
    typed = {name[:MOST_CHARACTERS]: value[:MOST_CHARACTERS] for name, value in list(values.items())[:MOST_FIELDS]}
    Draft.objects.update_or_create(
        person=person, inspection=inspection, step=step[:40], defaults={"values": typed, "saved_at": at}
    )


@transaction.atomic
def key_step(*, inspection_id: int, reading: int, role: Role, by_point: Mapping[Point, Mapping[str, Any]], step: str,
             actor: Actor, at: datetime, photos: Mapping[Point, bytes] | None = None) -> Inspection:  # fmt: skip
    """Key the points of one screen; the draft of the step goes.

    reading: its number, as the screen showed it. step: see `keep_draft`. Raises as `counting.key_points` does.
    """
    inspection = counting.key_points(inspection_id=inspection_id, role=role, by_point=by_point, actor=actor, at=at,
                                     number=reading, photos=photos)  # fmt: skip
    Draft.objects.filter(inspection=inspection_id, step=step, person=actor.person).delete()
    return inspection
