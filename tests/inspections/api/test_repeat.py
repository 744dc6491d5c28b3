"""Idempotency-Key: a request that comes twice stores once and is answered twice in the same way.

Cases after draft-ietf-httpapi-idempotency-key-header, WG source @dab060c5 (a draft, not an RFC).
"""

import json

import pytest
from django.db import IntegrityError, transaction

from reels.domain.words import Scope
from reels.models import CableEvent, HistoryEntry, Submission
from tests.api_client import places, said

EVENTS = "reels/LW-0001/cable-events"
CUT = {"kind": "cut", "happened_at": "2026-03-02T09:00:00Z", "length_removed_m": "12.5"}
WHY = {"reason": "to be counted"}
KEY = '"8e03978e-40d5-43e8-bc93-6894a57f9324"'


def test_the_same_request_gets_the_same_answer_and_stores_once(ways):
    first = ways.control.post(EVENTS, CUT, key=KEY)
    entries = HistoryEntry.objects.count()
    again = ways.control.post(EVENTS, dict(reversed(CUT.items())), key=KEY)
    assert (again.status_code, again.content, again.headers["ETag"]) == (201, first.content, first.headers["ETag"])
    assert (CableEvent.objects.count(), HistoryEntry.objects.count()) == (1, entries)


def test_another_body_or_path_under_the_same_key_is_refused(ways):
    ways.control.post(EVENTS, CUT, key=KEY)
    said(ways.control.post(EVENTS, {**CUT, "length_removed_m": "12.50"}, key=KEY), 422, "key_reused")
    said(ways.control.post("reels/LW-0001/removal", WHY, key=KEY), 422, "key_reused")
    assert CableEvent.objects.count() == 1


def test_keys_are_each_senders_own(ways, cast, token_way):
    ways.control.post(EVENTS, CUT, key=KEY)
    script = token_way(cast.control, Scope.CABLE_EVENTS)
    assert script.post(EVENTS, {**CUT, "answers": ["same_cut"]}, key=KEY).status_code == 201
    assert CableEvent.objects.count() == 2


def test_a_new_token_of_the_same_script_finds_its_old_answers(ways, cast, token_way):
    first = token_way(cast.control, Scope.CABLE_EVENTS).post(EVENTS, CUT, key=KEY)
    assert token_way(cast.control, Scope.CABLE_EVENTS).post(EVENTS, CUT, key=KEY).content == first.content


@pytest.mark.parametrize(
    "key", [None, "", "8e03978e", '"', '""', '"a', 'a"', f'"{"x" * 256}"', '"é"', '"a";p=1', '"\\a"']
)
def test_a_missing_or_unquoted_key_is_refused(ways, key):
    answer = ways.control.post(EVENTS, CUT, key=key)
    said(answer, 400, "key_missing")
    assert places(answer) == ["Idempotency-Key"]
    assert CableEvent.objects.count() == 0


def test_quotes_and_backslashes_in_a_key_are_escaped(ways):
    assert ways.control.post(EVENTS, CUT, key='"a\\"b\\\\c"').status_code == 201
    assert Submission.objects.get().key == 'a"b\\c'


def test_a_refusal_that_stored_nothing_is_not_kept(ways):
    said(ways.control.post("reels/LW-0001/removal", WHY, key=KEY), 409, "reel_not_installed")
    ways.control.post("reels/LW-0001/installation", {"machine": "RM-7"})
    assert ways.control.post("reels/LW-0001/removal", WHY, key=KEY).status_code == 200


def test_what_was_answered_is_kept_as_it_went_out_and_never_changed(ways):
    answer = ways.control.post(EVENTS, CUT, key=KEY)
    kept = Submission.objects.get()
    assert (bytes(kept.body), kept.status, kept.via) == (answer.content, 201, "session")
    assert json.dumps(CUT) not in kept.fingerprint
    with pytest.raises(IntegrityError), transaction.atomic():
        Submission.objects.update(status=200)
    with pytest.raises(IntegrityError), transaction.atomic():
        kept.delete()


def test_a_failure_between_the_work_and_the_answer_stores_neither(ways, monkeypatch):
    def killed(*args, **kwargs):
        raise ZeroDivisionError

    with monkeypatch.context() as patched:
        patched.setattr("reels.services.submissions.Submission.objects.create", killed)
        assert ways.control.post(EVENTS, CUT, key=KEY).status_code == 500
    assert (CableEvent.objects.count(), Submission.objects.count()) == (0, 0)
    assert ways.control.post(EVENTS, CUT, key=KEY).status_code == 201
