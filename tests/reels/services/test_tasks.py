"""Tasks are put in once, leased, retried with growing pauses, ended, and given back when their worker dies."""

from datetime import timedelta

import pytest
import time_machine
from django.db import transaction
from django.utils import timezone
from django_tasks.base import TaskResultStatus
from django_tasks_db.models import DBTaskResult

from reels.errors import Busy, OnlyAdministrators, QueueFull, TaskNotSo
from reels.models import TaskFile, TaskRun, WorkerSeen
from reels.services import tasks
from reels.services.history import Actor
from reels.services.tasks import HeldTask, LeaseLost, TaskStopped
from tests import builders, worker
from tests.worker import (
    be_refused,
    claimed,
    fail_always,
    failed_task,
    give_what_no_json_holds,
    lines_of,
    stopped_task,
    work_off,
    write_lines,
)

pytestmark = pytest.mark.django_db
SECOND = timedelta(seconds=1)


@pytest.fixture
def waiting():
    return tasks.put(write_lines, 1, 3, key="lines", title="Lines are written")


def newest(key):
    return TaskRun.objects.filter(key=key).select_related("result").latest("result__enqueued_at")


def state(run):
    run = TaskRun.objects.select_related("result").get(pk=run.pk)
    return run.result.status, run.is_live, run.tries, run.problem


def test_a_task_is_done_and_what_came_of_it_is_kept(waiting):
    work_off()
    assert state(waiting) == ("SUCCESSFUL", False, 1, "")
    run = newest("lines")
    assert (run.result.return_value, run.progress, run.done, run.of) == (3, "line 2", 2, 3)
    assert list(lines_of(1).order_by("number").values_list("number", flat=True)) == [0, 1, 2]


def test_of_one_key_one_waits_or_runs_and_then_the_next(waiting):
    assert tasks.put(write_lines, 2, 3, key="lines", title="again") == waiting
    held = claimed(waiting)
    assert tasks.put(write_lines, 2, 3, key="lines", title="again") == waiting
    tasks.succeed(held, None)
    assert tasks.put(write_lines, 2, 3, key="lines", title="again") != waiting
    assert TaskRun.objects.count() == DBTaskResult.objects.count() == 2


def test_one_key_put_in_twice_at_the_same_moment_is_one_task(waiting, monkeypatch):
    """The second has looked before the first was there: the database refuses it, and nothing of it stays."""
    monkeypatch.setattr(tasks, "MOST_LIVE", 10)
    real = TaskRun.objects.filter

    def blind(*args, **about):
        return real(pk=None) if about.get("is_live") else real(*args, **about)

    monkeypatch.setattr(TaskRun.objects, "filter", blind)
    assert tasks.put(write_lines, 2, 3, key="lines", title="again") == waiting
    assert TaskRun.objects.count() == DBTaskResult.objects.count() == 1


def test_a_full_queue_takes_no_more_and_says_so(waiting, monkeypatch):
    monkeypatch.setattr(tasks, "MOST_LIVE", 1)
    with pytest.raises(QueueFull, match="1 tasks wait already"):
        tasks.put(write_lines, 1, 1, key="others", title="another")
    assert tasks.put(write_lines, 1, 3, key="lines", title="again") == waiting


def test_a_task_that_fails_is_tried_after_growing_pauses_and_then_no_more():
    start = timezone.now()
    run = tasks.put(fail_always, key="sum", title="A sum")
    pauses = [timedelta(0), *tasks.PAUSES]
    assert pauses == sorted(pauses)
    for number, pause in enumerate(pauses):
        if pause:
            with time_machine.travel(start + pause - SECOND, tick=False):
                work_off()
            assert TaskRun.objects.get(pk=run.pk).tries == number
        start += pause
        with time_machine.travel(start, tick=False):
            work_off()
        assert TaskRun.objects.get(pk=run.pk).tries == number + 1
    assert state(run) == ("FAILED", False, tasks.MOST_TRIES, "ArithmeticError: the sum is wrong")
    assert "ArithmeticError" in newest("sum").result.traceback


def test_what_is_refused_is_not_tried_again():
    run = tasks.put(be_refused, key="refused", title="A reel is looked up")
    work_off()
    assert state(run) == ("FAILED", False, 1, "There is no reel 'LW-9' that you may see.")


def test_a_result_that_cannot_be_kept_is_an_error_of_the_task():
    run = tasks.put(give_what_no_json_holds, key="set", title="A set")
    work_off()
    status, is_live, tries, problem = state(run)
    assert (status, is_live, tries) == ("READY", True, 1)
    assert problem.startswith("TypeError: ")


def test_a_dead_workers_task_is_given_back_once_its_lease_is_old(waiting):
    held, now = claimed(waiting), timezone.now()
    assert tasks.reap(now + tasks.LEASE - SECOND) == 0
    assert tasks.reap(now + tasks.LEASE + SECOND) == 1
    assert state(waiting)[:3] == ("READY", True, 1)
    assert "worker died" in state(waiting)[3]
    with pytest.raises(LeaseLost):
        tasks.succeed(held, "late")
    with pytest.raises(LeaseLost):
        tasks.set_back(held, ArithmeticError("late"), now)
    assert state(waiting)[0] == "READY"


def test_a_worker_that_says_it_lives_keeps_its_task(waiting):
    held, now = claimed(waiting), timezone.now()
    tasks.beat("w1", {held.lease: tasks.Aside()}, now + tasks.LEASE)
    assert tasks.reap(now + tasks.LEASE + SECOND) == 0
    assert WorkerSeen.objects.get().name == "w1"
    assert tasks.reap(now + 2 * tasks.LEASE + SECOND) == 1


def test_a_worker_that_died_between_claim_and_lease_loses_its_task_too(waiting):
    result = DBTaskResult.objects.get(pk=waiting.pk)
    result.claim("w1")
    assert tasks.reap(timezone.now() + tasks.LEASE + SECOND) == 1
    assert state(waiting)[:3] == ("READY", True, 0)


def test_a_task_that_kills_every_worker_ends(waiting):
    now = timezone.now()
    for _ in range(tasks.MOST_TRIES):
        with time_machine.travel(now, tick=False):
            claimed(waiting)
        now += tasks.LEASE + SECOND
        assert tasks.reap(now) == 1
    assert state(waiting)[:3] == ("FAILED", False, tasks.MOST_TRIES)


def test_who_has_lost_the_lease_writes_nothing(waiting):
    held = claimed(waiting)
    context = HeldTask(pk=waiting.pk, lease=held.lease)
    context.progress("at it")
    tasks.reap(timezone.now() + tasks.LEASE + SECOND)
    claimed(waiting)
    with pytest.raises(LeaseLost):
        context.progress("at it still")
    with pytest.raises(LeaseLost), transaction.atomic():
        context.require()
    assert TaskRun.objects.get().progress == "at it"


def test_a_worker_that_is_told_to_end_leaves_its_task_for_the_next(waiting, monkeypatch):
    ending = worker.worker()
    real = HeldTask.progress

    def told_to_end(held, words, done=0, of=0):
        ending.running = done < 2
        real(held, words, done, of)

    with monkeypatch.context() as patched:
        patched.setattr(HeldTask, "progress", told_to_end)
        worker.run_here(ending)
    assert (state(waiting)[:3], lines_of(1).count()) == (("READY", True, 0), 2)
    work_off()
    assert (state(waiting)[:3], lines_of(1).count()) == (("SUCCESSFUL", False, 1), 3)


def test_progress_says_that_the_worker_ends(waiting):
    held = claimed(waiting)
    with pytest.raises(TaskStopped):
        HeldTask(pk=waiting.pk, lease=held.lease, is_ending=lambda: True).progress("half")


def test_what_came_of_tasks_is_forgotten_after_a_while(waiting):
    work_off()
    other = tasks.put(write_lines, 2, 1, key="others", title="waits")
    tasks.forget(timezone.now() + tasks.KEPT_FOR - SECOND)
    assert TaskRun.objects.count() == 2
    tasks.forget(timezone.now() + tasks.KEPT_FOR + SECOND)
    assert list(TaskRun.objects.all()) == [other]
    assert DBTaskResult.objects.get().status == TaskResultStatus.READY


# Stopped, let go on, tried again -----------------------------------------------------------------------------------


@pytest.fixture
def ada():
    return Actor(builders.administrator())


def seen(run):
    return TaskRun.objects.select_related("result").get(pk=run.pk).state


def test_a_stopped_task_waits_until_it_is_let_go_on(waiting, ada):
    tasks.stop(waiting.pk, actor=ada, at=timezone.now())
    work_off()
    assert (seen(waiting), lines_of(1).count()) == ("stopped", 0)
    assert tasks.put(write_lines, 1, 3, key="lines", title="again") == waiting
    tasks.resume(waiting.pk, actor=ada)
    work_off()
    assert (seen(waiting), lines_of(1).count()) == ("done", 3)


def test_a_task_at_work_leaves_off_and_goes_on_from_there(waiting, ada, monkeypatch):
    real = HeldTask.progress

    def stopped_at_the_second(held, words, done=0, of=0):
        if done == 2:
            tasks.stop(waiting.pk, actor=ada, at=timezone.now())
            assert seen(waiting) == "stopping"
        real(held, words, done, of)

    with monkeypatch.context() as patched:
        patched.setattr(HeldTask, "progress", stopped_at_the_second)
        work_off()
    assert (seen(waiting), lines_of(1).count(), state(waiting)[2]) == ("stopped", 2, 0)
    tasks.resume(waiting.pk, actor=ada)
    work_off()
    assert (seen(waiting), lines_of(1).count()) == ("done", 3)


def test_one_that_is_let_go_on_before_the_worker_heard_of_it_goes_on(waiting, ada):
    held = claimed(waiting)
    tasks.stop(waiting.pk, actor=ada, at=timezone.now())
    tasks.resume(waiting.pk, actor=ada)
    HeldTask(pk=waiting.pk, lease=held.lease).progress("at it")
    assert seen(waiting) == "running"


def test_within_a_transaction_it_hears_of_it_by_the_workers_second_thread(waiting, ada):
    held = claimed(waiting)
    context = HeldTask(pk=waiting.pk, lease=held.lease)
    context.say("row 1", 1, 9)
    tasks.beat("w1", {held.lease: context.aside}, timezone.now())
    assert (newest("lines").progress, newest("lines").done) == ("row 1", 1)
    tasks.stop(waiting.pk, actor=ada, at=timezone.now())
    context.say("row 2", 2, 9)
    tasks.beat("w1", {held.lease: context.aside}, timezone.now())
    with pytest.raises(TaskStopped):
        context.say("row 3", 3, 9)


def test_a_stopped_task_whose_worker_died_stays_stopped(waiting, ada):
    claimed(waiting)
    tasks.stop(waiting.pk, actor=ada, at=timezone.now())
    assert tasks.reap(timezone.now() + tasks.LEASE + SECOND) == 1
    assert seen(waiting) == "stopped"


def test_only_administrators_stop_and_what_is_not_at_that_point_is_refused(waiting, ada):
    pat = Actor(builders.make_person("pat"))
    with pytest.raises(OnlyAdministrators):
        tasks.stop(waiting.pk, actor=pat, at=timezone.now())
    with pytest.raises(OnlyAdministrators):
        tasks.resume(stopped_task().pk, actor=pat)
    with pytest.raises(TaskNotSo, match="is waiting; this is for a task that is stopped or stopping"):
        tasks.resume(waiting.pk, actor=ada)
    with pytest.raises(TaskNotSo, match="is waiting; this is for a task that is failed"):
        tasks.try_again(waiting.pk, actor=ada)
    work_off()
    with pytest.raises(TaskNotSo, match="is done; this is for a task that is waiting or running"):
        tasks.stop(waiting.pk, actor=ada, at=timezone.now())


def test_a_failed_task_is_tried_again_as_if_it_were_new(ada):
    run = failed_task()
    assert tasks.try_again(run.pk, actor=ada) == run
    assert state(run)[:3] == ("READY", True, 0)
    work_off()
    assert state(run)[:3] == ("FAILED", False, 1)
    other = tasks.put(be_refused, key="refused", title="Another")
    assert tasks.try_again(run.pk, actor=ada) == other


def test_what_was_busy_is_tried_again_by_itself(waiting):
    tasks.set_back(claimed(waiting), Busy(), timezone.now())
    assert state(waiting)[:3] == ("READY", True, 1)


def test_where_it_left_off_and_what_it_was_given_are_kept_in_pieces_and_removed_in_time(monkeypatch):
    monkeypatch.setattr(tasks, "PIECE", 2)
    run = tasks.put(write_lines, 1, 3, key="lines", title="lines", files={"a": b"12345", "b": b""})
    held = claimed(run)
    context = HeldTask(pk=run.pk, lease=held.lease)
    assert list(tasks.pieces_of(run.pk, "a")) == [b"12", b"34", b"5"]
    assert context.left() is None
    context.leave(b"at the third")
    context.leave(b"at the fourth")
    assert context.left() == b"at the fourth"
    tasks.succeed(held, None)
    tasks.forget(timezone.now() + tasks.FILES_KEPT_FOR - SECOND)
    assert TaskFile.objects.exists()
    tasks.forget(timezone.now() + tasks.FILES_KEPT_FOR + SECOND)
    assert (TaskFile.objects.count(), TaskRun.objects.count()) == (0, 1)
