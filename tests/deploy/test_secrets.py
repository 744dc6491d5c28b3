"""Secrets that somebody types or is given stay where they belong: in no log, history, row, error or page."""

import logging
import re

import pytest
from django.apps import apps
from django.test import Client
from django.utils import timezone

from reels.domain.words import AskedAt, Scope
from reels.models import HistoryEntry, Person
from reels.services import logins, people
from reels.services.browsers import Origin
from reels.services.history import Actor
from tests import builders
from tests.api_client import ApiClient
from tests.api_fixtures import make_token
from tests.builders import PASSWORD, Cast
from tests.reels.services.test_second_factor import shown

OWN, NEW, WRONG = "marked-secret-of-tess", "marked-secret-that-is-new", "marked-secret-that-is-wrong"


@pytest.fixture
def seen(caplog, capfd, monkeypatch):
    """All that the service answers and logs, as text."""
    answers = []
    plain = Client.request

    def request(self, **environ):
        answer = plain(self, **environ)
        body = answer.getvalue()
        # What was typed as the user name stands in its field again, as it stood there before it was sent.
        body = re.sub(rb'maxlength="60" value="[^"]*"', b"", body)
        answers.append(f"{answer.headers} {answer.cookies} {body!r}")
        return answer

    monkeypatch.setattr(Client, "request", request)
    with caplog.at_level(logging.DEBUG):
        logging.getLogger("django.db.backends").setLevel(logging.INFO)  # statements are not logged in earnest
        yield lambda: [*answers, caplog.text, *(repr(each.__dict__) for each in caplog.records), *capfd.readouterr()]


def kept():
    """Every row of every table, as text: all but the hash of a password and the encrypted secret of a device."""
    rows = (repr(row) for model in apps.get_models() for row in model._base_manager.values_list())
    return [*rows, *(repr(bytes(entry.content)) for entry in HistoryEntry.objects.all())]


def drive(cast, secrets):
    """Log in, sign, change and mistype passwords, set up a device, use a token; by page and API. Fills secrets."""
    inspection = builders.read(cast, builders.open_count(cast))
    way, page = ApiClient(), Client(raise_request_exception=False)
    for password in (WRONG, OWN):
        way.post("session", {"username": "tess", "password": password}, key=None)
        way.post("session", {"username": password, "password": password}, key=None)  # typed into the wrong box
        page.post("/login", {"username": "tess", "password": password})
        page.post("/login", {"username": password, "password": password})
    for password in (WRONG, OWN):
        way.post(f"inspections/{inspection.pk}/sign-offs", {"meaning": "counted", "password": password}, match="*")
        page.post(f"/inspections/{inspection.pk}/result", {"act": "sign", "password": password, "meaning": "counted"})
    way.post("session", {"username": "tess", "password": [OWN]}, key=None)
    way.post("session", {"username": "tess", "passwort": OWN}, key=None)
    begun = way.post("session/second-factor", {"password": OWN}, key=None).json()["secret"]
    code = shown(begun, timezone.now())
    codes = way.post("session/second-factor/confirmation", {"code": code}, key=None).json()["recovery_codes"]
    way.post("session/password", {"password": OWN, "new_password": NEW}, key=None)
    token = make_token(cast.technician, Scope.READ)
    ApiClient(token=token).get("reels")
    ApiClient(token=token + "x").get("reels")
    secrets += [begun, *codes, token, token.split("_", 2)[2]]


@pytest.mark.django_db
def test_no_secret_is_logged_kept_or_told(seen):
    cast, at = Cast(), timezone.now()
    builders.make_reel()
    proof = logins.prove(Actor(cast.technician), PASSWORD, asked_at=AskedAt.ACCOUNT, origin=Origin(), at=at)
    people.change_password(proof, password=OWN, at=at)
    given: list[str] = []
    drive(cast, given)
    answers = seen()
    everything = [*answers, *kept()]
    for secret in (OWN, NEW, WRONG):
        assert [text[:200] for text in everything if secret in text] == []
    shown_once = {text for text in answers if any(secret in text for secret in given[:11])}
    assert len(shown_once) == 2  # the device's secret, and the recovery codes: to their owner, when they were made
    assert [text[:200] for text in everything if any(s in text for s in given) and text not in shown_once] == []


@pytest.mark.django_db
def test_a_crash_with_a_password_in_hand_tells_nobody(seen, monkeypatch):
    def crash(**given):
        raise RuntimeError("something broke")

    monkeypatch.setattr(logins, "authenticate", crash)
    sent = {"username": "tess", "password": WRONG}
    client = Client(raise_request_exception=False)
    answers = [client.post("/api/v1/session", sent, content_type="application/json"), client.post("/login", sent)]
    assert [answer.status_code for answer in answers] == [500, 500]
    told = seen()
    assert any("something broke" in text for text in told)
    assert [text[:300] for text in told if WRONG in text] == []


def test_a_proof_does_not_show_its_password():
    assert OWN not in repr(logins.Proof(Actor(Person(username="tess")), OWN))
