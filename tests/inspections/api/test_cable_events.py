"""Cable events: logged by people and scripts, taken back by a counter-entry."""

import pytest

from reels.domain.words import Scope
from reels.models import CableEvent
from tests import builders
from tests.api_client import places, said

EVENTS = "reels/LW-0001/cable-events"
CUT = {"kind": "cut", "happened_at": "2026-03-02T09:00:00+01:00", "length_removed_m": "12.5", "document": "WO-7"}


def test_a_script_logs_a_cut(ways, cast, token_way):
    answer = token_way(cast.control, Scope.CABLE_EVENTS).post(EVENTS, CUT)
    assert answer.status_code == 201
    event = answer.json()
    assert (event["kind"], event["length_removed_m"], event["happened_at"]) == (
        "cut", "12.500", "2026-03-02T08:00:00Z",
    )  # fmt: skip
    assert (event["remark"], event["reverses"], event["reversed_by"]) == (None, None, None)
    assert ways.colleague.get(EVENTS).json()["results"] == [event]
    assert ways.colleague.get("reels/LW-0001").json()["length_by_log_m"] == "407.500"


def test_a_cut_withdraws_the_values_in_force(ways, cast):
    builders.signed_count(cast)
    values = builders.issued(cast)
    ways.control.post(EVENTS, {**CUT, "happened_at": "2026-03-02T10:00:00Z"})
    shown = ways.colleague.get(f"setup-values/{values.pk}").json()
    assert shown["withdrawn_why"] == "cut on 2026-03-02"


def test_an_entry_is_taken_back_once(ways):
    event = ways.control.post(EVENTS, CUT).json()
    back = f"{EVENTS}/{event['id']}/reversal"
    answer = ways.control.post(back, {"remark": "Entered twice."})
    assert (answer.status_code, answer.json()["kind"], answer.json()["reverses"]) == (201, "reversal", event["id"])
    said(ways.control.post(back, {"remark": "Again."}), 409, "already_reversed")
    assert ways.colleague.get(EVENTS).json()["results"][0]["reversed_by"] == answer.json()["id"]


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"kind": "reversal"}, "/kind"), ({"kind": None}, "/kind"), ({"length_removed_m": None}, "/length_removed_m"),
        ({"length_removed_m": 12.5}, "/length_removed_m"), ({"length_removed_m": "0"}, "/length_removed_m"),
        ({"length_removed_m": "500"}, "/length_removed_m"), ({"happened_at": "2026-03-02T09:00:00"}, "/happened_at"),
        ({"happened_at": "2026-03-02 09:00:00Z"}, "/happened_at"), ({"happened_at": 1772442000}, "/happened_at"),
        ({"happened_at": "2999-03-02T09:00:00Z"}, "/happened_at"), ({"document": 7}, "/document"),
        ({"remark": "\x00"}, "/remark"), ({"remark": "\ud800"}, "/remark"), ({"by": "tess"}, "/by"),
    ],
)  # fmt: skip
def test_a_malformed_body_is_refused_and_nothing_is_stored(ways, change, pointer):
    answer = ways.control.post(EVENTS, {**CUT, **change})
    assert answer.status_code == 400
    assert places(answer) == [pointer]
    assert CableEvent.objects.count() == 0


def test_who_may_not(ways, cast, token_way):
    said(ways.nobody.post(EVENTS, CUT), 401, "not_logged_in")
    said(ways.colleague.post(EVENTS, CUT), 403, "not_authorised")
    said(ways.stranger.post(EVENTS, CUT), 404, "not_found")
    said(ways.stranger.get(EVENTS), 404, "not_found")
    said(token_way(cast.control, Scope.READ, Scope.READINGS).post(EVENTS, CUT), 403, "scope_missing")
    said(token_way(cast.colleague, Scope.CABLE_EVENTS).post(EVENTS, CUT), 403, "not_authorised")
    event = ways.control.post(EVENTS, CUT).json()["id"]
    back = {"remark": "Entered twice."}
    said(token_way(cast.control, *Scope).post(f"{EVENTS}/{event}/reversal", back), 403, "only_in_person")
    said(ways.control.post(f"{EVENTS}/999999/reversal", back), 404, "not_found")


def test_a_list_costs_the_same_for_one_as_for_many(ways, cast, count_queries):
    builders.log_cut(cast, metres="1")
    ways.colleague.get(EVENTS)
    one = count_queries(lambda: ways.colleague.get(EVENTS))
    for _ in range(10):
        builders.log_cut(cast, metres="1")
    assert one == count_queries(lambda: ways.colleague.get(EVENTS)) == 5  # session, person, postings, reel, events
