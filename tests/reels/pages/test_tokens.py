"""The pages of tokens: whoever has a settled login makes their own, and sees its secret once."""

import re
from datetime import timedelta
from html import unescape

import pytest

from reels.domain.words import Scope
from reels.models import ApiToken
from tests import builders
from tests.api_client import ApiClient
from tests.api_fixtures import make_token
from tests.builders import PASSWORD, Cast, administrator
from tests.page_fixtures import logged_in
from tests.page_forms import Forms
from tests.well_formed import faults_of

pytestmark = pytest.mark.django_db

TYPED = {"name": "spool", "scopes": ["read", "readings"], "days": "90", "password": PASSWORD}


def form_of(client):
    return Forms(client.get("/tokens/add").content.decode()).of_act({})


def secret_in(html):
    return re.findall(r"wl_[0-9a-f]{8}_[\w-]+", html)


def test_somebody_makes_a_token_of_their_own_and_sees_its_secret_once():
    builders.make_reel()
    colleague = Cast.as_needed().colleague
    client = logged_in(colleague)
    sent = {**form_of(client), **TYPED}
    assert "person" not in sent
    first = client.post("/tokens/add", sent)
    html = unescape(first.content.decode())
    assert (first.status_code, faults_of(html)) == (200, [])
    (secret,) = secret_in(html)
    token = colleague.tokens.get()
    assert (token.name, token.scopes, token.issued_by) == ("spool", ["read", "readings"], colleague)
    assert token.expires_at - token.issued_at == timedelta(days=90)
    assert [reel["serial"] for reel in ApiClient(token=secret).get("/api/v1/reels").json()["results"]] == ["LW-0001"]

    repeat = client.post("/tokens/add", sent, follow=True)  # a double tap
    assert colleague.tokens.count() == 1
    assert secret_in(repeat.content.decode()) == []
    assert "its secret was shown with the first answer" in repeat.content.decode()
    assert client.post("/tokens/add", {**sent, "name": "other"}).status_code == 422
    assert colleague.tokens.count() == 1


def test_an_administrator_makes_one_for_somebody_else_and_nobody_else_does():
    tess = builders.make_person("tess")
    ada = logged_in(administrator())
    assert ada.post("/tokens/add", {**form_of(ada), **TYPED, "person": "tess"}).status_code == 200
    assert tess.tokens.get().issued_by == administrator()
    mona = logged_in(builders.make_person("mona"))
    mona.post("/tokens/add", {**form_of(mona), **TYPED, "person": "tess"})
    assert (tess.tokens.count(), ApiToken.objects.filter(person__username="mona").count()) == (1, 1)


@pytest.mark.parametrize(
    ("changes", "said"), [({"password": "wrong"}, "password"), ({"scopes": []}, "Choose what it is for")]
)
def test_a_token_that_is_refused_is_not_made(changes, said):
    tess = builders.make_person("tess")
    client = logged_in(tess)
    answer = client.post("/tokens/add", {**form_of(client), **TYPED, **changes})
    assert (answer.status_code, tess.tokens.count()) == (422, 0)
    assert said in answer.content.decode()


def test_everybody_sees_their_own_and_administrators_all():
    tess, mona = (builders.make_person(name) for name in ("tess", "mona"))
    for person in (tess, mona):
        make_token(person, Scope.READ, name=f"of {person.username}")
    html = logged_in(tess).get("/tokens").content.decode()
    assert ("of tess" in html, "of mona" in html) == (True, False)
    html = logged_in(administrator()).get("/tokens").content.decode()
    assert ("of tess" in html, "of mona" in html) == (True, True)


def test_a_token_that_is_ended_is_refused_from_then_on():
    tess = builders.make_person("tess")
    secret = make_token(tess, Scope.READ)
    address = f"/tokens/{tess.tokens.get().pk}/revocation"
    assert logged_in(builders.make_person("mona")).get(address).status_code == 404
    client = logged_in(tess)
    form = Forms(client.get(address).content.decode()).of_act({})
    assert client.post(address, {**form, "reason": "the script is gone"}).status_code == 302
    assert ApiClient(token=secret).get("/api/v1/reels").status_code == 401
    assert "the script is gone" in client.get("/tokens").content.decode()
