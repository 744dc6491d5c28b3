"""POST /api/v1/inspections/{id}/readings: both people's values at once, from a file or a script."""

import pytest

from inspections.domain.words import Act
from reels.domain.words import Scope
from tests import builders
from tests.api_client import places, said
from tests.api_fixtures import both


@pytest.fixture
def readings(ways, cast):
    return f"inspections/{builders.open_count(cast).pk}/readings"


def test_a_script_posts_a_reading_for_the_people_it_names(ways, cast, token_way, readings):
    script = token_way(cast.colleague, Scope.READ, Scope.READINGS)
    answer = script.post(readings, both(cast))
    assert answer.status_code == 201
    assert (answer.json()["state"], answer.json()["layers"], answer.json()["wraps"]) == ("awaiting_sign_off", 12, 10)
    assert [(each["role"], each["person"]["username"]) for each in answer.json()["participants"]] == [
        ("technician", "tess"), ("verifier", "vic"),
    ]  # fmt: skip
    last = ways.colleague.get("reels/LW-0001/history").json()["results"][-1]
    assert last["content"]["actor"]["via"] == "token spool"


def test_two_who_differ_are_told_where_and_not_what(ways, cast, token_way, readings):
    script = token_way(cast.colleague, Scope.READ, Scope.READINGS)
    answer = script.post(readings, both(cast, {"hand_wraps": 11})).json()
    first, second = answer["readings"]
    assert first["outcome"] == "reread"
    assert first["working"]["problems"][0]["fields"] == ["hand_wraps"]
    assert second["points"] == []
    [hand] = [point for point in first["points"] if point["point"] == "hand_count"]
    assert (hand["agreed"], [each["values"] for each in hand["keyed"]]) == (False, [None, None])


def test_degrees_are_taken_from_scripts(ways, cast, readings):
    given = both(cast)
    for one in (given["technician"], given["verifier"]):
        del one["crossover_half"]
        one["crossover_deg"] = 75
    assert ways.technician.post(readings, given).json()["wraps"] == 10


@pytest.mark.parametrize(
    ("role", "change", "pointer"),
    [
        ("technician", {"hand_wraps": "12"}, "/technician/hand_wraps"),
        ("technician", {"person": 7}, "/technician/person"),
        ("verifier", {"unwind": "right_to_left"}, "/verifier/unwind"),
        ("verifier", {"gauge_face": None}, "/verifier/gauge_face"),
        ("verifier", {"crossover_deg": 75}, "/verifier/crossover_half"),
    ],
)
def test_a_malformed_body_is_refused(ways, cast, readings, role, change, pointer):
    given = both(cast)
    given[role] |= change
    answer = ways.technician.post(readings, given)
    said(answer, 400, "invalid_input")
    assert places(answer) == [pointer]


def test_people_who_are_not_known_or_not_authorised_are_refused(ways, cast, readings):
    said(ways.technician.post(readings, both(cast, {"person": "zoe"})), 404, "not_found")
    said(ways.technician.post(readings, both(cast, {"person": "noel"})), 403, "not_authorised")
    builders.authorise(cast.technician, Act.VERIFY)
    said(ways.technician.post(readings, both(cast, {"person": "tess"})), 409, "other_role")


def test_who_may_not(ways, cast, token_way, readings):
    said(ways.nobody.post(readings, both(cast)), 401, "not_logged_in")
    said(ways.stranger.post(readings, both(cast)), 404, "not_found")
    said(token_way(cast.technician, Scope.READ, Scope.CABLE_EVENTS).post(readings, both(cast)), 403, "scope_missing")
    said(ways.technician.post("inspections/999999/readings", both(cast)), 404, "not_found")
    said(ways.technician.get(readings), 405, "method_not_allowed")


def test_a_second_reading_of_a_count_that_is_worked_out_is_refused(ways, cast, readings):
    assert ways.technician.post(readings, both(cast)).status_code == 201
    said(ways.technician.post(readings, both(cast)), 409, "wrong_state")
