"""An import by the worker: all or nothing, whatever becomes of the worker, and told as often as it is asked."""

import pytest
from django.utils import timezone

from inspections.errors import TooManyImports
from inspections.models import ImportedCount
from inspections.services.intake import records, task
from reels.errors import Busy, OnlyAdministrators
from reels.models import TaskFile, TaskRun
from reels.services import people, tasks
from reels.services.history import Actor
from reels.services.tasks import HeldTask, LeaseLost
from tests import builders
from tests.inspections.services.intake.test_records import FILES, bring_in
from tests.worker import claimed, work_off

pytestmark = pytest.mark.django_db
CONTENTS = {name: text.encode() for name, text in FILES.items()}


@pytest.fixture
def ada():
    return Actor(builders.administrator())


def put(ada, *, files=CONTENTS, is_dry_run=False):
    return task.have_imported(files, actor=ada, is_dry_run=is_dry_run)


def outcome(run):
    run = TaskRun.objects.select_related("result").get(pk=run.pk)
    return run.state, run.result.return_value


def test_it_stores_what_the_command_stores(ada):
    run = put(ada)
    assert put(ada) == run
    work_off()
    state, value = outcome(run)
    assert (state, value["stored"]["counts.csv"], value["new_sites"]) == ("done", 3, ["kettle-point", "KP2"])
    assert bring_in().already == value["stored"]


def test_stored_and_killed_before_it_was_told_it_is_told_and_not_stored_again(ada, monkeypatch):
    run = put(ada)
    with monkeypatch.context() as patched:
        patched.setattr(tasks, "succeed", lambda run, value: 1 / 0)
        work_off()
    assert (outcome(run)[0], ImportedCount.objects.count()) == ("waiting", 3)
    TaskFile.objects.filter(name__in=FILES).update(content=b"no longer read")
    TaskRun.objects.get(pk=run.pk).result.__class__.objects.update(run_after=timezone.now())
    work_off()
    state, value = outcome(run)
    assert (state, value["stored"]["counts.csv"], value["already"]["counts.csv"]) == ("done", 3, 0)


def test_who_has_lost_the_lease_stores_nothing(ada, monkeypatch):
    run = put(ada)
    held = claimed(run)
    context = HeldTask(pk=run.pk, lease=held.lease)
    monkeypatch.setattr(HeldTask, "say", lambda *args: tasks.reap(timezone.now() + 2 * tasks.LEASE))
    monkeypatch.setattr(records, "ROWS_BETWEEN_REPORTS", 1)
    with pytest.raises(LeaseLost):
        task.bring_in.func(context, ada.person.pk, ada.via, False)
    assert ImportedCount.objects.count() == 0


def test_stopped_while_it_stores_it_has_stored_nothing_and_then_all(ada, monkeypatch):
    run = put(ada)
    monkeypatch.setattr(records, "ROWS_BETWEEN_REPORTS", 1)
    say, leave_off = HeldTask.say, tasks.leave_off
    stored_then: list[int] = []

    def stopping(held, words, done=0, of=0):
        held.aside.is_stopped = "rows stored" in words and not stored_then  # as the second thread sees
        say(held, words, done, of)

    def left_off(run):
        stored_then.append(ImportedCount.objects.count())
        leave_off(run)

    monkeypatch.setattr(HeldTask, "say", stopping)
    monkeypatch.setattr(tasks, "leave_off", left_off)
    work_off()
    assert stored_then == [0]
    assert (outcome(run)[0], ImportedCount.objects.count()) == ("done", 3)


def test_a_check_stores_nothing_and_is_another_task(ada):
    run = put(ada, is_dry_run=True)
    assert put(ada) != run
    tasks.stop(put(ada).pk, actor=ada, at=timezone.now())
    work_off()
    assert outcome(run)[1]["in_words"][0] == "reel_types.csv: 1 row would be stored, 0 there already."
    assert ImportedCount.objects.count() == 0


def test_who_is_no_administrator_any_more_brings_nothing_in(ada):
    run = put(ada)
    second = Actor(builders.second_administrator())
    people.change_person(ada.person, is_staff=False, actor=second, at=timezone.now())
    work_off()
    assert (outcome(run)[0], ImportedCount.objects.count()) == ("failed", 0)
    with pytest.raises(OnlyAdministrators):
        put(Actor(builders.make_person("pat")))


def test_no_more_than_so_many_wait(ada, monkeypatch):
    monkeypatch.setattr(task, "MOST_WAITING", 1)
    run = put(ada)
    with pytest.raises(TooManyImports, match="1 imports wait") as refused:
        put(ada, is_dry_run=True)
    assert isinstance(refused.value, Busy)
    assert put(ada) == run
