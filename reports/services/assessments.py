"""Drift worked out again where a reel's history or the fleet's rates have moved; what is worked out is kept."""

import hashlib
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet, Sum
from django.utils import timezone

from inspections.domain import drift
from inspections.domain.drift import DriftParameters, ReelAssessment, ReelHistory
from inspections.domain.drift.learning import LEARN_COUNTS
from inspections.domain.drift.self_check import Progress, unheard
from inspections.domain.words import InspectionState
from inspections.models import DriftFlag, ImportedCount, Inspection, LearnedRates, ReelNumber
from inspections.queries import histories
from inspections.services.status_rows import keep_flagged
from reels import access
from reels.domain.winding import drum_from
from reels.errors import NotYet
from reels.models import CableEvent, HistoryEntry, Reel, ReelType, TaskRun
from reels.models.tasks import FAILED
from reels.services import feed, tasks
from reels.services.history import by_itself, record_act
from reels.services.tasks import HeldTask, leased
from reels.standby import on_primary
from reports.domain.drift_rows import FALSE_SHARE, flag_from, rows_of
from reports.errors import FleetTooLarge
from reports.models import AssessedInterval, Assessment, FleetAssessment

ROWS_FOR_A_REQUEST = 50_000
AT_ONCE = 2000
MOST_NEW = 5000  # entries looked at to say how many reels changed
KEY = "drift"
LEFT_FOR = timedelta(hours=1)  # no look has it assessed again so soon after that has failed five times
TRIES = 5  # to keep what was assessed while others do the same
MOVED = 0.05  # rates are learned again when the fleet's rows have become so many more, or fewer, by share


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetStanding:
    """behind: reels that changed since the fleet was assessed; since: when the first such entry was recorded.

    Of more than MOST_NEW entries, behind is what the first of them are of: at least so many. since: None where only the
    rates or a type have moved. run: the task that catches up; None where nothing is behind.
    """

    behind: int = 0
    since: datetime | None = None
    run: TaskRun | None = None


def bring_up_to_date(*, at: datetime, progress: Progress = unheard) -> LearnedRates:
    """Learn the fleet's rates again if its records have grown enough, and assess every reel that has moved."""
    learned = histories.learned_rates()
    rows = _rows_known()
    if learned is None or abs(rows - learned.rows_known) > MOVED * learned.rows_known:
        progress("Learning the fleet's rates.", 0, 0)
        learned = _learn(rows, at)
    feed.number_waiting()
    # What is known by now is known to be in it; an entry that comes while it is made may be, and is told as news.
    place, digests = feed.last_number(), {str(pk): digest for pk, digest in type_digests().items()}
    assess_moved(Reel.objects.all(), learned, at=at, progress=progress)
    _keep_of_fleet(at=at, place=place, rates=learned, type_digests=digests)
    return learned


@transaction.atomic
def _keep_of_fleet(*, at: datetime, **known: Any) -> None:
    """Which reels are flagged, and up to where the fleet is assessed: at once, for the one is checked by the other."""
    least = flag_at_of_all()
    keep_flagged(flagged_reels(least))
    FleetAssessment.objects.update_or_create(pk=1, defaults={**known, "flag_at": least, "made_at": at})


def flagged_reels(flag_at: float) -> set[int]:
    """The ids of reels with a flagged interval, but for those whose flag somebody has closed: they wait for nobody."""
    interval = {"reel": OuterRef("assessment__reel"), "from_at": OuterRef("from_at"), "to_at": OuterRef("to_at")}
    closed = DriftFlag.objects.filter(**interval, closed_at__isnull=False)
    flagged = AssessedInterval.objects.filter(~Exists(closed), p_unlogged_cut__gte=flag_at)
    return set(flagged.values_list("assessment__reel", flat=True))


def flag_at_of_all(false_share: float = FALSE_SHARE) -> float:
    """The least probability that is flagged in the whole fleet as its intervals are now. One query."""
    every = AssessedInterval.objects.order_by("-p_unlogged_cut").values_list("p_unlogged_cut", flat=True)
    return flag_from(every.iterator(AT_ONCE), false_share)


def bring_reel_up_to_date(reel: Reel, *, at: datetime) -> None:
    """Assess one reel if it has moved. Before the fleet's rates are learned nothing is kept; the worker learns them."""
    if learned := known_rates():
        assess_moved(Reel.objects.filter(pk=reel.pk), learned, at=at)


@on_primary
def known_rates() -> LearnedRates | None:
    """The fleet's rates, if any are learned; else the worker is asked for them, and the default parameters hold."""
    learned = histories.learned_rates()
    if learned is None:
        have_assessed()
    return learned


@on_primary
def fleet_standing() -> FleetStanding:
    """How far the assessment of the fleet is behind its records; if it is, the worker catches up.

    Raises NotYet as long as the fleet was never assessed, and TaskFailed where that failed. Five queries and, where
    something is behind, those of the queue; none reads more than there is news.
    """
    behind, since = how_far_behind()
    if not behind:
        return FleetStanding()
    run = _catching_up()
    if not FleetAssessment.objects.exists():
        tasks.require_not_failed(run)
        raise NotYet(run)
    return FleetStanding(behind=behind, since=since, run=run)


def how_far_behind() -> tuple[int, datetime | None]:
    """How many reels moved since the fleet was assessed last, and when the first entry came that is not in it."""
    known = FleetAssessment.objects.first()
    numbers = ReelNumber.objects.filter(week=None)
    if known is None or known.rates_id != getattr(histories.learned_rates(), "pk", None):
        return numbers.aggregate(n=Sum("reels", default=0))["n"], None
    types = {pk: digest for pk, digest in type_digests().items() if known.type_digests.get(str(pk)) != digest}
    of_types = numbers.filter(type__in=types).aggregate(n=Sum("reels", default=0))["n"] if types else 0
    new = HistoryEntry.objects.filter(chain__reel__isnull=False).exclude(chain__reel__type__in=types)
    # Entries are numbered after their commit, so some of the newest have no number yet.
    news = [
        *new.filter(place__number__isnull=True).values_list("chain", "at")[:MOST_NEW],
        *new.filter(place__number__gt=known.place).order_by("place__number").values_list("chain", "at")[:MOST_NEW],
    ]
    return of_types + len({chain for chain, _ in news}), min((at for _, at in news), default=None)


def _catching_up() -> TaskRun:
    """The task that does it. One that has just failed is left for a while, or it would fail at every look."""
    last = tasks.newest(KEY)
    if last and last.state == FAILED and (last.result.finished_at or last.asked_at) > timezone.now() - LEFT_FOR:
        return last
    return have_assessed()


def have_assessed() -> TaskRun:
    """Have the worker learn what there is to learn and assess every reel that has moved."""
    return tasks.put(assess_fleet, key=KEY, title="Drift of the fleet")


@leased
def assess_fleet(context: HeldTask) -> None:
    """What was assessed stays so: begun again, it goes on with what is left."""
    bring_up_to_date(at=timezone.now(), progress=context.progress)


def moved(reels: QuerySet[Reel], learned: LearnedRates | None) -> QuerySet[Reel]:
    """Those of the reels whose assessment is missing, or was made from an older history, type or rates. One query."""
    as_now = Q(pk__in=[])
    for reel_type in ReelType.objects.all():
        as_now |= Q(type=reel_type, assessment__type_digest=type_digest(reel_type))
    fresh = Q(as_now, assessment__head=F("chain__head"), assessment__rates=learned)
    return reels.exclude(pk__in=Reel.objects.filter(fresh).values("pk"))


def type_digests() -> dict[int, str]:
    """What the inference takes from each reel type, by its id. One query."""
    return {reel_type.pk: type_digest(reel_type) for reel_type in ReelType.objects.all()}


def type_digest(reel_type: ReelType) -> str:
    """SHA-256 over what the inference takes from a reel type."""
    inputs = f"{drum_from(vars(reel_type))!r}, lead_wraps={reel_type.lead_wraps}"
    return hashlib.sha256(inputs.encode()).hexdigest()


def assess_moved(reels: QuerySet[Reel], learned: LearnedRates, *, at: datetime, progress: Progress = unheard) -> None:
    """Assess those of the reels that have moved. The head is read before the history, so that a stale row says so."""
    theta = histories.parameters_of(learned)
    done, of = 0, moved(reels, learned).count()
    for batch in histories.in_batches(moved(reels, learned)):
        _keep(batch, list(drift.assess_fleet(histories.histories_of(batch), theta)), learned, at)
        done += len(batch)
        progress(f"{done} of {of} reels assessed", done, of)


def _keep(reels: list[Reel], assessed: list[ReelAssessment], learned: LearnedRates, at: datetime) -> None:
    for _ in range(TRIES):
        with suppress(IntegrityError), transaction.atomic():  # somebody else assesses one of them at this moment
            Assessment.objects.filter(reel__in=reels).delete()
            made = [
                Assessment(
                    reel=reel, head=reel.chain.head, type_digest=type_digest(reel.type), rates=learned, made_at=at
                )
                for reel in reels
            ]
            Assessment.objects.bulk_create(made)
            AssessedInterval.objects.bulk_create(_intervals(made, assessed), batch_size=1000)
            return


def _intervals(made: list[Assessment], assessed: list[ReelAssessment]) -> Iterator[AssessedInterval]:
    columns = [field.name for field in AssessedInterval._meta.concrete_fields if field.name not in ("id", "assessment")]
    for assessment, posteriors in zip(made, assessed, strict=True):
        for row in rows_of(posteriors):
            yield AssessedInterval(assessment=assessment, **{name: getattr(row, name) for name in columns})


# Learning -------------------------------------------------------------------------------------------------------------


def _learn(rows: int, at: datetime) -> LearnedRates:
    values = asdict(drift.learn(learning_sample()))
    learned = LearnedRates(values=values, digest=histories.digest_of_rates(values), learned_at=at, rows_known=rows)
    with transaction.atomic(), record_act(access.lock_register(), "rates_learned", by_itself("drift"), at) as act:
        return act.add(learned)


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


def inputs_as_of(as_of: datetime) -> str:
    """SHA-256 over how much is recorded of the time until then, and the types: a report from as much says the same.

    Six queries.
    """
    inspected = Inspection.objects.filter(state__in=(InspectionState.SIGNED, InspectionState.VOIDED))
    amounts = (
        ImportedCount.objects.filter(recorded_at__lte=as_of).count(),
        inspected.filter(ended_at__lte=as_of).aggregate(
            signed=Count("pk"), voided=Count("pk", filter=Q(void__confirmed_at__lte=as_of))
        ),
        CableEvent.objects.filter(recorded_at__lte=as_of).count(),
        DriftFlag.objects.filter(closed_at__lte=as_of).count(),
        Reel.objects.aggregate(reels=Count("pk"), metres=Sum("cable_length_m")),
        sorted((each.code, type_digest(each)) for each in ReelType.objects.all()),
    )
    return hashlib.sha256(repr(amounts).encode()).hexdigest()


def require_small_fleet() -> None:
    """Raises FleetTooLarge where a report as of a day would be too large to be kept."""
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
