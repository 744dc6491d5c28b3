"""The pages of a third reading: asked for at the step, found in the list of reels, keyed blind."""

import re

import pytest

from inspections.domain.words import Act, Point, Role
from inspections.models import ThirdReading
from tests import builders, stories
from tests.inspections.pages.count.worksheet_steps import page_of, send
from tests.page_fixtures import logged_in
from tests.well_formed import faults_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]

BLIND = re.compile("(?<![0-9a-f])77[123](?![0-9a-f])")  # and no part of a digest


@pytest.fixture
def inspection(cast):
    """The technician keyed 771 at the left scale, the verifier 13."""
    return stories.differ(cast, stories.at_the_scales(cast), scale_left=771)


@pytest.fixture
def asked(cast, inspection):
    return stories.ask_third(cast, inspection)


def at(inspection, part):
    return f"/inspections/{inspection.pk}/{part}"


def third_page(asked):
    return at(asked.reading.inspection, f"third-readings/{asked.pk}")


@pytest.mark.parametrize(("part", "page"), [("technician", "worksheet"), ("verifier", "witness")])
def test_either_asks_at_their_step_and_goes_back_to_it(cast, inspection, part, page):
    client = logged_in(getattr(cast, part))
    request = at(inspection, "third-readings/scale_left/request")
    assert f'href="{request}"' in page_of(client, at(inspection, page))
    answer = send(client, request)
    assert (answer.status_code, answer.headers["Location"]) == (302, at(inspection, page))
    shown = page_of(client, at(inspection, page))
    [asked] = ThirdReading.objects.all()
    assert f'href="{request}"' not in shown
    assert f'href="{third_page(asked)}/end"' in shown
    assert 'name="scale_left"' not in shown
    assert 'name="scale_right"' in shown
    assert faults_of(shown) == []


def test_nothing_is_offered_where_the_two_do_not_differ(cast):
    inspection = stories.at_the_scales(cast)
    stories.key(cast, inspection, Point.SCALE_LEFT)
    assert "third" not in page_of(logged_in(cast.technician), at(inspection, "worksheet"))


def test_with_nothing_else_to_key_the_step_waits_for_it(cast, asked):
    inspection = asked.reading.inspection
    stories.key(cast, inspection, Point.SCALE_RIGHT)
    stories.key(cast, inspection, Point.UNWIND)
    shown = page_of(logged_in(cast.technician), at(inspection, "worksheet"))
    assert "Waiting for a third reading" not in shown  # the verifier has the right scale to key
    stories.key(cast, inspection, Point.SCALE_RIGHT, Role.VERIFIER)
    shown = page_of(logged_in(cast.technician), at(inspection, "worksheet"))
    assert '<h2 id="waits">Waiting for a third reading</h2>' in shown
    assert "data-live" in shown


def test_who_may_make_it_finds_it_and_nobody_else(cast, asked):
    person = stories.third_person(cast)
    for somebody, finds in ((person, True), (cast.technician, False), (cast.colleague, False)):
        client = logged_in(somebody)
        for page in ("/reels", at(asked.reading.inspection, "").rstrip("/")):
            assert (f'href="{third_page(asked)}"' in page_of(client, page)) is finds, (somebody, page)


def test_the_third_person_sees_neither_value_and_the_two_see_none_of_theirs(cast, asked):
    person, inspection = stories.third_person(cast), asked.reading.inspection
    client = logged_in(person)
    shown = page_of(client, third_page(asked))
    assert not BLIND.search(shown)
    assert faults_of(shown) == []
    assert "How to read it" in shown
    answer = send(client, third_page(asked), scale_left="772")
    assert answer.headers["Location"] == at(inspection, "").rstrip("/")
    for somebody, page in ((cast.technician, "worksheet"), (cast.verifier, "witness"), (cast.technician, ""),
                           (cast.verifier, ""), (person, "")):  # fmt: skip
        told = page_of(logged_in(somebody), at(inspection, page).rstrip("/"))
        assert "neither" in told
        assert not BLIND.search(told.replace("771", "") if page == "worksheet" else told)
    assert not BLIND.search(page_of(logged_in(cast.verifier), "/reels/LW-0001"))


def test_once_the_two_agree_its_number_is_on_the_page_of_the_count(cast, asked):
    stories.read_third(cast, asked, scale_left=773)
    inspection = asked.reading.inspection
    stories.key_both(cast, inspection, Point.SCALE_LEFT)
    assert "agrees with neither (773)" in page_of(logged_in(cast.verifier), at(inspection, "").rstrip("/"))


def test_one_of_the_two_is_refused_the_third_persons_page_and_others_the_request(cast, asked):
    inspection = asked.reading.inspection
    assert logged_in(cast.verifier).get(third_page(asked)).status_code == 403
    assert logged_in(cast.verifier).get(f"{third_page(asked)}/end").status_code == 403
    request = at(inspection, "third-readings/hand_count/request")
    assert logged_in(stories.third_person(cast)).get(request).status_code == 403
    assert logged_in(cast.technician).get(at(inspection, "third-readings/nothing/request")).status_code == 404


def test_a_form_that_was_open_when_it_was_asked_for_is_refused_and_kept(cast, inspection):
    client = logged_in(cast.verifier)
    page = at(inspection, "witness")
    before = page_of(client, page)
    stories.ask_third(cast, inspection)
    hidden = dict(re.findall(r'<input type="hidden" name="(token|seen|reading)" value="([^"]*)"', before))
    typed = {**hidden, "points": ["scale_left"], "scale_left": "13"}
    answer = client.post(page, typed)
    assert answer.status_code == 422
    assert "closed until that is done" in answer.content.decode()


def test_the_gauge_is_read_on_the_face_that_the_agreed_layers_ask_for(cast):
    inspection = stories.at_the_scales(cast)
    stories.key_both(cast, inspection, Point.SCALE_LEFT, Point.SCALE_RIGHT, Point.UNWIND, Point.HAND_COUNT)
    stories.differ(cast, inspection, Point.GAUGE, gauge_face="odd", gauge_wraps=11)
    asked = stories.ask_third(cast, inspection, Point.GAUGE)
    shown = page_of(logged_in(stories.third_person(cast)), third_page(asked))
    assert "on its <strong>even</strong> face" in shown
    assert 'name="gauge_wraps"' in shown
    assert 'name="gauge_face"' not in shown


def test_taken_back_the_point_is_open_again(cast, asked):
    client, inspection = logged_in(cast.technician), asked.reading.inspection
    assert send(client, f"{third_page(asked)}/end").headers["Location"] == at(inspection, "worksheet")
    assert 'name="scale_left"' in page_of(client, at(inspection, "worksheet"))
    builders.authorise(cast.setter, Act.VERIFY)
    assert logged_in(cast.setter).get(third_page(asked)).status_code == 302
