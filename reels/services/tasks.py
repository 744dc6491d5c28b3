"""The queue of tasks: put in once a key, leased to one worker at a time, given back when that dies, and ended.

The library keeps the queue itself (`django_tasks_db`) and knows nothing of a worker that was killed: its task would be
RUNNING for ever. So each try has a lease, which its worker renews, and which anybody takes away once it is old. What is
written at a task's end, and what a task writes that may not be written twice, is written under its lease.
"""

import logging
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from typing import Any, Concatenate, ParamSpec
from uuid import UUID, uuid4

from django.db import IntegrityError, transaction
from django.db.models import Q
from django.utils import timezone
from django_tasks import task
from django_tasks.base import Task, TaskResultStatus
from django_tasks_db.models import DBTaskResult, get_date_max

from reels.errors import QueueFull, Refused
from reels.models import TaskRun, WorkerSeen
from reels.standby import on_primary

LEASE = timedelta(seconds=60)  # a process that was silent for so long is dead, or as good as
BEAT_S = 5.0
PAUSES = tuple(timedelta(seconds=each) for each in (5, 30, 120, 600))  # before the second try, the third, …
MOST_TRIES = len(PAUSES) + 1
MOST_LIVE = 500
KEPT_FOR = timedelta(days=30)  # what came of a task, and why it failed

Params = ParamSpec("Params")
log = logging.getLogger("wrapledger.tasks")


class LeaseLost(Exception):
    """The task was given to somebody else meanwhile, or has ended: nothing of this try may be written any more."""


class TaskStopped(Exception):
    """The worker is told to end: the task goes back into the queue and is taken up where it was."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldTask:
    """A task at work: the first argument, `context`, of each function under `leased`."""

    pk: UUID
    lease: str
    is_ending: Callable[[], bool] = lambda: False

    def progress(self, words: str, done: int = 0, of: int = 0) -> None:
        """Say how far it is. Call it where the task can be left off. Raises LeaseLost and TaskStopped."""
        now = timezone.now()
        held = TaskRun.objects.filter(pk=self.pk, lease=self.lease)
        if not held.update(progress=words[:200], done=done, of=of, beat_at=now):
            raise LeaseLost
        if self.is_ending():
            raise TaskStopped

    def require(self) -> TaskRun:
        """Within a transaction: nobody takes the lease until it ends. Raises LeaseLost if somebody has."""
        return _locked(self.pk, self.lease)


def leased(work: Callable[Concatenate[HeldTask, Params], Any]) -> Task[Any, Any]:
    """Declare a function as a task. Its first argument, `context`, is its HeldTask; others are put in with it."""
    return task(takes_context=True)(work)  # type: ignore[arg-type]  # our worker gives it another context


# Into the queue -----------------------------------------------------------------------------------------------------


@on_primary
def put(work: Task[Any, Any], *args: Any, key: str, title: str) -> TaskRun:
    """Put a task into the queue, unless one of this key waits or runs: then that one. Raises QueueFull."""
    live = TaskRun.objects.filter(is_live=True).select_related("result")
    if waiting := live.filter(key=key).first():
        return waiting
    if live.count() >= MOST_LIVE:
        raise QueueFull(most=MOST_LIVE)
    try:
        with transaction.atomic():
            result = work.enqueue(*args)
            TaskRun.objects.create(result_id=UUID(result.id), key=key, title=title)
    except IntegrityError:  # somebody else put it in at this moment
        log.info("Task %r was put in twice at the same moment.", key)
    return TaskRun.objects.filter(key=key).select_related("result").latest("result__enqueued_at")


# A try --------------------------------------------------------------------------------------------------------------


def lease(result: DBTaskResult[..., Any], at: datetime) -> TaskRun:
    """A try of a task that a worker has claimed begins."""
    with transaction.atomic():
        TaskRun.objects.get_or_create(pk=result.pk, defaults={"key": str(result.pk), "title": result.task_name})
        run = TaskRun.objects.select_for_update().get(pk=result.pk)
        run.lease, run.beat_at, run.tries = uuid4().hex, at, run.tries + 1
        run.save(update_fields=["lease", "beat_at", "tries"])
    return run


def beat(worker: str, held: Iterable[str], at: datetime) -> None:
    """The worker lives, and is at the tasks of which it holds the leases."""
    TaskRun.objects.filter(lease__in=held, is_live=True).update(beat_at=at)
    WorkerSeen.objects.update_or_create(name=worker, defaults={"at": at})


@transaction.atomic
def succeed(run: TaskRun, value: Any) -> None:
    """Keep what came of it. Raises LeaseLost."""
    held = _locked(run.pk, run.lease)
    held.result.set_successful(value)
    _end(held, "")


@transaction.atomic
def set_back(run: TaskRun, problem: Exception, at: datetime) -> None:
    """After an error: the task waits longer each time, and fails at the last, or at once if it was refused.

    Raises LeaseLost.
    """
    held, is_refused = _locked(run.pk, run.lease), isinstance(problem, Refused)
    words = str(problem) if is_refused else f"{type(problem).__name__}: {problem}"
    if is_refused or held.tries >= MOST_TRIES:
        held.result.set_failed(problem)
        _end(held, words)
    else:
        _give_back(held, words, run_after=at + PAUSES[held.tries - 1])


@transaction.atomic
def leave_off(run: TaskRun) -> None:
    """The worker ends; the try does not count. Raises LeaseLost."""
    held = _locked(run.pk, run.lease)
    held.tries -= 1
    _give_back(held, "", run_after=get_date_max())


def reap(at: datetime) -> int:
    """Take the tasks of dead workers from them. Returns how many there were."""
    # A worker that died between claim and lease has said nothing at all.
    silent = Q(beat_at__isnull=True) | Q(beat_at__lt=at - LEASE)
    silent &= Q(result__status=TaskResultStatus.RUNNING, result__started_at__lt=at - LEASE)
    rows = TaskRun.objects.filter(silent, is_live=True).values_list("pk", flat=True)
    return sum(map(partial(_take_back, at=at, silent=silent), list(rows)))


@transaction.atomic
def _take_back(pk: UUID, at: datetime, silent: Q) -> bool:
    held = TaskRun.objects.select_for_update(of=("self",)).select_related("result").filter(silent, pk=pk).first()
    if held is None:
        return False
    log.warning("A worker died at task %s (%s), try %s.", held.pk, held.title, held.tries)
    died = f"The worker died, or was silent for {LEASE.seconds} seconds."
    if held.tries >= MOST_TRIES:
        held.result.set_failed(LeaseLost(died))
        _end(held, died)
    else:
        _give_back(held, died, run_after=at + PAUSES[max(held.tries - 1, 0)])
    return True


def forget(at: datetime) -> None:
    """Remove what came of tasks a while ago, and workers that are no more."""
    DBTaskResult.objects.filter(finished_at__lt=at - KEPT_FOR).delete()
    WorkerSeen.objects.filter(at__lt=at - KEPT_FOR).delete()


def _locked(pk: UUID, lease_held: str) -> TaskRun:
    row = TaskRun.objects.select_for_update(of=("self",)).select_related("result").get(pk=pk)
    if row.lease != lease_held or not row.is_live:
        raise LeaseLost
    return row


def _end(run: TaskRun, problem: str) -> None:
    run.is_live, run.lease, run.problem = False, "", problem
    run.save(update_fields=["is_live", "lease", "problem"])


def _give_back(run: TaskRun, problem: str, run_after: datetime) -> None:
    run.lease, run.beat_at, run.problem = "", None, problem
    run.save(update_fields=["lease", "beat_at", "problem", "tries"])
    run.result.status, run.result.run_after = TaskResultStatus.READY, run_after
    run.result.save(update_fields=["status", "run_after"])
