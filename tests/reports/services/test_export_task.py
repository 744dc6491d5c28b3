"""Many documents put together by the worker: the same file as is sent at once, whole whatever becomes of the worker."""

import io
import json
import zipfile

import pytest
from django.utils import timezone

from reels.errors import NotFound
from reels.models import TaskRun
from reels.services import tasks
from reels.services.history import Actor
from reels.services.tasks import HeldTask, TaskStopped
from reports.errors import ExportTooLarge
from reports.models import ArchivedPdf
from reports.services import export_task
from tests.api_fixtures import Ways
from tests.builders import NOW, Cast
from tests.page_fixtures import hidden_in, logged_in, on_the_day  # noqa: F401  # a fixture
from tests.reports.documented import documents, signed
from tests.well_formed import faults_of
from tests.worker import claimed, work_off

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("on_the_day")]


@pytest.fixture
def cast():
    return Cast.as_needed()


@pytest.fixture
def inspections(cast, monkeypatch):
    monkeypatch.setattr(tasks, "PIECE", 7000)
    return [signed(cast, serial) for serial in ("LW-0001", "LW-0002")]


def put(cast, **chosen):
    return export_task.have_exported(chosen, actor=Actor(cast.colleague), at=NOW)


def unzipped(content):
    bundle = zipfile.ZipFile(io.BytesIO(content))
    assert bundle.testzip() is None
    return bundle


def test_the_file_holds_what_was_chosen_and_its_manifest(cast, inspections):
    run = put(cast, reel="LW-0002")
    assert put(cast, reel="LW-0002") == run
    work_off()
    pieces, size = export_task.fetch(run.pk, cast.colleague)
    content = b"".join(pieces)
    files = json.loads(unzipped(content).read("manifest.json"))["files"]
    assert (len(content), [each["digest"] for each in files]) == (size, [documents(inspections[1])[0].digest])


def test_stopped_in_the_middle_it_goes_on_and_the_file_is_whole(cast, inspections):
    run = put(cast)
    held = claimed(run)
    with pytest.raises(TaskStopped):
        export_task.put_together.func(context_that_ends_after(2, run, held), cast.colleague.pk, NOW.isoformat())
    tasks.leave_off(held)
    before = run.files.filter(name=export_task.ZIP).count()
    assert before == 2
    signed(cast, "LW-0003")  # what comes meanwhile is not among those that were chosen
    work_off()
    whole = b"".join(export_task.fetch(run.pk, cast.colleague)[0])
    assert len(unzipped(whole).namelist()) == len(inspections) + 1
    assert run.files.filter(name=export_task.ZIP).count() > before


def context_that_ends_after(pieces, run, held):
    return HeldTask(pk=run.pk, lease=held.lease,
                    is_ending=lambda: run.files.filter(name=export_task.ZIP).count() >= pieces)  # fmt: skip


def test_whoever_may_see_a_document_no_more_does_not_get_it(cast, inspections, monkeypatch):
    run = put(cast)
    monkeypatch.setattr("reports.access.seen_documents", lambda person, at: ArchivedPdf.objects.none())
    work_off()
    assert TaskRun.objects.select_related("result").get(pk=run.pk).state == "failed"


def test_it_is_fetched_by_who_asked_for_it_and_for_two_days(cast, inspections):
    run = put(cast)
    with pytest.raises(NotFound):
        export_task.fetch(run.pk, cast.colleague)
    work_off()
    for person in (cast.technician, cast.stranger):
        with pytest.raises(NotFound):
            export_task.fetch(run.pk, person)
    tasks.forget(timezone.now() + 2 * tasks.FILES_KEPT_FOR)
    with pytest.raises(NotFound):
        export_task.fetch(run.pk, cast.colleague)


def test_too_much_for_one_file_is_refused(cast, inspections, monkeypatch):
    monkeypatch.setattr(export_task, "MOST_BYTES", 1000)
    with pytest.raises(ExportTooLarge, match="2 documents are too large"):
        put(cast)


def test_on_the_page_many_are_put_together_first_and_then_fetched(cast, inspections, monkeypatch):
    monkeypatch.setattr(export_task, "MOST_AT_ONCE", 1)
    client = logged_in(cast.colleague)
    address = client.get("/documents/inspections.zip", {"site": "kettle-point"}).headers["Location"]
    html = client.get(address).content.decode()
    assert faults_of(html) == []
    assert 'value="kettle-point"' in html
    task = client.post("/documents/export", {**hidden_in(html), "site": "kettle-point"}).headers["Location"]
    work_off()
    html = client.get(task).content.decode()
    assert "2 documents, " in html
    file = html.partition('class="button" href="')[2].partition('"')[0]
    answer = client.get(file)
    content = answer.getvalue()
    assert int(answer.headers["Content-Length"]) == len(content)
    assert len(unzipped(content).namelist()) == 3
    assert logged_in(cast.technician).get(file).status_code == 404


def test_over_the_api_it_is_asked_for_and_fetched(inspections):
    ways = Ways(Cast.as_needed())
    asked = ways.colleague.post("exports", {"reel": "LW-0001"})
    assert asked.status_code == 202
    work_off()
    task = ways.colleague.get(asked.headers["Location"].removeprefix("/api/v1/")).json()
    assert task["result"]["documents"] == 1
    content = ways.colleague.get(f"exports/{task['task']}").getvalue()
    assert len(unzipped(content).namelist()) == 2
