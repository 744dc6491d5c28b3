"""Publications over the API: every revision, those in force for a type, one added, one ended."""

import pytest

from tests import builders
from tests.api_client import places, said

NEXT = {"code": "LWS 12-3", "title": "Counting a reel", "revision": "D", "valid_from": "2026-03-02T09:00:00Z"}


@pytest.fixture
def in_force(ways):
    return builders.make_publication()


def test_a_revision_is_added_and_supersedes_the_one_before(ways, in_force):
    added = ways.administrator.post("publications", {**NEXT, "types": ["w28"]})
    assert (added.status_code, added.json()["types"], added.json()["valid_until"]) == (201, ["w28"], None)
    before = ways.colleague.get(f"publications/{in_force.pk}").json()
    assert (before["valid_until"], before["end_reason"]) == (NEXT["valid_from"], "superseded by revision D")
    listed = ways.stranger.get("publications").json()["results"]
    assert [each["revision"] for each in listed] == ["D", "C"]
    assert [each["revision"] for each in ways.colleague.get("publications?in_force_for=w28").json()["results"]] == ["D"]
    assert ways.colleague.get("publications?in_force_for=w99").json()["results"] == []


def test_one_is_ended_with_a_reason(ways, in_force):
    said(ways.control.post(f"publications/{in_force.pk}/end", {"reason": "recalled"}), 403, "only_administrators")
    said(ways.administrator.post(f"publications/{in_force.pk}/end", {}), 400, "invalid_input")
    ended = ways.administrator.post(f"publications/{in_force.pk}/end", {"reason": "recalled"})
    assert (ended.status_code, ended.json()["end_reason"]) == (200, "recalled")
    said(ways.administrator.post(f"publications/{in_force.pk}/end", {"reason": "again"}), 409, "already_ended")
    said(ways.administrator.post("publications/99/end", {"reason": "none"}), 404, "not_found")


def test_what_cannot_be_is_refused_at_its_field(ways, in_force):
    said(ways.administrator.post("publications", {**NEXT, "revision": "C"}), 409, "already_there")
    early = ways.administrator.post("publications", {**NEXT, "valid_from": "2001-01-01T00:00:00Z"})
    said(early, 409, "publication_out_of_order")
    said(ways.administrator.post("publications", {**NEXT, "types": ["w99"]}), 404, "not_found")
    wrong = ways.administrator.post("publications", {**NEXT, "types": "w28", "title": ""})
    assert sorted(places(wrong)) == ["/title", "/types"]
