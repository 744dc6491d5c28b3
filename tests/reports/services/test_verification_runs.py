"""The check of all records by the worker: in steps, left off and gone on with, and as strict as the command's."""

from importlib import import_module
from io import StringIO

import pytest
from django.apps import apps
from django.core.management import call_command
from django.utils import timezone

from reels.domain.ledger import Break
from reels.errors import OnlyAdministrators
from reels.models import Alarm, Chain, HistoryEntry, Site, TaskRun
from reels.services import tasks
from reels.services.history import Actor
from reels.services.tasks import HeldTask
from reports.models import VerificationRun
from reports.services import verification_runs
from reports.services.verification import check_more, check_records
from reports.services.verification_runs import keep_run
from tests import builders, stories
from tests.api_fixtures import Ways
from tests.builders import Cast
from tests.page_fixtures import hidden_in, logged_in
from tests.reports.tampering import broken_by, drop_guards
from tests.worker import work_off

pytestmark = pytest.mark.django_db


@pytest.fixture
def ada():
    return Actor(builders.administrator())


@pytest.fixture
def one_at_a_time(monkeypatch):
    monkeypatch.setattr(verification_runs, "AT_ONCE", 1)


def outcome(run):
    run = TaskRun.objects.select_related("result").get(pk=run.pk)
    return run.state, run.result.return_value


def stopped_after(chains, ada, monkeypatch):
    """The task, stopped once so many chains are checked."""
    run = verification_runs.have_checked(actor=ada)
    real = HeldTask.progress

    def stopping(held, words, done=0, of=0):
        if done == chains:
            tasks.stop(run.pk, actor=ada, at=builders.NOW)
        real(held, words, done, of)

    with monkeypatch.context() as patched:
        patched.setattr(HeldTask, "progress", stopping)
        work_off()
    assert outcome(run) == ("stopped", None)
    return run


def test_it_says_what_the_command_says(ada):
    stories.one_of_each(Cast())
    run = verification_runs.have_checked(actor=ada)
    by_command = check_records()
    work_off()
    state, value = outcome(run)
    assert (state, value["whole"], value["first_break"]) == ("done", False, value["first_break"])  # its PDF is none
    assert value["first_break"].startswith("inspection ")
    amounts = (by_command.chains, by_command.entries, by_command.signatures)
    assert (value["chains"], value["entries"], value["signatures"]) == amounts
    kept = VerificationRun.objects.latest("pk")
    assert (kept.chains, kept.entries, kept.signatures, kept.first_break) == (*amounts, value["first_break"])


def test_how_a_check_came_out_is_told_and_an_edit_of_it_is_found(ada):
    builders.make_reel()
    keep_run(check_records(), Break(where="reel:LW-0001 entry 2", why="its digest differs"), at=builders.NOW)
    assert check_records().broken is None
    drop_guards()
    why = broken_by(VerificationRun.objects.update, first_break="")
    assert why.startswith("checks, verification run ")
    assert "its first_break is ''; the history says 'reel:LW-0001 entry 2" in why


def test_checks_from_before_a_history_told_of_them_are_told_by_the_migration():
    VerificationRun.objects.bulk_create(
        VerificationRun(at=builders.later(days=n), chains=n, replayed=n, entries=5, signatures=0) for n in range(3)
    )
    assert "no history tells of it" in str(check_records().broken)
    import_module("reports.migrations.0020_histories_known_again").tell_of_runs(apps, None)
    assert check_records().broken is None


def test_stopped_it_goes_on_where_it_left_off_and_looks_again_at_what_has_grown(ada, one_at_a_time, monkeypatch):
    cast, _ = Cast(), builders.make_reel()
    builders.signed_count(cast)
    run = stopped_after(2, ada, monkeypatch)
    builders.log_cut(cast)  # in the reel's history, which was checked
    builders.make_site("elsewhere", "Elsewhere")  # in the register's
    builders.make_reel("LW-0002")  # one more history
    seen: list[int] = []
    monkeypatch.setattr(verification_runs, "check_more", counting(check_more, seen))
    tasks.resume(run.pk, actor=ada)
    whole, chains = check_records(), Chain.objects.count()
    work_off()
    state, value = outcome(run)
    assert (state, value["whole"], value["in_words"][0][-7:]) == ("done", True, " whole.")
    amounts = (whole.chains, whole.entries, whole.signatures)
    assert (value["chains"], value["entries"], value["signatures"]) == amounts
    assert len(seen) == chains - 2 + 1  # and once that there are no more


def counting(real, seen):
    def counted(*args):
        seen.append(1)
        return real(*args)

    return counted


@pytest.mark.parametrize("chains", [1, 2])
def test_a_change_meanwhile_is_found_in_what_is_left_and_in_what_has_grown(ada, one_at_a_time, monkeypatch, chains):
    builders.make_reel()
    run = stopped_after(chains, ada, monkeypatch)
    builders.make_site("elsewhere", "Elsewhere")
    Site.objects.filter(code="kettle-point").update(name="Otherwhere")
    tasks.resume(run.pk, actor=ada)
    work_off()
    assert "its name is 'Otherwhere'; the history says 'Kettle Point'" in outcome(run)[1]["first_break"]


def test_a_row_that_no_history_tells_of_is_found_at_the_end(ada, one_at_a_time, monkeypatch):
    builders.make_site()
    run = stopped_after(1, ada, monkeypatch)
    Site.objects.bulk_create([Site(code="unheard-of", name="Unheard of")])
    tasks.resume(run.pk, actor=ada)
    work_off()
    assert outcome(run)[1]["first_break"].endswith("no history tells of it")


def test_entries_of_no_history_are_found_at_the_end(ada, one_at_a_time, monkeypatch):
    builders.make_reel()
    run = stopped_after(1, ada, monkeypatch)
    assert Alarm.objects.count() == 0
    monkeypatch.setattr(HistoryEntry.objects, "count", lambda: 0)
    tasks.resume(run.pk, actor=ada)
    work_off()
    assert "0 entries are stored" in outcome(run)[1]["first_break"]


def test_a_worker_that_is_killed_had_kept_how_far_it_was(ada, one_at_a_time, monkeypatch):
    monkeypatch.setattr(verification_runs, "KEPT_EVERY_S", -1.0)
    builders.make_reel()
    run = verification_runs.have_checked(actor=ada)
    real = HeldTask.progress

    def dying(held, words, done=0, of=0):
        real(held, words, done, of)
        if done == 2:
            raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(HeldTask, "progress", dying)
        with pytest.raises(KeyboardInterrupt):
            work_off()
    tasks.reap(timezone.now() + 2 * tasks.LEASE)
    [left] = TaskRun.objects.get(pk=run.pk).files.all()
    check = verification_runs._read(bytes(left.content))
    assert check is not None
    assert len(check.lengths) == 2


def test_only_administrators_ask_for_it_and_one_waits_at_a_time(ada):
    with pytest.raises(OnlyAdministrators):
        verification_runs.have_checked(actor=Actor(builders.make_person("pat")))
    assert verification_runs.have_checked(actor=ada) == verification_runs.have_checked(actor=ada)


def test_each_night_records_are_checked_drift_is_assessed_and_what_is_to_be_held_is_looked_for():
    printed = StringIO()
    call_command("nightly", stdout=printed)
    titles = (
        "Check of records",
        "Drift of the fleet",
        "Lives of reels and cables",
        "Safety notices by publication",
    )
    assert printed.getvalue() == "".join(f"{title}: waiting\n" for title in titles)
    work_off()
    assert {run.state for run in TaskRun.objects.select_related("result")} == {"done"}


def test_an_administrator_asks_for_it_on_the_page_of_sign_offs_and_is_led_to_how_far_it_is():
    client = logged_in(builders.administrator())
    assert "/audit/verification" in client.get("/audit").content.decode()
    form = hidden_in(client.get("/audit/verification").content.decode())
    address = client.post("/audit/verification", form).headers["Location"]
    work_off()
    assert "0 signatures: whole." in client.get(address).content.decode()
    assert "/audit/verification" not in logged_in(builders.make_person("pat")).get("/audit").content.decode()


def test_over_the_api_it_is_asked_for_and_looked_for_at_its_task():
    ways = Ways(Cast())
    asked = ways.administrator.post("verifications", {})
    assert asked.status_code == 202
    place = asked.headers["Location"].removeprefix("/api/v1/")
    assert ways.administrator.get(place).json()["result"] is None
    work_off()
    assert ways.administrator.get(place).json()["result"]["whole"] is True
    assert [each["first_break"] for each in ways.administrator.get("verifications").json()["results"]] == [""]
