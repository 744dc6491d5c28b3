import io
import json
import zipfile

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from reels.domain import ledger
from reports.services import assessments
from tests import builders
from tests.builders import NOW, Cast
from tests.reports.documented import committed, documents, signed
from tests.well_formed import faults_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast():
    return Cast.as_needed()


@pytest.fixture
def inspection(cast):
    return signed(cast)


def ask(client, person, path):
    client.force_login(person)
    return client.get(path)


def test_the_record_is_the_document_as_it_was_kept(client, cast, inspection):
    answer = ask(client, cast.colleague, f"/inspections/{inspection.pk}/record.pdf")
    [kept] = documents(inspection)
    assert (answer.status_code, answer.headers["Content-Type"]) == (200, "application/pdf")
    assert answer.content == bytes(kept.content)
    assert answer.headers["ETag"] == f'"{kept.digest}"'


def test_an_earlier_document_is_had_by_its_number(client, cast, inspection):
    with committed():
        builders.issued(cast)
    path = f"/inspections/{inspection.pk}/record.pdf"
    first, second = (ledger.digest(bytes(row.content)) for row in documents(inspection))
    assert ledger.digest(ask(client, cast.verifier, path).content) == second
    assert ledger.digest(client.get(path, {"number": "1"}).content) == first
    assert client.get(path, {"number": "9"}).status_code == 409


@pytest.mark.parametrize(
    "path",
    ["/inspections/{0}/record.pdf", "/documents/setup-cards/{1}.pdf", "/documents/histories/LW-0001.pdf"],
)
def test_a_stranger_finds_nothing_and_nobody_is_asked_to_log_in(client, cast, inspection, path):
    values = builders.issued(cast)
    where = path.format(inspection.pk, values.pk)
    assert client.get(where).headers["Location"].startswith("/login")
    assert ask(client, cast.stranger, where).status_code == 404
    assert ask(client, cast.colleague, where).content.startswith(b"%PDF-")


def test_an_inspection_that_is_not_signed_says_when_it_will_have_one(client, cast):
    builders.make_reel()
    inspection = builders.read(cast, builders.open_count(cast))
    answer = ask(client, cast.technician, f"/inspections/{inspection.pk}/record.pdf")
    assert answer.status_code == 409
    assert b"it is drawn up when both have signed" in answer.content


@pytest.mark.parametrize("path", ["/inspections/99/record.pdf", "/documents/setup-cards/99.pdf",
                                  "/documents/histories/none.pdf", "/documents/worksheets/none.pdf",
                                  "/inspections/99999999999999999999/record.pdf"])  # fmt: skip
def test_what_is_not_there_is_not_found(client, cast, path):
    assert ask(client, cast.colleague, path).status_code == 404


def test_a_worksheet_is_for_everybody(client, cast):
    builders.make_type()
    assert ask(client, cast.stranger, "/documents/worksheets/w28.pdf").content.startswith(b"%PDF-")


def unzipped(answer):
    return zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content)))


def test_a_bundle_holds_the_newest_document_of_each_and_a_manifest_of_digests(client, cast, inspection):
    with committed():
        builders.issued(cast)
    other = signed(cast, "LW-0002")
    bundle = unzipped(ask(client, cast.colleague, "/documents/inspections.zip"))
    assert bundle.testzip() is None
    manifest = json.loads(bundle.read("manifest.json"))
    assert {each["name"]: each["digest"] for each in manifest["files"]} == {
        f"LW-0001/inspection-{inspection.pk}-2.pdf": documents(inspection)[1].digest,
        f"LW-0002/inspection-{other.pk}-1.pdf": documents(other)[0].digest,
    }
    assert all(ledger.digest(bundle.read(each["name"])) == each["digest"] for each in manifest["files"])


def test_how_long_a_bundle_is_is_told_first_so_that_who_waits_sees_how_far_it_is(client, cast, inspection):
    signed(cast, "LW-0002")
    answer = ask(client, cast.colleague, "/documents/inspections.zip")
    assert int(answer.headers["Content-Length"]) == len(b"".join(answer.streaming_content))


def test_the_page_of_documents_says_how_many_there_are_and_leads_to_them(client, cast, inspection):
    signed(cast, "LW-0002")
    html = ask(client, cast.colleague, "/documents").content.decode()
    assert faults_of(html) == []
    assert "2 records," in html
    assert 'href="/documents/inspections.zip">Download 2 records as a ZIP file' in html
    assert 'href="/documents/worksheets/w28.pdf"' in html
    html = client.get("/documents", {"reel": "LW-0002", "site": "kettle-point"}).content.decode()
    assert 'href="/documents/inspections.zip?reel=LW-0002&amp;site=kettle-point">Download 1 record' in html
    assert '<option value="kettle-point" selected>' in html


def test_the_page_of_documents_says_where_there_are_none_and_what_is_no_day(client, cast, inspection):
    assert "No inspection is signed yet at your sites." in ask(client, cast.stranger, "/documents").content.decode()
    client.force_login(cast.colleague)
    assert "No record fits these filters." in client.get("/documents", {"reel": "LW-9"}).content.decode()
    html = client.get("/documents", {"since": "soon"}).content.decode()
    assert "You entered “soon”; a day and a time are needed, such as 2026-03-02 08:30." in html


def test_reel_card_and_inspection_lead_to_their_documents(client, cast, inspection):
    values = builders.issued(cast)
    assessments.bring_up_to_date(at=NOW)
    client.force_login(cast.colleague)
    for page, links in {
        "/reels/LW-0001": ("/documents/histories/LW-0001.pdf", "/documents/worksheets/w28.pdf",
                           "/documents/inspections.zip?reel=LW-0001"),
        f"/setup-values/{values.pk}": (f"/documents/setup-cards/{values.pk}.pdf",),
        f"/inspections/{inspection.pk}": (f"/inspections/{inspection.pk}/record.pdf",),
        "/reels/LW-0001/drift": ("/documents/drift/LW-0001.pdf",),
        "/drift": ("/documents/drift.pdf?",),
    }.items():  # fmt: skip
        html = client.get(page).content.decode()
        assert [link for link in links if f'href="{link}"' not in html] == []
        for link in links:
            assert client.get(link).status_code == 200


@pytest.mark.parametrize(
    ("asked", "found"),
    [({"reel": "LW-0001"}, 1), ({"reel": "LW-9"}, 0), ({"site": "kettle-point"}, 2), ({"site": "aldermere"}, 0),
     ({"since": "2026-03-02"}, 2), ({"until": "2026-03-02"}, 0)],
)  # fmt: skip
def test_a_bundle_is_chosen_by_site_reel_and_day(client, cast, inspection, asked, found):
    signed(cast, "LW-0002")
    client.force_login(cast.colleague)
    bundle = unzipped(client.get("/documents/inspections.zip", asked))
    assert len(bundle.namelist()) == found + 1


def test_a_bundle_holds_nothing_of_other_sites(client, cast, inspection):
    assert unzipped(ask(client, cast.stranger, "/documents/inspections.zip")).namelist() == ["manifest.json"]


def test_a_day_that_is_none_is_refused(client, cast):
    client.force_login(cast.colleague)
    assert client.get("/documents/inspections.zip", {"since": "soon"}).status_code == 400


def drop(client, content):
    return client.post("/documents/check", {"file": SimpleUploadedFile("a.pdf", content)})


def test_a_document_that_is_dropped_is_answered_in_four_verdicts(client, cast, inspection):
    client.force_login(cast.stranger)
    assert client.get("/documents/check").status_code == 200
    text = drop(client, bytes(documents(inspection)[0].content)).content.decode()
    assert text.count('data-label="Answer">holds<') == 4
    assert "Did this service keep the file" in text


def test_anything_that_is_dropped_gets_an_answer(client, cast):
    client.force_login(cast.colleague)
    assert drop(client, b"<script>alert(1)</script>").content.decode().count('data-label="Answer">fails<') == 4
    assert client.post("/documents/check").status_code == 422


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("w28/usual/7/sheet", 200),
        ("w28/usual/7/answers", 200),
        ("w28/usual/7/record", 404),
        ("w28/hard/7/sheet", 404),
        ("w99/usual/7/sheet", 404),
        ("w28/usual/9223372036854775808/sheet", 404),
    ],
)
def test_a_practice_reel_is_printed_by_its_seed(client, cast, path, status):
    builders.make_type()
    answer = ask(client, cast.colleague, f"/documents/practice/{path}.pdf")
    assert answer.status_code == status
    assert (answer.headers["Content-Type"] == "application/pdf") is (status == 200)
