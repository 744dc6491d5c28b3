"""The page of where a reel stood at a moment."""

import pytest

from inspections.services import maintenance
from reels.services.history import Actor
from tests import builders
from tests.builders import Cast, later
from tests.page_fixtures import logged_in
from tests.well_formed import faults_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("on_the_day")]
PAGE = "/reels/LW-0001/as-of"


@pytest.fixture
def cast():
    cast = Cast.as_needed()
    builders.make_reel()
    builders.make_machine()
    builders.signed_count(cast, at=later(days=-2))
    maintenance.install(serial="LW-0001", machine_serial="RM-7", happened_at=later(days=-1), at=later(hours=-1),
                        actor=Actor(cast.control))  # fmt: skip
    maintenance.place_hold(serial="LW-0001", reason="a bent flange", actor=Actor(cast.control), at=later(hours=-1))
    return cast


def look(person, query=""):
    html = logged_in(person).get(PAGE + query).content.decode()
    assert faults_of(html) == []
    return html[html.index("<main") :]


def test_it_is_told_both_ways_and_that_they_differ(cast):
    html = look(cast.colleague, "?at=2026-03-01T20:00")
    assert "The two differ: something was recorded later than it happened." in html
    happened, recorded = html.split('id="recorded"')
    for words in ("Installed in", "RM-7", "12 layers, 10 wraps", "not yet"):
        assert words in happened
    assert "RM-7" not in recorded
    assert "a bent flange" not in html


def test_without_a_moment_it_is_now_where_both_are_the_same(cast):
    html = look(cast.colleague)
    assert "Both are the same." in html
    assert html.count("a bent flange") == 4
    assert 'href="/reels/LW-0001/as-of"' in logged_in(cast.colleague).get("/reels/LW-0001").content.decode()


def test_before_it_was_on_record_the_page_says_so(cast):
    assert "The reel was not on record yet." in look(cast.colleague, "?at=2024-03-02T08:00")


@pytest.mark.parametrize(("query", "said"), [
    ("?at=2027-01-01T08:00", "This was 1 Jan 2027, 08:00 UTC; allowed: from 2024-03-01 to "),
    ("?at=noon", "a day and a time are needed"),
])  # fmt: skip
def test_what_cannot_be_is_answered_in_words(cast, query, said):
    assert said in look(cast.colleague, query)


def test_a_stranger_finds_no_reel(cast):
    assert logged_in(cast.stranger).get(PAGE).status_code == 404
