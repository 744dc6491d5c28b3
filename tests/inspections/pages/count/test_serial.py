"""Until both have keyed it from the data plate, no page or answer of a count shows the reel's serial."""

import re

import pytest

from inspections.models import Inspection
from tests import builders, stories
from tests.builders import Cast
from tests.inspections.pages.count.worksheet_steps import PLATE, SEEN, page_of, send
from tests.page_fixtures import logged_in
from tests.well_formed import faults_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]
IS_THERE = re.compile("QX-?4711", re.IGNORECASE)  # a random token may hold the digits
PARTS = ("", "/worksheet", "/witness", "/help", "/cancel", "/stamp", "/draft")


@pytest.fixture
def cast():
    builders.make_reel("QX-4711")
    return Cast.as_needed()


@pytest.fixture
def inspection(cast):
    return builders.open_count(cast, "QX-4711", has_gauge=False)


def told(cast, inspection):
    """All that anybody can look at of the count."""
    for person in (cast.technician, cast.verifier, cast.colleague, cast.releaser):
        client = logged_in(person)
        for part in PARTS:
            yield page_of(client, f"/inspections/{inspection.pk}{part}")
        yield client.get(f"/api/v1/inspections/{inspection.pk}").content.decode()
        yield client.get("/api/v1/inspections").content.decode()


def test_no_page_or_answer_of_a_count_shows_the_serial_until_both_have_keyed_it(cast, inspection):
    assert not [text for text in told(cast, inspection) if IS_THERE.search(text)]
    send(logged_in(cast.technician), f"/inspections/{inspection.pk}/worksheet", serial="qx4711")
    others = page_of(logged_in(cast.verifier), f"/inspections/{inspection.pk}/witness")
    assert not IS_THERE.search(others)
    assert f"Count {inspection.pk}" in others
    assert faults_of(others) == []
    send(logged_in(cast.verifier), f"/inspections/{inspection.pk}/witness", serial="QX-4711")
    assert "QX-4711" in page_of(logged_in(cast.verifier), f"/inspections/{inspection.pk}/witness")
    assert logged_in(cast.verifier).get(f"/api/v1/inspections/{inspection.pk}").json()["reel"] == "QX-4711"


def test_a_referred_count_hides_it_too(cast, inspection):
    stories.ask_for_help(cast, inspection)
    html = page_of(logged_in(cast.releaser), f"/inspections/{inspection.pk}/referral")
    assert not IS_THERE.search(html)
    assert faults_of(html) == []


def test_nothing_fills_the_serial_in(cast, inspection):
    html = page_of(logged_in(cast.technician), f"/inspections/{inspection.pk}/worksheet")
    assert 'name="serial"' in html
    assert 'autocomplete="off"' in html
    assert "from the data plate on the reel itself" in html


def test_another_reel_ends_the_count_and_the_page_says_what_to_do_now(cast, inspection):
    assert SEEN[PLATE] != {"serial": "QX-4711"}
    for person, part in ((cast.technician, "worksheet"), (cast.verifier, "witness")):
        answer = send(logged_in(person), f"/inspections/{inspection.pk}/{part}", **SEEN[PLATE])
        assert answer.status_code == 302
    assert Inspection._base_manager.get().state == "cancelled"
    address = f"/inspections/{inspection.pk}"
    assert logged_in(cast.verifier).get(f"{address}/witness").headers["Location"] == address
    html = page_of(logged_in(cast.verifier), address)
    assert "Another reel is on the stand: bring reel QX-4711 and begin again" in html
    assert html.count("lw 0001") >= 3  # as each keyed it, and in the reason
    assert faults_of(html) == []
