import re

import pytest

from inspections.domain.words import InspectionState, Point, Role
from inspections.models import Inspection
from inspections.services import counting, signing
from reels.services.history import Actor
from tests import builders
from tests.builders import Cast
from tests.page_fixtures import logged_in
from tests.pages_fleet import make_fleet
from tests.stories import at_the_scales
from tests.well_formed import faults_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]


def html_of(person, inspection):
    answer = logged_in(person).get(f"/inspections/{inspection.pk}")
    assert answer.status_code == 200
    assert faults_of(answer.content.decode()) == []
    return answer.content.decode()


def key(cast, inspection, point, role, **given):
    person = cast.technician if role is Role.TECHNICIAN else cast.verifier
    counting.key(
        inspection_id=inspection.pk, point=point, role=role, fields=given, actor=Actor(person), at=builders.NOW
    )


def test_a_signed_inspection_shows_preparation_readings_steps_and_signatures():
    fleet = make_fleet()
    html = html_of(fleet.cast.colleague, fleet.signed)
    assert f"<title>LW-0001, inspection {fleet.signed.pk} · Wrapledger</title>" in html
    for words in ("WO-1001", "LWS 12-3, revision C", "<dd>sound</dd>", "12 on the even face", "first half",
                  "right to left", "not a hold point", "Crossover correction", "−1", ">Differs</span>"):  # fmt: skip
        assert words in html
    for signature in fleet.signed.sign_offs.all():
        assert signature.full_name in html
        assert signature.digest in html
        assert signature.record_digest in html


def test_a_referred_inspection_says_why_by_whom_and_how_it_was_released():
    fleet = make_fleet()
    html = html_of(fleet.cast.releaser, fleet.referred)
    for words in ("Help was asked for: The mark on the left flange is worn off.", "Decided: read again.",
                  "Turn the drum a little and read it again.", "Waiting for an authorised person",
                  "by Rhea Folkes."):  # fmt: skip
        assert words in html


def test_an_unusual_count_is_shown_as_proposed():
    cast = Cast.as_needed()
    builders.make_type("w28", unusual="hold", unusual_publication="")
    builders.make_reel()
    inspection = builders.read(
        cast, builders.open_count(cast), scale_left=11, scale_right=12, open_side="left", unwind="left_to_right",
        hand_wraps=1, gauge_face="odd", gauge_wraps=1,
    )  # fmt: skip
    assert "Proposed: <strong>10 layers, 27 wraps, even</strong>." in html_of(cast.control, inspection)


def test_a_voided_inspection_says_who_asked_and_who_confirmed():
    fleet = make_fleet()
    html = html_of(fleet.cast.control, fleet.voided)
    assert "The other reel on the stand was counted." in html
    assert "by Vic Amberley; confirmed" in html
    assert "<del>12 layers, 10 wraps, even</del>" in html
    assert 'class="numbers"' not in html


def test_a_cancelled_inspection_says_why():
    cast = Cast.as_needed()
    builders.make_reel()
    inspection = builders.open_count(cast)
    counting.cancel(inspection_id=inspection.pk, reason="Wrong reel.", actor=Actor(cast.technician), at=builders.NOW)
    html = html_of(cast.control, inspection)
    assert "Ended without a result: Wrong reel." in html
    assert (">Ended</span>" in html, "Under way" in html) == (True, False)


def test_a_count_from_paper_shows_when_it_was_done_and_when_recorded():
    cast = Cast.as_needed()
    builders.make_reel()
    html = html_of(cast.control, builders.open_count(cast, done_at=builders.later(days=-3)))
    assert "27 Feb 2026, 09:00" in html
    assert "2 Mar 2026, 09:00" in html
    assert "from paper" in html


def test_a_scale_that_was_left_out_is_said():
    cast = Cast.as_needed()
    builders.make_reel()
    html = html_of(cast.control, builders.read(cast, builders.open_count(cast), scale_left=None))
    assert "left out" in html


# Blindness ----------------------------------------------------------------------------------------------------------

# Numbers that occur nowhere else on these pages.
FIRST, OTHER, SECOND = 741, 742, 743


@pytest.fixture
def blind():
    cast = Cast.as_needed()
    builders.make_reel()
    return cast, at_the_scales(cast)


def shows(html, number):
    """Whether the number stands there by itself; digests and tokens may hold its digits by chance."""
    return re.search(rf"\b{number}\b", html) is not None


def pages_of(cast, inspection):
    """All that any of the people involved, or a colleague, can look at."""
    people = (cast.technician, cast.verifier, cast.control, cast.colleague)
    return "".join(
        logged_in(person).get(address).content.decode()
        for person in people
        for address in (f"/inspections/{inspection.pk}", "/reels/LW-0001", "/reels/LW-0001/history", "/reels")
    )


def test_a_value_that_one_person_keyed_is_on_no_page_until_both_agree(blind):
    cast, inspection = blind
    key(cast, inspection, Point.SCALE_LEFT, Role.TECHNICIAN, scale_left=FIRST)
    html = pages_of(cast, inspection)
    assert not shows(html, FIRST)
    assert "keyed, not shown yet" in html
    assert ">One missing</span>" in html
    key(cast, inspection, Point.SCALE_LEFT, Role.VERIFIER, scale_left=FIRST)
    assert shows(html_of(cast.colleague, inspection), FIRST)


def test_two_values_that_differ_stay_blind_and_only_that_they_differ_is_said(blind):
    cast, inspection = blind
    key(cast, inspection, Point.SCALE_LEFT, Role.TECHNICIAN, scale_left=FIRST)
    key(cast, inspection, Point.SCALE_LEFT, Role.VERIFIER, scale_left=OTHER)
    key(cast, inspection, Point.SCALE_LEFT, Role.VERIFIER, scale_left=SECOND)
    html = pages_of(cast, inspection)
    assert [number for number in (FIRST, OTHER, SECOND) if shows(html, number)] == []
    assert ">Differs</span>" in html
    assert "Left scale, attempt 2" in html
    assert "The two differ at the left scale." in html


def test_the_salt_of_a_blind_value_is_on_no_page(blind):
    cast, inspection = blind
    key(cast, inspection, Point.SCALE_LEFT, Role.TECHNICIAN, scale_left=FIRST)
    assert inspection.readings.get().keyings.latest("id").salt not in pages_of(cast, inspection)


def test_everything_is_shown_once_the_count_is_no_longer_open(blind):
    cast, inspection = blind
    key(cast, inspection, Point.SCALE_LEFT, Role.TECHNICIAN, scale_left=FIRST)
    counting.cancel(inspection_id=inspection.pk, reason="Wrong reel.", actor=Actor(cast.technician), at=builders.NOW)
    assert f"<strong>{FIRST}</strong>" in html_of(cast.colleague, inspection)


# Access and cost ----------------------------------------------------------------------------------------------------


def test_a_stranger_is_told_that_it_is_not_there_and_nobody_logs_in(client, blind):
    cast, inspection = blind
    answer = logged_in(cast.stranger).get(f"/inspections/{inspection.pk}")
    assert answer.status_code == 404
    assert f"There is no inspection {inspection.pk} that you may see." in answer.content.decode()
    assert client.get(f"/inspections/{inspection.pk}").url == f"/login?next=/inspections/{inspection.pk}"


@pytest.mark.parametrize("number", ["0", "99999999999999999999999"])
def test_a_number_that_no_inspection_has_is_told(blind, number):
    assert logged_in(blind[0].control).get(f"/inspections/{number}").status_code == 404


def test_an_inspection_costs_the_same_with_three_readings_as_with_one(count_queries):
    cast = Cast.as_needed()
    client = logged_in(cast.control)
    builders.make_reel()
    builders.make_reel("LW-0002")
    short = builders.signed_count(cast)
    one = count_queries(lambda: client.get(f"/inspections/{short.pk}"))
    long = builders.open_count(cast, "LW-0002")
    for _ in range(2):
        builders.read(cast, long, verifier={"hand_wraps": 11})
    long = builders.sign_both(cast, builders.read(cast, long))
    many = count_queries(lambda: client.get(f"/inspections/{long.pk}"))
    assert one == many


def offered(person, inspection):
    """What the head of the page offers, the next act first."""
    head = html_of(person, inspection).partition('<header class="head">')[2].partition("</header>")[0]
    return [href.rsplit("/", 1)[-1] for href in re.findall(r'<a class="button[^"]*" href="([^"]*)"', head)]


def test_everybody_is_offered_what_they_may_do_and_nothing_else():
    fleet = make_fleet()
    cast, signed = fleet.cast, fleet.signed
    awaiting = Inspection.objects.get(state=InspectionState.AWAITING_SIGN_OFF)
    expected = {
        fleet.blind: {"technician": ["worksheet", "finding", "help", "cancel"],
                      "verifier": ["witness", "finding", "help"], "releaser": ["finding", "cancel"],
                      "setter": ["finding"], "instructor": []},
        awaiting: {"technician": ["result", "finding"], "control": ["finding"], "colleague": []},
        fleet.referred: {"technician": ["referral", "finding"], "colleague": ["referral"]},
        signed: {"technician": ["record.pdf"], "verifier": ["record.pdf", "void"], "control": ["record.pdf"]},
    }  # fmt: skip
    seen = {row: {who: offered(getattr(cast, who), row) for who in each} for row, each in expected.items()}
    assert seen == expected
    signing.request_void(inspection_id=signed.pk, reason="wrong reel", actor=Actor(cast.verifier), at=builders.NOW)
    assert {who: offered(getattr(cast, who), signed) for who in ("verifier", "releaser")} == {
        "verifier": ["record.pdf"], "releaser": ["record.pdf", "void"],
    }  # fmt: skip
