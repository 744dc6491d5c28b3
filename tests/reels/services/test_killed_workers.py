"""Workers are killed and tasks stopped at random moments: nothing is lost, and nothing is written twice."""

import contextlib
import os
import random
import subprocess
import sys
import time

import pytest
from django.conf import settings
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from reels.errors import TaskNotSo
from reels.models import TaskRun
from reels.services import tasks
from reels.services.history import Actor
from tests import builders
from tests.served import database_url
from tests.worker import lines_of, write_lines

KILLS = int(os.environ.get("WORKER_KILLS", "4"))
TASKS, LINES = 6, 60
MOST_S = 120
STARTED = "import django, sys; django.setup(); from tests.worker import in_a_hurry; in_a_hurry(sys.argv[1])"


def start(number):
    command = [sys.executable, "-c", STARTED, f"worker-{number}"]
    env = {**os.environ, "DATABASE_URL": database_url(), "SECRET_KEY": settings.SECRET_KEY,
           "DJANGO_SETTINGS_MODULE": "deploy.settings"}  # fmt: skip
    return subprocess.Popen(command, cwd=settings.HOME, env=env, stderr=subprocess.DEVNULL)


def wait_until(is_so, what):
    end = time.monotonic() + MOST_S
    while not is_so():
        assert time.monotonic() < end, what
        time.sleep(0.05)


def at_work():
    """Names of the workers that are at a task, or were when they died."""
    return {ids[-1] for ids in DBTaskResult.objects.filter(status="RUNNING").values_list("worker_ids", flat=True)}


def stop_and_resume(run, ada, pause_s):
    """As somebody does who presses the one button and later the other; a task that has ended has none."""
    with contextlib.suppress(TaskNotSo):
        tasks.stop(run.pk, actor=ada, at=timezone.now())
        time.sleep(pause_s)
        tasks.resume(run.pk, actor=ada)


@pytest.mark.django_db(transaction=True)
def test_killed_workers_and_stopped_tasks_lose_nothing_and_do_nothing_twice():
    ada = Actor(builders.administrator())
    moments = random.Random(20261129)  # noqa: S311  # the same moments each time
    runs = [tasks.put(write_lines, name, LINES, key=f"lines {name}", title="lines") for name in range(TASKS)]
    workers, killed, cut_off = {f"worker-{number}": start(number) for number in range(2)}, 0, 0
    try:
        while killed < KILLS and TaskRun.objects.filter(is_live=True).exists():
            time.sleep(moments.uniform(0, 0.5))
            wait_until(lambda: at_work() & workers.keys(), "no worker began")
            victim = moments.choice(sorted(at_work() & workers.keys() or workers))  # not one that idles
            workers[victim].kill()
            workers.pop(victim).wait()
            cut_off += victim in at_work()
            killed += 1
            workers[f"worker-{killed + 1}"] = start(killed + 1)
            stop_and_resume(moments.choice(runs), ada, moments.uniform(0, 0.5))
        wait_until(lambda: not TaskRun.objects.filter(is_live=True).exists(), "a task was never taken up again")
    finally:
        for each in workers.values():
            each.terminate()
        ends = [each.wait(MOST_S) for each in workers.values()]
    assert killed == KILLS
    assert ends == [0, 0]
    assert {run.result.status for run in TaskRun.objects.select_related("result")} == {"SUCCESSFUL"}
    for name in range(len(runs)):
        assert list(lines_of(name).order_by("pk").values_list("number", flat=True)) == list(range(LINES))
    assert cut_off
    assert sum(run.tries for run in TaskRun.objects.all()) > TASKS  # those were begun again
