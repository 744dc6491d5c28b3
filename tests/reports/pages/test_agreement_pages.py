import csv

import pytest

from inspections.domain.words import Point, Role
from tests import builders
from tests.builders import Cast
from tests.page_fixtures import logged_in
from tests.reports.first_readings import bring_in_many, key, keyed_count
from tests.well_formed import faults_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]
PAIRS = 80


@pytest.fixture
def cast():
    cast = Cast.as_needed()
    for number in range(1, 5):
        builders.make_reel(f"LW-{number:04}")
    bring_in_many(cast, PAIRS)
    return cast


def html_of(person, query=""):
    answer = logged_in(person).get(f"/repeatability{query}")
    assert answer.status_code == 200
    assert faults_of(answer.content.decode()) == []
    return answer.content.decode()


def rows_of(person, name, query=""):
    answer = logged_in(person).get(f"/{name}{query}")
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8"
    return list(csv.DictReader(answer.getvalue().decode().splitlines()))


def test_the_page_has_a_finding_a_figure_and_the_same_as_tables(cast):
    html = html_of(cast.verifier)
    assert f"In {PAIRS} pairs the hand count lies" in html
    assert "upper limit" in html
    assert "lower limit" in html
    assert "Stands out</span> Stands out: equal less often" in html.split('scope="row">WG-04<')[1].split("</tr>")[0]
    assert 'data-label="Kappa">0.' in html


def test_it_says_what_it_may_and_may_not_be_used_for(cast):
    html = html_of(cast.colleague)
    assert "To rank, reward or blame people." in html
    assert html.index("What it may not be used for") < html.index("By technician")


def test_small_samples_are_said_to_be_small(cast):
    html = html_of(cast.verifier, "?gauge=WG-01&until=2025-04-30")
    assert "Too few pairs</span>" in html
    assert "conclude nothing" in html


def test_names_are_shown_to_whoever_verifies_there_and_to_nobody_else(cast):
    for query in ("", "?compare=hand", "?compare=gauge&site=kettle-point"):
        assert 'scope="row">Tess Hollin<' in html_of(cast.verifier, query)
        shown = html_of(cast.colleague, query)
        assert ("Tess Hollin" in shown, "1 person is not shown" in shown) == (False, True)
    [mine] = [row for row in rows_of(cast.verifier, "repeatability.csv") if row["group_by"] == "technician"]
    assert mine["group"] == "Tess Hollin"
    assert [row for row in rows_of(cast.control, "repeatability.csv") if row["group_by"] == "technician"] == []


def test_filters_stand_in_the_address_and_so_do_the_files(cast):
    html = html_of(cast.verifier, "?compare=hand&gauge=WG-02&since=2025-06-01")
    for name in ("repeatability.csv", "repeatability-pairs.csv", "repeatability.pdf"):
        assert f'href="/{name}?compare=hand&amp;gauge=WG-02&amp;since=2025-06-01"' in html


def test_a_filter_that_makes_no_sense_says_so_and_leaves_the_rest(cast):
    html = html_of(cast.verifier, "?since=yesterday&compare=feelings&gauge=WG-02")
    assert html.count('class="hint stop"') == 2
    assert f"In {PAIRS // 4} pairs the hand count lies" in html


def test_the_files_hold_what_the_page_shows(cast):
    pairs = rows_of(cast.colleague, "repeatability-pairs.csv")
    figures = rows_of(cast.colleague, "repeatability.csv")
    assert len(pairs) == PAIRS
    equal = sum(row["difference"] == "0" for row in pairs)
    assert (figures[0]["pairs"], figures[0]["equal"]) == (str(PAIRS), str(equal))
    assert float(figures[0]["bias"]) == pytest.approx(sum(int(row["difference"]) for row in pairs) / PAIRS, abs=1e-4)
    [worn] = [row for row in figures if row["group"] == "WG-04"]
    assert worn["standing"].startswith("Stands out: equal less often")
    assert set(pairs[0]) == {"inspection", "done_at", "reel", "reel_type", "site", "wrap_gauge", "first", "second",
                             "difference"}  # fmt: skip


def test_without_pairs_there_is_a_page_too(cast):
    html = html_of(cast.stranger)
    assert "There are not two pairs of readings yet." in html
    assert 'class="figure"' not in html
    assert rows_of(cast.stranger, "repeatability-pairs.csv") == []


def test_a_value_that_is_blind_is_on_no_page_and_in_no_file(cast):
    """Two people differ at the hand count of an open inspection: nobody may learn from here what either keyed."""
    before = rows_of(cast.verifier, "repeatability-pairs.csv", "?compare=hand")
    inspection = builders.open_count(cast, "LW-0003")
    for point in (Point.SERIAL, Point.OPEN_SIDE, Point.SCALE_LEFT, Point.SCALE_RIGHT):
        for role in Role:
            key(cast, inspection, point, role)
    key(cast, inspection, Point.UNWIND, Role.TECHNICIAN)
    key(cast, inspection, Point.HAND_COUNT, Role.TECHNICIAN, hand_wraps=7)
    key(cast, inspection, Point.HAND_COUNT, Role.VERIFIER, hand_wraps=8)
    assert rows_of(cast.verifier, "repeatability-pairs.csv", "?compare=hand") == before


def test_a_signed_count_is_in_the_figures(cast):
    builders.sign_both(cast, keyed_count(cast, "LW-0004"))
    assert len(rows_of(cast.verifier, "repeatability-pairs.csv", "?compare=hand")) == PAIRS + 1


def test_nobody_logs_in(client):
    for name in ("repeatability", "repeatability.csv", "repeatability-pairs.csv", "repeatability.pdf"):
        assert client.get(f"/{name}").url.startswith("/login?next=")
