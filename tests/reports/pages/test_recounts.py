import csv
from datetime import timedelta
from typing import Any

import pytest

from inspections.services import maintenance
from reels.models import Reel
from reels.services import register
from reels.services.history import Actor
from reports.services import assessments, recounts
from reports.services.recounts import counts_worth_making
from tests import builders
from tests.builders import NOW, Cast
from tests.inspections.services.intake.test_records import COUNTS_HEADER, bring_in
from tests.page_fixtures import logged_in
from tests.reports.fleet import BEGIN, COUNTS_A_REEL, bring_in_fleet
from tests.well_formed import faults_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]
LAST = BEGIN + timedelta(days=14 * COUNTS_A_REEL)


@pytest.fixture
def cast():
    """Two reels at two sites of which the newest count is lower than those before it."""
    cast = Cast.as_needed()
    bring_in_fleet()
    fewer = f"LW-0002,{LAST.isoformat()},12,10,,,\nLW-0004,{LAST.isoformat()},12,10,,,\n"
    bring_in({"counts.csv": COUNTS_HEADER + fewer})
    assessments.bring_up_to_date(at=NOW)
    return cast


def html_of(person, query=""):
    assessments.bring_up_to_date(at=NOW)
    answer = logged_in(person).get(f"/drift/recounts{query}")
    assert answer.status_code == 200
    assert faults_of(answer.content.decode()) == []
    return answer.content.decode()


def test_a_reel_whose_newest_count_may_be_a_cut_or_a_slip_is_worth_a_count(cast):
    html = html_of(cast.control)
    assert 'href="/reels/LW-0002/drift">LW-0002</a>' in html
    assert "The newest count, 12 layers, 10 wraps, even, of 16 Nov 2024, makes the cable" in html
    assert "LW-0003" not in html
    assert "1 reel." in html


def test_the_reason_and_the_file_say_the_same_and_a_site_can_be_chosen(cast):
    auditor = builders.make_person("odile")
    register.post_person(person=auditor, site=None, valid_from=BEGIN, **builders.by_administrator())
    rows = list(csv.DictReader(logged_in(auditor).get("/drift/recounts.csv").getvalue().decode().splitlines()))
    assert {row["reel"] for row in rows} == {"LW-0002", "LW-0004"}
    worths = [float(row["worth_bits"]) for row in rows]
    assert worths == sorted(worths, reverse=True)
    assert all(0 < float(row["p_unlogged_cut"]) < 1 for row in rows)
    html = html_of(auditor, "?site=aldermere")
    assert ("LW-0004" in html, "LW-0002" in html) == (True, False)
    assert 'href="/drift/recounts.csv?site=aldermere"' in html


def test_one_more_count_as_low_settles_it(cast):
    at = LAST + timedelta(days=14)
    for n in range(3):
        bring_in({"counts.csv": COUNTS_HEADER + f"LW-0002,{(at + timedelta(days=n)).isoformat()},12,10,,,\n"})
    assert "LW-0002" not in html_of(cast.control)
    assert "No further count is needed" in html_of(cast.control)


def test_a_reel_that_is_retired_is_not_counted_and_a_held_one_says_so_first(cast):
    by: dict[str, Any] = {"serial": "LW-0002", "actor": Actor(cast.control), "at": NOW}
    maintenance.place_hold(reason="Rust.", **by)
    assert "It is held: the hold comes first." in html_of(cast.control)
    maintenance.end_hold(reason="Gone.", **by)
    maintenance.retire(reason="Cracked.", **by)
    assert "LW-0002" not in html_of(cast.control)


def test_the_reels_own_page_says_what_one_more_count_would_tell(cast):
    def page(serial):
        return logged_in(cast.control).get(f"/reels/{serial}/drift").content.decode()

    assert "Whether the newest count shows an unlogged cut is in doubt" in page("LW-0002")
    assert "One more count now would add little" in page("LW-0003")


def test_a_stranger_is_told_nothing_and_nobody_logs_in(cast, client):
    assert "LW-0002" not in html_of(cast.stranger)
    for name in ("recounts", "recounts.csv"):
        assert client.get(f"/drift/{name}").url.startswith("/login?next=")


def test_the_least_certain_are_weighed_in_as_many_queries_for_one_as_for_many(cast, count_queries, monkeypatch):
    html_of(cast.control)
    reels = Reel.objects.select_related("type", "site", "chain")
    many = count_queries(lambda: counts_worth_making(reels, {}))
    assert len(counts_worth_making(reels, {})) == 2
    monkeypatch.setattr(recounts, "WEIGHED", 1)
    assert count_queries(lambda: counts_worth_making(reels, {})) == many == 7
    assert len(counts_worth_making(reels, {})) == 1
