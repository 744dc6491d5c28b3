"""Publications: a revision follows the one before, one is taken out of force, and both are told in the register."""

import json
from datetime import timedelta
from typing import Any

import pytest

from reels.errors import AlreadyEnded, AlreadyThere, OnlyAdministrators, PublicationOutOfOrder
from reels.models import HistoryEntry, Publication, PublicationType
from reels.queries import publications_in_force
from reels.services import register
from reels.services.history import Actor
from reports.services.verification import check_records
from tests import builders
from tests.builders import NOW, by_administrator, make_publication

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _records_are_whole_afterwards(db):
    yield
    assert check_records().broken is None


def last_entry():
    return json.loads(bytes(HistoryEntry.objects.latest("id").content))


def in_force(at, reel_type=None):
    return [each.revision for each in publications_in_force(reel_type or builders.make_type(is_confirmed=False), at)]


def test_a_revision_supersedes_the_one_before_in_the_same_entry():
    before = make_publication(revision="C")
    make_publication(revision="D", valid_from=NOW)
    before.refresh_from_db()
    assert (before.valid_until, before.end_reason) == (NOW, "superseded by revision D")
    assert [change["after"].get("revision") for change in last_entry()["changes"]] == [None, "D"]
    assert (in_force(NOW - timedelta(microseconds=1)), in_force(NOW)) == (["C"], ["D"])


def test_another_publication_supersedes_nothing():
    make_publication(revision="C")
    make_publication(code="LWS 40-1", revision="A")
    assert sorted(in_force(NOW)) == ["A", "C"]


@pytest.mark.parametrize("days", [0, 1])
def test_a_revision_does_not_begin_before_the_one_that_it_follows(days):
    make_publication(revision="C", valid_from=NOW)
    with pytest.raises(PublicationOutOfOrder, match="LWS 12-3, revision C begins on 2026-03-02 09:00"):
        make_publication(revision="D", valid_from=NOW - timedelta(days=days))
    assert Publication.objects.count() == 1


def test_a_revision_is_registered_once():
    make_publication(revision="C")
    again: dict[str, Any] = {"code": "LWS 12-3", "title": "Again", "valid_from": NOW}
    with pytest.raises(AlreadyThere, match="LWS 12-3, revision C"):
        register.add_publication(revision="C", **again, **by_administrator())


def test_one_is_for_the_types_that_it_names_and_without_any_for_all():
    narrow, other = (builders.make_type(code, is_confirmed=False) for code in ("w28", "w40"))
    make_publication(code="LWS 1", revision="A", types=[narrow])
    make_publication(code="LWS 2", revision="B")
    assert (sorted(in_force(NOW, narrow)), in_force(NOW, other)) == (["A", "B"], ["B"])
    assert PublicationType.objects.count() == 1


def test_one_that_is_ended_says_why_and_is_not_ended_twice():
    row = make_publication()
    register.end_publication(row, reason="withdrawn by the office", actor=Actor(builders.administrator()), at=NOW)
    assert (last_entry()["act"], row.end_reason) == ("publication_ended", "withdrawn by the office")
    assert in_force(NOW) == []
    with pytest.raises(AlreadyEnded):
        register.end_publication(row, reason="again", actor=Actor(builders.administrator()), at=NOW)


def test_one_that_has_not_begun_is_ended_before_it_is_ever_in_force():
    row = make_publication(valid_from=NOW + timedelta(days=3))
    register.end_publication(row, reason="recalled", actor=Actor(builders.administrator()), at=NOW)
    assert in_force(NOW + timedelta(days=4)) == []


def test_only_administrators_touch_the_register():
    row, person = make_publication(), builders.make_person("pat")
    with pytest.raises(OnlyAdministrators):
        register.end_publication(row, reason="no", actor=Actor(person), at=NOW)
    with pytest.raises(OnlyAdministrators):
        register.add_publication(code="x", title="x", revision="x", valid_from=NOW, actor=Actor(person), at=NOW)
