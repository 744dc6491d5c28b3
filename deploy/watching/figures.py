"""What stands in the records, in figures for those who watch the service. A fixed number of queries."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Count, Max, Q
from django.utils import timezone

from inspections.domain.words import LIVE
from inspections.models import Authorisation, DriftFlag, Inspection, SetupValues
from reels import queries, standby
from reels.models import CheckpointMade, FeedPlace, Hold
from reports.domain.notices import NoticeState
from reports.models import Assessment, Notice
from reports.services import assessments, verification_runs

EXPIRY_DAYS = (7, 30)


@dataclass(frozen=True, slots=True)
class Metric:
    """One figure, or one for each value of a label. values: by the label's value; "" where there is no label."""

    name: str
    documentation: str
    values: dict[str, float]
    label: str = ""


def all_figures() -> Iterator[Metric]:
    """Every figure, as of now. Raises DatabaseError when the records cannot be read."""
    now = timezone.now()
    yield from work()
    yield from checks(now)
    yield from drift(now)
    yield expiring(now)
    yield from copies()
    yield notices()
    yield from tasks(now)


def work() -> Iterator[Metric]:
    """What waits for somebody."""
    states = dict(Inspection.objects.filter(state__in=LIVE).values_list("state").annotate(Count("pk")).order_by())
    yield Metric(
        "open_counts", "Counts under way, by state.", {state: states.get(state, 0) for state in sorted(LIVE)}, "state"
    )
    in_force = SetupValues.objects.filter(withdrawn_at__isnull=True, confirmed_at__isnull=True)
    yield Metric("unconfirmed_setup_values", "Setup values in force that nobody has confirmed.", {"": in_force.count()})
    yield Metric("holds", "Reels that are held.", {"": Hold.objects.filter(ended_at__isnull=True).count()})
    flags = DriftFlag.objects.filter(closed_at__isnull=True)
    yield Metric("open_drift_flags", "Drift flags that are not closed.", {"": flags.count()})
    waiting = FeedPlace.objects.filter(number__isnull=True)
    yield Metric("feed_waiting", "Entries that the feed of changes has not numbered yet.", {"": waiting.count()})


def checks(now: datetime) -> Iterator[Metric]:
    """When the records were checked and sealed last; infinite: never."""
    last = verification_runs.last_run()
    at, is_whole = (last.at, not last.first_break) if last else (None, False)
    yield Metric("verification_age_seconds", "Since verify_records ended last.", {"": _age(at, now)})
    yield Metric("verification_whole", "1: it found all records whole.", {"": is_whole})
    sealed = CheckpointMade.objects.aggregate(at=Max("made_at"))["at"]
    yield Metric("checkpoint_age_seconds", "Since the last checkpoint was made.", {"": _age(sealed, now)})


def drift(now: datetime) -> Iterator[Metric]:
    """How stale the drift results are."""
    stale, _ = assessments.how_far_behind()
    yield Metric("drift_stale_reels", "Reels whose history moved since their drift was worked out.", {"": stale})
    made = Assessment.objects.aggregate(at=Max("made_at"))["at"]
    yield Metric("drift_age_seconds", "Since drift was worked out last for any reel.", {"": _age(made, now)})


def copies() -> Iterator[Metric]:
    """How far behind the standby is that reports are read from; nothing without one."""
    if standby.is_set():
        behind_s = standby.measured_behind_s()
        yield Metric(
            "standby_behind_seconds",
            "How far the standby is behind; infinite: it does not answer, or is no standby.",
            {"": float("inf") if behind_s is None else behind_s},
        )


def expiring(now: datetime) -> Metric:
    """Authorisations that end soon, and nobody has ended before."""
    in_force = Authorisation.objects.filter(ended_at__isnull=True, valid_until__gt=now)
    within = {f"{days}d": Count("pk", filter=Q(valid_until__lte=now + timedelta(days=days))) for days in EXPIRY_DAYS}
    return Metric(
        "authorisations_expiring",
        "Authorisations that end within so many days.",
        in_force.aggregate(**within),
        "within",
    )


def notices() -> Metric:
    """E-mail notices that did not go out; `sending`: it is being sent, or nobody knows whether it was."""
    states = (NoticeState.WAITING.value, NoticeState.SENDING.value)
    counts = dict(Notice.objects.filter(state__in=states).values_list("state").annotate(Count("pk")).order_by())
    return Metric("notices_unsent", "E-mail notices that are not sent.", {s: counts.get(s, 0) for s in states}, "state")


def tasks(now: datetime) -> Iterator[Metric]:
    """What the worker has to do, and whether there is one."""
    by_state: dict[str, float] = dict(queries.tasks_by_state())
    yield Metric("tasks", "Tasks by state; failed: of the last 30 days.", by_state, "state")
    due = queries.oldest_task_due(now)
    yield Metric("task_oldest_due_seconds", "How long a task has been due and not begun.", {"": _age(due or now, now)})
    yield Metric("worker_age_seconds", "Since a worker said that it lives; infinite: never.",
                 {"": _age(queries.worker_seen_at(), now)})  # fmt: skip


def _age(at: datetime | None, now: datetime) -> float:
    return (now - at).total_seconds() if at else float("inf")
