"""What is worked out from records, kept, and acted on: worked out again, and compared.

Status rows and their numbers, and which reels are flagged, each time. What is believed of a reel's intervals takes
milliseconds a reel, so that is worked out again when its history is replayed.
"""

import math
from collections.abc import Iterator, Sequence
from typing import Any

from django.db.models import Q

from inspections.domain import drift
from inspections.models import Exercise, FlaggedReel, LearnedRates
from inspections.queries import histories
from inspections.services.status_rows import status_faults
from reels.access import REGISTER
from reels.models import FeedPlace, HistoryEntry, Reel
from reports.domain.drift_rows import rows_of
from reports.models import AssessedInterval, Assessment, FleetAssessment, NoticeChoice
from reports.services.assessments import flag_at_of_all, flagged_reels, how_far_behind, type_digest, type_digests

TOLERANCE = 1e-6  # of what is worked out on another machine
SHOWN = [  # of an interval
    field.name for field in AssessedInterval._meta.concrete_fields if field.name not in ("id", "assessment")
]


def worked_out_faults() -> Iterator[tuple[str, str]]:
    """Each kept result over all reels that is not what the records give: where it is and why, in words."""
    for where, why in status_faults():
        yield where, f"{why}; manage.py rebuild_status works it out again"
    yield from _untold()
    if fleet := FleetAssessment.objects.first():
        yield from _flag_faults(fleet)


def interval_faults(chains: Sequence[int]) -> Iterator[tuple[str, str]]:
    """The same of the intervals of the reels that have these chains, by their ids."""
    if fleet := FleetAssessment.objects.first():
        for batch in histories.in_batches(Reel.objects.filter(chain__in=chains)):
            yield from _assessment_faults(fleet, batch)


def _untold() -> Iterator[tuple[str, str]]:
    """What is there, and a history should tell of."""
    if exercise := Exercise.objects.filter(ended_at__isnull=False, result__isnull=True).first():
        yield f"practice {exercise.pk}", "no history tells how it ended"
    if choice := NoticeChoice.objects.filter(person__notice_address__isnull=True).first():
        yield f"notice choice {choice.pk}", "no history tells of what its owner chose"


# Intervals ----------------------------------------------------------------------------------------------------------


def _assessment_faults(fleet: FleetAssessment, reels: list[Reel]) -> Iterator[tuple[str, str]]:
    kept = (
        Assessment.objects.select_related("rates")
        .prefetch_related("intervals")
        .in_bulk([reel.pk for reel in reels], field_name="reel_id")
    )
    with_news = _with_news(fleet, reels)
    fresh: dict[int, list[Reel]] = {}
    for reel in reels:
        assessment = kept.get(reel.pk)
        if assessment and (assessment.head, assessment.type_digest) == (reel.chain.head, type_digest(reel.type)):
            fresh.setdefault(assessment.rates_id, []).append(reel)
        elif why := _lateness_fault(fleet, reel, assessment, has_news=reel.pk in with_news):
            yield f"drift of reel {reel.serial}", why
    for rates_id, some in fresh.items():
        theta = histories.parameters_of(LearnedRates.objects.get(pk=rates_id))
        for reel, posteriors in zip(some, drift.assess_fleet(histories.histories_of(some), theta), strict=True):
            if rates_id != fleet.rates_id and reel.pk not in with_news:
                yield f"drift of reel {reel.serial}", "it is assessed with other rates than the fleet"
            stored = sorted(kept[reel.pk].intervals.all(), key=lambda row: row.pk)
            if why := _interval_fault(stored, list(rows_of(posteriors))):
                yield f"drift of reel {reel.serial}", why


def _with_news(fleet: FleetAssessment, reels: list[Reel]) -> set[int]:
    """Those of the reels of which something came after the fleet was assessed."""
    if fleet.rates_id != LearnedRates.objects.latest("pk").pk:
        return {reel.pk for reel in reels}
    heads = FeedPlace.objects.filter(entry__digest__in=[reel.chain.head for reel in reels], number__lte=fleet.place)
    known = set(heads.values_list("entry__digest", flat=True))
    return {
        reel.pk
        for reel in reels
        if reel.chain.head not in known or fleet.type_digests.get(str(reel.type_id)) != type_digest(reel.type)
    }


def _lateness_fault(fleet: FleetAssessment, reel: Reel, assessment: Assessment | None, *, has_news: bool) -> str | None:
    """What is wrong with an assessment that is not of today's history and type, or is not there."""
    if not has_news:
        return "what was worked out of it is gone, or from an older history than the fleet's assessment says"
    if assessment is None:
        return None
    entry = HistoryEntry.objects.filter(chain=reel.chain, digest=assessment.head).first()
    if entry is None:
        return "it is assessed from a history that it never had"
    later = HistoryEntry.objects.filter(chain=reel.chain, seq__gt=entry.seq, place__number__lte=fleet.place)
    return "it is assessed from an older history than the fleet's assessment says" if later.exists() else None


def _interval_fault(stored: list[AssessedInterval], worked_out: list[Any]) -> str | None:
    if len(stored) != len(worked_out):
        return f"{len(stored)} intervals are kept, and its records give {len(worked_out)}"
    for row, expected in zip(stored, worked_out, strict=True):
        for name in SHOWN:
            is_kept, would_be = getattr(row, name), getattr(expected, name)
            if is_kept != would_be and not _is_close(is_kept, would_be):
                return f"{name} from {row.from_at:%Y-%m-%d} is kept as {is_kept!r}; its records give {would_be!r}"
    return None


def _is_close(one: Any, other: Any) -> bool:
    numbers = isinstance(one, float) and isinstance(other, float)
    return numbers and math.isclose(one, other, rel_tol=TOLERANCE, abs_tol=TOLERANCE)


def _fleet_fault(fleet: FleetAssessment) -> str | None:
    """What is wrong with what the fleet was assessed by, unless the register has news that may be why."""
    later = Q(place__number__gt=fleet.place) | Q(place__number__isnull=True)
    if HistoryEntry.objects.filter(later, chain__name=REGISTER).exists():
        return None
    if fleet.rates_id != LearnedRates.objects.latest("pk").pk:
        return "it is assessed with other rates than those learned last"
    is_of_types = fleet.type_digests == {str(pk): digest for pk, digest in type_digests().items()}
    return None if is_of_types else "it is assessed for other types than those that there are"


# Flags --------------------------------------------------------------------------------------------------------------


def _flag_faults(fleet: FleetAssessment) -> Iterator[tuple[str, str]]:
    """Which reels are flagged follows from their intervals; only those with news are flagged as before it."""
    differing = flagged_reels(fleet.flag_at) ^ set(FlaggedReel.objects.values_list("reel", flat=True))
    for batch in histories.in_batches(Reel.objects.filter(pk__in=differing)):
        for reel in batch:
            if reel.pk not in _with_news(fleet, batch):
                yield f"reel {reel.serial}", "whether it is flagged is not what its intervals give"
    if why := _fleet_fault(fleet):
        yield "drift of the fleet", why
    if how_far_behind() == (0, None) and not math.isclose(fleet.flag_at, flag_at_of_all(), rel_tol=TOLERANCE):
        yield "drift of the fleet", f"it is flagged from {fleet.flag_at} on; its intervals give {flag_at_of_all()}"
