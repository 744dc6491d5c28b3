"""Health, readiness and metrics, and who may read them."""

import re
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.db import OperationalError, connection
from django.db.migrations.recorder import MigrationRecorder
from django.test import Client
from django.utils import timezone

from deploy.watching import probes
from inspections.domain.words import Act
from reels.services import checkpoints, tasks
from reports.models import Notice
from reports.services import assessments
from reports.services.verification import VerificationResult
from reports.services.verification_runs import keep_run
from tests import builders
from tests.worker import be_refused, fail_always, work_off

TOKEN = "an-invented-token"


def get(path: str, **given: Any) -> Any:
    return Client(raise_request_exception=False).get(path, **given)


def unreachable(*args: Any, **kwargs: Any) -> None:
    raise OperationalError("connection refused")


def test_health_needs_no_database(monkeypatch, db):
    with monkeypatch.context() as gone:
        gone.setattr(connection, "cursor", unreachable)
        response = get("/healthz")
    assert (response.status_code, response.json()) == (200, {"alive": True})


def test_a_service_that_can_work_is_ready(db):
    response = get("/readyz")
    states = {"database": "ok", "migrations": "ok", "worker": "none yet"}
    assert (response.status_code, response.json()) == (200, {"ready": True, **states})


def test_whether_a_worker_runs_is_told_and_keeps_nobody_from_working(db):
    now = timezone.now()
    tasks.beat("w1", {}, now)
    assert get("/readyz").json()["worker"] == "ok"
    tasks.beat("w1", {}, now - timedelta(hours=1))
    response = get("/readyz")
    assert (response.status_code, response.json()["ready"]) == (200, True)
    assert response.json()["worker"].startswith("none since 20")


def test_without_its_database_it_is_not_ready(db, monkeypatch):
    with monkeypatch.context() as gone:
        gone.setattr(connection, "cursor", unreachable)
        response = get("/readyz")
    assert (response.status_code, response.json()["database"]) == (503, "does not answer")


def test_with_a_migration_missing_it_is_not_ready(db):
    MigrationRecorder.Migration.objects.filter(app="reels").latest("pk").delete()
    response = get("/readyz")
    assert (response.status_code, response.json()["migrations"]) == (503, "1 are missing: run manage.py migrate")


def test_a_database_that_is_migrated_further_is_no_hindrance(db):
    MigrationRecorder(connection).record_applied("reels", "9999_from_a_newer_service")
    assert get("/readyz").status_code == 200


# Who may read the metrics ---------------------------------------------------------------------------------------------


@pytest.fixture
def token_file(settings, tmp_path):
    file = tmp_path / "token"
    file.write_text(f"{TOKEN}\n")
    settings.METRICS_TOKEN_FILE = str(file)
    probes.metrics_token.cache_clear()
    yield
    probes.metrics_token.cache_clear()


@pytest.mark.parametrize(
    ("given", "status"),
    [({}, 404), ({"Authorization": f"Bearer {TOKEN}"}, 200), ({"Authorization": "Bearer another"}, 404),
     ({"Authorization": "Bearer "}, 404)],
)  # fmt: skip
def test_the_token_opens_the_metrics(db, token_file, given, status):
    assert get("/metrics", headers=given).status_code == status


def test_without_a_token_file_an_empty_token_opens_nothing(db):
    assert get("/metrics", headers={"Authorization": "Bearer "}).status_code == 404


@pytest.mark.parametrize(
    ("address", "headers", "status"),
    [
        ("10.1.2.3", {}, 200),
        ("10.2.0.1", {}, 404),
        ("", {}, 404),
        ("10.1.2.3", {"X-Forwarded-For": "10.1.2.3"}, 404),  # a proxy passed it on: the address is the proxy's
    ],
)
def test_an_address_opens_them_to_those_who_ask_directly(db, settings, address, headers, status):
    settings.METRICS_FROM = ["10.1.0.0/16", "::1"]
    assert get("/metrics", headers=headers, REMOTE_ADDR=address).status_code == status


# What they say --------------------------------------------------------------------------------------------------------


@pytest.fixture
def metrics(settings):
    settings.METRICS_FROM = ["127.0.0.1"]

    def read() -> dict[str, float]:
        lines = get("/metrics").content.decode().splitlines()
        pairs = (line.rsplit(" ", 1) for line in lines if not line.startswith("#"))
        return {name: float(value) for name, value in pairs}

    return read


def test_requests_are_counted_by_route_and_status(db, metrics):
    name = 'wrapledger_requests_total{method="GET",route="api/v1/reels/<serial:serial>",status="401"}'
    before = metrics().get(name, 0)
    for serial in ("LW-0001", "LW-0002"):
        get(f"/api/v1/reels/{serial}")
    after = metrics()
    assert after[name] == before + 2
    assert after['wrapledger_request_seconds_count{route="api/v1/reels/<serial:serial>"}'] >= 2
    assert not any(re.search("LW-000", each) for each in after)


def test_a_method_of_somebodys_own_is_not_a_name_of_its_own(db, metrics):
    Client().generic("BREW", "/healthz")
    assert 'wrapledger_requests_total{method="other",route="healthz",status="405"}' in metrics()


def test_the_figures_of_an_empty_service_say_never_and_nothing(db, metrics):
    found = metrics()
    assert found["wrapledger_database_up"] == 1
    assert found["wrapledger_verification_age_seconds"] == float("inf")
    assert found["wrapledger_verification_whole"] == 0
    assert found['wrapledger_open_counts{state="open"}'] == 0
    assert found['wrapledger_notices_unsent{state="sending"}'] == 0
    assert found["wrapledger_worker_age_seconds"] == float("inf")
    assert found["wrapledger_task_oldest_due_seconds"] == 0


def test_the_figures_tell_what_stands_in_the_records(db, metrics):
    cast, now = builders.Cast(), timezone.now()
    for serial in ("A", "B", "C"):
        builders.make_reel(serial)
    builders.open_count(cast, "A")
    builders.read(cast, builders.open_count(cast, "B"))
    for days in (5, 20, 90):
        builders.authorise(cast.colleague, Act.COUNT, valid_until=now + timedelta(days=days))
    checked = VerificationResult(chains=1, entries=2, signatures=3)
    keep_run(checked, None, at=now - timedelta(hours=2))
    checkpoints.make(now - timedelta(hours=1))
    assessments.bring_up_to_date(at=now)
    builders.log_cut(cast, "C")
    for cause, state in enumerate(("waiting", "waiting", "sending", "sent")):
        Notice.objects.create(person=cast.control, kind="hold", cause=cause, state=state, found_at=now)
    found = metrics()
    assert found['wrapledger_open_counts{state="open"}'] == 1
    assert found['wrapledger_open_counts{state="awaiting_sign_off"}'] == 1
    assert found['wrapledger_authorisations_expiring{within="7d"}'] == 1
    assert found['wrapledger_authorisations_expiring{within="30d"}'] == 2
    assert 7200 <= found["wrapledger_verification_age_seconds"] < 7800
    assert 3600 <= found["wrapledger_checkpoint_age_seconds"] < 4200
    assert found["wrapledger_verification_whole"] == 1
    assert found["wrapledger_drift_stale_reels"] == 1
    assert found["wrapledger_drift_age_seconds"] < 600
    assert found['wrapledger_notices_unsent{state="waiting"}'] == 2
    assert found['wrapledger_notices_unsent{state="sending"}'] == 1


def test_the_figures_tell_what_waits_for_the_worker(db, metrics):
    now = timezone.now()
    with time_machine.travel(now - timedelta(hours=2)):
        tasks.put(fail_always, key="sum", title="A sum")  # fails once, and is due again
        work_off()
    with time_machine.travel(now - timedelta(hours=1)):
        tasks.beat("w1", {}, timezone.now())
        tasks.put(be_refused, key="refused", title="A reel is looked up")
        work_off()
        tasks.put(be_refused, key="refused", title="A reel is looked up")
    found = metrics()
    states = [found[f'wrapledger_tasks{{state="{state}"}}'] for state in ("waiting", "running", "failed")]
    assert states == [2, 0, 1]
    assert 3500 <= found["wrapledger_task_oldest_due_seconds"] < 4200
    assert 3500 <= found["wrapledger_worker_age_seconds"] < 4200


def test_a_break_is_told(db, metrics):
    checked = VerificationResult(chains=1, entries=2, signatures=3)
    keep_run(checked, "reel A: entry 3", at=timezone.now())  # type: ignore[arg-type]  # any text will do
    assert metrics()["wrapledger_verification_whole"] == 0


def test_without_the_database_they_say_so(db, monkeypatch, metrics):
    with monkeypatch.context() as gone:
        gone.setattr("deploy.watching.figures.all_figures", unreachable)
        found = metrics()
    assert found["wrapledger_database_up"] == 0
    assert 'wrapledger_open_counts{state="open"}' not in found


def test_how_far_a_standby_is_behind_is_told_where_there_is_one(db, metrics, monkeypatch):
    name = "wrapledger_standby_behind_seconds"
    assert name not in metrics()
    monkeypatch.setattr("reels.standby.is_set", lambda: True)
    for measured, told in ((2.5, 2.5), (0.0, 0.0), (None, float("inf"))):
        monkeypatch.setattr("reels.standby.measured_behind_s", lambda measured=measured: measured)
        assert metrics()[name] == told


def test_the_figures_cost_the_same_for_one_reel_as_for_ten(db, metrics, count_queries):
    builders.make_reel("R0")
    assessments.bring_up_to_date(at=timezone.now())
    one = count_queries(metrics)
    for number in range(1, 10):
        builders.make_reel(f"R{number}")
    assert count_queries(metrics) == one == 18
