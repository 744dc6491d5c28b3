"""Workers are killed while they bring records in and check them: nothing is lost, stored twice, or told wrongly."""

import random
import time

import pytest
from django_tasks_db.models import DBTaskResult

from inspections.models import ImportedCount
from inspections.services.intake import task
from reels.models import TaskRun
from reels.services.history import Actor
from reports.services import verification_runs
from reports.services.verification import check_records
from tests import builders
from tests.inspections.services.intake.test_records import COUNTS_HEADER, TYPES
from tests.reels.services.test_killed_workers import KILLS, MOST_S, start, wait_until

REELS, COUNTS_EACH = 60, 10
SERIALS = [f"LW-{number:04}" for number in range(REELS)]
FILES = {
    "reel_types.csv": TYPES,
    "reels.csv": "serial,type,site,received_on,cable_length_m\n"
    + "".join(f"{serial},w28,kettle-point,2024-03-01,420\n" for serial in SERIALS),
    "counts.csv": COUNTS_HEADER
    + "".join(
        f"{serial},2025-03-{day:02}T10:00:00Z,12,9,,,\n" for serial in SERIALS for day in range(1, COUNTS_EACH + 1)
    ),
}


def kill_while_it_runs(run, moments, longest_s):
    """Kill the worker at random moments while the task is at work; the last one ends it. How often that was."""
    killed, process = 0, start(0)
    try:
        while killed < KILLS:
            wait_until(lambda: ended(run) or is_running(run), "no worker began")
            if ended(run):
                break
            time.sleep(moments.uniform(0, longest_s))
            process.kill()
            process.wait()
            killed += 1
            process = start(killed)
        wait_until(lambda: ended(run), "it was never taken up again")
    finally:
        process.terminate()
        process.wait(MOST_S)
    return killed


def ended(run):
    return not TaskRun.objects.get(pk=run.pk).is_live


def is_running(run):
    return DBTaskResult.objects.get(pk=run.pk).status == "RUNNING"


def value_of(run):
    result = DBTaskResult.objects.get(pk=run.pk)
    assert (result.status, type(result.return_value)) == ("SUCCESSFUL", dict)
    return result.return_value or {}


@pytest.mark.django_db(transaction=True)
def test_killed_workers_bring_everything_in_once_and_check_all_of_it():
    ada, moments = Actor(builders.administrator()), random.Random(20261130)  # noqa: S311  # the same moments each time
    files = {name: text.encode() for name, text in FILES.items()}
    run = task.have_imported(files, actor=ada, is_dry_run=False)
    assert kill_while_it_runs(run, moments, 1.0) > 0
    value = value_of(run)
    assert value["stored"]["counts.csv"] == ImportedCount.objects.count() == REELS * COUNTS_EACH
    assert value["already"]["counts.csv"] == 0
    run = verification_runs.have_checked(actor=ada)
    kill_while_it_runs(run, moments, 0.5)
    value = value_of(run)
    told = 1  # how that run came out
    assert (value["whole"], value["entries"] + told) == (True, check_records().entries)
