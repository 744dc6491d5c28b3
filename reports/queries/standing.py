"""Whether what somebody holds still stands, by its digest alone: the word, and nothing else of it."""

from datetime import datetime

from inspections.domain.validity import Validity
from inspections.models import InspectionRecord, SetupValues
from inspections.queries.validity import validity_of, validity_of_setup


def standing_of_record(digest: str, at: datetime) -> Validity | None:
    """How a signed count stands at a moment, by the SHA-256 of its record; None where there is no such record."""
    rows = InspectionRecord.objects.filter(digest=digest)
    record = rows.select_related("inspection__reel__type", "inspection__reel__site").first()
    validity = validity_of(record.inspection, at) if record else None
    return validity.word if validity else None


def standing_of_values(digest: str, setup_id: int, at: datetime) -> Validity | None:
    """The same of setup values from that count; of values of another count, None."""
    values = SetupValues.objects.filter(pk=setup_id, inspection__record__digest=digest).first()
    return validity_of_setup(values, at).word if values else None
