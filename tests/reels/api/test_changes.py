"""GET /api/v1/changes: what was recorded of the reels one may see, without gaps."""

import pytest

from reels.models import FeedPlace, HistoryEntry
from reels.services import feed
from tests import builders
from tests.api_client import places, said


def acts(answer):
    return [(row["reel"], row["act"]) for row in answer.json()["results"]]


def follow(way, size=2):
    """Everything that a follower gets from the beginning on."""
    after, seen = "0", []
    while True:
        answer = way.get(f"changes?after={after}&page_size={size}").json()
        seen += [row["digest"] for row in answer["results"]]
        after = answer["after"]
        if not answer["more"]:
            return seen


def test_changes_come_in_the_order_in_which_they_were_committed(ways, cast):
    builders.make_reel("LW-0002")
    builders.log_cut(cast)
    answer = ways.colleague.get("changes")
    assert acts(answer) == [("LW-0001", "reel_received"), ("LW-0002", "reel_received"), ("LW-0001", "cable_cut")]
    assert answer.json()["more"] is False
    after = answer.json()["after"]
    assert acts(ways.colleague.get(f"changes?after={after}")) == []
    builders.log_cut(cast, "LW-0002")
    assert acts(ways.colleague.get(f"changes?after={after}")) == [("LW-0002", "cable_cut")]


def test_a_follower_gets_everything_once_however_long_the_pages(ways, cast):
    for _ in range(7):
        builders.log_cut(cast, metres="1")
    every = [entry.digest for entry in HistoryEntry.objects.filter(chain__reel__isnull=False).order_by("id")]
    assert [follow(ways.colleague, size) for size in (1, 2, 3, 200)] == [every] * 4


def test_one_follows_the_reels_of_ones_sites_alone(ways, cast):
    builders.make_reel("AD-0001", site=builders.make_site("aldermere", "Aldermere"))
    assert acts(ways.stranger.get("changes")) == [("AD-0001", "reel_received")]
    assert acts(ways.colleague.get("changes")) == [("LW-0001", "reel_received")]
    # The cursor goes past what one may not see: asking again costs no more.
    assert ways.stranger.get("changes").json()["after"] == ways.colleague.get("changes").json()["after"]


def test_a_cursor_of_other_records_is_refused(ways):
    answer = ways.colleague.get("changes?after=999999")
    said(answer, 409, "feed_is_shorter")


@pytest.mark.parametrize("after", ["-1", "x", "1.0", "", "9" * 19, "%00"])
def test_what_is_no_cursor_is_refused(ways, after):
    answer = ways.colleague.get(f"changes?after={after}")
    said(answer, 400, "invalid_input")
    assert places(answer) == ["after"]


def test_who_may_not(ways):
    said(ways.nobody.get("changes"), 401, "not_logged_in")
    said(ways.colleague.post("changes", {}), 405, "method_not_allowed")


def test_places_are_numbered_from_one_on_without_a_hole(ways, cast):
    feed.number_waiting()
    builders.log_cut(cast)
    assert FeedPlace.objects.filter(number__isnull=True).count() == 1
    feed.number_waiting()
    assert [place.number for place in FeedPlace.objects.order_by("entry_id")] == list(
        range(1, HistoryEntry.objects.count() + 1)
    )


def test_it_costs_the_same_for_one_as_for_many(ways, cast, count_queries):
    ways.colleague.get("changes")
    one = count_queries(lambda: ways.colleague.get("changes"))
    for _ in range(10):
        builders.log_cut(cast, metres="1")
    ways.colleague.get("changes")
    # session, person, anything waiting, the last number, postings, entries
    assert one == count_queries(lambda: ways.colleague.get("changes")) == 6
