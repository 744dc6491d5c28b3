"""The page of publications, and what administrators do there."""

import pytest

from reels.models import Publication
from tests import builders
from tests.page_fixtures import hidden_in, logged_in
from tests.well_formed import faults_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]
TYPED = {"code": "LWS 12-3", "title": "Counting a reel", "revision": "D", "valid_from": "2026-03-02T09:00"}


@pytest.fixture
def in_force():
    builders.make_type()
    return builders.make_publication()


def send(client, address, **typed):
    html = client.get(address).content.decode()
    assert faults_of(html) == []
    return client.post(address, {**hidden_in(html), **typed})


def test_everybody_sees_every_revision_and_which_is_in_force(in_force):
    builders.make_publication(revision="D", valid_from=builders.later(days=3), types=[builders.make_type()])
    html = logged_in(builders.make_person("pat")).get("/publications").content.decode()
    assert faults_of(html) == []
    assert html.index("not in force yet") < html.index(">in force<")
    assert "superseded by revision D" in html
    assert "Add a publication" not in html


def test_a_revision_is_added_and_one_is_ended(in_force):
    ada = logged_in(builders.administrator())
    added = send(ada, "/publications/add", **TYPED, types="w28")
    assert added.headers["Location"] == "/publications"
    newest = Publication.objects.get(revision="D")
    assert [each.code for each in newest.types.all()] == ["w28"]
    refused = send(ada, "/publications/add", **{**TYPED, "revision": "E"})
    assert refused.status_code == 422
    assert "a revision that follows it begins later" in refused.content.decode()
    ended = send(ada, f"/publications/{newest.pk}/end", reason="recalled")
    assert ended.headers["Location"] == "/publications"
    assert "recalled" in ada.get("/publications").content.decode()


def test_others_have_no_such_forms(in_force):
    pat = logged_in(builders.make_person("pat"))
    assert pat.get("/publications/add").status_code == 403
    assert pat.get(f"/publications/{in_force.pk}/end").status_code == 403
