"""What is typed at a step is kept for whoever typed it, until the step is keyed. It is no part of any history."""

from collections.abc import Mapping
from datetime import datetime

from django.db import transaction

from inspections import access
from inspections.models import Draft
from reels.models import Person

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


def forget_draft(*, inspection_id: int, step: str, person: Person) -> None:
    """Let go of what was typed, once it is keyed."""
    Draft.objects.filter(inspection=inspection_id, step=step, person=person).delete()
