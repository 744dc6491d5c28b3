"""Evidence that the worker puts together for auditors and administrators; and the register, for them alone."""

import io
import json
import zipfile

import pytest
from django.utils import timezone

from inspections.domain.words import Act
from inspections.services import authorisations
from reels.domain import checkpoint
from reels.errors import NotFound
from reels.models import Chain, Posting
from reels.services import checkpoints, register, tasks
from reels.services.checkpoint_key import checkpoint_key
from reels.services.history import Actor
from reels.services.tasks import HeldTask, TaskStopped
from reports.errors import EvidenceTooLarge, NotAnAuditor
from reports.services import evidence_task, export_task
from tests import builders
from tests.api_client import ApiClient
from tests.builders import NOW, Cast, administrator, by_administrator
from tests.page_fixtures import hidden_in, logged_in, on_the_day  # noqa: F401  # a fixture
from tests.reports.documented import signed
from tests.reports.evidence_folders import checked
from tests.well_formed import faults_of
from tests.worker import claimed, work_off

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("on_the_day")]


@pytest.fixture
def auditor():
    """Two reels at one site, another at another site, and somebody who verifies at every site."""
    cast = Cast.as_needed()
    for serial in ("LW-0001", "LW-0002"):
        signed(cast, serial)
    builders.make_reel("LW-0003", site=builders.make_site("aldermere", "Aldermere"))
    person = builders.make_person("odo", full_name="Odo Farr")
    register.post_person(person=person, site=None, valid_from=builders.later(days=-9), **by_administrator())
    builders.authorise(person, Act.VERIFY)
    return person


def put(person, reels=(), since=None):
    return evidence_task.have_evidence(reels=reels, since=since, actor=Actor(person), at=NOW)


def unpacked(content, folder):
    bundle = zipfile.ZipFile(io.BytesIO(content))
    assert bundle.testzip() is None
    bundle.extractall(folder)
    return checked(folder / evidence_task.FOLDER, checkpoint.public_hex(checkpoint_key()))


def test_all_of_it_is_in_the_file_and_holds(auditor, tmp_path):
    run = put(auditor, since=checkpoints.make(NOW).entries)
    work_off()
    pieces, size = evidence_task.fetch(run.pk, auditor, NOW)
    content = b"".join(pieces)
    assert len(content) == size
    status, says = unpacked(content, tmp_path)
    assert (status, "4 of the 4 histories that the service had (all); 2 stands." in says) == (0, True), says


def test_of_some_reels_it_is_these_and_the_register(auditor, tmp_path):
    run = put(auditor, ["LW-0002"])
    work_off()
    status, says = unpacked(b"".join(evidence_task.fetch(run.pk, auditor, NOW)[0]), tmp_path)
    assert (status, "2 of the 4 histories" in says, "LW-0002, inspection" in says) == (0, True, True), says
    with pytest.raises(NotFound):
        put(auditor, ["LW-0009"])
    with pytest.raises(NotFound):
        put(auditor, since=7777)


def test_stopped_in_the_middle_it_goes_on_and_the_file_is_whole(auditor, tmp_path, monkeypatch):
    monkeypatch.setattr(tasks, "PIECE", 20_000)
    run = put(auditor)
    held = claimed(run)
    context = HeldTask(
        pk=run.pk, lease=held.lease, is_ending=lambda: run.files.filter(name=export_task.ZIP).count() >= 2
    )
    with pytest.raises(TaskStopped):
        evidence_task.put_evidence_together.func(context, auditor.pk, NOW.isoformat())
    tasks.leave_off(held)
    builders.log_cut(Cast.as_needed())  # what comes meanwhile is not of the checkpoint
    work_off()
    assert run.files.filter(name=export_task.ZIP).count() > 2
    status, says = unpacked(b"".join(evidence_task.fetch(run.pk, auditor, NOW)[0]), tmp_path)
    assert (status, "2 stands" in says) == (0, True), says


def test_an_administrator_gets_the_reels_of_their_sites_and_the_register(auditor, tmp_path):
    register.post_person(person=administrator(), site=builders.make_site(), valid_from=builders.later(days=-9),
                         actor=Actor(builders.second_administrator()), at=NOW)  # fmt: skip
    run = put(administrator())
    work_off()
    status, says = unpacked(b"".join(evidence_task.fetch(run.pk, administrator(), NOW)[0]), tmp_path)
    assert (status, "3 of the 4 histories" in says) == (0, True), says
    with pytest.raises(NotFound):
        evidence_task.fetch(run.pk, auditor, NOW)


def test_whoever_may_see_it_no_more_does_not_get_it(auditor):
    run = put(auditor)
    held = claimed(run)
    authorisations.end(authorisation=auditor.authorisations.get(), reason="left", actor=Actor(administrator()), at=NOW)
    context = HeldTask(pk=run.pk, lease=held.lease)
    with pytest.raises(NotAnAuditor):
        evidence_task.put_evidence_together.func(context, auditor.pk, NOW.isoformat())
    with pytest.raises(NotAnAuditor):
        evidence_task.fetch(run.pk, auditor, NOW)


def test_whoever_sees_fewer_sites_by_now_does_not_get_it(auditor):
    run = put(auditor)
    other = put(administrator())
    Posting.objects.filter(person=auditor, site=None).update(valid_until=timezone.now())
    auditor.is_staff = True
    auditor.save()
    held = claimed(run)
    with pytest.raises(NotFound, match="LW-0003"):
        evidence_task.put_evidence_together.func(HeldTask(pk=run.pk, lease=held.lease), auditor.pk, NOW.isoformat())
    assert other.pk != run.pk


def test_too_much_for_one_file_is_refused(auditor, monkeypatch):
    monkeypatch.setattr(evidence_task, "MOST_BYTES", 1000)
    run = put(auditor)
    held = claimed(run)
    with pytest.raises(EvidenceTooLarge, match="export_evidence"):
        evidence_task.put_evidence_together.func(HeldTask(pk=run.pk, lease=held.lease), auditor.pk, NOW.isoformat())


def test_the_page_says_what_to_do_and_leads_to_the_file(auditor, tmp_path):
    client = logged_in(auditor)
    assert '<a class="button plain" href="/evidence">' in client.get("/audit").content.decode()
    html = client.get("/evidence").content.decode()
    assert faults_of(html) == []
    assert "check_records.py all evidence KEY" in html
    refused = client.post("/evidence", {**hidden_in(html), "reels": "LW-0001\r\nLW-0009", "since": ""})
    assert refused.status_code == 422
    assert "LW-0009" in refused.content.decode().partition("<textarea")[2]
    task = client.post("/evidence", {**hidden_in(html), "reels": "LW-0001\r\n LW-0002, LW-0001", "since": ""}).headers[
        "Location"
    ]
    work_off()
    html = client.get(task).content.decode()
    assert "Evidence of 2 reels" in html
    file = html.partition('class="button" href="')[2].partition('"')[0]
    answer = client.get(file)
    assert 'filename="evidence.zip"' in answer.headers["Content-Disposition"]
    assert unpacked(answer.getvalue(), tmp_path)[0] == 0
    colleague = logged_in(Cast.as_needed().colleague)
    assert [colleague.get(each).status_code for each in (file, "/evidence")] == [404, 403]
    assert "/evidence" not in colleague.get("/audit").content.decode()


def test_over_the_api_it_is_asked_for_and_fetched(auditor, tmp_path):
    way = ApiClient(auditor)
    asked = way.post("evidence", {"reels": ["LW-0001"], "since": None})
    assert asked.status_code == 202
    work_off()
    task = way.get(asked.headers["Location"].removeprefix("/api/v1/")).json()
    answer = way.get(
        f"evidence/{task['task']}" if "task" in task else f"evidence/{asked.headers['Location'].rsplit('/')[-1]}"
    )
    assert unpacked(answer.getvalue(), tmp_path)[0] == 0
    assert ApiClient(Cast.as_needed().verifier).post("evidence", {}).status_code == 403


def test_the_register_is_exported_to_them_alone_as_it_is_stored(auditor):
    answer = ApiClient(auditor).get("register/history/export")
    lines = answer.getvalue().decode().splitlines()
    chain = Chain.objects.get(name="register")
    assert (answer.headers["Content-Type"], len(lines)) == ("application/jsonl", chain.length)
    assert all(set(json.loads(line)) == {"content"} for line in lines)
    for person in (Cast.as_needed().verifier, Cast.as_needed().colleague):
        refused = ApiClient(person).get("register/history/export")
        assert (refused.status_code, refused.json()["type"]) == (403, "/problems/not-an-auditor")
