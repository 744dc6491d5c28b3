"""Drift worked out again where a reel's history or the fleet's rates have moved; what is worked out is kept."""

import hashlib
from collections.abc import Callable, Iterator
from dataclasses import asdict
from datetime import datetime

from django.db import IntegrityError, transaction
from django.db.models import F, Q, QuerySet

from inspections.domain import drift
from inspections.domain.drift import DriftParameters, ReelAssessment, ReelHistory
from inspections.domain.drift.learning import LEARN_COUNTS
from inspections.domain.words import InspectionState
from inspections.models import DriftFlag, ImportedCount, Inspection, LearnedRates
from inspections.queries import histories
from reels.domain.winding import drum_from
from reels.models import CableEvent, Reel, ReelType
from reels.standby import on_primary
from reports.domain.drift_rows import rows_of
from reports.errors import FleetTooLarge
from reports.models import AssessedInterval, Assessment

Progress = Callable[[str], None]

ROWS_FOR_A_REQUEST = 50_000
ROWS_OF_A_SMALL_FLEET = 5000
REELS_WAITED_FOR = 100
MOVED = 0.05  # rates are learned again when the fleet's rows have become so many more, or fewer, by share


def bring_up_to_date(*, at: datetime, progress: Progress = lambda _: None) -> LearnedRates:
    """Learn the fleet's rates again if its records have grown enough, and assess every reel that has moved."""
    learned = histories.learned_rates()
    rows = _rows_known()
    if learned is None or abs(rows - learned.rows_known) > MOVED * learned.rows_known:
        progress("Learning the fleet's rates.")
        learned = _learn(rows, at)
    assess_moved(Reel.objects.all(), learned, at=at, progress=progress)
    return learned


@on_primary
def bring_nearly_up_to_date(*, at: datetime) -> int:
    """For a request that waits: as `bring_up_to_date` in a small fleet; in a large one only some moved reels.

    Returns how many reels stay behind.
    """
    learned = require_rates(at=at)
    if _rows_known() <= ROWS_OF_A_SMALL_FLEET:
        learned = bring_up_to_date(at=at)
    behind = list(moved(Reel.objects.all(), learned).values_list("pk", flat=True)[:REELS_WAITED_FOR])
    assess_moved(Reel.objects.filter(pk__in=behind), learned, at=at)
    return moved(Reel.objects.all(), learned).count()


def bring_reel_up_to_date(reel: Reel, *, at: datetime) -> None:
    """Assess one reel if it has moved; the rates are learned first if the fleet has none."""
    learned = require_rates(at=at)
    assess_moved(Reel.objects.filter(pk=reel.pk), learned, at=at)


def require_rates(*, at: datetime) -> LearnedRates:
    """The fleet's rates. Where there are none they are learned, and a small fleet is assessed; one query otherwise."""
    if learned := histories.learned_rates():
        return learned
    rows = _rows_known()
    return bring_up_to_date(at=at) if rows <= ROWS_OF_A_SMALL_FLEET else _learn(rows, at)


def moved(reels: QuerySet[Reel], learned: LearnedRates | None) -> QuerySet[Reel]:
    """Those of the reels whose assessment is missing, or was made from an older history, type or rates. One query."""
    as_now = Q(pk__in=[])
    for reel_type in ReelType.objects.all():
        as_now |= Q(type=reel_type, assessment__type_digest=type_digest(reel_type))
    fresh = Q(as_now, assessment__head=F("chain__head"), assessment__rates=learned)
    return reels.exclude(pk__in=Reel.objects.filter(fresh).values("pk"))


def type_digest(reel_type: ReelType) -> str:
    """SHA-256 over what the inference takes from a reel type."""
    inputs = f"{drum_from(vars(reel_type))!r}, lead_wraps={reel_type.lead_wraps}"
    return hashlib.sha256(inputs.encode()).hexdigest()


def assess_moved(
    reels: QuerySet[Reel], learned: LearnedRates, *, at: datetime, progress: Progress = lambda _: None
) -> None:
    """Assess those of the reels that have moved. The head is read before the history, so that a stale row says so."""
    theta = histories.parameters_of(learned)
    done, of = 0, moved(reels, learned).count()
    for batch in histories.in_batches(moved(reels, learned)):
        _keep(batch, list(drift.assess_fleet(histories.histories_of(batch), theta)), learned, at)
        done += len(batch)
        progress(f"{done} of {of} reels assessed")


def _keep(reels: list[Reel], assessed: list[ReelAssessment], learned: LearnedRates, at: datetime) -> None:
    try:
        with transaction.atomic():
            Assessment.objects.filter(reel__in=reels).delete()
            made = [
                Assessment(
                    reel=reel, head=reel.chain.head, type_digest=type_digest(reel.type), rates=learned, made_at=at
                )
                for reel in reels
            ]
            Assessment.objects.bulk_create(made)
            AssessedInterval.objects.bulk_create(_intervals(made, assessed), batch_size=1000)
    except IntegrityError:  # somebody else assesses the same reels at this moment: theirs is as good
        return


def _intervals(made: list[Assessment], assessed: list[ReelAssessment]) -> Iterator[AssessedInterval]:
    columns = [field.name for field in AssessedInterval._meta.concrete_fields if field.name not in ("id", "assessment")]
    for assessment, posteriors in zip(made, assessed, strict=True):
        for row in rows_of(posteriors):
            yield AssessedInterval(assessment=assessment, **{name: getattr(row, name) for name in columns})


# Learning -------------------------------------------------------------------------------------------------------------


def _learn(rows: int, at: datetime) -> LearnedRates:
    rates = drift.learn(learning_sample())
    return LearnedRates.objects.create(values=asdict(rates), learned_at=at, rows_known=rows)


def learning_sample(as_of: datetime | None = None) -> list[ReelHistory]:
    """Histories to learn from: all of a small fleet, of a large one reels spread evenly, so that memory is bounded."""
    counts = ImportedCount.objects.count() + Inspection.objects.filter(state=InspectionState.SIGNED).count()
    step = -(-counts // LEARN_COUNTS) or 1
    chosen = list(Reel.objects.order_by("serial").values_list("pk", flat=True)[::step])
    return [
        history
        for start in range(0, len(chosen), histories.REELS_AT_ONCE)
        for history in histories.reel_histories(
            Reel.objects.filter(pk__in=chosen[start : start + histories.REELS_AT_ONCE]), as_of
        )
    ]


def parameters_as_of(as_of: datetime) -> DriftParameters:
    """The fleet's rates, learned from nothing but what was recorded by then."""
    return drift.learn(learning_sample(as_of))


def require_small_fleet() -> None:
    """Raises FleetTooLarge where a report as of a day would keep a request waiting for minutes."""
    rows = _rows_known()
    if rows > ROWS_FOR_A_REQUEST:
        raise FleetTooLarge(counts=rows)


def _rows_known() -> int:
    return (
        ImportedCount.objects.count()
        + Inspection.objects.filter(state=InspectionState.SIGNED).count()
        + CableEvent.objects.count()
        + DriftFlag.objects.filter(closed_at__isnull=False).count()
    )
