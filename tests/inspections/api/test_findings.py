"""Findings over the API: what is looked for, what was found, who sees where, and what is decided."""

import pytest

from reels.domain.words import Scope
from reels.models import Reel
from tests import builders
from tests.api_client import places, said
from tests.api_fixtures import PREPARATION, both

KIND = {"reel_type": "w28", "part": "cable", "code": "kink", "words": "a kink", "least_severity": "watch"}
FOUND = {
    "part": "cable", "kind": "kink", "severity": "stop", "layer": 12, "side": "left", "visible_wrap": 4,
    "length_from_end_m": "2.5", "words": "near the end",
}  # fmt: skip
WHY = {"reason": "looked at"}


@pytest.fixture
def kind(ways):
    return ways.administrator.post("finding-kinds", KIND).json()


@pytest.fixture
def stop(ways, kind):
    return ways.technician.post("reels/LW-0001/findings", FOUND).json()


def test_an_administrator_says_what_a_types_reels_are_looked_over_for(ways, kind):
    assert kind == {**KIND, "id": kind["id"], "is_offered": True}
    assert ways.colleague.get("finding-kinds?reel_type=w28&part=cable").json()["results"] == [kind]
    assert ways.colleague.get("finding-kinds?part=drum").json()["results"] == []
    said(ways.control.post("finding-kinds", {**KIND, "code": "cut"}), 403, "only_administrators")
    said(ways.administrator.post("finding-kinds", KIND), 409, "already_there")
    said(ways.administrator.post("finding-kinds", {**KIND, "code": "other"}), 400, "value_not_taken")
    said(ways.administrator.post("finding-kinds", {**KIND, "reel_type": "none"}), 404, "not_found")


def test_a_stop_is_shown_with_all_of_it_and_holds_the_reel(ways, stop):
    assert stop["details"] == {
        "layer": 12, "side": "left", "visible_wrap": 4, "length_from_end_m": "2.500", "words": "near the end",
    }  # fmt: skip
    assert (stop["reel"], stop["inspection"], stop["severity"], stop["remedy"]) == ("LW-0001", None, "stop", None)
    assert ways.colleague.get(f"findings/{stop['id']}").json() == stop
    assert ways.colleague.get("reels/LW-0001").json()["hold"]["reason"] == "a stop finding: a kink (cable)"
    said(ways.stranger.get(f"findings/{stop['id']}"), 404, "not_found")


@pytest.mark.parametrize(
    ("change", "status", "code", "place"),
    [
        ({"kind": "cut"}, 400, "value_not_taken", "/kind"), ({"severity": "bad"}, 400, "invalid_input", "/severity"),
        ({"kind": "other", "severity": "watch"}, 409, "below_least_severity", "/severity"),
        ({"layer": 21}, 400, "value_not_taken", "/layer"), ({"words": " "}, 400, "invalid_input", "/words"),
        ({"side": None}, 400, "value_not_taken", "/side"), ({"part": "hook"}, 400, "invalid_input", "/part"),
        ({"length_from_end_m": 2.5}, 400, "invalid_input", "/length_from_end_m"),
    ],
)  # fmt: skip
def test_what_cannot_be_taken_is_refused_where_it_stands(ways, kind, change, status, code, place):
    refused = ways.technician.post("reels/LW-0001/findings", {**FOUND, **change})
    said(refused, status, code)
    assert places(refused) == [place]


def test_places_may_be_left_out(ways, kind):
    least = {name: FOUND[name] for name in ("part", "kind", "severity", "words")}
    details = ways.technician.post("reels/LW-0001/findings", least).json()["details"]
    assert details == {
        "layer": None, "side": None, "visible_wrap": None, "length_from_end_m": None, "words": "near the end"
    }  # fmt: skip


def test_findings_are_listed_and_counted_by_kind_and_type(ways, stop):
    ways.verifier.post("reels/LW-0001/findings", {**FOUND, "severity": "watch"})
    ways.releaser.post(f"findings/{stop['id']}/closing", {"remedy": "sound", **WHY})
    ids = [each["id"] for each in ways.colleague.get("findings?reel=LW-0001&open=no").json()["results"]]
    assert ids == [stop["id"]]
    assert len(ways.colleague.get("findings?severity=watch&kind=kink&open=yes").json()["results"]) == 1
    counted = {"reel_type": "w28", "part": "cable", "kind": "kink", "kind_words": "a kink"}
    numbers = {"recorded": 2, "open": 1, "stops": 0, "reels": 1}
    assert ways.colleague.get("reports/findings").json() == {"results": [{**counted, **numbers}]}
    assert ways.colleague.get("reports/findings?site=nowhere").json() == {"results": []}
    assert ways.stranger.get("findings").json()["results"] == []
    assert ways.stranger.get("reports/findings").json() == {"results": []}


def test_an_authorised_person_lowers_it_and_closes_it_in_person(ways, stop, cast, token_way):
    at = f"findings/{stop['id']}"
    said(ways.control.post(f"{at}/lowering", WHY), 403, "not_authorised")
    said(token_way(cast.releaser, *Scope).post(f"{at}/lowering", WHY), 403, "only_in_person")
    lowered = ways.releaser.post(f"{at}/lowering", WHY).json()
    assert (lowered["severity"], lowered["lowered_by"]["username"], lowered["lower_reason"]) == (
        "watch", "rhea", "looked at"
    )  # fmt: skip
    said(ways.releaser.post(f"{at}/lowering", WHY), 409, "not_a_stop")
    said(ways.releaser.post(f"{at}/closing", {"remedy": "cut", **WHY}), 409, "work_not_logged")
    closed = ways.releaser.post(f"{at}/closing", {"remedy": "respooled", **WHY}).json()
    assert (closed["remedy"], closed["closed_by"]["username"]) == ("respooled", "rhea")
    said(ways.releaser.post(f"{at}/closing", {"remedy": "sound", **WHY}), 409, "finding_closed")


# At a count ---------------------------------------------------------------------------------------------------------


def acts_next(ways, count):
    return [each["act"] for each in ways.technician.get(count).json()["next"]]


def test_a_count_says_what_has_to_be_recorded_and_what_stops_it(ways, kind):
    opened = ways.technician.post("reels/LW-0001/inspections", {**PREPARATION, "cable_sound": False}).json()
    count = f"inspections/{opened['id']}"
    assert opened["preparation"]["cable_sound"] is False
    assert acts_next(ways, count) == ["record_finding"]
    keyed = {"point": "serial", "role": "technician", "serial": "LW-0001"}
    said(ways.technician.post(f"{count}/keyings", keyed), 409, "finding_missing")
    finding = ways.technician.post(f"{count}/findings", FOUND).json()
    assert (finding["reel"], finding["inspection"]) == (None, opened["id"])
    assert acts_next(ways, count) == ["close_finding"]
    said(ways.technician.post(f"{count}/keyings", keyed), 409, "stop_finding_open")
    ways.releaser.post(f"findings/{finding['id']}/lowering", WHY)
    assert ways.technician.post(f"{count}/keyings", keyed).status_code == 201


def test_where_it_lies_is_null_for_whoever_has_still_to_read(ways, kind, cast):
    count = f"inspections/{ways.technician.post('reels/LW-0001/inspections', PREPARATION).json()['id']}"
    finding = ways.technician.post(f"{count}/findings", {**FOUND, "severity": "watch"}).json()
    shown = ways.verifier.get(f"findings/{finding['id']}").json()
    assert (shown["details"], shown["photo"], shown["reel"]) == (None, None, None)
    assert finding["details"]["layer"] == 12
    [in_count] = ways.verifier.get(count).json()["findings"]
    assert in_count == shown
    [listed] = ways.verifier.get("findings").json()["results"]
    assert listed == shown
    builders.gauge_for(Reel.objects.get())
    ways.technician.post(f"{count}/readings", both(cast, gauge="WG-0001"))
    assert ways.verifier.get(f"findings/{finding['id']}").json()["details"]["layer"] == 12


def test_a_script_records_what_it_is_told(ways, kind, cast, token_way):
    script = token_way(cast.technician, Scope.READ, Scope.READINGS)
    assert script.post("reels/LW-0001/findings", FOUND).status_code == 201
    said(token_way(cast.technician, Scope.READ).post("reels/LW-0001/findings", FOUND), 403, "scope_missing")
