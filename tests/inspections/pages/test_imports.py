"""Older records brought in on a page: the worker does it, and the task says what came of it."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from inspections.models import ImportedCount
from reels.models import TaskRun
from tests import builders
from tests.inspections.services.intake.test_records import COUNTS, COUNTS_HEADER, REELS, TYPES
from tests.page_fixtures import hidden_in, logged_in
from tests.well_formed import faults_of
from tests.worker import work_off

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template")]
FILES = {"reel_types_csv": TYPES, "reels_csv": REELS, "counts_csv": COUNTS}


@pytest.fixture
def client():
    return logged_in(builders.administrator())


def send(client, form, **texts):
    files = {name: SimpleUploadedFile(f"{name}.csv", text.encode()) for name, text in texts.items()}
    return client.post("/imports", {**form, **files})


def opened(client):
    html = client.get("/imports").content.decode()
    assert faults_of(html) == []
    assert 'enctype="multipart/form-data"' in html
    return hidden_in(html)


def test_the_files_are_brought_in_once_however_often_the_form_is_sent(client):
    form = opened(client)
    address = send(client, form, **FILES).headers["Location"]
    assert send(client, form, **FILES).headers["Location"] == address
    assert "Import of older records: waiting." in client.get(address).content.decode()
    work_off()
    html = client.get(address).content.decode()
    assert faults_of(html) == []
    assert "counts.csv: 3 rows stored, 0 there already." in html
    assert (ImportedCount.objects.count(), TaskRun.objects.count()) == (3, 1)


def test_each_row_that_cannot_be_taken_is_named_and_nothing_is_stored(client):
    bad = COUNTS_HEADER + "LW-0001,today,12,9,,,\n"
    address = send(client, opened(client), **{**FILES, "counts_csv": bad}).headers["Location"]
    work_off()
    html = client.get(address).content.decode()
    assert "counts.csv, line 2, column counted_at: &#x27;today&#x27; was seen" in html
    assert "Nothing was stored" in html
    assert ImportedCount.objects.count() == 0


def test_a_check_of_the_files_stores_nothing(client):
    address = send(client, {**opened(client), "is_dry_run": "on"}, **FILES).headers["Location"]
    work_off()
    assert "counts.csv: 3 rows would be stored" in client.get(address).content.decode()
    assert ImportedCount.objects.count() == 0


def test_without_a_file_it_says_so(client):
    answer = send(client, opened(client))
    assert answer.status_code == 422
    assert "No file is chosen; at least one is needed." in answer.content.decode()
