import csv
import io
import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inspections.domain.words import Act, Meaning
from inspections.pages import paging
from inspections.services import maintenance, setup, signing
from reels.domain.ledger import Break
from reels.services.history import Actor
from reports.pages import audit
from reports.services.verification import VerificationResult
from reports.services.verification_runs import keep_run
from tests import builders, stories
from tests.builders import NOW, PASSWORD, Cast, later
from tests.page_fixtures import logged_in
from tests.well_formed import faults_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]


@pytest.fixture
def cast():
    cast = Cast.as_needed()
    builders.make_reel()
    return cast


def html_of(person, address="/audit"):
    answer = logged_in(person).get(address)
    assert answer.status_code == 200
    assert faults_of(answer.content.decode()) == []
    return answer.content.decode()


def lines(person, query=""):
    answer = logged_in(person).get(f"/audit.csv{query}")
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8"
    return list(csv.DictReader(io.StringIO(answer.getvalue().decode())))


def slowly_signed(cast, serial="LW-0001", at=NOW):
    """Two signatures five minutes apart, by whom it was counted and verified."""
    inspection = builders.read(cast, builders.open_count(cast, serial, at), at)
    builders.return_gauge(cast, inspection.pk, at)
    for person, meaning, minutes in ((cast.technician, "counted", 0), (cast.verifier, "verified", 5)):
        signing.sign(inspection_id=inspection.pk, meaning=Meaning(meaning), password=PASSWORD,
                     actor=Actor(person), at=at + timedelta(minutes=minutes))  # fmt: skip
    return inspection


def test_the_file_is_read_a_page_at_a_time_and_has_every_signature(cast, monkeypatch):
    builders.make_reel("LW-0002")
    for serial in ("LW-0001", "LW-0002"):
        builders.signed_count(cast, serial)
    whole = lines(cast.verifier)
    monkeypatch.setattr(audit, "ROWS_AT_ONCE", 3)
    with CaptureQueriesContext(connection) as seen:
        assert lines(cast.verifier) == whole
    pages = [query["sql"] for query in seen.captured_queries if query["sql"].endswith("LIMIT 3")]
    assert (len(whole), len(pages)) == (4, 2)


def test_every_signature_is_shown_the_newest_first(cast):
    inspection = slowly_signed(cast)
    html = html_of(cast.verifier)
    assert "2 signatures." in html
    assert html.index("Vic Amberley</td>") < html.index("Tess Hollin</td>")
    assert f'href="/inspections/{inspection.pk}"' in html
    columns = ("name", "meaning", "signed_at", "deserves_a_look")
    assert [tuple(row[name] for name in columns) for row in lines(cast.verifier)] == [
        ("Vic Amberley", "verified", "2026-03-02T09:05:00Z", ""),
        ("Tess Hollin", "counted", "2026-03-02T09:00:00Z", ""),
    ]


def test_two_signatures_within_half_a_minute_deserve_a_look(cast):
    builders.signed_count(cast)
    assert "Fast pair" in html_of(cast.verifier)
    assert len(lines(cast.verifier, "?look=fast_pair")) == 2
    assert lines(cast.verifier, "?look=near_end") == []


def test_always_the_same_two_deserve_a_look_from_five_counts_on(cast):
    for number in range(1, 6):
        builders.make_reel(f"LW-1{number:03}")
        slowly_signed(cast, f"LW-1{number:03}", later(hours=number))
        assert len(lines(cast.verifier, "?look=usual_pair")) == (0 if number < 5 else 10)
    assert "Always the same two" in html_of(cast.verifier)


def test_a_signature_near_the_end_of_an_authorisation_deserves_a_look():
    cast = Cast.as_needed()
    builders.make_reel()
    late = builders.make_person("liam", full_name="Liam Stroud")
    builders.authorise(late, Act.VERIFY, site=builders.make_site(), valid_until=later(days=10))
    cast.verifier = late
    slowly_signed(cast)
    [row] = lines(cast.control, "?look=near_end")
    assert (row["name"], row["deserves_a_look"]) == (
        "Liam Stroud", "Signed near the end of the authorisation: 12 Mar 2026."
    )  # fmt: skip


def test_read_back_refusals_voids_and_accepted_surprises_deserve_a_look(cast):
    inspection = slowly_signed(cast)
    values = builders.issued(cast)
    maintenance.install(serial="LW-0001", machine_serial="RM-7", actor=Actor(cast.control), at=NOW)
    setup.return_gauge(setup_id=values.pk, actor=Actor(cast.setter), at=NOW)
    for wraps in (11, 12):
        setup.key_read_back(setup_id=values.pk, layers=12, wraps=wraps, actor=Actor(cast.setter), at=NOW)
    assert {row["deserves_a_look"] for row in lines(cast.verifier)} == {"2 read-backs of its setup values refused."}
    stories.void(cast, inspection, later(hours=2))
    assert {row["deserves_a_look"] for row in lines(cast.verifier, "?look=void")} == {
        "2 read-backs of its setup values refused. Voided, or asked to be: the wrong reel"
    }


def test_a_surprising_count_that_was_accepted_deserves_a_look(cast):
    slowly_signed(cast)
    builders.signed_count(cast, at=later(days=30), scale_left=9, scale_right=8)
    rows = lines(cast.verifier, "?look=surprise")
    assert len(rows) == 2
    assert "Surprising, and accepted: read again by eye, it stands" in rows[0]["deserves_a_look"]
    assert len(lines(cast.verifier, "?look=any")) == 2


def test_signatures_are_filtered_by_person_site_reel_and_day(cast):
    builders.make_reel("LW-0002")
    slowly_signed(cast)
    slowly_signed(cast, "LW-0002", later(days=3))
    for query, number in {
        "person=tess": 2, "reel=0002": 2, "since=2026-03-03": 2, "until=2026-03-02": 2, "site=kettle-point": 4,
        "person=tess&reel=0002": 1, "since=nonsense": 4,
    }.items():  # fmt: skip
        assert (query, len(lines(cast.verifier, f"?{query}"))) == (query, number)
    assert 'href="/audit.csv?person=tess&amp;reel=0002"' in html_of(cast.verifier, "/audit?person=tess&reel=0002")


def test_who_verifies_sees_everybodys_authorisations_others_their_own(cast):
    builders.authorise(cast.setter, Act.CONFIRM, site=builders.make_site(), valid_until=later(days=20))
    html = html_of(cast.verifier)
    assert "ends soon" in html
    assert "Seth Bryce</th>" in html
    assert "Stella Marsh</th>" not in html
    own = html_of(cast.setter)
    assert "Your authorisations" in own
    assert "Tess Hollin</th>" not in own


def test_the_last_check_of_all_records_is_shown(cast):
    assert "have not been checked here yet" in html_of(cast.verifier)
    keep_run(VerificationResult(chains=2, replayed=2, entries=5, rows=9, signatures=0), None, at=NOW)
    assert "2 histories, 5 entries and 0 signatures" in html_of(cast.verifier)
    keep_run(VerificationResult(), Break(where="reel:LW-0001 entry 2", why="its digest differs"), at=later(hours=1))
    assert "its digest differs" in html_of(cast.verifier)


def test_a_stranger_sees_no_signature_and_nobody_logs_in(cast, client):
    slowly_signed(cast)
    assert "No inspection is signed yet at your sites." in html_of(cast.stranger)
    assert lines(cast.stranger) == []
    assert len(lines(cast.colleague)) == 2
    assert client.get("/audit").url == "/login?next=/audit"
    assert client.get("/audit.csv").url == "/login?next=/audit.csv"


def test_as_many_queries_for_many_signatures_as_for_few(cast):
    client, numbers = logged_in(cast.verifier), []
    slowly_signed(cast)
    client.get("/audit")  # the first request of a login also keeps when it was
    for count in (0, 3):
        for number in range(count):
            builders.make_reel(f"LW-2{number:03}")
            slowly_signed(cast, f"LW-2{number:03}")
        with CaptureQueriesContext(connection) as queries:
            client.get("/audit")
        numbers.append(len(queries))
    assert numbers[0] == numbers[1] <= 17


def test_pages_begin_beyond_the_last_row_there_and_back(cast, monkeypatch):
    monkeypatch.setattr(audit, "SIZE", 1)
    monkeypatch.setattr(paging, "MOST_COUNTED", 1)
    slowly_signed(cast)
    first = html_of(cast.control)
    assert "More than" in first
    second = html_of(cast.control, address_of("next", first))
    assert [cast.verifier.full_name in rows_of(page) for page in (first, second)] == [True, False]
    assert [cast.technician.full_name in rows_of(page) for page in (first, second)] == [False, True]
    assert 'rel="next"' not in second
    assert rows_of(html_of(cast.control, address_of("prev", second))) == rows_of(first)


def rows_of(html):
    return re.findall("<tbody>(.*?)</tbody>", html, re.DOTALL)[0]


def address_of(relation, html):
    [query] = re.findall(rf'rel="{relation}" href="([^"]+)"', html)
    return f"/audit{query.replace('&amp;', '&')}"
