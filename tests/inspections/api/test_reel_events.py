"""Events of a reel over the API: recorded and listed; what they do to its count is told."""

import pytest

from reels.domain.words import Scope
from tests import builders
from tests.api_client import places, said

EVENTS = "reels/LW-0001/events"
USED = {"kind": "used", "happened_at": "2026-03-02T08:30:00Z", "uses": 2, "hours": "1.5", "length_out_m": "80"}


def test_an_event_is_recorded_listed_and_given_back_whole(ways):
    answer = ways.technician.post(EVENTS, {**USED, "document": "WO-7", "words": "a survey"})
    assert answer.status_code == 201
    [listed] = ways.colleague.get(EVENTS).json()["results"]
    assert listed == answer.json()
    told = {name: listed[name] for name in ("reel", "kind", "incident", "uses", "hours", "length_out_m", "ends_count")}
    assert told == {"reel": "LW-0001", "kind": "used", "incident": None, "uses": 2, "hours": "1.500",
                    "length_out_m": "80.000", "ends_count": False}  # fmt: skip


def test_the_reel_says_why_its_count_is_no_longer_current(ways, cast):
    builders.signed_count(cast)
    fresh = ways.colleague.get("reels/LW-0001").json()
    assert (fresh["status"], fresh["count_lapsed_why"], fresh["count_current_until"]) == ("counted", None, None)
    ways.control.post(EVENTS, {"kind": "respooled", "happened_at": "2026-03-02T09:30:00Z"})
    told = ways.colleague.get("reels/LW-0001").json()
    assert (told["status"], told["count_lapsed_at"]) == ("awaiting_count", "2026-03-02T09:30:00Z")
    assert told["count_lapsed_why"] == "on 2026-03-02 this was recorded: re-spooled"
    refused = ways.control.post("reels/LW-0001/setup-values", {"machine": "RM-7"}, match="*")
    said(refused, 409, "count_lapsed")


def test_who_may(ways, cast, token_way):
    said(ways.nobody.post(EVENTS, USED), 401, "not_logged_in")
    said(ways.colleague.post(EVENTS, USED), 403, "not_authorised")
    said(ways.stranger.post(EVENTS, USED), 404, "not_found")
    said(ways.stranger.get(EVENTS), 404, "not_found")
    assert token_way(cast.control, Scope.CABLE_EVENTS).post(EVENTS, USED).status_code == 201
    said(token_way(cast.control, Scope.READ).post(EVENTS, USED), 403, "scope_missing")


@pytest.mark.parametrize(("change", "place"), [
    ({"kind": "flown"}, "/kind"), ({"happened_at": "yesterday"}, "/happened_at"), ({"uses": "2"}, "/uses"),
    ({"hours": 1.5}, "/hours"), ({"colour": "red"}, "/colour"), ({"incident": "rain"}, "/incident"),
])  # fmt: skip
def test_a_malformed_body_is_refused_by_name(ways, change, place):
    assert places(ways.control.post(EVENTS, {**USED, **change})) == [place]


def test_an_incident_says_what_happened(ways):
    jam = {"kind": "incident", "happened_at": "2026-03-02T08:30:00Z", "incident": "jam"}
    said(ways.control.post(EVENTS, jam), 400, "value_not_taken")
    assert ways.control.post(EVENTS, {**jam, "words": "it jammed"}).json()["ends_count"] is True
