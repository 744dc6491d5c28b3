"""A step of the worksheet: the points that one person keys on one screen."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from inspections import access, queries
from inspections.domain.words import InspectionState, Point, Role
from inspections.errors import WrongState
from inspections.models import Inspection
from inspections.services import counting, drafts
from reels.services.history import Actor


@transaction.atomic
def key_step(*, inspection_id: int, reading: int, role: Role, given: Mapping[Point, Mapping[str, Any]], step: str,
             actor: Actor, at: datetime) -> Inspection:  # fmt: skip
    """Key the points of one screen; the draft of the step goes.

    reading: its number, as the screen showed it. step: see `keep_draft`.
    Raises WrongState when that reading had ended before, and as `counting.key_points` does.
    """
    inspection = access.inspection_for_update(inspection_id, actor.person, at)
    if not _is_under_way(inspection, reading):
        raise WrongState(
            inspection=inspection.pk,
            state="past that reading",
            allowed=f"at reading {reading}. Nothing was keyed; look at the step that is open now",
        )
    inspection = counting.key_points(inspection_id=inspection_id, role=role, given=given, actor=actor, at=at)
    drafts.forget_draft(inspection_id=inspection_id, step=step, person=actor.person)
    return inspection


def _is_under_way(inspection: Inspection, reading: int) -> bool:
    return inspection.state == InspectionState.OPEN and queries.open_reading(inspection).number == reading
