"""POST /api/v1/reels/{serial}/inspections, and the list of inspections."""

import pytest

from inspections.domain.words import Act
from reels.domain.words import Scope
from tests import builders
from tests.api_client import places, said
from tests.api_fixtures import PREPARATION

COUNTS = "reels/LW-0001/inspections"


def test_a_technician_opens_a_count(ways):
    answer = ways.technician.post(COUNTS, PREPARATION)
    assert answer.status_code == 201
    count = answer.json()
    assert (count["state"], count["from_paper"], count["opened_by"]["username"]) == ("open", False, "tess")
    assert (count["preparation"]["wrap_gauge"], count["preparation"]["machine"]) == (None, None)
    said(ways.technician.post(COUNTS, PREPARATION), 409, "count_already_open")


def test_a_count_from_paper_keeps_both_times(ways):
    count = ways.technician.post(COUNTS, {**PREPARATION, "done_at": "2026-03-02T09:00:00Z"}).json()
    assert (count["from_paper"], count["done_at"]) == (True, "2026-03-02T09:00:00Z")
    assert count["recorded_at"] > count["done_at"]


def test_a_script_opens_a_count_for_the_technician_it_names(ways, cast, token_way):
    script = token_way(cast.colleague, Scope.READ, Scope.READINGS)
    answer = script.post(COUNTS, {**PREPARATION, "technician": "tess"})
    assert answer.status_code == 201
    assert answer.json()["opened_by"]["username"] == "noel"
    assert [each["person"]["username"] for each in answer.json()["participants"]] == ["tess"]


def test_a_script_names_somebody_who_may_count(ways, cast, token_way):
    script = token_way(cast.technician, Scope.READINGS)
    said(script.post(COUNTS, PREPARATION), 400, "technician_not_named")
    said(script.post(COUNTS, {**PREPARATION, "technician": "vic"}), 403, "not_authorised")
    said(script.post(COUNTS, {**PREPARATION, "technician": "zoe"}), 404, "not_found")


def test_in_a_session_one_opens_ones_own(ways, cast):
    builders.authorise(cast.verifier, Act.COUNT)
    refused = ways.technician.post(COUNTS, {**PREPARATION, "technician": "vic"})
    said(refused, 400, "technician_is_you")
    assert places(refused) == ["/technician"]


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"cautions_confirmed": False}, "not_prepared"), ({"cable_sound": None}, "invalid_input"),
        ({"cautions_confirmed": "yes"}, "invalid_input"), ({"cautions_confirmed": 1}, "invalid_input"),
        ({"work_order": "  "}, "invalid_input"), ({"machine": "RM-7"}, "invalid_input"),
        ({"done_at": "2026-03-02"}, "invalid_input"), ({"done_at": "2020-03-02T09:00:00Z"}, "out_of_time"),
        ({"mood": "good"}, "invalid_input"),
    ],
)  # fmt: skip
def test_a_count_that_is_not_prepared_is_refused(ways, change, code):
    said(ways.technician.post(COUNTS, {**PREPARATION, **change}), 400, code)


def test_an_installed_reel_is_not_counted(ways):
    ways.control.post("reels/LW-0001/installation", {"machine": "RM-7"})
    said(ways.technician.post(COUNTS, PREPARATION), 409, "reel_on_machine")


def test_who_may_not(ways, cast, token_way):
    said(ways.nobody.post(COUNTS, PREPARATION), 401, "not_logged_in")
    said(ways.colleague.post(COUNTS, PREPARATION), 403, "not_authorised")
    said(ways.stranger.post(COUNTS, PREPARATION), 404, "not_found")
    said(token_way(cast.technician, Scope.READ).post(COUNTS, PREPARATION), 403, "scope_missing")
    said(ways.technician.post("reels/LW-9999/inspections", PREPARATION), 404, "not_found")


def test_inspections_are_listed_the_latest_first_for_who_may_see_them(ways, cast):
    old = builders.signed_count(cast)
    new = builders.open_count(cast, at=builders.later(days=3))
    ids = [row["id"] for row in ways.colleague.get("inspections").json()["results"]]
    assert ids == [new.pk, old.pk]
    assert [row["id"] for row in ways.colleague.get("inspections?state=signed").json()["results"]] == [old.pk]
    assert ways.colleague.get("inspections?reel=LW-9999").json()["results"] == []
    assert ways.stranger.get("inspections").json()["results"] == []
    said(ways.stranger.get(f"inspections/{old.pk}"), 404, "not_found")
    said(ways.nobody.get(f"inspections/{old.pk}"), 401, "not_logged_in")


def test_a_list_costs_the_same_for_one_as_for_many_and_so_does_an_inspection(ways, cast, count_queries):
    first = builders.signed_count(cast)
    ways.colleague.get("inspections")
    one = count_queries(lambda: ways.colleague.get("inspections"))
    shown = count_queries(lambda: ways.colleague.get(f"inspections/{first.pk}"))
    second = builders.open_count(cast, at=builders.later(days=1))
    for hand in (13, 14):
        builders.read(cast, second, hand_wraps=hand)
    builders.sign_both(cast, builders.read(cast, second))
    # session, person, postings, inspections
    assert one == count_queries(lambda: ways.colleague.get("inspections")) == 4
    # session, person, postings, inspection, keyings, signatures, participants, readings, referrals, void,
    # findings, third readings, what the reader may decide on, and six for whether it stands
    assert shown == count_queries(lambda: ways.colleague.get(f"inspections/{second.pk}")) == 20
