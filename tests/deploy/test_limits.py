"""How many requests are taken: wrong passwords by address, all else by person or address; and whose address it is."""

from typing import Any

import pytest
from django.core.cache import cache

from tests import builders
from tests.api_client import ApiClient, said
from tests.builders import PASSWORD
from tests.page_fixtures import logged_in
from tests.well_formed import faults_of

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def limits(settings):
    cache.clear()
    settings.RATES = {"login": "3/min", "request": "5/min", "as_of": "2/min"}
    yield settings
    cache.clear()


def log_in(way, username="tess", address="192.0.2.1", **headers):
    body = {"username": username, "password": PASSWORD}
    return way.http.post("/api/v1/session", body, content_type="application/json", REMOTE_ADDR=address, headers=headers)


def test_wrong_passwords_are_limited_by_address_whatever_name_is_tried():
    statuses = [log_in(ApiClient(), f"name{n}").status_code for n in range(4)]
    assert statuses == [401, 401, 401, 429]
    answer = log_in(ApiClient(), "another")
    said(answer, 429, "too_many_tries")
    assert 0 < int(answer.headers["Retry-After"]) <= 60
    assert log_in(ApiClient(), address="192.0.2.2").status_code == 401


def test_who_is_behind_one_address_with_a_stranger_logs_in_with_a_browser_that_was_used_before(limits):
    limits.RATES = {**limits.RATES, "request": "1200/min"}
    builders.make_person("tess")
    mine = ApiClient()
    assert log_in(mine).status_code == 200
    del mine.http.cookies["sessionid"]
    for n in range(3):
        log_in(ApiClient(), f"name{n}")
    assert log_in(ApiClient()).status_code == 429
    assert log_in(mine).status_code == 200


def test_right_passwords_from_one_address_are_as_many_as_other_requests(limits):
    limits.RATES = {**limits.RATES, "request": "1200/min"}
    people = [builders.make_person(f"p{n}").username for n in range(9)]
    assert [log_in(ApiClient(), name).status_code for name in people] == [200] * 9


def test_the_page_and_the_api_count_together_and_the_page_says_it_in_words(client):
    for _ in range(3):
        log_in(ApiClient())
    answer = client.post("/login", {"username": "tess", "password": PASSWORD}, REMOTE_ADDR="192.0.2.1")
    html = answer.content.decode()
    assert (answer.status_code, faults_of(html)) == (429, [])
    assert "Too many wrong passwords were given for any user name from this network address" in html
    assert int(answer.headers["Retry-After"]) > 0


def test_requests_are_limited_by_person_not_by_address():
    tess, vic = (ApiClient(builders.make_person(name)) for name in ("tess", "vic"))
    assert [tess.get("session").status_code for _ in range(6)] == [200] * 5 + [429]
    assert logged_in(builders.make_person("noel")).get("/account").status_code == 200
    assert vic.get("session").status_code == 200


def test_reports_as_of_a_day_have_a_rate_of_their_own():
    tess = ApiClient(builders.make_person("tess"))
    statuses = [tess.get(f"reports/drift?as_of=2024-06-{day:02}").status_code for day in (1, 2, 3)]
    assert statuses == [202, 202, 429]
    assert logged_in(builders.make_person("noel")).get("/account").status_code == 200
    assert tess.get("session").status_code == 200


def test_scripts_and_strangers_are_limited_by_address_whatever_token_they_try():
    statuses = [ApiClient(token=f"wl_0000000{n}_x").get("reels").status_code for n in range(6)]
    assert statuses == [401] * 5 + [429]


@pytest.mark.parametrize("path", ["/documents/check", "/api/v1/workings", "/login", "/api/v1/imports"])
def test_a_body_that_is_too_large_is_refused_before_it_is_read(path):
    class Unread:
        def read(self, *_):
            raise AssertionError("it was read")

        readline = read

    client = logged_in(builders.make_person("tess"))
    environ: dict[str, Any] = {"CONTENT_LENGTH": str(10**9), "wsgi.input": Unread()}
    answer = client.generic("POST", path, b"", content_type="multipart/form-data; boundary=x", **environ)
    assert answer.status_code == 413
    if path.startswith("/api"):
        said(answer, 413, "body_too_large")
    else:
        assert faults_of(answer.content.decode()) == []


def test_a_limit_can_be_taken_away(limits):
    limits.RATES = {"login": "", "request": "", "as_of": ""}
    assert [log_in(ApiClient(), f"name{n}").status_code for n in range(6)] == [401] * 6


def test_the_address_that_a_client_tells_counts_for_nothing():
    statuses = [log_in(ApiClient(), f"n{n}", **{"X-Forwarded-For": f"198.51.100.{n}"}).status_code for n in range(4)]
    assert statuses == [401, 401, 401, 429]


def test_behind_a_web_server_its_word_counts_and_what_the_client_put_before_it_does_not(limits):
    limits.PROXIES = 1

    def attempt(told):
        return log_in(ApiClient(), address="127.0.0.1", **{"X-Forwarded-For": told}).status_code

    assert [attempt(f"203.0.113.{n}, 198.51.100.7") for n in range(4)] == [401, 401, 401, 429]
    assert attempt("198.51.100.8") == 401
