"""Sessions: people log in with their password; everything but GET carries the CSRF token."""

import pytest

from reels.domain.words import Scope
from tests.api_client import ApiClient, places, said
from tests.builders import PASSWORD


@pytest.fixture
def way(cast):
    return ApiClient(csrf=True)


def log_in(way, username="tess", password=PASSWORD):
    return way.post("session", {"username": username, "password": password}, key=None)


def test_a_person_logs_in_acts_and_logs_out(ways, way):
    answer = log_in(way)
    assert answer.status_code == 200
    person = {"username": "tess", "full_name": "Tess Hollin", "is_administrator": False,
              "must_change_password": False, "is_enrolled": True}  # fmt: skip
    assert answer.json()["person"] == person
    assert way.get("session").json()["person"] == person
    assert way.get("reels").status_code == 200
    way.headers["X-CSRFToken"] = way.get("session").json()["csrf_token"]
    assert way.delete("session").status_code == 204
    said(way.get("session"), 401, "not_logged_in")


def test_without_the_csrf_token_nothing_is_changed(ways, way):
    token = log_in(way).json()["csrf_token"]
    said(way.post("reels/LW-0001/hold", {"reason": "A kink."}), 403, "not_allowed")
    said(way.delete("session"), 403, "not_allowed")
    answer = way.post("reels/LW-0001/hold", {"reason": "A kink."}, **{"X-CSRFToken": token})
    said(answer, 403, "not_authorised")  # it got as far as the service


def test_a_wrong_name_or_password_is_refused_alike(way):
    wrong, unknown = log_in(way, password="not-the-word"), log_in(way, username="zoe")
    assert said(wrong, 401, "authentication_failed")["detail"] == said(unknown, 401, "authentication_failed")["detail"]
    assert wrong.headers["WWW-Authenticate"].startswith("Bearer")


def test_a_closed_account_does_not_log_in(ways, cast, way):
    closed = ways.administrator.patch("people/tess", {"is_active": False}, ways.administrator.tag("people/tess"))
    assert closed.status_code == 200
    said(log_in(way), 401, "authentication_failed")
    said(ways.technician.get("reels"), 401, "not_logged_in")


@pytest.mark.parametrize(
    ("body", "pointers"),
    [
        ({}, ["/username", "/password"]), ({"username": 0, "password": True}, ["/username", "/password"]),
        ({"username": "tess", "password": PASSWORD, "next": "/"}, ["/next"]), (None, ["/username", "/password"]),
    ],
)  # fmt: skip
def test_a_malformed_body_is_refused(way, body, pointers):
    answer = way.post("session", body, key=None)
    said(answer, 400, "invalid_input")
    assert places(answer) == pointers


def test_a_token_has_no_session(ways, cast, token_way):
    said(token_way(cast.technician, *Scope).get("session"), 403, "only_in_person")
