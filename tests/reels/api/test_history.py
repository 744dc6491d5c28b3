"""GET /api/v1/reels/{serial}/history: every act, each bound to the one before."""

import hashlib

import rfc8785

from tests import builders
from tests.api_client import said

HISTORY = "reels/LW-0001/history"


def test_anybody_can_check_the_chain_from_what_is_shown(ways, cast):
    builders.signed_count(cast)
    entries = ways.colleague.get(HISTORY).json()["results"]
    prev = "0" * 64
    for seq, entry in enumerate(entries, start=1):
        assert (entry["seq"], entry["prev"]) == (seq, prev)
        prev = hashlib.sha256(rfc8785.dumps(entry["content"])).hexdigest()
        assert entry["digest"] == prev
    assert ways.colleague.get("reels/LW-0001").headers["ETag"] == f'"{prev}"'


def test_it_comes_in_pages(ways, cast):
    for _ in range(4):
        builders.log_cut(cast, metres="1")
    first = ways.colleague.get(f"{HISTORY}?page_size=3").json()
    builders.log_cut(cast, metres="1")
    second = ways.colleague.get(first["next"]).json()
    assert [entry["seq"] for page in (first, second) for entry in page["results"]] == [1, 2, 3, 4, 5, 6]
    assert second["next"] is None


def test_who_may_not(ways):
    said(ways.nobody.get(HISTORY), 401, "not_logged_in")
    said(ways.stranger.get(HISTORY), 404, "not_found")
    said(ways.colleague.post(HISTORY, {}), 405, "method_not_allowed")


def test_it_costs_the_same_for_one_as_for_many(ways, cast, count_queries):
    ways.colleague.get(HISTORY)
    one = count_queries(lambda: ways.colleague.get(HISTORY))
    for _ in range(10):
        builders.log_cut(cast, metres="1")
    assert one == count_queries(lambda: ways.colleague.get(HISTORY)) == 5  # session, person, postings, reel, entries
