"""One's own login, on pages: a password that an administrator gave, a second factor, sessions, locks."""

import re

import pytest
from django.urls import reverse
from django.utils import timezone

from reels.models import Alarm, Person
from reels.services import people
from reels.services.history import Actor
from tests import builders
from tests.builders import PASSWORD, by_administrator
from tests.page_fixtures import PageClient, logged_in
from tests.reels.services.test_second_factor import shown
from tests.well_formed import faults_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template")]
GIVEN, OWN = "given-by-somebody", "known-to-me-alone"
CHANGE, FACTOR = "/account/password", "/account/second-factor"


@pytest.fixture
def client():
    return PageClient()


@pytest.fixture
def tess():
    return builders.make_person("tess", full_name="Tess Hollin")


def html_of(answer, status=200):
    html = answer.content.decode()
    assert (answer.status_code, faults_of(html)) == (status, [])
    return html


def log_in(client, password=PASSWORD, **more):
    return client.post(reverse("login"), {"username": "tess", "password": password, **more})


def changed(client, password=PASSWORD, new=OWN, again=None):
    return client.post(CHANGE, {"password": password, "new_password": new, "again": new if again is None else again})


def test_the_page_of_ones_login_says_how_it_stands(tess):
    html = html_of(logged_in(tess).get("/account"))
    for said in ("Tess Hollin", "Password set", "Second factor", "none", "End my other sessions"):
        assert said in html
    assert "not enrolled" not in html


# A password that an administrator gave ------------------------------------------------------------------------------


@pytest.fixture
def given(client, tess):
    people.give_password(tess, password=GIVEN, **{**by_administrator(), "at": timezone.now()})
    assert log_in(client, GIVEN).status_code == 302
    return client


@pytest.mark.parametrize("path", ["/", "/reels", "/board", "/reference", "/people", "/admin/", "/drift"])
def test_every_page_leads_to_where_it_is_changed(given, path):
    answer = given.get(path)
    assert (answer.status_code, answer.headers["Location"]) == (302, "/account")
    assert given.post(path).headers["Location"] == "/account"


def test_once_it_is_changed_the_rest_is_open_and_the_enrolment_is_waited_for(given):
    assert "Change your password first" in html_of(given.get("/account"))
    assert changed(given, GIVEN).headers["Location"] == "/account"
    assert "You are not enrolled yet" in html_of(given.get("/account"))
    assert given.get("/reels").status_code == 200
    assert not Person.objects.get(username="tess").must_change_password


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"password": "not-the-word"}, "The password does not match"),
        ({"new": "short"}, "too short"),
        ({"new": PASSWORD}, "another one"),
        ({"again": "known-to-me-alon"}, "two new passwords differ"),
        ({"new": ""}, "Type the password."),
    ],
)
def test_a_change_that_is_refused_says_why_and_shows_no_password(tess, fields, said):
    html = html_of(changed(logged_in(tess), **fields), 422)
    assert said in html
    assert not any(word in html for word in (PASSWORD, OWN, "not-the-word"))


def test_other_sessions_end_and_this_one_goes_on(client, tess):
    other = logged_in(tess)
    log_in(client)
    changed(client)
    assert other.get("/reels").headers["Location"].startswith("/login")
    assert client.get("/reels").status_code == 200


def test_sessions_left_open_elsewhere_are_ended_by_a_button(client, tess):
    other = logged_in(tess)
    log_in(client)
    assert client.post("/account/sessions").headers["Location"] == "/account"
    assert other.get("/reels").status_code == 302
    assert client.get("/reels").status_code == 200


# Locks --------------------------------------------------------------------------------------------------------------


def test_a_locked_login_says_how_long(client, tess):
    for _ in range(5):
        assert log_in(client, "not-the-word").status_code == 422
    answer = log_in(client)
    html = html_of(answer, 429)
    assert "locked for 15 minutes more" in html
    assert 0 < int(answer.headers["Retry-After"]) <= 900
    assert "_auth_user_id" not in client.session


def test_wrong_passwords_on_ones_own_page_lock_too(tess):
    client = logged_in(tess)
    for _ in range(5):
        changed(client, "not-the-word")
    answer = changed(client)
    assert "locked for" in html_of(answer, 429)
    assert int(answer.headers["Retry-After"]) > 0
    assert Alarm.objects.get().asked_at == "account"


def test_a_stranger_who_guesses_keeps_nobody_from_acting_in_an_open_session(tess):
    client = logged_in(tess)
    for _ in range(5):
        log_in(PageClient(), "not-the-word")
    assert log_in(PageClient()).status_code == 429
    assert changed(client).headers["Location"] == "/account"


def test_ending_ones_other_sessions_brings_no_more_guesses(tess):
    """It needs no password, and gives the session another key."""
    client = logged_in(tess)
    for _ in range(5):
        changed(client, "not-the-word")
        client.post("/account/sessions")
    assert changed(client).status_code == 429


def test_an_administrator_unlocks_a_login_that_is_locked(client, tess):
    ada, _ = logged_in(builders.administrator()), builders.make_person("bea")
    html = html_of(ada.get("/people"))
    assert "Unlock" not in html
    assert re.findall(r'<th scope="row">(\w+)<', html) == ["ada", "bea", "tess"]
    for _ in range(5):
        log_in(client, "not-the-word")
    html = html_of(ada.get("/people"))
    assert "locked until" in html
    assert "from one address" in html
    assert 'href="/people/tess/unlocking"' in html
    assert "Give a reason" in html_of(ada.post("/people/tess/unlocking", {"reason": ""}), 422)
    assert ada.post("/people/tess/unlocking", {"reason": "guessed at by a stranger"}).headers["Location"] == "/people"
    assert "locked until" not in html_of(ada.get("/people"))
    assert log_in(client).status_code == 302


def test_an_administrator_is_told_of_alarms_when_logging_in(client, tess):
    ada = builders.administrator()
    for _ in range(5):
        log_in(client, "not-the-word")
    client.post("/login", {"username": "ada", "password": PASSWORD})
    assert "logins were locked after wrong passwords: 1" in html_of(client.get("/account"))
    assert "Tess Hollin (tess)" in html_of(client.get("/people"))
    again = logged_in(ada)
    again.post("/logout")
    again.post("/login", {"username": "ada", "password": PASSWORD})
    assert "logins were locked" not in html_of(again.get("/account"))


# The second factor --------------------------------------------------------------------------------------------------


def set_up(client):
    html = html_of(client.post(FACTOR, {"act": "begin", "password": PASSWORD}))
    [secret] = re.findall("<code>([A-Z2-7]+)</code>", html)
    assert 'role="img"' in html
    html = html_of(client.post(FACTOR, {"act": "confirm", "code": shown(secret, timezone.now())}))
    return re.findall("<code>([a-z2-7-]+)</code>", html)


def test_a_second_factor_is_set_up_asked_for_and_ended(client, tess):
    mine = logged_in(tess)
    codes = set_up(mine)
    assert len(codes) == 10
    assert "do not go together" in html_of(log_in(client), 422)
    assert log_in(client, code=codes[0]).status_code == 302
    assert "Take it out of force" in html_of(client.get(FACTOR))
    assert client.post(FACTOR, {"act": "end", "password": PASSWORD}).headers["Location"] == "/account"
    assert mine.get("/reels").status_code == 302  # the other session has ended
    client.post("/logout")
    assert log_in(client).status_code == 302


def test_what_is_wrong_with_a_set_up_is_said(tess):
    client = logged_in(tess)
    assert "The password does not match" in html_of(client.post(FACTOR, {"act": "begin", "password": "x"}), 422)
    client.post(FACTOR, {"act": "begin", "password": PASSWORD})
    assert "The code does not match" in html_of(client.post(FACTOR, {"act": "confirm", "code": "x"}), 422)
    assert "Type the code." in html_of(client.post(FACTOR, {"act": "confirm", "code": ""}), 422)


def test_where_everyone_needs_one_every_page_leads_to_it(tess, settings):
    settings.SECOND_FACTOR = "everyone"
    client = logged_in(tess)
    assert client.get("/reels").headers["Location"] == "/account"
    assert "has no second factor, and it is needed" in html_of(client.get("/account"))
    set_up(client)
    assert client.get("/reels").status_code == 200


# Administrators -----------------------------------------------------------------------------------------------------


def test_an_administrator_enrols_who_another_one_added():
    giving = Actor(builders.second_administrator())
    people.add_person(username="nell", full_name="Nell Newly", staff_number="N-1", password=GIVEN, actor=giving,
                      at=builders.NOW)  # fmt: skip
    ada = logged_in(builders.administrator())
    assert "Enrol Nell Newly" in html_of(ada.get("/people"))
    form = html_of(ada.get("/people/nell/enrolment"))
    assert "Whoever gave the login its password cannot confirm it" in form
    assert "Say how you checked it." in html_of(ada.post("/people/nell/enrolment", {"checked": ""}), 422)
    assert ada.post("/people/nell/enrolment", {"checked": "pass 17"}).headers["Location"] == "/people"
    assert "by Ada Minder" in html_of(ada.get("/people"))
    giver = logged_in(builders.second_administrator())
    refused = giver.post("/people/nell/enrolment", {"checked": "pass 17"})
    assert "another administrator can" in html_of(refused, 422)


def test_an_administrator_ends_a_second_factor_that_was_lost(tess):
    set_up(logged_in(tess))
    ada = logged_in(builders.administrator())
    assert "/people/tess/second-factor" in html_of(ada.get("/people"))
    assert ada.post("/people/tess/second-factor", {"reason": "lost"}).headers["Location"] == "/people"
    assert "Enrol Tess Hollin" in html_of(ada.get("/people"))


def test_the_list_costs_the_same_for_one_as_for_ten(count_queries):
    ada = logged_in(builders.administrator())
    builders.make_person("tess")
    ada.get("/people")
    one = count_queries(lambda: ada.get("/people"))
    for number in range(9):
        builders.make_person(f"p{number}")
    assert count_queries(lambda: ada.get("/people")) == one


def test_the_admins_own_pages_to_log_in_are_not_there(client, tess):
    assert client.get("/admin/login/?next=/admin/").headers["Location"] == "/login?next=/admin/"
    posted = client.post("/admin/login/", {"username": "ada", "password": PASSWORD})
    assert posted.headers["Location"].startswith("/login")
    assert logged_in(tess).get("/admin/login/").status_code == 403
