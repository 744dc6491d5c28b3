"""One's own login over the API: a password that an administrator gave, a second factor, sessions that end, locks."""

import pytest
from django.utils import timezone

from reels.domain.words import Scope
from reels.models import Person
from reels.services import people
from tests import builders
from tests.api_client import ApiClient, places, said
from tests.api_fixtures import make_token
from tests.builders import PASSWORD, by_administrator
from tests.reels.services.test_second_factor import shown

GIVEN, OWN = "given-by-somebody", "known-to-me-alone"


def log_in(username="tess", password=PASSWORD, **more):
    way = ApiClient()
    answer = way.post("session", {"username": username, "password": password, **more}, key=None)
    return way, answer


def plain(way, path, body):
    return way.post(path, body, key=None)


@pytest.fixture
def given(cast):
    """Tess, to whom an administrator has just given a password; logged in with it."""
    people.give_password(cast.technician, password=GIVEN, **{**by_administrator(), "at": timezone.now()})
    way, answer = log_in(password=GIVEN)
    assert answer.json()["person"]["must_change_password"] is True
    assert answer.json()["person"]["is_enrolled"] is False
    return way


def test_with_a_given_password_nothing_is_done_before_it_is_changed(given, cast):
    builders.make_reel()
    for path in ("reels", "people", "reels/LW-0001", "authorisations"):
        said(given.get(path), 403, "password_not_own")
    said(given.post("reels/LW-0001/hold", {"reason": "x"}), 403, "password_not_own")
    assert given.get("session").status_code == 200
    answer = plain(given, "session/password", {"password": GIVEN, "new_password": OWN})
    assert answer.status_code == 204
    assert given.get("reels").status_code == 200  # the same session goes on
    assert log_in(password=GIVEN)[1].status_code == 401
    assert log_in(password=OWN)[1].status_code == 200


def test_a_script_of_somebody_whose_password_was_given_reads_on_and_writes_nothing(given, cast):
    script = ApiClient(token=make_token(cast.technician, Scope.READ, Scope.CABLE_EVENTS))
    builders.make_reel()
    assert script.get("reels").status_code == 200
    cut = {"kind": "cut", "happened_at": "2026-03-02T08:00:00Z", "length_removed_m": "2.0"}
    said(script.post("reels/LW-0001/cable-events", cut), 403, "password_not_own")


@pytest.mark.parametrize(
    ("body", "status", "code", "at"),
    [
        ({"password": "not-the-word", "new_password": OWN}, 403, "wrong_password", ["/password"]),
        ({"password": PASSWORD, "new_password": "short"}, 400, "value_not_taken", ["/password"]),
        ({"password": PASSWORD, "new_password": PASSWORD}, 400, "value_not_taken", ["/password"]),
        ({"password": PASSWORD}, 400, "invalid_input", ["/new_password"]),
    ],
)
def test_a_change_that_is_refused_says_why(ways, body, status, code, at):
    answer = plain(ways.technician, "session/password", body)
    said(answer, status, code)
    assert places(answer) == at
    assert log_in()[1].status_code == 200


def test_who_has_no_session_changes_no_password(ways, cast):
    body = {"password": PASSWORD, "new_password": OWN}
    said(plain(ways.nobody, "session/password", body), 401, "not_logged_in")
    said(
        plain(ApiClient(token=make_token(cast.technician, Scope.READ)), "session/password", body), 403, "only_in_person"
    )


# Sessions -----------------------------------------------------------------------------------------------------------


def test_another_password_ends_every_other_session(ways):
    other, _ = log_in()
    plain(ways.technician, "session/password", {"password": PASSWORD, "new_password": OWN})
    said(other.get("reels"), 401, "not_logged_in")
    assert ways.technician.get("reels").status_code == 200


def test_every_other_session_is_ended_when_one_asks_for_it(ways):
    other, _ = log_in()
    assert ways.technician.delete("session/others").status_code == 204
    said(other.get("reels"), 401, "not_logged_in")
    assert ways.technician.get("reels").status_code == 200


def test_a_closed_account_has_no_session_and_an_old_one_does_not_come_back(ways):
    other, _ = log_in()

    def set_active(is_active):
        way = ways.administrator
        assert way.patch("people/tess", {"is_active": is_active}, way.tag("people/tess")).status_code == 200

    set_active(is_active=False)
    said(other.get("reels"), 401, "not_logged_in")
    set_active(is_active=True)
    said(other.get("reels"), 401, "not_logged_in")
    assert log_in()[1].status_code == 200


def test_a_password_that_an_administrator_gives_ends_every_session(ways):
    other, _ = log_in()
    assert ways.administrator.post("people/tess/password", {"password": GIVEN}).status_code == 200
    said(other.get("reels"), 401, "not_logged_in")


def test_a_new_login_gets_a_session_of_its_own(ways):
    way = ApiClient()
    way.http.get("/login")
    way.http.cookies["sessionid"] = "abcdefghijklmnopqrstuvwxyz012345"  # as somebody else may have set it
    plain(way, "session", {"username": "tess", "password": PASSWORD})
    assert way.http.cookies["sessionid"].value != "abcdefghijklmnopqrstuvwxyz012345"


# Locks --------------------------------------------------------------------------------------------------------------


def test_a_locked_login_is_told_with_the_time_to_wait(ways):
    for _ in range(5):
        said(log_in(password="not-the-word")[1], 401, "authentication_failed")
    answer = log_in()[1]
    problem = said(answer, 429, "too_many_tries")
    assert 0 < int(answer.headers["Retry-After"]) <= 15 * 60
    unknown = [log_in("zoe")[1] for _ in range(6)]
    assert [each.status_code for each in unknown] == [401] * 5 + [429]
    assert unknown[-1].json()["detail"] == problem["detail"]


def test_the_administrators_see_the_alarm_and_nobody_else(ways):
    for username in ("tess", "zoe"):
        for _ in range(5):
            log_in(username, "not-the-word")
    seen = ways.administrator.get("alarms").json()["results"]
    assert [(each["person"], each["asked_at"], each["number"]) for each in seen] == [
        (None, "login", 5), ("tess", "login", 5),
    ]  # fmt: skip
    said(ways.colleague.get("alarms"), 403, "only_administrators")
    said(ways.nobody.get("alarms"), 401, "not_logged_in")


def test_wrong_passwords_at_signing_lock_as_well(ways, cast):
    inspection = builders.read(cast, builders.open_count(cast))
    path = f"inspections/{inspection.pk}/sign-offs"

    def sign(password):
        return ways.technician.post(path, {"meaning": "counted", "password": password}, match="*")

    for _ in range(5):
        said(sign("not-the-word"), 403, "wrong_password")
    answer = sign(PASSWORD)
    said(answer, 429, "too_many_tries")
    assert int(answer.headers["Retry-After"]) > 0
    assert not inspection.sign_offs.exists()
    said(plain(ways.technician, "session/password", {"password": PASSWORD, "new_password": OWN}), 429, "too_many_tries")


# The second factor --------------------------------------------------------------------------------------------------


def set_up(way):
    begun = plain(way, "session/second-factor", {"password": PASSWORD}).json()
    answer = plain(way, "session/second-factor/confirmation", {"code": shown(begun["secret"], timezone.now())})
    return begun["secret"], answer.json()["recovery_codes"]


def test_a_second_factor_is_set_up_used_and_ended(ways):
    other, _ = log_in()
    _, codes = set_up(ways.technician)
    said(other.get("reels"), 401, "not_logged_in")
    assert ways.technician.get("reels").status_code == 200
    said(log_in()[1], 401, "authentication_failed")
    way, answer = log_in(code=codes[0])
    assert answer.status_code == 200
    said(plain(way, "session/second-factor/end", {"password": "not-the-word"}), 403, "wrong_password")
    assert plain(way, "session/second-factor/end", {"password": PASSWORD}).status_code == 204
    assert log_in()[1].status_code == 200


def test_a_set_up_needs_the_password_and_a_right_code(ways):
    way = ways.technician
    said(plain(way, "session/second-factor", {"password": "not-the-word"}), 403, "wrong_password")
    said(plain(way, "session/second-factor/confirmation", {"code": "123456"}), 404, "not_found")
    plain(way, "session/second-factor", {"password": PASSWORD})
    answer = plain(way, "session/second-factor/confirmation", {"code": "x"})
    said(answer, 403, "wrong_code")
    assert places(answer) == ["/code"]


def test_wrong_codes_lock_the_login_like_wrong_passwords(ways):
    set_up(ways.technician)
    for _ in range(5):
        said(log_in(code="000000")[1], 401, "authentication_failed")
    said(log_in(code="000000")[1], 429, "too_many_tries")


def test_where_everyone_needs_one_nothing_else_is_done_first(ways, settings):
    settings.SECOND_FACTOR = "everyone"
    said(ways.technician.get("reels"), 403, "second_factor_missing")
    set_up(ways.technician)
    assert ways.technician.get("reels").status_code == 200


# Administrators -----------------------------------------------------------------------------------------------------


def test_a_login_is_given_by_one_administrator_and_enrolled_by_another(ways):
    body = {"username": "nell", "full_name": "Nell", "staff_number": "N-1", "password": GIVEN}
    added = ways.administrator.post("people", body).json()
    assert (added["must_change_password"], added["login_given_by"], added["enrolled_at"]) == (True, "ada", None)
    checked = {"checked": "pass 17 seen"}
    said(ways.administrator.post("people/nell/enrolment", checked), 403, "another_administrator")
    said(ways.colleague.post("people/nell/enrolment", checked), 403, "only_administrators")
    second = ApiClient(builders.second_administrator())
    assert second.post("people/nell/enrolment", checked).json()["enrolled_by"] == "bea"
    said(second.post("people/nell/enrolment", checked), 409, "already_there")
    assert Person.objects.get(username="nell").must_change_password


def test_a_lost_second_factor_is_ended_by_an_administrator(ways):
    set_up(ways.technician)
    said(ways.colleague.post("people/tess/second-factor/end", {"reason": "lost"}), 403, "only_administrators")
    answer = ways.administrator.post("people/tess/second-factor/end", {"reason": "lost"})
    assert answer.json()["enrolled_at"] is None
    said(ways.administrator.post("people/tess/second-factor/end", {"reason": "lost"}), 404, "not_found")
