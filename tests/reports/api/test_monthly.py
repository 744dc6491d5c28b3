import pytest

from reports.services import monthly
from tests.page_fixtures import logged_in, on_the_day
from tests.reports.a_month import work_a_month

__all__ = ["on_the_day"]
pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("on_the_day")]
PATH = "/api/v1/reports/monthly"


@pytest.fixture
def cast():
    return work_a_month()


def told(person, query=""):
    answer = logged_in(person).get(PATH + query)
    assert answer.status_code == 200, answer.content
    return answer.json()


def test_it_holds_the_figures_of_the_page(cast):
    body = told(cast.control)
    assert (body["since"], body["until"], body["sites"]) == ("2026-02-01", "2026-02-28", ["kettle-point"])
    at_end = {each["status"]: each["reels"] for each in body["reels_at_end"]["by_status"] if each["reels"]}
    assert at_end == {"installed_without_values": 1, "held": 1, "awaiting_count": 1}
    assert (body["reels_at_end"]["at"], body["reels_at_end"]["count_due"]) == ("2026-03-01T00:00:00Z", 1)
    assert (body["counts"]["signed"], body["counts"]["rereads"], body["setup_values"]["withdrawn"]) == (2, 1, 1)
    assert body["findings"] == [
        {"part": "cable", "kind": "kink", "severity": "watch", "recorded": 2, "closed": 1, "still_open": 1}
    ]
    assert {"ending": "miscount", "flags": 1} in body["flags"]["closed"]
    assert body["cable"] == {
        "cuts": 1, "cut_m": "12.500", "replaced": 0, "assessed_at": None, "inferred": None, "intervals": []
    }  # fmt: skip
    assert [(each["what"], each["days"]) for each in body["holds"]] == [("LW-0002", 10.0), ("LW-0003", 2.5)]
    assert [each["person"] for each in body["authorisations_that_end"]] == ["Hugo Wick"]


def test_a_stranger_is_told_of_their_own_site_and_a_colleague_no_names(cast):
    assert told(cast.stranger)["sites"] == ["aldermere"]
    assert told(cast.stranger, "?site=kettle-point")["sites"] == []
    assert told(cast.colleague)["authorisations_that_end"] == []


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("?since=2026-02-06&until=2026-02-05", "The period begins on 2026-02-06, so it ends then or later"),
        ("?until=9999-12-31", "Days from 1970-01-01 to 2199-12-31 are looked at"),
        ("?since=soon", "A day is needed here"),
        ("?month=2", "There is no parameter month here"),
    ],
)
def test_a_period_that_cannot_be_is_refused_in_words(cast, query, words):
    answer = logged_in(cast.control).get(PATH + query)
    assert answer.status_code == 400
    assert words in str(answer.json()["errors"])


def test_nobody_is_told_anything(client, db):
    assert client.get(PATH).status_code == 401


def test_a_large_one_is_the_workers(cast, monkeypatch):
    monkeypatch.setattr(monthly, "MOST_REELS", 2)
    answer = logged_in(cast.control).get(PATH)
    assert (answer.status_code, answer.json()["title"]) == (202, "Monthly report, February 2026")
