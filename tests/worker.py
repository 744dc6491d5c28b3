"""The worker in tests: all that waits done here and now, tasks to try it with, and a process of it in a hurry."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from unittest import mock

from django.db import transaction
from django.utils import timezone
from django_tasks import task
from django_tasks_db.models import DBTaskResult

from reels.errors import NotFound
from reels.models import Alarm, TaskRun
from reels.services import tasks
from reels.services.history import Actor
from reels.services.tasks import HeldTask, leased
from reels.services.worker import LeasingWorker, kept
from tests.builders import administrator


def worker(*, batch: bool = True, name: str = "here", interval: float = 0.0) -> LeasingWorker:
    return LeasingWorker(interval=interval, batch=batch, worker_id=name)


def work_off() -> None:
    """Do everything that waits and may be begun."""
    run_here(worker())


def when_there(ask: Callable[[], Any]) -> Any:
    """The answer; where a worker has to make it first, the one after it has."""
    answer = ask()
    if answer.status_code == 202:
        work_off()
        answer = ask()
    return answer


def claimed(run: TaskRun) -> TaskRun:
    """As the library claims a task, and then its lease."""
    result = DBTaskResult.objects.get(pk=run.pk)
    result.claim("w1")
    return tasks.lease(result, timezone.now())


def failed_task(key: str = "refused") -> TaskRun:
    """A task that was refused."""
    run = tasks.put(be_refused, key=key, title="A reel is looked up")
    tasks.set_back(claimed(run), NotFound(what="reel", key="LW-9"), timezone.now())
    return run


def stopped_task(key: str = "stopped") -> TaskRun:
    """A task that an administrator has stopped before it began."""
    run = tasks.put(write_lines, 7, 3, key=key, title="Lines are held back")
    return tasks.stop(run.pk, actor=Actor(administrator()), at=timezone.now())


def run_here(process: LeasingWorker) -> None:
    """Within the test's transaction, which the library's loop would take for one that somebody forgot to end."""
    with mock.patch("django_tasks_db.management.commands.db_worker.close_old_connections"):
        process.run()


@leased
def write_lines(context: HeldTask, name: int, number: int) -> int:
    """Alarms numbered from 0 on, from the first that is missing: each is written once, however often this is begun."""
    for line in range(lines_of(name).count(), number):
        context.progress(f"line {line}", line, number)
        with transaction.atomic():
            context.require()
            lines_of(name).create(at=timezone.now(), address=address_of(name), number=line)
    return number


@task
def fail_always() -> None:
    raise ArithmeticError("the sum is wrong")


@task
def be_refused() -> None:
    raise NotFound(what="reel", key="LW-9")


@task
def give_what_no_json_holds() -> Any:
    return {1, 2}


def address_of(name: int) -> str:
    return f"10.0.0.{name}"


def lines_of(name: int) -> Any:
    return Alarm.objects.filter(address=address_of(name))


def in_a_hurry(name: str) -> None:
    """A worker process whose leases are short, so that its death is noticed soon."""
    tasks.LEASE, tasks.BEAT_S = timedelta(seconds=2), 0.2
    tasks.PAUSES = (timedelta(seconds=0.1),) * 1000
    tasks.MOST_TRIES = len(tasks.PAUSES)
    process = worker(batch=False, name=name, interval=0.05)
    process.configure_signals()
    with kept(process):
        process.run()
