"""A spreadsheet's file in the browser: understood, changed, looked at, and then stored."""

from datetime import timedelta
from html import unescape

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from inspections.domain.intake.understanding import understand
from inspections.models import ImportedCount, SheetMapping
from inspections.services.intake import mappings, sheets
from reels.models import HistoryEntry, TaskRun
from reels.services import uploads
from reels.services.history import Actor
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
    """The page on which the file is looked at."""
    answer = client.post(ADDRESS, {"sheet": SimpleUploadedFile(name, text.encode("utf-8-sig"))})
    assert answer.status_code == 303
    return client.get(answer.headers["Location"])


def shown(answer, status=200):
    html = answer.content.decode()
    assert (answer.status_code, faults_of(html)) == (status, [])
    return unescape(html)


def again(client, looked, **changes):
    """The file looked at again, with something said otherwise."""
    answer = client.post(looked.request["PATH_INFO"], {**form_in(looked, "file"), **changes})
    return client.get(answer.headers["Location"]) if answer.status_code == 303 else answer


def form_in(looked, field):
    return next(form for form in Forms(looked.content.decode()).forms if field in form)


def stored(client, looked):
    return client.post(looked.request["PATH_INFO"] + "/storing", form_in(looked, "seen"))


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

    answer = stored(client, second)
    assert answer.status_code == 302
    assert stored(client, second).headers["Location"] == answer.headers["Location"]
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
    stored(client, answer)
    work_off()
    assert ImportedCount.objects.get().counted_at.isoformat() == "2026-02-03T09:30:00+00:00"


def test_what_cannot_be_read_so_is_said_beside_its_field_and_the_rest_stays(client):
    html = shown(again(client, sent(client, SHEET), time_zone="Europe/London", time_of_day="noon"), 422)
    assert "You entered “noon”; a time of day is needed, such as 12:00." in html
    assert "by which clocks" not in html
    assert "Store it" not in html
    assert '<option value="Europe/London" selected>' in html


def test_refused_rows_are_grouped_and_come_as_a_file(client):
    bad = SHEET + "LW-9;14.02.2026 09:30;12;10;=1;\r\nLW-9;15.02.2026 09:30;12;10;;\r\nLW-1;16.02.2026 09:30;99;1;;\r\n"
    first = again(client, sent(client, bad), time_zone="UTC")
    html = shown(first)
    assert "3 rows are refused" in html
    assert "1 other row would be stored, 0 are there already." in html
    assert "a reel of the records or of reels.csv" in html
    answer = client.get(first.request["PATH_INFO"] + "/refused.csv")
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


def test_a_large_file_is_checked_by_the_worker_and_its_refused_rows_come_back(client, monkeypatch):
    monkeypatch.setattr(sheets, "AT_ONCE", 10)
    bad = SHEET + "LW-9;14.02.2026 09:30;12;10;;\r\n"
    looked = again(client, sent(client, bad), time_zone="UTC")
    assert "Check of counts of the base.csv: waiting." in shown(looked)
    work_off()
    address = looked.request["PATH_INFO"]
    html = shown(client.get(address))
    assert "1 row is refused" in html
    assert "1 other row would be stored, 0 are there already." in html
    assert client.get(address + "/refused.csv").content.decode("utf-8-sig").splitlines()[1].startswith("LW-9;14.02")
    looked = again(client, client.get(address), spellings="LW-9 = LW-0001")
    work_off()
    assert "2 rows would be stored" in shown(client.get(address))


def test_a_file_of_ten_megabytes_is_kept_between_the_steps(client):
    rows = (f"LW-1;13.02.2026 09:30;12;10;{n:0>1000};\r\n" for n in range(10_000))
    looked = sent(client, HEAD + "".join(rows))
    assert "by which clocks" in shown(looked)
    assert len(looked.content) < 100_000


def test_two_headings_of_the_same_words_and_one_of_none_are_told_apart(client):
    text = "Reel;Date;Date;Layers;Wraps;\r\nLW-1;red;13.02.2026 09:30;12;10;so\r\n"
    html = shown(sent(client, text))
    assert "Date (2) (as 13.02.2026 09:30)" in html
    assert "column 6 (as so)" in html
    looked = again(client, sent(client, text), column_counted_at="2", time_zone="UTC")
    assert "1 row would be stored" in shown(looked)


def test_what_was_said_of_a_spelling_is_kept_and_what_cannot_be_one_is_told(client):
    looked = sent(client, SHEET.replace("lw 1", "Drum 7"))
    looked = again(client, looked, time_zone="UTC", spellings="Drum 7 = LW-0001\n")
    assert "1 row would be stored" in shown(looked)
    assert "Drum 7 = LW-0001</textarea>" in looked.content.decode()
    html = shown(again(client, looked, spellings="Drum 7"), 422)
    assert "Line 1 was “Drum 7”; needed: Drum 7 = LW-0007." in html


def test_a_file_that_was_said_otherwise_meanwhile_is_not_stored_as_it_was(client):
    looked = again(client, sent(client, SHEET), time_zone="UTC")
    again(client, looked, time_zone="Europe/Berlin")
    answer = stored(client, looked)
    assert answer.status_code == 422
    assert "what it is about was changed" in answer.content.decode()
    assert TaskRun.objects.count() == 0


def test_a_file_is_its_senders_and_gone_after_two_days(client):
    address = sent(client, SHEET).request["PATH_INFO"]
    assert logged_in(builders.second_administrator()).get(address).status_code == 404
    uploads.forget(timezone.now() + timedelta(days=3))
    assert client.get(address).status_code == 404


def test_how_a_file_is_read_is_kept_offered_for_the_next_renamed_and_deleted(client):
    looked = again(client, sent(client, SHEET), time_zone="Europe/Berlin")
    address = looked.request["PATH_INFO"] + "/mapping"
    kept = client.post(address, {**form_in(client.get(address), "name"), "name": "The base's counts"})
    assert "It is read as" in shown(client.get(kept.headers["Location"]))
    assert HistoryEntry.objects.values_list("act", "actor__username").latest("pk") == ("sheet_mapping_added", "ada")

    other = sent(client, SHEET.replace("lw 1", "LW-0001") + "LW-0001;14.02.2026 10:00;12;9;;\r\n", "later.csv")
    assert "Read it as The base's counts" in shown(other)
    assert "by which clocks" in shown(other)
    [mapping] = SheetMapping.objects.all()
    assert f'name="mapping" value="{mapping.pk}"' in other.content.decode()
    read = client.get(client.post(other.request["PATH_INFO"], {"mapping": mapping.pk}).headers["Location"])
    assert "counts.csv: 2 rows would be stored" in shown(read)
    assert '<option value="Europe/Berlin" selected>' in shown(read)

    assert "The base's counts" in shown(client.get("/imports/mappings"))
    for act, typed in (("name", {"name": "Counts"}), ("end", {})):
        page = client.get(f"/imports/mappings/{mapping.pk}/{act}")
        assert client.post(page.request["PATH_INFO"], {**form_in(page, "seen"), **typed}).status_code == 302
    assert "Read it as" not in shown(sent(client, SHEET))
    assert "No mapping is kept" in shown(client.get("/imports/mappings"))


def test_a_mapping_is_changed_by_its_own_name_and_no_other_takes_it(client):
    def keep(looked, name):
        address = looked.request["PATH_INFO"] + "/mapping"
        return client.post(address, {**form_in(client.get(address), "name"), "name": name})

    looked = again(client, sent(client, SHEET), time_zone="Europe/Berlin")
    keep(looked, "Counts")
    keep(again(client, looked, time_zone="Europe/London"), "Counts")
    assert SheetMapping.objects.get().understood["time_zone"] == "Europe/London"
    answer = keep(again(client, sent(client, SHEET), time_zone="UTC"), "Counts")
    assert "There is already a mapping 'Counts'." in shown(answer, 422)
    assert SheetMapping.objects.get().understood["time_zone"] == "Europe/London"


def test_a_mapping_that_does_not_fit_is_not_taken(client):
    looked = again(client, sent(client, SHEET), time_zone="UTC")
    mappings.keep(name="Other", understood=understand("Spool;Date;Layers;Wraps\n", "counts.csv"), used=None,
                  actor=Actor(builders.administrator()), at=timezone.now())  # fmt: skip
    other = SheetMapping.objects.get()
    SheetMapping.objects.update(understood={**other.understood, "columns": {"reel": "Spool"}})
    assert "Read it as" not in shown(client.get(looked.request["PATH_INFO"]))
    assert client.post(looked.request["PATH_INFO"], {"mapping": other.pk}).status_code == 404


def test_another_kind_is_understood_anew(client):
    html = shown(again(client, sent(client, SHEET), file="cable_events.csv"))
    assert "length_removed_m" in html
    assert "which heading each needed column has" in html


def test_nobody_else_looks_at_files(client):
    assert logged_in(builders.make_person("tess")).get(ADDRESS).status_code == 403
