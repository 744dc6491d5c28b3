"""Sessions end: when nobody works in them, after a shift, and not because an open page asks for news by itself."""

from datetime import timedelta
from types import SimpleNamespace

import pytest
import time_machine
from django.contrib.sessions.backends import db
from django.contrib.sessions.backends.base import UpdateError
from django.db import OperationalError

from reels.models import Person
from tests import builders
from tests.api_client import ApiClient, said
from tests.builders import NOW, PASSWORD, Cast
from tests.page_fixtures import logged_in

pytestmark = pytest.mark.django_db


@pytest.fixture
def clock():
    with time_machine.travel(NOW, tick=False) as found:
        yield found


@pytest.fixture
def tess(db):
    return builders.make_person("tess")


def is_in(client):
    return client.get("/account").status_code == 200


def test_a_session_that_nobody_used_for_an_hour_has_ended(clock, tess):
    client = logged_in(tess)
    assert is_in(client)
    clock.shift(timedelta(minutes=59))
    assert is_in(client)
    clock.shift(timedelta(minutes=60))
    assert client.get("/account").headers["Location"] == "/login?next=/account"
    clock.shift(timedelta(minutes=-60))
    assert not is_in(client), "it came back when the clock went back"


def fails_to_save(monkeypatch):
    """The database goes away while a session is written, as PostgreSQL tells it: without a state."""
    gone = OperationalError("server closed the connection unexpectedly")

    def lost(*args, **kwargs):
        raise gone from Exception("as psycopg says it")

    monkeypatch.setattr(db.SessionStore, "create_model_instance", lambda self, data: SimpleNamespace(save=lost))


def test_a_database_that_goes_away_while_a_session_is_kept_is_told_as_such_and_nothing_was_done(
    clock, tess, monkeypatch
):
    client = logged_in(tess)
    assert is_in(client)
    clock.shift(timedelta(minutes=2))
    fails_to_save(monkeypatch)
    client.raise_request_exception = False
    for answer in (client.get("/api/v1/session"), client.post("/length-unit", {"unit": "ft"})):
        assert (answer.status_code, answer.headers["Retry-After"]) == (503, "5")
    assert Person.objects.get(pk=tess.pk).length_unit == tess.length_unit


def test_a_session_that_is_gone_while_a_request_runs_is_no_failure_of_the_database(clock, tess):
    client = logged_in(tess)
    store = client.session
    store["anything"] = 1
    store.delete()
    with pytest.raises(UpdateError):
        store.save()


def test_it_has_ended_over_the_api_too(clock, tess):
    way = ApiClient(tess)
    assert way.get("session").status_code == 200
    clock.shift(timedelta(minutes=60))
    said(way.get("session"), 401, "not_logged_in")
    assert way.post("session", {"username": "tess", "password": PASSWORD}, key=None).status_code == 200
    assert way.get("session").status_code == 200


def test_a_session_ends_after_a_shift_however_busy_it_was(clock, tess):
    client = logged_in(tess)
    for _ in range(24):
        assert is_in(client)
        clock.shift(timedelta(minutes=30))
    assert not is_in(client)


def test_both_times_are_settings(clock, tess, settings):
    settings.SESSION_IDLE_MINUTES, settings.SESSION_HOURS = 5, 1
    client = logged_in(tess)
    assert is_in(client)
    clock.shift(timedelta(minutes=5))
    assert not is_in(client)


def test_an_open_page_that_asks_for_news_keeps_no_session_alive(clock):
    cast = Cast()
    builders.make_reel()
    opened = builders.open_count(cast)
    client = logged_in(cast.technician)
    assert is_in(client)
    for _ in range(5):
        clock.shift(timedelta(minutes=10))
        assert client.get(f"/inspections/{opened.pk}/stamp").status_code == 200
        page = client.get(f"/inspections/{opened.pk}", headers={"Sec-Fetch-Dest": "empty"})  # it renews itself
        assert page.status_code == 200
    clock.shift(timedelta(minutes=10))
    assert not is_in(client)


def test_looking_often_writes_the_session_no_more_than_once_a_minute(clock, tess, count_queries):
    client = logged_in(tess)
    client.get("/account")
    first = count_queries(lambda: client.get("/account"))
    clock.shift(timedelta(seconds=59))
    assert count_queries(lambda: client.get("/account")) == first
    clock.shift(timedelta(seconds=1))
    assert count_queries(lambda: client.get("/account")) > first
