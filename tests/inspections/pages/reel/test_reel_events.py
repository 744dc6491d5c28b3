"""Events on the pages of a reel."""

import pytest

from reels.models import ReelEvent, ReelType
from reels.services import register
from tests import builders
from tests.builders import Cast, by_administrator
from tests.page_fixtures import hidden_in, logged_in
from tests.well_formed import faults_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("on_the_day")]
PAGE = "/reels/LW-0001/event"
USED = {"kind": "used", "happened_at": "2026-03-02T08:30", "uses": "2", "length_out_m": "80", "words": "a survey"}


@pytest.fixture
def cast():
    cast = Cast.as_needed()
    builders.make_reel()
    return cast


def send(person, **typed):
    client = logged_in(person)
    html = client.get(PAGE).content.decode()
    assert faults_of(html) == []
    return client.post(PAGE, {**hidden_in(html), **typed})


def reel_page(cast):
    html = logged_in(cast.colleague).get("/reels/LW-0001").content.decode()
    assert faults_of(html) == []
    return html


def test_a_use_is_recorded_and_stands_on_the_reels_page(cast):
    assert send(cast.setter, **USED).status_code == 302
    event = ReelEvent.objects.get()
    assert (event.kind, event.uses, str(event.length_out_m), event.ends_count) == ("used", 2, "80.000", False)
    html = reel_page(cast)
    for said in ("2 uses", "holds", "80 m", "a survey"):
        assert said in html


def test_what_ended_the_last_count_and_until_when_it_is_current_is_on_the_page(cast):
    register.change(ReelType.objects.get(), count_days=30, **by_administrator())
    builders.signed_count(cast)
    assert "is current until" in reel_page(cast)
    assert send(cast.control, kind="respooled", happened_at="2026-03-02T09:00").status_code == 302
    html = reel_page(cast)
    assert "The last count is no longer current" in html
    assert "on 2026-03-02 this was recorded: re-spooled." in html


def test_an_incident_without_words_comes_back_with_all_that_was_typed(cast):
    answer = send(cast.control, kind="incident", happened_at="2026-03-02T08:30", incident="jam", document="WO-9")
    html = answer.content.decode()
    assert answer.status_code == 422
    assert "words was nothing; allowed: what happened, of an incident." in html
    assert 'value="WO-9"' in html
    assert not ReelEvent.objects.exists()
