import pytest

from reports.services import assessments
from tests.builders import NOW, Cast
from tests.inspections.services.intake.test_records import COUNTS_HEADER, bring_in
from tests.page_fixtures import logged_in, on_the_day
from tests.reports.fleet import bring_in_fleet
from tests.reports.pages.test_recounts import LAST

__all__ = ["on_the_day"]
pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("on_the_day")]


@pytest.fixture
def cast():
    cast = Cast.as_needed()
    bring_in_fleet()
    bring_in({"counts.csv": COUNTS_HEADER + f"LW-0002,{LAST.isoformat()},12,10,,,\n"})
    assessments.bring_up_to_date(at=NOW)
    return cast


def results(person, query=""):
    return logged_in(person).get(f"/api/v1/reports/recounts{query}").json()["results"]


def test_it_lists_the_reels_of_which_one_more_count_would_tell_something(cast):
    [row] = results(cast.colleague)
    assert (row["reel"], row["layers"], row["wraps"]) == ("LW-0002", 12, 10)
    assert 0 < row["worth_bits"] <= row["doubt_bits"] <= 1
    assert row["settled_share"] == pytest.approx(row["worth_bits"] / row["doubt_bits"], abs=1e-6)


def test_another_sites_reels_are_not_there(cast):
    assert results(cast.stranger) == results(cast.colleague, "?site=aldermere") == []
