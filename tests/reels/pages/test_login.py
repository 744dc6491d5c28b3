import pytest
from django.test import Client
from django.urls import reverse

from tests import builders
from tests.builders import PASSWORD
from tests.page_fixtures import logged_in
from tests.well_formed import faults_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template")]


def log_in(client, password=PASSWORD, **given):
    return client.post(reverse("login"), {"username": "tess", "password": password, **given})


def test_somebody_logs_in_and_comes_to_the_page_they_asked_for(client):
    builders.make_person("tess")
    asked = client.get("/reels/LW-0001")
    assert asked.url == "/login?next=/reels/LW-0001"
    assert log_in(client, next="/reels/LW-0001").url == "/reels/LW-0001"


def test_nobody_is_sent_to_another_host_after_logging_in(client):
    builders.make_person("tess")
    assert log_in(client, next="https://elsewhere.example/").url == "/"


@pytest.mark.parametrize("is_active", [True, False])
def test_a_wrong_password_and_a_login_no_longer_in_use_are_refused_alike(client, is_active):
    builders.make_person("tess", is_active=is_active)
    answer = log_in(client, password="wrong" if is_active else PASSWORD)
    assert answer.status_code == 422
    html = answer.content.decode()
    assert "do not go together, or the login is no longer in use" in html
    assert faults_of(html) == []
    assert "_auth_user_id" not in client.session


def test_what_was_typed_is_named_when_it_is_missing(client):
    html = client.post("/login", {"username": "", "password": ""}).content.decode()
    assert "Type your user name." in html
    assert "Type your password." in html


def test_a_browser_keeps_that_somebody_logged_in_with_it_where_no_script_reads_it(client):
    builders.make_person("tess")
    log_in(client, password="wrong")
    assert "browser" not in client.cookies
    log_in(client)
    kept = client.cookies["browser"]
    assert (kept["httponly"], kept["samesite"], kept["max-age"], kept["path"]) == (True, "Lax", 180 * 24 * 3600, "/")
    assert "tess" not in kept.value


@pytest.mark.parametrize("spoil", [lambda kept: "x" + kept, lambda kept: "", lambda kept: "[]", lambda kept: kept[:-1]])
def test_a_cookie_that_is_not_ours_is_a_stranger_s(client, spoil):
    """And who was locked out with it stays so."""
    builders.make_person("tess")
    log_in(client)
    client.post(reverse("logout"))
    client.cookies["browser"] = spoil(client.cookies["browser"].value)
    stranger = Client()
    for _ in range(5):
        log_in(stranger, password="wrong")
    assert log_in(client).status_code == 429


def test_a_browser_that_many_work_at_knows_each_of_them(client):
    for name in ("tess", "vic"):
        builders.make_person(name)
        client.post(reverse("login"), {"username": name, "password": PASSWORD})
        client.post(reverse("logout"))
    stranger = Client()
    for name in ("tess", "vic"):
        for _ in range(5):
            stranger.post(reverse("login"), {"username": name, "password": "wrong"})
        answer = client.post(reverse("login"), {"username": name, "password": PASSWORD})
        assert answer.status_code == 302
        client.post(reverse("logout"))


def test_the_page_to_log_in_is_well_formed_and_plain(client):
    answer = client.get("/login")
    assert faults_of(answer.content.decode()) == []
    assert "<title>Log in · Wrapledger</title>" in answer.content.decode()


def test_somebody_logs_out_and_is_told(client):
    client = logged_in(builders.make_person("tess"))
    answer = client.post(reverse("logout"), follow=True)
    assert answer.redirect_chain == [("/login", 302)]
    assert "You are logged out." in answer.content.decode()
    assert client.get("/reels").status_code == 302


def test_a_link_does_not_log_anybody_out():
    client = logged_in(builders.make_person("tess"))
    assert client.get("/logout").status_code == 405
    assert client.get("/reels").status_code == 200


def test_whoever_is_logged_in_need_not_do_it_again():
    assert logged_in(builders.make_person("tess")).get("/login").headers["Location"] == "/"


def test_a_form_from_elsewhere_is_refused_in_words():
    builders.make_person("tess")
    answer = log_in(Client(enforce_csrf_checks=True))
    assert answer.status_code == 403
    assert "The form is out of date" in answer.content.decode()
    assert faults_of(answer.content.decode()) == []
