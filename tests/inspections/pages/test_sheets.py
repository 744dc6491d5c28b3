"""A spreadsheet's file in the browser: understood, changed, looked at, and then stored."""

from html import unescape

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from inspections.models import ImportedCount
from reels.models import TaskRun
from tests import builders
from tests.page_fixtures import logged_in
from tests.page_forms import Forms
from tests.well_formed import faults_of
from tests.worker import work_off

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]
HEAD = "Reel no;Date;Layers;Wraps;Technician;Colour\r\n"
SHEET = HEAD + "lw 1;13.02.2026 09:30;12;10;Tess;red\r\n"
ADDRESS = "/imports/sheet"


@pytest.fixture
def client():
    builders.make_reel()
    return logged_in(builders.administrator())


def sent(client, text, name="counts of the base.csv"):
    return client.post(ADDRESS, {"sheet": SimpleUploadedFile(name, text.encode("utf-8-sig"))})


def shown(answer, status=200):
    html = answer.content.decode()
    assert (answer.status_code, faults_of(html)) == (status, [])
    return unescape(html)


def again(client, answer, **changes):
    form = next(form for form in Forms(answer.content.decode()).forms if "was_file" in form)
    return client.post(ADDRESS, {**form, **changes})


def test_a_sheet_is_looked_at_and_then_stored_once(client):
    first = sent(client, SHEET)
    html = shown(first)
    assert "by which clocks the times were written down" in html
    second = again(client, first, time_zone="Europe/London")
    html = shown(second)
    assert "counts.csv: 1 row would be stored, 0 there already." in html
    assert "lw 1" in html
    assert "is taken for LW-0001" in html
    assert ImportedCount.objects.count() == 0

    form = next(form for form in Forms(second.content.decode()).forms if "ours" in form)
    stored = client.post("/imports/sheet/storing", form)
    assert stored.status_code == 302
    assert client.post("/imports/sheet/storing", form).headers["Location"] == stored.headers["Location"]
    work_off()
    count = ImportedCount.objects.get()
    assert (count.reel.serial, count.layers, count.counted_by) == ("LW-0001", 12, "Tess")
    assert count.counted_at.isoformat() == "2026-02-13T09:30:00+00:00"  # London keeps UTC in winter
    assert TaskRun.objects.count() == 1
    assert "0 rows would be stored, 1 there already" in shown(again(client, first, time_zone="Europe/London"))


def test_an_ambiguous_date_is_asked_about_and_then_read_as_it_was_said(client):
    first = sent(client, SHEET.replace("13.02.2026", "03/02/2026"))
    assert "whether the day or the month comes first" in shown(first)
    answer = again(client, first, day_order="dmy", time_zone="UTC")
    form = next(form for form in Forms(answer.content.decode()).forms if "ours" in form)
    assert "2026-02-03T09:30:00+00:00" in form["ours"][0]


def test_what_cannot_be_read_so_is_said_beside_its_field_and_the_rest_stays(client):
    html = shown(again(client, sent(client, SHEET), time_zone="Europe/London", time_of_day="noon"))
    assert "You entered “noon”; a time of day is needed, such as 12:00." in html
    assert "by which clocks" not in html
    assert "Store it" not in html
    assert '<option value="Europe/London" selected>' in html


def test_refused_rows_are_grouped_and_come_as_a_file(client):
    bad = SHEET + "LW-9;14.02.2026 09:30;12;10;=1;\r\nLW-9;15.02.2026 09:30;12;10;;\r\nLW-1;16.02.2026 09:30;99;1;;\r\n"
    first = again(client, sent(client, bad), time_zone="UTC")
    html = shown(first)
    assert "3 things are wrong" in html
    assert "a reel of the records or of reels.csv" in html
    answer = again(client, first, act="refused")
    lines = answer.content.decode("utf-8-sig").splitlines()
    assert answer.headers["Content-Disposition"].startswith("attachment")
    assert len(lines) == 4
    assert "'=1" in lines[1]
    assert lines[3].startswith("LW-1;16.02.2026 09:30;99;1")
    assert ImportedCount.objects.count() == 0


@pytest.mark.parametrize("content", [b"", b"reel;\xe4\n"])
def test_what_cannot_be_read_says_so(client, content):
    answer = client.post(ADDRESS, {"sheet": SimpleUploadedFile("counts.csv", content)})
    shown(answer, 422)


def test_another_kind_is_understood_anew(client):
    html = shown(again(client, sent(client, SHEET), file="cable_events.csv"))
    assert "length_removed_m" in html
    assert "which heading each needed column has" in html


def test_nobody_else_looks_at_files(client):
    assert logged_in(builders.make_person("tess")).get(ADDRESS).status_code == 403
