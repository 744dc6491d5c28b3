"""Checkpoints and their proofs over the API, and the form in which histories go out."""

import base64
import hashlib
import json

import pytest

from reels.domain.words import Scope
from reels.models import HistoryEntry, Reel
from tests import builders, witnessing
from tests.api_client import said
from tests.witnessing import countersigned_text, public_of


@pytest.fixture
def made(ways):
    return ways.administrator.post("checkpoints").json()


def test_an_administrator_makes_one_and_everybody_logged_in_reads_it(ways, made):
    assert made["entries"] == HistoryEntry.objects.count()
    for way in (ways.administrator, ways.colleague, ways.stranger):
        assert way.get(f"checkpoints/{made['entries']}").json() == made
        assert way.get("checkpoints").json()["results"] == [made]
    said(ways.colleague.post("checkpoints"), 403, "only_administrators")
    said(ways.nobody.get("checkpoints"), 401, "not_logged_in")
    said(ways.colleague.get("checkpoints/999999"), 404, "not_found")


def test_the_latest_is_listed_first_and_an_unchanged_one_is_made_once(ways, made):
    assert ways.administrator.post("checkpoints").json() == made
    builders.make_reel("LW-0002")
    later = ways.administrator.post("checkpoints").json()
    assert later["entries"] == made["entries"] + 1
    assert ways.colleague.get("checkpoints").json()["results"] == [later, made]


def test_an_entry_is_proved_to_be_in_it(ways, made):
    digest = Reel.objects.get().chain.head
    proof = ways.colleague.get(f"checkpoints/{made['entries']}/inclusion?digest={digest}").json()
    assert (proof["size"], len(proof) == 3) == (made["entries"], True)
    assert 0 <= proof["index"] < proof["size"]
    said(ways.colleague.get(f"checkpoints/{made['entries']}/inclusion?digest={'0' * 64}"), 404, "not_found")
    said(ways.colleague.get(f"checkpoints/{made['entries']}/inclusion?digest=abc"), 400, "invalid_input")
    said(ways.colleague.get(f"checkpoints/{made['entries']}/inclusion"), 400, "invalid_input")


def test_an_earlier_one_is_proved_to_be_its_beginning(ways, made):
    builders.make_reel("LW-0002")
    later = ways.administrator.post("checkpoints").json()["entries"]
    first = made["entries"]
    proof = ways.colleague.get(f"checkpoints/{later}/consistency?from={first}").json()
    assert (proof["first"], proof["second"]) == (first, later)
    assert proof["hashes"]
    said(ways.colleague.get(f"checkpoints/{first}/consistency?from={later}"), 404, "not_found")
    said(ways.colleague.get(f"checkpoints/{later}/consistency?from=0"), 400, "invalid_input")
    said(ways.colleague.get(f"checkpoints/{later}/consistency"), 400, "invalid_input")


def test_a_history_goes_out_as_its_stored_bytes(ways, token_way):
    answer = ways.colleague.get("reels/LW-0001/history/export")
    contents = [base64.b64decode(json.loads(line)["content"]) for line in answer.content.decode().splitlines()]
    chain = Reel.objects.get().chain
    assert [hashlib.sha256(each).hexdigest() for each in contents] == [
        entry.digest for entry in chain.entries.order_by("seq")
    ]
    assert answer.headers["Content-Type"] == "application/jsonl"
    script = token_way(ways.cast.colleague, Scope.READ)
    assert script.get("reels/LW-0001/history/export", Accept="application/jsonl").content == answer.content
    said(ways.stranger.get("reels/LW-0001/history/export"), 404, "not_found")


def test_a_script_reads_checkpoints_and_makes_none(ways, made, token_way):
    script = token_way(builders.administrator(), *Scope)
    assert script.get("checkpoints").json()["results"][0]["entries"] == made["entries"]
    said(script.post("checkpoints"), 403, "only_in_person")


# Witnesses ----------------------------------------------------------------------------------------------------------


def test_a_witness_is_registered_and_its_countersignature_handed_in_and_given_out(ways):
    made = ways.administrator.post("checkpoints").json()
    path, text = f"checkpoints/{made['entries']}/witnesses", countersigned_text(made["text"])
    body = {"name": witnessing.NAME, "key": public_of()}
    said(ways.colleague.post("witnesses", body), 403, "only_administrators")
    row = ways.administrator.post("witnesses", body).json()
    assert ways.colleague.get("witnesses").json()["results"] == [row]
    taken = ways.colleague.post(path, {"text": text}).json()
    assert (taken["witness"], taken["text"], taken["signed_at"]) == (witnessing.NAME, text, "2026-03-06T10:00:00Z")
    assert ways.stranger.get(path).json()["results"] == [taken]
    wrong = said(ways.colleague.post(path, {"text": text[:-9]}), 400, "value_not_taken")
    assert "no countersignature of form 1" in wrong["detail"]
    said(ways.colleague.post("checkpoints/999/witnesses", {"text": text}), 404, "not_found")
    said(ways.nobody.get(path), 401, "not_logged_in")
    ended = ways.administrator.post(f"witnesses/{row['id']}/end", {"reason": "dissolved"}).json()
    assert ended["end_reason"] == "dissolved"
