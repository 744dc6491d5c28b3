"""What a worker has still to make: a line that says how far it is, on a page that goes on by itself."""

import re
from uuid import uuid4

import pytest
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from reels.models import TaskRun
from reports.services import assessments
from tests.api_client import ApiClient, said
from tests.builders import Cast
from tests.inspections.services.intake.test_records import COUNTS_HEADER, bring_in
from tests.page_fixtures import hidden_in, logged_in
from tests.reports.fleet import assessed_fleet, bring_in_fleet
from tests.well_formed import faults_of
from tests.worker import work_off

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]
AWAITED = ["/drift", "/drift/recounts", "/drift/recounts.csv", "/documents/drift.pdf", "/drift?as_of=2024-06-30",
           "/reels/LW-0001/drift?as_of=2024-06-30", "/documents/drift/LW-0001.pdf?as_of=2024-06-30"]  # fmt: skip


@pytest.fixture
def cast():
    return Cast.as_needed()


def read(person, address, status):
    answer = logged_in(person).get(address)
    assert answer.status_code == status
    html = answer.content.decode()
    assert faults_of(html) == []
    return html


def polled(html):
    """What the page compares, and with what."""
    [stamp, address] = re.findall(r'data-stamp="([^"]*)" data-poll="([^"]*)"', html)[0]
    return stamp, address


@pytest.mark.parametrize("address", AWAITED)
def test_what_is_not_there_yet_says_so_and_goes_on_by_itself(cast, address):
    bring_in_fleet()
    client = logged_in(cast.control)
    html = read(cast.control, address, 202)
    assert "Not there yet" in html
    assert re.search(r"Drift (of the fleet|as of 2024-06-30): waiting\.", html)
    stamp, path = polled(html)
    assert client.get(path).json() == {"stamp": stamp}
    TaskRun.objects.update(progress="1 of 5 reels assessed", done=1, of=5)
    assert client.get(path).json() != {"stamp": stamp}
    assert polled(read(cast.control, address, 202))[0] != stamp
    work_off()
    assert client.get(address).status_code == 200


def test_what_is_behind_is_shown_and_is_looked_at_again_when_the_worker_has_caught_up(cast):
    assessed_fleet()
    assert "data-poll" not in read(cast.control, "/drift", 200)
    bring_in({"counts.csv": COUNTS_HEADER + "LW-0002,2025-06-01T10:00:00Z,12,12,,,\n"})
    html = read(cast.control, "/drift", 200)
    assert "1 reel changed since this was worked out, the first on" in html
    assert "Drift of the fleet: waiting." in html
    stamp, path = polled(html)
    client = logged_in(cast.control)
    TaskRun.objects.update(progress="half", done=1)
    assert client.get(path).json() == {"stamp": stamp}
    work_off()
    assert client.get(path).json() != {"stamp": stamp}
    assert "changed since" not in read(cast.control, "/drift", 200)


def test_why_a_try_did_not_succeed_is_said(cast, monkeypatch):
    bring_in_fleet()
    read(cast.control, "/drift", 202)
    monkeypatch.setattr("reports.services.assessments.learning_sample", lambda: 1 / 0)
    work_off()
    assert "The last try did not succeed: ZeroDivisionError: division by zero" in read(cast.control, "/drift", 202)


@pytest.mark.parametrize("address", ["/drift?as_of=2024-06-30", "/drift", "/drift/recounts"])
def test_what_has_failed_for_good_says_why_and_is_asked_for_again_on_purpose(cast, monkeypatch, address):
    bring_in_fleet()
    client = logged_in(cast.control)
    read(cast.control, address, 202)
    with monkeypatch.context() as broken:
        broken.setattr("reels.services.tasks.MOST_TRIES", 1)
        broken.setattr("reports.services.assessments.learning_sample", lambda *args: 1 / 0)
        work_off()
    for _ in range(2):  # a look puts nothing in again
        html = read(cast.control, address, 409)
        assert "ZeroDivisionError: division by zero." in html
        assert TaskRun.objects.filter(title__startswith="Drift").count() == 1
    [retry] = re.findall(r'href="(/tasks/[^"]*/retry)"', html)
    client.post(retry, hidden_in(client.get(retry).content.decode()))
    read(cast.control, address, 202)
    work_off()
    read(cast.control, address, 200)


def test_what_failed_as_of_a_day_is_put_in_again_once_more_is_recorded_of_it(cast, monkeypatch):
    bring_in_fleet()
    address = "/drift?as_of=2024-06-30"
    read(cast.control, address, 202)
    with monkeypatch.context() as broken:
        broken.setattr("reels.services.tasks.MOST_TRIES", 1)
        broken.setattr("reports.services.assessments.learning_sample", lambda *args: 1 / 0)
        work_off()
    read(cast.control, address, 409)
    bring_in({"counts.csv": COUNTS_HEADER + "LW-0002,2024-06-01T10:30:00Z,12,12,,,\n"})
    read(cast.control, address, 202)


def test_the_api_says_why_it_failed_and_leaves_the_fleet_alone_for_an_hour(cast, monkeypatch):
    bring_in_fleet()
    api = ApiClient(cast.control)
    api.get("reports/drift")
    monkeypatch.setattr("reels.services.tasks.MOST_TRIES", 1)
    with monkeypatch.context() as broken:
        broken.setattr("reports.services.assessments.learning_sample", lambda *args: 1 / 0)
        work_off()
    body = said(api.get("reports/drift"), 409, "task_failed")
    assert "ZeroDivisionError: division by zero. It is not tried again by itself." in body["detail"]
    said(api.get("reports/recounts"), 409, "task_failed")
    DBTaskResult.objects.update(finished_at=timezone.now() - assessments.LEFT_FOR)
    assert api.get("reports/drift").status_code == 202


def test_a_task_that_is_not_there_has_no_stamp(cast):
    assert logged_in(cast.control).get(f"/tasks/{uuid4()}/stamp").status_code == 404


def test_before_anything_is_learned_no_interval_is_offered_to_be_assigned(cast):
    bring_in_fleet()
    assert "drift/flag?" not in read(cast.control, "/reels/LW-0001/drift", 200)
    work_off()
    assert "drift/flag?" in read(cast.control, "/reels/LW-0001/drift", 200)
