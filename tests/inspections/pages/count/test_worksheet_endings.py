"""What follows the keying: compared, weighed and signed; referred and released; ended; taken back."""

import re
from datetime import timedelta
from typing import Any

import pytest

from inspections.domain.words import Meaning
from inspections.models import SignOff
from inspections.services import signing
from reels.models import CableEvent
from reels.services.history import Actor
from tests import builders
from tests.builders import NOW, PASSWORD
from tests.inspections.pages.count.worksheet_steps import form_in, page_of, send
from tests.page_fixtures import logged_in
from tests.well_formed import faults_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]


@pytest.fixture
def worked_out(cast):
    return builders.read(cast, builders.open_count(cast))


@pytest.fixture
def surprising(cast):
    """Layers fewer than at the counts before, and nothing logged."""
    for days in (90, 60, 30):
        builders.signed_count(cast, at=NOW - timedelta(days=days), scale_left=17, scale_right=16)
    return builders.read(cast, builders.open_count(cast))


def address(inspection, part):
    return f"/inspections/{inspection.pk}/{part}"


def sign(person, inspection, meaning, password=PASSWORD):
    return send(
        logged_in(person), address(inspection, "result"), act="sign", meaning=meaning, password=password,
        token=f"{person.username}-{meaning}-{password}",
    )  # fmt: skip


def test_the_result_shows_both_peoples_values_and_the_worked_steps(cast, worked_out):
    html = page_of(logged_in(cast.verifier), address(worked_out, "result"))
    assert faults_of(html) == []
    for words in ("12 on the even face", "Crossover correction", "−1", "Waiting for the technician to sign"):
        assert words in html


def test_both_sign_with_their_password_one_after_the_other(cast, worked_out):
    assert sign(cast.technician, worked_out, "counted").status_code == 302
    assert "Sign as “verified”" in page_of(logged_in(cast.verifier), address(worked_out, "result"))
    assert sign(cast.verifier, worked_out, "verified").status_code == 302
    worked_out.refresh_from_db()
    assert worked_out.state == "signed"


def test_a_wrong_password_signs_nothing_and_is_not_shown_again(cast, worked_out):
    answer = sign(cast.technician, worked_out, "counted", password="not-my-password")
    html = answer.content.decode()
    assert answer.status_code == 422
    assert faults_of(html) == []
    assert "The password does not match; nothing was done." in html
    assert "not-my-password" not in html
    assert not SignOff._base_manager.exists()


def test_a_signature_out_of_turn_is_refused_in_words(cast, worked_out):
    answer = sign(cast.verifier, worked_out, "verified")
    assert answer.status_code == 422
    assert "The technician who counted signs first." in answer.content.decode()


def test_a_signature_sent_twice_is_one_signature(cast, worked_out):
    client, where = logged_in(cast.technician), address(worked_out, "result")
    form = {**form_in(page_of(client, where)), "act": "sign", "meaning": "counted", "password": PASSWORD, "token": "a"}
    assert [client.post(where, form).status_code for _ in range(2)] == [302, 302]
    assert SignOff._base_manager.count() == 1


def order_of(html):
    """What a page offers, as it stands there, and which of it is open."""
    ways = re.findall(r"<details class=\"sheet\"( open)?>\s*<summary>([^<]*)</summary>", html)
    return [("+ " if is_open else "") + summary for is_open, summary in ways]


@pytest.mark.parametrize(
    ("before", "told", "ways"),
    [
        ({"scale_left": 15, "scale_right": 14}, "is a slip: a flange scale misread",
         ["+ Read the reel again", "A cut was made: log it now"]),
        ({"hand_wraps": 18, "gauge_wraps": 18}, "is a cut of about",
         ["+ A cut was made: log it now", "No cut was made: read the reel again"]),
    ],
)  # fmt: skip
def test_what_explains_a_surprising_count_best_is_open_and_comes_first(cast, before, told, ways):
    for days in (90, 60, 30):
        builders.signed_count(cast, at=NOW - timedelta(days=days), **before)
    inspection = builders.read(cast, builders.open_count(cast))
    html = page_of(logged_in(cast.technician), address(inspection, "result"))
    assert faults_of(html) == []
    assert told in html
    assert order_of(html) == [*ways, "The count is right: accept it with a reason"]
    assert "Sign as" not in html
    [time] = re.findall(r'<input[^>]*name="happened_at"[^>]*>', html)
    assert "value" not in time


def test_a_forgotten_cut_is_logged_at_the_time_and_in_the_unit_that_were_typed(cast, surprising):
    sent = {"act": "cut", "token": "b", "length_removed_m": "104", "happened_at": "2026-02-20T10:00"}
    assert send(logged_in(cast.technician), address(surprising, "result"), **sent).status_code == 302
    [cut] = CableEvent._base_manager.all()
    assert (str(cut.length_removed_m), cut.happened_at.isoformat()) == ("104.000", "2026-02-20T10:00:00+00:00")


def test_a_forgotten_cut_without_its_time_is_refused(cast, surprising):
    answer = send(logged_in(cast.technician), address(surprising, "result"), act="cut", length_removed_m="104")
    assert answer.status_code == 422
    assert order_of(answer.content.decode())[:2] == ["+ Read the reel again", "+ A cut was made: log it now"]
    assert not CableEvent._base_manager.exists()


def test_a_surprising_count_is_signed_only_once_somebody_said_why(cast, surprising):
    assert sign(cast.technician, surprising, "counted").status_code == 422
    sent = {"act": "accept", "token": "c", "reason": "The last counts were of another reel."}
    assert send(logged_in(cast.verifier), address(surprising, "result"), **sent).status_code == 302
    assert sign(cast.technician, surprising, "counted").status_code == 302


def test_a_fresh_reading_begins_again_and_keeps_what_was_read(cast, surprising):
    sent = {"act": "read_again", "token": "d", "reason": "The drum was turned."}
    send(logged_in(cast.technician), address(surprising, "result"), **sent)
    surprising.refresh_from_db()
    assert (surprising.state, surprising.readings.count()) == ("open", 2)


def test_a_cut_without_a_length_is_refused_and_its_remark_kept(cast, surprising):
    sent = {"act": "cut", "token": "e", "length_removed_m": "", "happened_at": "2026-02-20T10:00", "remark": "Frayed."}
    answer = send(logged_in(cast.technician), address(surprising, "result"), **sent)
    assert answer.status_code == 422
    html = answer.content.decode()
    assert "Nothing is entered; this is needed." in html
    assert "Frayed.</textarea>" in html


def test_help_asked_for_refers_the_count_and_an_authorised_person_releases_it(cast):
    inspection = builders.open_count(cast)
    assert faults_of(page_of(logged_in(cast.technician), address(inspection, "help"))) == []
    answer = send(logged_in(cast.technician), address(inspection, "help"), remark="The mark is worn off.")
    assert answer.headers["Location"] == address(inspection, "referral")
    mine = page_of(logged_in(cast.technician), address(inspection, "referral"))
    assert "Help was asked for: The mark is worn off." in mine
    assert "another person decides on it" in mine
    assert faults_of(mine) == []
    theirs = page_of(logged_in(cast.releaser), address(inspection, "referral"))
    assert faults_of(theirs) == []
    assert "accept the proposed count" not in theirs
    refused = send(logged_in(cast.releaser), address(inspection, "referral"), decision="read_again", reason="")
    assert refused.status_code == 422
    done = send(logged_in(cast.releaser), address(inspection, "referral"), decision="read_again", reason="Wipe it.")
    assert done.status_code == 302
    inspection.refresh_from_db()
    assert inspection.state == "open"


def test_a_proposed_count_can_be_accepted(cast):
    stepped_down: dict[str, Any] = {"scale_left": 11, "scale_right": 12, "open_side": "left", "unwind": "left_to_right",
                    "hand_wraps": 1, "gauge_face": "odd", "gauge_wraps": 1}  # fmt: skip
    cast_reel = builders.make_reel("LW-0002", type=builders.make_type("w28h", unusual="hold", unusual_publication=""))
    inspection = builders.read(cast, builders.open_count(cast, cast_reel.serial), **stepped_down)
    html = page_of(logged_in(cast.releaser), address(inspection, "referral"))
    assert "Proposed: <strong>10 layers, 27 wraps, even</strong>." in html
    send(logged_in(cast.releaser), address(inspection, "referral"), decision="accept_proposed", reason="It is so.")
    inspection.refresh_from_db()
    assert (inspection.state, inspection.layers, inspection.wraps) == ("awaiting_sign_off", 10, 27)


def test_who_may_not_release_is_refused_in_words(cast):
    inspection = builders.open_count(cast)
    send(logged_in(cast.technician), address(inspection, "help"), remark="Help.")
    form = form_in(page_of(logged_in(cast.releaser), address(inspection, "referral")))
    sent = {**form, "decision": "read_again", "reason": "I say so."}
    answer = logged_in(cast.colleague).post(address(inspection, "referral"), sent)
    assert answer.status_code == 422
    assert "Noel Grant holds no authorisation to decide" in answer.content.decode()


def test_a_count_is_ended_with_a_reason(cast):
    inspection = builders.open_count(cast)
    assert send(logged_in(cast.technician), address(inspection, "cancel"), reason="").status_code == 422
    assert send(logged_in(cast.technician), address(inspection, "cancel"), reason="Wrong reel.").status_code == 302
    inspection.refresh_from_db()
    assert (inspection.state, inspection.end_reason) == ("cancelled", "Wrong reel.")


def test_a_signed_count_is_voided_by_two_people(cast, worked_out):
    for person, meaning in ((cast.technician, Meaning.COUNTED), (cast.verifier, Meaning.VERIFIED)):
        signing.sign(
            inspection_id=worked_out.pk, meaning=meaning, password=PASSWORD, actor=Actor(person), at=NOW
        )  # fmt: skip
    assert faults_of(page_of(logged_in(cast.verifier), address(worked_out, "void"))) == []
    send(logged_in(cast.verifier), address(worked_out, "void"), reason="The other reel was counted.")
    again = send(logged_in(cast.verifier), address(worked_out, "void"))
    assert again.status_code == 422
    assert "this needs another person" in again.content.decode()
    assert send(logged_in(cast.releaser), address(worked_out, "void")).status_code == 302
    worked_out.refresh_from_db()
    assert worked_out.state == "voided"
