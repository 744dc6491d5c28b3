"""Pages of wrap gauges: the step of a count, the return, the list, and what administrators register."""

import pytest

from inspections.services import counting
from reels.models import WrapGauge
from reels.services.history import Actor
from tests import builders, stories
from tests.builders import NOW, Cast
from tests.inspections.pages.count.worksheet_steps import SCALES, SEEN, page_of, send
from tests.page_fixtures import logged_in
from tests.well_formed import faults_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]
TAKEN = {"wrap_gauge": "WG-RM-7", "end_marks_match": "on"}


@pytest.fixture
def cast():
    builders.make_reel()
    builders.make_gauge()
    return Cast.as_needed()


@pytest.fixture
def scales_agreed(cast):
    """A count of which both have keyed the scales, and no gauge taken yet."""
    counted = builders.open_count(cast, has_gauge=False)
    stories.key_both(cast, counted, *stories.BEFORE_THE_SCALES)
    send(logged_in(cast.technician), f"/inspections/{counted.pk}/worksheet", **SEEN[SCALES])
    scales = {name: SEEN[SCALES][name] for name in ("scale_left", "scale_right")}
    send(logged_in(cast.verifier), f"/inspections/{counted.pk}/witness", **scales)
    return counted


def test_the_worksheet_leads_to_the_gauge_before_wraps_are_counted_and_the_verifier_waits(cast, scales_agreed):
    technician, address = logged_in(cast.technician), f"/inspections/{scales_agreed.pk}/gauge"
    assert technician.get(f"/inspections/{scales_agreed.pk}/worksheet").headers["Location"] == address
    witness = page_of(logged_in(cast.verifier), f"/inspections/{scales_agreed.pk}/witness")
    assert "The technician keys the serial of the wrap gauge first." in witness
    html = page_of(technician, address)
    assert faults_of(html) == []
    assert "WG-RM-7" not in html, "its serial is read off the gauge, and never preset"
    answer = send(technician, address, **TAKEN)
    assert answer.headers["Location"] == f"/inspections/{scales_agreed.pk}/worksheet"
    worksheet = page_of(technician, answer.headers["Location"])
    assert "Wrap gauge WG-RM-7 of machine RM-7: it fits, and is not past due." in worksheet
    assert 'name="hand_wraps"' in worksheet
    assert 'name="hand_wraps"' in page_of(logged_in(cast.verifier), f"/inspections/{scales_agreed.pk}/witness")


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"wrap_gauge": "WG-RM-7"}, "Match the end marks of the gauge to the mounting of its machine."),
        ({**TAKEN, "wrap_gauge": "WG-1987"}, "Wrap gauge WG-1987 is not in the register"),
        ({"end_marks_match": "on"}, "Read the serial off the gauge and key it."),
    ],
)
def test_what_is_wrong_is_said_and_what_was_typed_stays(cast, scales_agreed, typed, said):
    answer = send(logged_in(cast.technician), f"/inspections/{scales_agreed.pk}/gauge", **typed)
    html = answer.content.decode()
    assert (answer.status_code, faults_of(html)) == (422, [])
    assert said in html
    assert typed.get("wrap_gauge", "") in html


def test_the_end_of_a_count_asks_for_the_gauge_by_its_machine(cast):
    counted = builders.open_count(cast)
    technician = logged_in(cast.technician)
    page = f"/inspections/{counted.pk}"
    assert "The wrap gauge is out" in page_of(technician, page)
    counting.cancel(inspection_id=counted.pk, reason="rain", actor=Actor(cast.technician), at=NOW)
    html = page_of(technician, page)
    assert faults_of(html) == []
    assert "Put the wrap gauge back" in html
    assert "Gauge <strong>WG-0001</strong> of machine <strong>RM-7</strong> is out since" in html
    refused = send(technician, f"{page}/gauge/return", wrap_gauge="WG-RM-7")
    assert "WG-RM-7 was keyed; out for inspection" in refused.content.decode()
    assert send(technician, f"{page}/gauge/return", wrap_gauge="WG-0001").headers["Location"] == page
    assert "Put the wrap gauge back" not in page_of(technician, page)
    assert technician.get(f"{page}/gauge/return").headers["Location"] == page


def test_the_result_asks_for_the_gauge_too(cast):
    worked = builders.read(cast, builders.open_count(cast))
    assert "Put the wrap gauge back" in page_of(logged_in(cast.technician), f"/inspections/{worked.pk}/result")


def test_the_list_says_which_are_out_first_since_when_and_with_whom(cast):
    builders.open_count(cast)
    builders.make_gauge("WG-0", calibrated_on=NOW.date().replace(year=2024), due=NOW.date().replace(day=1))
    html = page_of(logged_in(cast.colleague), "/gauges")
    assert faults_of(html) == []
    assert html.index("WG-0001") < html.index("WG-0<")
    assert "with Tess Hollin, for" in html
    assert "1 wrap gauge is out, of 3." in html
    assert "Past due" in html


def test_an_administrator_registers_calibrates_and_moves_a_gauge(cast):
    ada = logged_in(builders.administrator())
    builders.make_machine("RM-8")
    calibration = {"calibrated_on": "2026-02-01", "due": "2027-02-01"}
    typed = {"serial": "WG-40", "machine": "RM-7", "types": "w28", **calibration}
    html = page_of(ada, "/gauges/register")
    assert faults_of(html) == []
    assert send(ada, "/gauges/register", **typed).headers["Location"] == "/gauges"
    assert send(ada, "/gauges/WG-40/machine", machine="RM-8").headers["Location"] == "/gauges"
    assert send(ada, "/gauges/WG-40/calibration", **{**calibration, "due": "2028-02-01"}).status_code == 302
    gauge = WrapGauge.objects.get(serial="WG-40")
    assert (gauge.machine.serial, gauge.calibrations.count()) == ("RM-8", 2)
    assert "already a wrap gauge" in send(ada, "/gauges/register", **typed).content.decode()
