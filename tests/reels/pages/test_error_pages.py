"""What goes wrong is said in words, on a page like the others."""

import pytest
from django.core.exceptions import PermissionDenied
from django.db import OperationalError
from django.http import HttpRequest
from django.test import Client, override_settings
from django.urls import path

from deploy import problems
from deploy.urls import urlpatterns as served
from tests import builders
from tests.page_fixtures import logged_in
from tests.well_formed import faults_of

# Whoever asks for an address that is not there is looked up when the page is rendered, so queries are not refused here.
pytestmark = pytest.mark.django_db


def crash(request: HttpRequest):
    raise RuntimeError("a secret of the inside")


def deny(request: HttpRequest):
    raise PermissionDenied("Only an administrator may do this.")


class SqliteIsBusy(Exception):
    sqlite_errorname = "SQLITE_BUSY"


def locked(request: HttpRequest):
    assert request.POST is not None  # read, as the check of every form's token has it before the view
    raise OperationalError("database is locked") from SqliteIsBusy()


def away(request: HttpRequest):
    raise OperationalError("connection refused") from Exception()


urlpatterns = [path("locked", locked), path("away", away), path("crash", crash), path("deny", deny), *served]
handler403, handler404, handler500 = problems.permission_denied, problems.page_not_found, problems.server_error


@pytest.fixture
def client():
    client = logged_in(builders.make_person("tess"))
    client.raise_request_exception = False
    return client


def words(answer, status):
    html = answer.content.decode()
    assert answer.status_code == status
    assert faults_of(html) == []
    assert "style-src 'self'" in answer.headers["Content-Security-Policy"]
    return html


def test_an_address_with_nothing_at_it_is_told(client):
    assert "There is nothing at this address." in words(client.get("/nothing"), 404)


def test_an_address_with_nothing_at_it_is_told_to_nobody_too():
    assert "There is nothing at this address." in words(Client().get("/nothing"), 404)


@override_settings(ROOT_URLCONF=__name__)
def test_what_is_not_allowed_is_told(client):
    assert "Only an administrator may do this." in words(client.get("/deny"), 403)


@override_settings(ROOT_URLCONF=__name__)
def test_busy_records_are_told_and_what_was_typed_can_be_sent_again(client):
    sent = {"remark": 'a "strand"', "points": ["one", "two"], "password": "not to be shown", "token": "t-1"}
    answer = client.post("/locked?from=here", sent)
    html = words(answer, 503)
    assert (answer.headers["Retry-After"], answer.headers["Cache-Control"]) == ("5", "no-store")
    assert "Nothing of this was stored. Try again in a moment." in html
    assert 'action="/locked?from=here"' in html
    for field in ('name="remark" value="a &quot;strand&quot;"', 'name="points" value="one"',
                  'name="points" value="two"', 'name="token" value="t-1"', 'name="csrfmiddlewaretoken"'):  # fmt: skip
        assert field in html
    assert "not to be shown" not in html


@override_settings(ROOT_URLCONF=__name__)
def test_a_page_that_cannot_be_shown_now_is_offered_again(client):
    html = words(client.get("/away"), 503)
    assert "The records cannot be reached just now" in html
    assert '<a class="button" href="/away">Try again</a>' in html


@override_settings(ROOT_URLCONF=__name__)
def test_a_crash_is_told_without_its_reason(client):
    html = words(client.get("/crash"), 500)
    assert "The request was not carried out." in html
    assert "secret" not in html


def test_a_host_that_is_not_ours_is_told(client):
    html = words(client.get("/reels", headers={"host": "elsewhere.example"}), 400)
    assert "could not be read" in html
