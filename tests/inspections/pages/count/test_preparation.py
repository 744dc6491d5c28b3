"""What the preparation offers, so that little is left to key."""

import re

import pytest

from inspections.domain.words import Act
from inspections.models import Inspection
from inspections.queries.counts import work_orders_of_late
from reels.models import Site
from tests import builders
from tests.builders import NOW, later
from tests.inspections.pages.count.test_worksheet import PREPARED
from tests.inspections.pages.count.worksheet_steps import page_of, send
from tests.page_fixtures import logged_in
from tests.well_formed import faults_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]

PAGE = "/reels/LW-0001/count"
OFFERED = re.compile(r'name="recent_work_order" value="([^"]*)"')
WITHOUT_ORDER = {name: value for name, value in PREPARED.items() if name != "work_order"}


def count_of(cast, number, *, work_order, at=NOW, **reel):
    serial = f"LW-1{number:03}"
    builders.make_reel(serial, **reel)
    return builders.open_count(cast, serial, at, has_gauge=False, work_order=work_order)


def test_work_orders_of_the_sites_last_days_are_offered_newest_first_and_none_is_preset(cast):
    for number, work_order in enumerate(("WO-2", "WO-3", "WO-2", "WO-4")):
        count_of(cast, number, work_order=work_order, at=later(days=-4 + number))
    count_of(cast, 9, work_order="WO-1", at=later(days=-8))
    html = page_of(logged_in(cast.technician), PAGE)
    assert faults_of(html) == []
    assert OFFERED.findall(html) == ["WO-4", "WO-2", "WO-3", ""]
    assert re.search(r'value="WO-\d"[^>]*checked', html) is None


def test_a_work_order_that_is_offered_is_taken_by_one_choice(cast):
    count_of(cast, 0, work_order="WO-2")
    assert send(logged_in(cast.technician), PAGE, **WITHOUT_ORDER, recent_work_order="WO-2").status_code == 302
    assert Inspection.objects.get(reel__serial="LW-0001").work_order == "WO-2"


def test_another_work_order_is_keyed(cast):
    count_of(cast, 0, work_order="WO-2")
    assert send(logged_in(cast.technician), PAGE, **PREPARED, recent_work_order="").status_code == 302
    assert Inspection.objects.get(reel__serial="LW-0001").work_order == "WO-7"


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({"recent_work_order": "WO-2", "work_order": "WO-7"}, "Choose WO-2 or key another work order, not both."),
        ({"recent_work_order": "", "work_order": " "}, "Name the work order."),
        ({"recent_work_order": "", "work_order": "W" * 61}, "at most 60"),
    ],
)
def test_a_work_order_is_either_chosen_or_keyed(cast, sent, said):
    count_of(cast, 0, work_order="WO-2")
    answer = send(logged_in(cast.technician), PAGE, **WITHOUT_ORDER, **sent)
    assert (answer.status_code, said in answer.content.decode()) == (422, True)
    assert answer.content.decode().count('class="hint stop"') == 1


def test_where_no_count_was_of_late_the_work_order_is_keyed_as_before(cast):
    html = page_of(logged_in(cast.technician), PAGE)
    assert OFFERED.findall(html) == []
    assert "Another work order" not in html


def test_work_orders_of_other_sites_and_more_than_four_are_not_offered(cast, count_queries):
    aldermere = builders.make_site("aldermere", "Aldermere")
    for number in range(6):
        count_of(cast, number, work_order=f"WO-{number}")
    builders.authorise(cast.technician, Act.COUNT, site=aldermere)
    site = Site.objects.get(code="kettle-point")
    asked = []
    assert count_queries(lambda: asked.append(work_orders_of_late(site, NOW))) == 2
    assert asked == [["WO-5", "WO-4", "WO-3", "WO-2"]]
    assert work_orders_of_late(aldermere, NOW) == []


def test_the_verifier_is_led_from_the_reels_page_to_the_witness_page(cast):
    inspection = builders.open_count(cast, has_gauge=False)
    witness, worksheet = (f'href="/inspections/{inspection.pk}/{page}"' for page in ("witness", "worksheet"))
    for person, ways in (
        (cast.verifier, (True, False)),
        (cast.technician, (False, True)),
        (cast.colleague, (False,) * 2),
    ):
        html = page_of(logged_in(person), "/reels/LW-0001")
        assert (witness in html, worksheet in html) == ways
