"""A step of the worksheet: the points that one person keys on one screen."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from inspections.domain.words import Point, Role
from inspections.models import Inspection
from inspections.services import counting, drafts
from reels.services.history import Actor


@transaction.atomic
def key_step(*, inspection_id: int, reading: int, role: Role, given: Mapping[Point, Mapping[str, Any]], step: str,
             actor: Actor, at: datetime, photos: Mapping[Point, bytes] | None = None) -> Inspection:  # fmt: skip
    """Key the points of one screen; the draft of the step goes.

    reading: its number, as the screen showed it. step: see `keep_draft`. Raises as `counting.key_points` does.
    """
    inspection = counting.key_points(
        inspection_id=inspection_id, role=role, given=given, actor=actor, at=at, number=reading, photos=photos
    )
    drafts.forget_draft(inspection_id=inspection_id, step=step, person=actor.person)
    return inspection
