"""POST /api/v1/inspections/{id}/sign-offs: in person, with one's own password, on what one has just seen."""

import pytest

from inspections.models import SignOff
from reels.domain.words import Scope
from reels.models import HistoryEntry, Submission
from tests import builders
from tests.api_client import places, said
from tests.builders import PASSWORD

COUNTED = {"meaning": "counted", "password": PASSWORD}
VERIFIED = {"meaning": "verified", "password": PASSWORD}


@pytest.fixture
def inspection(ways, cast):
    return f"inspections/{builders.read(cast, builders.open_count(cast)).pk}"


def sign(way, inspection, body, **options):
    return way.post(f"{inspection}/sign-offs", body, **{"match": way.tag(inspection), **options})


def test_two_people_sign(ways, inspection):
    assert sign(ways.technician, inspection, COUNTED).status_code == 201
    answer = sign(ways.verifier, inspection, VERIFIED)
    assert answer.json()["state"] == "signed"
    signatures = ways.colleague.get(f"{inspection}/sign-offs").json()["results"]
    assert [(each["meaning"], each["person"]["username"]) for each in signatures] == [
        ("counted", "tess"), ("verified", "vic"),
    ]  # fmt: skip
    assert signatures[0]["record_digest"] == signatures[1]["record_digest"]


def test_the_view_must_be_fresh(ways, inspection):
    seen = ways.verifier.tag(inspection)
    said(sign(ways.technician, inspection, COUNTED, match=None), 428, "match_missing")
    sign(ways.technician, inspection, COUNTED)
    said(sign(ways.verifier, inspection, VERIFIED, match=seen), 412, "stale")
    said(sign(ways.verifier, inspection, VERIFIED, match=f"W/{ways.verifier.tag(inspection)}"), 412, "stale")
    said(sign(ways.verifier, inspection, VERIFIED, match="nonsense"), 400, "match_unreadable")
    said(sign(ways.verifier, inspection, VERIFIED, match=f"{seen}, *"), 400, "match_unreadable")
    assert SignOff.objects.count() == 1
    assert (
        sign(ways.verifier, inspection, VERIFIED, match=f"{seen}, {ways.verifier.tag(inspection)}").status_code == 201
    )


def test_the_same_request_again_gets_the_same_answer_though_the_view_is_stale_by_then(ways, inspection):
    seen = ways.technician.tag(inspection)
    first = sign(ways.technician, inspection, COUNTED, key='"once"', match=seen)
    again = sign(ways.technician, inspection, COUNTED, key='"once"', match=seen)
    assert (again.status_code, again.content, again.headers["ETag"]) == (201, first.content, first.headers["ETag"])
    assert SignOff.objects.count() == 1


def test_a_wrong_password_signs_nothing_and_is_no_key_to_the_first_answer(ways, inspection):
    wrong = sign(ways.technician, inspection, {**COUNTED, "password": "not-the-word"})
    said(wrong, 403, "wrong_password")
    assert places(wrong) == ["/password"]
    sign(ways.technician, inspection, COUNTED, key='"once"')
    said(sign(ways.technician, inspection, {**COUNTED, "password": "other"}, key='"once"'), 422, "key_reused")


def test_no_password_is_kept(ways, inspection):
    sign(ways.technician, inspection, COUNTED)
    rows = [repr(row) for model in (Submission, HistoryEntry) for row in model.objects.values_list()]
    assert not any(PASSWORD in row for row in rows)


def test_who_may_not(ways, cast, token_way, inspection):
    said(ways.nobody.post(f"{inspection}/sign-offs", COUNTED, match="*"), 401, "not_logged_in")
    said(ways.nobody.get(f"{inspection}/sign-offs"), 401, "not_logged_in")
    said(ways.stranger.post(f"{inspection}/sign-offs", COUNTED, match="*"), 404, "not_found")
    said(ways.stranger.get(f"{inspection}/sign-offs"), 404, "not_found")
    said(sign(ways.colleague, inspection, COUNTED), 409, "not_signable")
    said(sign(ways.verifier, inspection, VERIFIED), 409, "not_signable")  # the technician signs first
    said(sign(ways.technician, inspection, VERIFIED), 409, "not_signable")
    script = token_way(cast.technician, *Scope)
    said(script.post(f"{inspection}/sign-offs", COUNTED, match="*"), 403, "only_in_person")


@pytest.mark.parametrize(
    ("body", "pointers"),
    [
        ({}, ["/meaning", "/password"]),
        ({**COUNTED, "meaning": "approved"}, ["/meaning"]),
        ({**COUNTED, "password": 1}, ["/password"]),
        ({**COUNTED, "name": "Tess"}, ["/name"]),
    ],
)
def test_a_malformed_body_is_refused(ways, inspection, body, pointers):
    answer = sign(ways.technician, inspection, body)
    said(answer, 400, "invalid_input")
    assert places(answer) == pointers
