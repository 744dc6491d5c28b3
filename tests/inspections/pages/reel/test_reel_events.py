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
LIMITS = {"cable_uses_soft": 2, "cable_uses_hard": 4, "reel_days_soft": 9999}
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
    assert "The last count has lapsed" in html
    assert "on 2026-03-02 this was recorded: re-spooled." in html


def test_an_incident_without_words_comes_back_with_all_that_was_typed(cast):
    answer = send(cast.control, kind="incident", happened_at="2026-03-02T08:30", incident="jam", document="WO-9")
    html = answer.content.decode()
    assert answer.status_code == 422
    assert "Nothing is entered; needed: what happened, of an incident." in html
    assert 'value="WO-9"' in html
    assert not ReelEvent.objects.exists()


# Lives and what is taken back ----------------------------------------------------------------------------------------


def test_lives_stand_beside_the_least_length_where_the_type_limits_them(cast):
    assert "of the cable</dt>" not in reel_page(cast)
    register.change(
        ReelType.objects.get(), cable_uses_soft=2, cable_uses_hard=4, reel_days_soft=9999, **by_administrator()
    )
    assert "<dt>Uses of the cable</dt><dd>0 uses; warned from 2, at most 4</dd>" in reel_page(cast)
    builders.log_event(cast, "used", uses=2)
    html = reel_page(cast)
    assert "<dt>Uses of the cable</dt><dd>2 uses; warned from 2, at most 4<br>" in html
    assert "Near the end of its life" in html
    assert "<dt>Age of the reel</dt>" in html
    board = logged_in(cast.control).get("/board").content.decode()
    assert "Near the end of its life</span>" in board
    builders.log_event(cast, "used", uses=2)
    html = reel_page(cast)
    assert "a hard limit of its type is reached: cable: 4 uses; warned from 2, at most 4" in html
    assert "At the end of its life" in html


def test_the_page_of_a_type_says_its_limits_and_by_what_its_counts_lapse(cast):
    register.change(ReelType.objects.get(), count_days=30, count_uses=1, reel_hours_hard=90, **by_administrator())
    html = logged_in(cast.control).get("/types/w28").content.decode()
    assert faults_of(html) == []
    assert "<dt>A count lapses after</dt><dd>30 days or 1 use</dd>" in html
    assert "<dt>Hours of the reel</dt><dd>at most 90 hours</dd>" in html


def test_an_event_is_taken_back_on_a_page_of_its_own_and_says_so_after(cast):
    event = builders.log_event(cast, "used", uses=2)
    address = f"/reels/LW-0001/events/{event.pk}/reversal"
    assert address in logged_in(cast.control).get("/reels/LW-0001").content.decode()
    client = logged_in(cast.control)
    html = client.get(address).content.decode()
    assert faults_of(html) == []
    assert "2 uses" in html
    assert client.post(address, {**hidden_in(html), "reason": "another reel"}).status_code == 302
    html = logged_in(cast.control).get("/reels/LW-0001").content.decode()
    assert "2 uses (reversed)" in html
    assert "entry reversed" in html
    assert address not in html
    assert "Event reversed" in logged_in(cast.control).get("/reels/LW-0001/history").content.decode()


def test_lists_say_what_ended_a_count(cast):
    builders.signed_count(cast)
    builders.log_event(cast, "respooled")
    said = "lapsed: on 2026-03-02 this was recorded: re-spooled"
    for page in ("/reels", "/board"):
        assert said in logged_in(cast.control).get(page).content.decode()
