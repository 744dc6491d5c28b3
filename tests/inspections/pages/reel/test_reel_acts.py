import re

import pytest
from django.test import Client

from inspections.services import maintenance
from reels.domain.words import LengthUnit
from reels.models import CableEvent, Reel
from reels.services import register
from reels.services.history import Actor
from tests import builders
from tests.builders import NOW, Cast
from tests.page_fixtures import hidden_in, logged_in
from tests.well_formed import faults_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("on_the_day")]

ACTS = ("cut", "replacement", "event", "setup-values", "installation", "removal", "hold", "hold/end", "move",
        "call-back", "retirement")  # fmt: skip
CUT = {"happened_at": "2026-03-02T08:30", "length_removed_m": "12.5", "document": "WO-7", "remark": "frayed"}


@pytest.fixture
def cast():
    cast = Cast.as_needed()
    builders.make_reel()
    builders.make_machine()
    return cast


def opened(person, act, serial="LW-0001"):
    """The form, and what stands in it unseen."""
    client = logged_in(person)
    answer = client.get(f"/reels/{serial}/{act}")
    assert answer.status_code == 200, answer.content
    html = answer.content.decode()
    assert faults_of(html) == []
    return client, hidden_in(html)


def send(person, act, serial="LW-0001", **typed):
    client, unseen = opened(person, act, serial)
    return client.post(f"/reels/{serial}/{act}", {**unseen, **typed})


def test_a_cut_is_logged_at_the_sites_time_and_leads_back_to_the_reel(cast):
    answer = send(cast.control, "cut", **CUT)
    assert (answer.status_code, answer.url) == (302, "/reels/LW-0001")
    event = CableEvent.objects.get()
    assert (event.kind, str(event.length_removed_m), event.document) == ("cut", "12.500", "WO-7")
    assert event.happened_at.isoformat() == "2026-03-02T08:30:00+00:00"


def test_a_cut_typed_in_feet_is_kept_in_metres_and_shown_in_feet(cast):
    register.prefer_length_unit(unit=LengthUnit.FEET, actor=Actor(cast.control), at=NOW)
    send(cast.control, "cut", **{**CUT, "length_removed_m": "10"})
    assert str(CableEvent.objects.get().length_removed_m) == "3.048"  # 10 international feet of 0.3048 m
    assert "10 ft" in logged_in(cast.control).get("/reels/LW-0001").content.decode()
    assert "3.048 m" in logged_in(cast.colleague).get("/reels/LW-0001").content.decode()


def test_what_cannot_be_is_said_beside_its_field_and_nothing_typed_is_lost(cast):
    answer = send(cast.control, "cut", **{**CUT, "length_removed_m": "500"})
    html = answer.content.decode()
    assert answer.status_code == 422
    assert 'role="alert"' in html
    assert "can have at most 420.000 m" in html
    for typed in ('value="500"', 'value="2026-03-02T08:30"', 'value="WO-7"', "frayed"):
        assert typed in html
    assert 'aria-invalid="true"' in html
    assert CableEvent.objects.count() == 0


def test_an_empty_form_says_what_is_missing(cast):
    answer = send(cast.control, "cut", happened_at="", length_removed_m="")
    assert answer.status_code == 422
    assert (
        answer.content.decode().count("Nothing is entered; this is needed.") == 4
    )  # in the summary, and beside two fields


def test_a_double_tap_stores_a_cut_once_and_gets_the_first_answer_twice(cast):
    client, unseen = opened(cast.control, "cut")
    for _ in range(3):
        answer = client.post("/reels/LW-0001/cut", {**unseen, **CUT})
        assert (answer.status_code, answer.url) == (302, "/reels/LW-0001")
    assert CableEvent.objects.count() == 1
    assert "The cut of 12.5 m is logged." in client.get("/reels/LW-0001").content.decode()


def test_a_form_of_another_window_is_refused_once_something_is_recorded_and_can_be_sent_after_a_look(cast):
    (client, unseen), (_, other) = opened(cast.control, "cut"), opened(cast.control, "cut")
    client.post("/reels/LW-0001/cut", {**unseen, **CUT})
    answer = client.post("/reels/LW-0001/cut", {**other, **CUT, "length_removed_m": "3"})
    html = answer.content.decode()
    assert answer.status_code == 422
    assert (
        "This was not stored. Since the form was opened, something else was recorded for reel LW-0001: Cable cut "
        "(Mona Castell)." in html
    )
    assert ("frayed" in html, 'value="3"' in html, CableEvent.objects.count()) == (True, True, 1)
    again = client.post("/reels/LW-0001/cut", {**hidden_in(html), **CUT, "length_removed_m": "3"})
    assert (again.status_code, CableEvent.objects.count()) == (302, 2)


def test_a_form_gone_back_to_and_altered_is_another_act_and_is_asked_about_first(cast):
    client, unseen = opened(cast.control, "cut")
    client.post("/reels/LW-0001/cut", {**unseen, **CUT})
    answer = client.post("/reels/LW-0001/cut", {**unseen, **CUT, "length_removed_m": "3"})
    html = answer.content.decode()
    assert (answer.status_code, CableEvent.objects.count()) == (422, 1)
    assert "the same form was sent before with other values, and answered at 2 Mar 2026, 09:00 UTC" in html
    again = client.post("/reels/LW-0001/cut", {**hidden_in(html), **CUT, "length_removed_m": "3"})
    assert (again.status_code, CableEvent.objects.count()) == (302, 2)


def test_what_was_refused_is_corrected_in_a_form_with_a_token_of_its_own(cast):
    client, unseen = opened(cast.control, "cut")
    html = client.post("/reels/LW-0001/cut", {**unseen, **CUT, "length_removed_m": "500"}).content.decode()
    corrected = hidden_in(html)
    assert corrected["token"] != unseen["token"]
    for _ in range(2):
        assert client.post("/reels/LW-0001/cut", {**corrected, **CUT}).status_code == 302
    assert CableEvent.objects.count() == 1


def test_a_form_without_a_token_stores_nothing_and_comes_back_with_one(cast):
    client, unseen = opened(cast.control, "cut")
    answer = client.post("/reels/LW-0001/cut", {**unseen, **CUT, "token": ""})
    html = answer.content.decode()
    assert (answer.status_code, CableEvent.objects.count()) == (422, 0)
    assert "This was not stored: the form is an old one." in html
    assert client.post("/reels/LW-0001/cut", {**hidden_in(html), **CUT}).status_code == 302


def test_a_form_opened_under_another_login_stores_nothing(cast):
    browser = Client(enforce_csrf_checks=True)
    browser.force_login(cast.control)
    html = browser.get("/reels/LW-0001/cut").content.decode()
    browser.logout()
    login = hidden_in(browser.get("/login").content.decode())
    browser.post("/login", {**login, "username": cast.technician.username, "password": builders.PASSWORD})
    answer = browser.post("/reels/LW-0001/cut", {**hidden_in(html), **CUT})
    assert (answer.status_code, CableEvent.objects.count()) == (403, 0)
    own = browser.get("/reels/LW-0001/cut").content.decode()
    assert browser.post("/reels/LW-0001/cut", {**hidden_in(own), **CUT}).status_code == 302
    assert CableEvent.objects.get().recorded_by == cast.technician


def test_a_wrong_entry_is_taken_back_and_both_stay(cast):
    event = builders.log_cut(cast)
    page = logged_in(cast.control).get("/reels/LW-0001").content.decode()
    assert f"/reels/LW-0001/cable-events/{event.pk}/reversal" in page
    assert send(cast.control, f"cable-events/{event.pk}/reversal", reason="entered twice").status_code == 302
    assert [each.kind for each in CableEvent.objects.order_by("id")] == ["cut", "reversal"]
    assert send(cast.control, f"cable-events/{event.pk}/reversal", reason="once more").status_code == 422


def test_a_reel_is_installed_taken_off_held_let_go_moved_and_retired(cast):
    builders.make_site("stane", "Stane Field")
    steps: tuple[tuple[str, dict[str, str], str], ...] = (
        ("installation", {"machine": "RM-7"}, "Installed, not confirmed"),
        ("removal", {"reason": "The wrong launch.", "cable_went_out": "no"}, "Counted"),
        ("hold", {"reason": "A flange is bent."}, "Held"),
        ("hold/end", {"reason": "Straightened."}, "Counted"),
        ("event", {"kind": "respooled", "happened_at": "2026-03-02T09:00"}, "Awaiting count"),
    )
    builders.signed_count(cast)
    builders.issued(cast)
    for act, typed, status in steps:
        assert send(cast.control, act, **typed).status_code == 302
        assert f"{status}</span>" in logged_in(cast.control).get("/reels/LW-0001").content.decode()
    assert send(cast.control, "retirement", reason="The drum is cracked.").status_code == 302
    builders.make_reel("LW-0002")
    answer = send(cast.control, "move", "LW-0002", site="stane")
    assert (answer.status_code, answer.url) == (302, "/reels/LW-0002")
    assert "In transit</span>" in logged_in(cast.control).get("/reels/LW-0002").content.decode()
    assert Reel.objects.get(serial="LW-0001").retired_reason == "The drum is cracked."


def test_a_refusal_that_is_about_no_field_stands_in_the_summary(cast):
    answer = send(cast.control, "removal", reason="To be counted.")
    assert answer.status_code == 422
    assert "Reel LW-0001 is not installed in a machine." in answer.content.decode()


@pytest.mark.parametrize("act", ACTS)
def test_each_act_is_for_whoever_may_do_it(cast, client, act):
    address = f"/reels/LW-0001/{act}"
    assert logged_in(cast.control).get(address).status_code == 200
    refused = logged_in(cast.colleague).get(address)
    assert refused.status_code == 403
    assert "Noel Grant holds no authorisation" in refused.content.decode()
    assert logged_in(cast.stranger).get(address).status_code == 404
    assert logged_in(cast.stranger).post(address, {}).status_code == 404
    assert client.get(address).url == f"/login?next={address}"


def test_a_colleague_who_sends_the_form_all_the_same_stores_nothing(cast):
    answer = logged_in(cast.colleague).post("/reels/LW-0001/cut", {"seen": 1, **CUT})
    assert answer.status_code == 403
    assert "frayed" in answer.content.decode()
    assert CableEvent.objects.count() == 0


def test_the_reel_page_offers_only_what_may_be_done(cast):
    def offered(person):
        html = logged_in(person).get("/reels/LW-0001").content.decode()
        return set(re.findall(r'class="button(?: plain)?" href="/reels/LW-0001/([^"]+)"', html))

    assert offered(cast.colleague) == {"as-of", "drift", "history"}
    assert offered(cast.control) == {"installation", "cut", "replacement", "event", "hold", "move", "retirement",
                                     "as-of", "drift", "finding", "history"}  # fmt: skip
    assert offered(cast.technician) - {"count"} == {"as-of", "cut", "event", "drift", "finding", "history"}
    maintenance.place_hold(serial="LW-0001", reason="bent", actor=Actor(cast.control), at=NOW)
    assert "hold/end" in offered(cast.control)
    assert "hold" not in offered(cast.control)


def test_a_count_is_offered_to_who_may_count_a_reel_that_can_be_counted(cast):
    def words(person):
        html = logged_in(person).get("/reels/LW-0001").content.decode()
        return re.findall(r'<a class="button[^"]*" href="/reels/LW-0001/count">([^<]+)</a>', html)

    assert words(cast.technician) == ["Begin a count"]
    assert words(cast.control) == words(cast.colleague) == []
    builders.make_machine("RM-7")
    maintenance.install(serial="LW-0001", machine_serial="RM-7", actor=Actor(cast.control), at=NOW)
    assert words(cast.technician) == ["Enter a count from paper"]
    maintenance.remove(serial="LW-0001", reason="over", actor=Actor(cast.control), at=NOW)
    builders.open_count(cast)
    assert words(cast.technician) == []


def test_a_serial_number_with_a_stroke_has_its_acts_too(cast):
    builders.make_reel("12/34")
    assert send(cast.control, "cut", "12/34", **CUT).url == "/reels/12/34"


def test_a_remark_with_a_character_that_nobody_sees_is_refused_by_its_name_and_kept(cast):
    answer = send(cast.control, "cut", remark="frayed \u202e at the end\nby 2 m")
    assert answer.status_code == 422
    html = answer.content.decode()
    assert "This text can&#x27;t hold RIGHT-TO-LEFT OVERRIDE (U+202E). Take it out." in html
    assert "at the end\nby 2 m</textarea>" in html
    assert send(cast.control, "cut", **{**CUT, "remark": "frayed\nby 2 m"}).status_code == 302
