"""The worker: the library's loop, a lease for each try, and a second thread that renews it and looks for the dead."""

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from threading import Event, Thread
from typing import Any

from django.db import Error, connections
from django.utils import timezone
from django_tasks.utils import normalize_json
from django_tasks_db.management.commands.db_worker import Worker
from django_tasks_db.models import DBTaskResult

from reels.models import TaskRun
from reels.models.tasks import HELD_BACK
from reels.services import tasks, tries, uploads
from reels.services.tasks import Aside, HeldTask, LeaseLost, TaskStopped

FORGETS_EVERY = timedelta(hours=1)

log = logging.getLogger("wrapledger.tasks")


class LeasingWorker(Worker):
    """The library claims a task and sleeps when there is none; a try's lease and its end are ours."""

    def __init__(self, *, interval: float, batch: bool, worker_id: str) -> None:
        super().__init__(
            queue_names=["*"], excluded_queue_names=[HELD_BACK], backend_name="default", interval=interval,
            batch=batch, startup_delay=False, max_tasks=None, worker_id=worker_id,
        )  # fmt: skip
        self.held: dict[str, Aside] = {}  # by its lease: what it says for the second thread

    def run_task(self, db_task_result: DBTaskResult[..., Any]) -> None:
        """One try. A database that does not answer ends the process; the task is given back once its lease is old."""
        self.running_task = True
        run = tasks.lease(db_task_result, timezone.now())
        self.held = {run.lease: Aside()}
        try:
            self._try(db_task_result, run)
        except LeaseLost:
            log.warning("Task %s (%s) is another worker's by now; this one leaves it.", run.pk, run.title)
        finally:
            self.held, self.running_task = {}, False
            self._run_tasks += 1

    def _try(self, db_task_result: DBTaskResult[..., Any], run: TaskRun) -> None:
        try:
            tasks.succeed(run, self._call(db_task_result, run))
        except TaskStopped:
            tasks.leave_off(run)
        except LeaseLost:
            raise
        except Exception as problem:
            log.warning("Task %s (%s), try %s:", run.pk, run.title, run.tries, exc_info=True)
            tasks.set_back(run, problem, timezone.now())

    def _call(self, db_task_result: DBTaskResult[..., Any], run: TaskRun) -> Any:
        task, result = db_task_result.task, db_task_result.task_result
        aside = self.held[run.lease]
        held = HeldTask(pk=db_task_result.pk, lease=run.lease, is_ending=lambda: not self.running, aside=aside)
        context = (held,) if task.takes_context else ()
        return normalize_json(task.call(*context, *result.args, **result.kwargs))


@contextmanager
def kept(worker: LeasingWorker) -> Iterator[None]:
    """Have a second thread say that the worker lives, as long as this block runs."""
    ended = Event()
    keeper = Thread(target=keep, args=(worker, ended), daemon=True)
    keeper.start()
    try:
        yield
    finally:
        ended.set()
        keeper.join(tasks.BEAT_S)


def keep(worker: LeasingWorker, ended: Event) -> None:
    """Until the worker ends: renew the lease it holds, and give the tasks of dead workers back."""
    forget_at = timezone.now()
    try:
        while not ended.is_set():
            try:
                now = timezone.now()
                tasks.beat(worker.worker_id, worker.held, now)
                tasks.reap(now)
                if now >= forget_at:
                    tasks.forget(now)
                    tries.forget(now)
                    uploads.forget(now)
                    forget_at = now + FORGETS_EVERY
            except Error as lost:
                log.warning("The worker could not say that it lives: %s", str(lost).strip())
                connections.close_all()
            ended.wait(tasks.BEAT_S)
    finally:
        connections.close_all()
