"""A count that its reel's history makes surprising: it is signed only with a reason why it stands."""

from datetime import datetime

from django.db import transaction

from inspections import access
from inspections.domain import drift
from inspections.domain.reading import Outcome
from inspections.domain.words import Act, InspectionState
from inspections.errors import NoOutlier
from inspections.models import AcceptedOutlier, Inspection
from inspections.queries.histories import plausibility_of
from inspections.queries.keyings import last_reading
from reels.services.history import Actor, record_act


@transaction.atomic
def accept_outlier(*, inspection_id: int, reason: str, actor: Actor, at: datetime) -> AcceptedOutlier:
    """Say why a surprising count stands as it was read; the same reading can then be signed.

    Raises NoOutlier, which also is the answer before both people have keyed everything, or NotAuthorised.
    """
    inspection = access.inspection_for_update(inspection_id, actor.person, at)
    access.any_authorisation_for(actor.person, (Act.COUNT, Act.VERIFY, Act.RELEASE), inspection.reel, at)
    explanation = open_outlier(inspection)
    if explanation is None:
        raise NoOutlier(inspection=inspection.pk)
    with record_act(inspection.reel.chain, "surprise_accepted", actor, at, inspection=inspection.pk) as act:
        return act.add(
            AcceptedOutlier(
                reading=last_reading(inspection),
                told=explanation,
                reason=reason,
                accepted_by=actor.person,
                accepted_at=at,
            )
        )


def open_outlier(inspection: Inspection) -> str | None:
    """What makes an outlier of a count that waits for its signatures, unless it was read twice or somebody said why."""
    if inspection.state != InspectionState.AWAITING_SIGN_OFF or _is_read_twice(inspection):
        return None
    if AcceptedOutlier.objects.filter(reading=last_reading(inspection)).exists():
        return None
    plausibility = plausibility_of(inspection)
    return drift.plausibility_in_words(plausibility) if plausibility and plausibility.is_outlier else None


def _is_read_twice(inspection: Inspection) -> bool:
    """Whether a fresh reading gave the same count again."""
    count = {"working__layers": inspection.layers, "working__wraps": inspection.wraps}
    return inspection.readings.filter(outcome=Outcome.ACCEPTED, **count).count() > 1
