"""Whether signed counts and setup values stand (inspections/domain/validity.py), for one or for many."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from inspections.domain.validity import ValidityAt, WhatFollowed, validity_of_count, validity_of_values
from inspections.domain.words import InspectionState
from inspections.models import Inspection, SetupValues, Void
from inspections.queries.currency import currency_by, ends_of_counts

WITH_RECORD = (InspectionState.SIGNED, InspectionState.VOIDED)


def validities_of(inspections: Iterable[Inspection], at: datetime) -> dict[int, ValidityAt]:
    """Of those that both have signed, by their ids; they come with reel, type and site. Six queries, however many."""
    counts = [each for each in inspections if each.state in WITH_RECORD]
    if not counts:
        return {}
    ends = ends_of_counts({each.pk: (each.reel_id, each.done_at) for each in counts})
    newer = newer_counts(counts)
    voids = Void.objects.filter(inspection__in=counts, confirmed_at__isnull=False)
    voided = {void.inspection_id: (void.confirmed_at, void.reason) for void in voids}
    return {each.pk: validity_of_count(_followed(each, ends.get(each.pk), newer, voided, at), at) for each in counts}


def validity_of(inspection: Inspection, at: datetime) -> ValidityAt | None:
    """Of one; None of a count that was not signed by both."""
    return validities_of([inspection], at).get(inspection.pk)


def validity_of_setup(values: SetupValues, at: datetime) -> ValidityAt:
    """Of setup values; no query."""
    return validity_of_values((values.withdrawn_at, values.withdrawn_why) if values.withdrawn_at else None, at)


def newer_counts(counts: Iterable[Inspection]) -> dict[int, tuple[datetime, int]]:
    """Which signed count was the first to be newer than each, and when it was signed; by id. One query."""
    counts = list(counts)
    signed = Inspection.objects.filter(reel__in={each.reel_id for each in counts}, state=InspectionState.SIGNED)
    by_reel: dict[int, list[tuple[datetime, datetime, int]]] = {}
    for reel, done_at, pk, ended_at in signed.values_list("reel", "done_at", "pk", "ended_at"):
        assert ended_at is not None, "a signed count has ended"
        by_reel.setdefault(reel, []).append((ended_at, done_at, pk))
    newer = {
        each.pk: min(
            ((ended, pk) for ended, done, pk in by_reel.get(each.reel_id, ()) if (done, pk) > (each.done_at, each.pk)),
            default=None,
        )
        for each in counts
    }
    return {pk: first for pk, first in newer.items() if first}


def _followed(count: Inspection, end: tuple[datetime, str] | None, newer: Mapping[int, tuple[datetime, int]],
              voided: Mapping[int, Any], at: datetime) -> WhatFollowed:  # fmt: skip
    reel = count.reel
    currency = currency_by(reel.site, reel.type.count_days, count.done_at, end, at)
    lapsed = (currency.ended_at, currency.why) if currency.ended_at else None
    return WhatFollowed(lapsed=lapsed, superseded=newer.get(count.pk), voided=voided.get(count.pk))
