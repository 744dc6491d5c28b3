import csv
import io

import pytest

from reports.services import monthly
from tests import builders
from tests.page_fixtures import logged_in
from tests.reports.a_month import february, work_a_month
from tests.reports.programs import run
from tests.well_formed import faults_of
from tests.worker import work_off

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]


@pytest.fixture
def cast():
    return work_a_month()


def html_of(person, query=""):
    answer = logged_in(person).get(f"/monthly{query}")
    assert answer.status_code == 200
    assert faults_of(answer.content.decode()) == []
    return answer.content.decode()


def rows_of(person, query=""):
    answer = logged_in(person).get(f"/monthly.csv{query}")
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8"
    return list(csv.DictReader(io.StringIO(answer.getvalue().decode())))


def cells_of(html, head):
    """The cells of the row under a head, or the one figure under its name."""
    if f"<dt>{head}</dt>" in html:
        return [html.split(f"<dt>{head}</dt><dd>")[1].split("<")[0]]
    row = html.split(f'<th scope="row">{head}</th>')[1].split("</tr>")[0]
    return [cell.split("<")[0] for cell in row.split('">')[1:]]


def test_the_last_whole_month_is_shown_unless_another_is_asked_for(cast):
    html = html_of(cast.control)
    assert "February 2026, Kettle Point" in html
    assert cells_of(html, "Held") == ["1", "0"]
    assert cells_of(html, "Counted") == ["0", "1"]
    assert cells_of(html, "Counts done and signed") == ["2"]
    assert cells_of(html, "Cut, by the log") == ["12.5 m"]
    assert cells_of(html, "Unlogged, as inferred") == ["not assessed"]
    assert cells_of(html, "kink") == ["cable", "watch", "2", "1", "1"]
    assert cells_of(html, "LW-0002") == ["19 Feb 2026", "1 Mar 2026", "10.0", "a bent flange"]
    assert cells_of(html, "Hugo Wick") == ["count", "every type", "Kettle Point", "10 Mar 2026"]
    assert "2 holds, 12.5 days together in the period; 0 still on today." in html


def test_any_period_may_be_asked_for_and_its_files_are_of_the_same(cast):
    query = "?site=kettle-point&since=2026-02-06&until=2026-02-12"
    html = html_of(cast.control, query)
    assert "6 February 2026 to 12 February 2026, Kettle Point" in html
    assert cells_of(html, "Counts done and signed") == ["1"]
    for address in ("/monthly.csv", "/documents/monthly.pdf"):
        assert f'href="{address}{query.replace("&", "&amp;")}"' in html
    assert [row["value"] for row in rows_of(cast.control, query) if row["name"] == "signed"] == ["1"]


def test_a_period_that_cannot_be_says_so_and_the_rest_is_kept(cast):
    html = html_of(cast.control, "?site=kettle-point&since=2026-02-06&until=2026-01-12")
    assert "You entered 2026-01-12, and the period begins on 2026-02-06; it ends then or later." in html
    assert "6 February 2026 to 28 February 2026, Kettle Point" in html
    assert "days from 1970-01-01 to 2199-12-31 are looked at" in html_of(cast.control, "?until=9999-12-31")
    assert "a day is needed, such as" in html_of(cast.control, "?since=soon")


def test_lengths_are_in_the_readers_unit_and_in_metres_in_the_file(cast):
    cast.control.length_unit = "ft"
    cast.control.save(update_fields=["length_unit"])
    assert cells_of(html_of(cast.control), "Cut, by the log") == ["41.01 ft"]
    [cut] = [row for row in rows_of(cast.control) if row["name"] == "cut"]
    assert (cut["value"], cut["unit"]) == ("12.500", "metres")


def test_what_is_at_another_site_is_not_shown(cast):
    html = html_of(cast.stranger)
    assert "February 2026, Aldermere" in html
    assert cells_of(html, "All reels") == ["0", "0"]
    assert "LW-0002" not in html
    assert "Hugo Wick" not in html
    [*_, total] = [row for row in rows_of(cast.stranger, "?site=kettle-point") if row["part"] == "reels_now"]
    assert total["value"] == "0"


def test_who_answers_for_no_site_sees_no_names(cast):
    html = html_of(cast.technician)
    assert cells_of(html, "Counts done and signed") == ["2"]
    assert "Hugo Wick" not in html
    assert "None ends in the period or the next (March 2026), as far as you may see." in html
    assert [row for row in rows_of(cast.technician) if row["part"] == "authorisations_that_end"] == []


def test_the_document_says_the_same(cast, tmp_path):
    answer = logged_in(cast.control).get("/documents/monthly.pdf?site=kettle-point")
    assert answer.headers["Content-Type"] == "application/pdf"
    path = tmp_path / "monthly.pdf"
    path.write_bytes(answer.content)
    text = " ".join(run("pdftotext", "-layout", path, "-").split())
    for words in ("Monthly report: February 2026, Kettle Point", "Cut, by the log 12.5 m", "not assessed",
                  "kink cable watch 2 1 1", "LW-0002 19 Feb 2026 1 Mar 2026 10.0 a bent flange",
                  "Hugo Wick count every type Kettle Point 10 Mar 2026", "not a record itself"):  # fmt: skip
        assert words in text


def test_a_large_one_is_the_workers_and_the_page_goes_on_by_itself(cast, monkeypatch):
    monkeypatch.setattr(monthly, "MOST_REELS", 2)
    for address in ("/monthly", "/documents/monthly.pdf", "/monthly.csv"):
        answer = logged_in(cast.control).get(address)
        assert answer.status_code == 202
        assert "Monthly report, February 2026: waiting" in answer.content.decode()
    work_off()
    html = html_of(cast.control)
    assert cells_of(html, "Counts done and signed") == ["2"]
    assert "it is worked out again" not in html


def test_the_page_costs_as_many_queries_for_many_reels_as_for_few(cast, count_queries):
    few = count_queries(lambda: html_of(cast.control))
    for number in range(10, 30):
        builders.make_reel(f"LW-{number:04}")
        builders.log_event(cast, "respooled", f"LW-{number:04}", february(20), february(20))
    assert count_queries(lambda: html_of(cast.control)) == few
