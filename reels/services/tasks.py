"""The queue of tasks: put in once a key, leased to one worker at a time, given back when that dies, stopped, and ended.

The library keeps the queue itself (`django_tasks_db`) and knows nothing of a worker that was killed: its task would be
RUNNING for ever. So each try has a lease, which its worker renews, and which anybody takes away once it is old. What is
written at a task's end, and what a task writes that may not be written twice, is written under its lease.
"""

import logging
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import partial
from typing import Any, Concatenate, ParamSpec
from uuid import UUID, uuid4

from django.db import IntegrityError, transaction
from django.db.models import Max, Q
from django.utils import timezone
from django_tasks import task
from django_tasks.base import Task, TaskResultStatus
from django_tasks_db.models import DBTaskResult, get_date_max

from reels import access
from reels.errors import Busy, NotFound, QueueFull, Refused, TaskFailed, TaskNotSo
from reels.models import Person, TaskFile, TaskRun, WorkerSeen
from reels.models.tasks import FAILED, HELD_BACK, STOPPED, STOPPING
from reels.services.history import Actor
from reels.standby import on_primary

LEASE = timedelta(seconds=60)  # a process that was silent for so long is dead, or as good as
BEAT_S = 5.0
PAUSES = tuple(timedelta(seconds=each) for each in (5, 30, 120, 600))  # before the second try, the third, …
MOST_TRIES = len(PAUSES) + 1
MOST_LIVE = 500
KEPT_FOR = timedelta(days=30)  # what came of a task, and why it failed
FILES_KEPT_FOR = timedelta(days=2)  # what it was given, and what it made to be fetched
QUEUE = "default"
PIECE = 1_000_000  # bytes of a file in one row
LEFT_OFF = "left off"  # the file of where a task goes on

Params = ParamSpec("Params")
log = logging.getLogger("wrapledger.tasks")


class LeaseLost(Exception):
    """The task was given to somebody else meanwhile, or has ended: nothing of this try may be written any more."""


class TaskStopped(Exception):
    """The worker is told to end, or the task is stopped: it goes back and is taken up where it was."""


@dataclass(slots=True)
class Aside:
    """What a task says while it is within a transaction, for the worker's second thread to write; and what that saw."""

    progress: tuple[str, int, int] | None = None
    is_stopped: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldTask:
    """A task at work: the first argument, `context`, of each function under `leased`."""

    pk: UUID
    lease: str
    is_ending: Callable[[], bool] = lambda: False
    aside: Aside = field(default_factory=Aside)

    def progress(self, words: str, done: int = 0, of: int = 0) -> None:
        """Say how far it is. Call it where the task can be left off. Raises LeaseLost and TaskStopped."""
        held = TaskRun.objects.filter(pk=self.pk, lease=self.lease)
        how_far = {"progress": words[:200], "done": done, "of": of, "beat_at": timezone.now()}
        if not held.filter(stopped_at=None).update(**how_far):
            raise TaskStopped if held.update(**how_far) else LeaseLost
        if self.is_ending():
            raise TaskStopped

    def say(self, words: str, done: int = 0, of: int = 0) -> None:
        """`progress` within a transaction, where it would lock the task: written a little later. Raises TaskStopped."""
        self.aside.progress = words[:200], done, of
        if self.aside.is_stopped or self.is_ending():
            raise TaskStopped

    def require(self) -> TaskRun:
        """Within a transaction: nobody takes the lease until it ends. Raises LeaseLost if somebody has."""
        return _locked(self.pk, self.lease)

    def leave(self, content: bytes) -> None:
        """Keep where the task goes on if it is begun again, in place of what was kept. Raises LeaseLost."""
        with transaction.atomic():
            self.require().files.filter(name=LEFT_OFF).delete()
            put_file(self.pk, LEFT_OFF, content)

    def left(self) -> bytes | None:
        """Where an earlier try left off."""
        return b"".join(pieces_of(self.pk, LEFT_OFF)) or None


def leased(work: Callable[Concatenate[HeldTask, Params], Any]) -> Task[Any, Any]:
    """Declare a function as a task. Its first argument, `context`, is its HeldTask; others are put in with it."""
    return task(takes_context=True)(work)  # type: ignore[arg-type]  # our worker gives it another context


# Into the queue -----------------------------------------------------------------------------------------------------


def require_not_failed(run: TaskRun | None) -> None:
    """Raises TaskFailed where that task has failed: the same would fail again, so somebody asks for it on purpose."""
    if run and run.state == FAILED:
        why = run.problem if run.problem.endswith(".") else f"{run.problem}."
        raise TaskFailed(title=run.title, at=f"{run.result.finished_at:%Y-%m-%d %H:%M} UTC", why=why, task=run.pk)


@on_primary
def put(work: Task[Any, Any], *args: Any, key: str, title: str, by: Person | None = None,
        files: Mapping[str, bytes] | None = None) -> TaskRun:  # fmt: skip
    """Put a task into the queue, unless one of this key waits or runs: then that one.

    by: whose it is; None: anybody's. files: what it is given, by name. Raises QueueFull.
    """
    live = TaskRun.objects.filter(is_live=True).select_related("result")
    if waiting := live.filter(key=key).first():
        return waiting
    if live.count() >= MOST_LIVE:
        raise QueueFull(most=MOST_LIVE)
    try:
        with transaction.atomic():
            result = work.enqueue(*args)
            run = TaskRun.objects.create(result_id=UUID(result.id), key=key, title=title, asked_by=by)
            for name, content in (files or {}).items():
                put_file(run.pk, name, content)
    except IntegrityError:
        log.info("Task %r was put in twice at the same moment.", key)
        return TaskRun.objects.filter(key=key).select_related("result").latest("asked_at")
    return live.get(pk=run.pk)


def newest(key: str) -> TaskRun | None:
    """The task of this key that was put in last, if any is kept."""
    return TaskRun.objects.filter(key=key).select_related("result").order_by("-is_live", "-asked_at").first()


def put_file(run: UUID, name: str, content: bytes) -> None:
    """Keep bytes in pieces, behind those of the same name."""
    last = TaskFile.objects.filter(run=run, name=name).aggregate(last=Max("number"))["last"]
    begins = 0 if last is None else last + 1
    pieces = (content[start : start + PIECE] for start in range(0, len(content), PIECE))
    for number, piece in enumerate(pieces, start=begins):
        TaskFile.objects.create(run_id=run, name=name, number=number, content=piece)


def pieces_of(run: UUID, name: str) -> Iterator[bytes]:
    """A file of a task, a piece at a time."""
    rows = TaskFile.objects.filter(run=run, name=name).order_by("number").values_list("content", flat=True)
    return (bytes(content) for content in rows.iterator(chunk_size=1))


# Stopped, let go on, and tried again ---------------------------------------------------------------------------------


@transaction.atomic
def stop(pk: UUID, *, actor: Actor, at: datetime) -> TaskRun:
    """Hold a task back; a worker that is at it leaves off at its next step. Raises OnlyAdministrators, TaskNotSo."""
    access.only_administrators(actor.person)
    run = _in_state(pk, ("waiting", "running"))
    run.stopped_at, run.stopped_by = at, actor.person
    run.save(update_fields=["stopped_at", "stopped_by"])
    # Where a worker has claimed it at this moment, that finds out by itself.
    DBTaskResult.objects.filter(pk=pk, status=TaskResultStatus.READY).update(queue_name=HELD_BACK)
    log.warning("Task %s (%s) was stopped by %s.", run.pk, run.title, actor.person.username)
    return run


@transaction.atomic
def resume(pk: UUID, *, actor: Actor) -> TaskRun:
    """Let a stopped task go on where it left off. Raises OnlyAdministrators, TaskNotSo."""
    access.only_administrators(actor.person)
    run = _in_state(pk, (STOPPED, STOPPING))
    run.stopped_at = run.stopped_by = None
    run.save(update_fields=["stopped_at", "stopped_by"])
    waiting = DBTaskResult.objects.filter(pk=pk, status=TaskResultStatus.READY)
    waiting.update(queue_name=QUEUE, run_after=get_date_max())
    log.warning("Task %s (%s) goes on, by %s.", run.pk, run.title, actor.person.username)
    return run


@transaction.atomic
def try_again(pk: UUID, *, actor: Actor) -> TaskRun:
    """Put a task that has failed into the queue again, from where it left off. Raises NotFound, TaskNotSo."""
    access.task(pk, actor.person)
    run = _in_state(pk, (FAILED,))
    if other := TaskRun.objects.filter(key=run.key, is_live=True).select_related("result").first():
        return other
    run.is_live, run.tries, run.details = True, 0, []
    run.save(update_fields=["is_live", "tries", "details"])
    run.result.finished_at = None
    run.result.save(update_fields=["finished_at"])
    _wait(run, get_date_max())
    return run


def _in_state(pk: UUID, allowed: tuple[str, ...]) -> TaskRun:
    run = TaskRun.objects.select_for_update(of=("self",)).select_related("result").filter(pk=pk).first()
    if run is None:
        raise NotFound(what="task", key=pk)
    if run.state not in allowed:
        raise TaskNotSo(title=run.title, seen=run.state, allowed=" or ".join(allowed))
    return run


# A try --------------------------------------------------------------------------------------------------------------


def lease(result: DBTaskResult[..., Any], at: datetime) -> TaskRun:
    """A try of a task that a worker has claimed begins."""
    with transaction.atomic():
        TaskRun.objects.get_or_create(pk=result.pk, defaults={"key": str(result.pk), "title": result.task_name})
        run = TaskRun.objects.select_for_update().get(pk=result.pk)
        run.lease, run.beat_at, run.tries = uuid4().hex, at, run.tries + 1
        run.save(update_fields=["lease", "beat_at", "tries"])
    return run


def beat(worker: str, held: Mapping[str, Aside], at: datetime) -> None:
    """The worker lives, and is at the tasks of which it holds these leases; what they said aside is written."""
    for name, aside in held.items():
        row = TaskRun.objects.filter(lease=name, is_live=True)
        how_far = dict(zip(("progress", "done", "of"), aside.progress or (), strict=False))
        row.update(beat_at=at, **how_far)
        aside.is_stopped = row.filter(stopped_at__isnull=False).exists()
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
    held = _locked(run.pk, run.lease)
    is_refused = isinstance(problem, Refused) and not isinstance(problem, Busy)
    held.details = [str(each) for each in problem.facts.get("problems", ())] if isinstance(problem, Refused) else []
    words = str(problem) if is_refused else f"{type(problem).__name__}: {problem}"
    if is_refused or held.tries >= MOST_TRIES:
        held.result.set_failed(problem)
        _end(held, words)
    else:
        _give_back(held, words, run_after=at + PAUSES[held.tries - 1])


@transaction.atomic
def leave_off(run: TaskRun) -> None:
    """The worker ends, or the task is stopped; the try does not count. Raises LeaseLost."""
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
    """Remove what came of tasks a while ago, their files sooner, and workers that are no more."""
    TaskFile.objects.filter(run__is_live=False, run__result__finished_at__lt=at - FILES_KEPT_FOR).delete()
    DBTaskResult.objects.filter(finished_at__lt=at - KEPT_FOR).delete()
    WorkerSeen.objects.filter(at__lt=at - KEPT_FOR).delete()


def _locked(pk: UUID, lease_held: str) -> TaskRun:
    row = TaskRun.objects.select_for_update(of=("self",)).select_related("result").get(pk=pk)
    if row.lease != lease_held or not row.is_live:
        raise LeaseLost
    return row


def _end(run: TaskRun, problem: str) -> None:
    run.is_live, run.lease, run.problem, run.stopped_at, run.stopped_by = False, "", problem, None, None
    run.save(update_fields=["is_live", "lease", "problem", "details", "stopped_at", "stopped_by"])


def _give_back(run: TaskRun, problem: str, run_after: datetime) -> None:
    run.lease, run.beat_at, run.problem = "", None, problem
    run.save(update_fields=["lease", "beat_at", "problem", "details", "tries"])
    _wait(run, run_after)


def _wait(run: TaskRun, run_after: datetime) -> None:
    run.result.status, run.result.run_after = TaskResultStatus.READY, run_after
    run.result.queue_name = HELD_BACK if run.stopped_at else QUEUE
    run.result.save(update_fields=["status", "run_after", "queue_name"])
