"""Tokens: issued by administrators for a person, with scopes and an end; only a digest of the secret is kept."""

import hashlib
from datetime import timedelta

import pytest
from django.utils import timezone

from reels.domain.words import Scope
from reels.models import ApiToken, HistoryEntry, Submission
from tests.api_client import ApiClient, places, said


def body(**changes):
    end = (timezone.now() + timedelta(days=90)).isoformat()
    return {"person": "mona", "name": "spool", "scopes": ["read", "cable-events"], "expires_at": end, **changes}


def issue(ways, **changes):
    return ways.administrator.post("tokens", body(**changes))


def test_the_secret_is_shown_once(ways):
    answer = ways.administrator.post("tokens", given := body(), key='"once"')
    assert answer.status_code == 201
    secret = answer.json()["secret"]
    assert secret.startswith(f"wl_{answer.json()['prefix']}_")
    assert len(secret.split("_", 2)[2]) == 43  # 32 random bytes
    again = ways.administrator.post("tokens", given, key='"once"')
    assert {**again.json(), "secret": secret} == answer.json()
    assert again.json()["secret"] is None
    [listed] = ways.administrator.get("tokens").json()["results"]
    assert "secret" not in listed


def test_only_a_digest_is_kept(ways):
    secret = issue(ways).json()["secret"]
    token = ApiToken.objects.get()
    assert token.digest == hashlib.sha256(secret.encode()).hexdigest()
    rows = [repr(row) for model in (ApiToken, Submission, HistoryEntry) for row in model.objects.values_list()]
    assert not any(secret in row or secret.split("_", 2)[2] in row for row in rows)


def test_its_use_and_its_end_are_kept(ways):
    issued = issue(ways).json()
    script = ApiClient(token=issued["secret"])
    assert script.get("reels").status_code == 200
    [used] = ways.administrator.get("tokens").json()["results"]
    assert used["last_used_at"] is not None
    revoke = f"tokens/{issued['id']}/revocation"
    ended = ways.administrator.post(revoke, {"reason": "The laptop was lost."})
    assert (ended.status_code, ended.json()["revoke_reason"]) == (200, "The laptop was lost.")
    said(ways.administrator.post(revoke, {"reason": "Again."}), 409, "already_ended")
    said(script.get("reels"), 401, "authentication_failed")
    assert ApiToken.objects.count() == 1


def test_a_token_ends_with_its_time_and_with_its_persons_account(ways, cast, token_way):
    script = token_way(cast.control, Scope.READ)
    assert script.get("reels").status_code == 200
    ApiToken.objects.update(expires_at=timezone.now())
    said(script.get("reels"), 401, "authentication_failed")
    other = token_way(cast.setter, Scope.READ)
    ways.administrator.patch("people/seth", {"is_active": False}, ways.administrator.tag("people/seth"))
    said(other.get("reels"), 401, "authentication_failed")


@pytest.mark.parametrize("secret", ["x", "wl_", "wl_12345678_x", "wl__", "Wl_1_2", "wl_%00_a", "a b", "é"])
def test_what_is_no_token_is_refused(ways, secret):
    said(ApiClient(token=secret).get("reels"), 401, "authentication_failed")


def test_a_secret_whose_tail_is_wrong_is_refused(ways):
    secret = issue(ways).json()["secret"]
    said(ApiClient(token=secret[:-1] + ("A" if secret[-1] != "A" else "B")).get("reels"), 401, "authentication_failed")


def test_a_token_reads_what_its_person_may_and_no_more(ways, cast, token_way):
    assert token_way(cast.stranger, Scope.READ).get("reels").json()["results"] == []
    said(token_way(cast.control, Scope.CABLE_EVENTS).get("reels"), 403, "scope_missing")
    said(token_way(cast.control, *Scope).get("tokens"), 403, "only_in_person")
    said(ApiClient(token=token_way(cast.control, Scope.READ).headers["Authorization"][7:]).post("tokens", body()), 403,
         "only_in_person")  # fmt: skip


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"scopes": []}, "/scopes"), ({"scopes": ["sign"]}, "/scopes/0"), ({"scopes": "read"}, "/scopes"),
        ({"expires_at": "2020-01-01T00:00:00Z"}, "/expires_at"),
        ({"expires_at": "2999-01-01T00:00:00Z"}, "/expires_at"),
        ({"name": ""}, "/name"), ({"secret": "mine"}, "/secret"),
    ],
)  # fmt: skip
def test_a_malformed_body_is_refused(ways, change, pointer):
    answer = issue(ways, **change)
    assert answer.status_code == 400
    assert places(answer) == [pointer]


def test_only_administrators_in_person_have_to_do_with_tokens(ways):
    for way, status, code in (
        (ways.nobody, 401, "not_logged_in"), (ways.control, 403, "only_administrators"),
    ):  # fmt: skip
        said(way.post("tokens", body()), status, code)
        said(way.get("tokens"), status, code)
    said(ways.nobody.post("tokens/1/revocation", {"reason": "So."}), 401, "not_logged_in")
    # Its owner may end a token, and nobody else learns that it is there.
    said(ways.control.post("tokens/1/revocation", {"reason": "So."}), 404, "not_found")
    said(issue(ways, person="zoe"), 404, "not_found")
    said(ways.administrator.post("tokens/999999/revocation", {"reason": "So."}), 404, "not_found")
