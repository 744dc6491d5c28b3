"""GET /api/v1/inspections/{id}/plausibility and POST /api/v1/inspections/{id}/surprise."""

import pytest

from reports.services import assessments
from tests import builders
from tests.api_client import said
from tests.builders import NOW, PASSWORD, later

FEWER = {"hand_wraps": 5, "gauge_wraps": 5}


@pytest.fixture
def surprising(ways, cast):
    for week in range(4):
        builders.signed_count(cast, at=later(days=week - 30))
    return f"inspections/{builders.read(cast, builders.open_count(cast), hand_wraps=5, gauge_wraps=5).pk}"


def sign(ways, path):
    body = {"meaning": "counted", "password": PASSWORD}
    return ways.technician.post(f"{path}/sign-offs", body, match=ways.technician.tag(path))


def test_nothing_is_weighed_before_both_have_keyed_everything(ways, cast):
    answer = ways.technician.get(f"inspections/{builders.open_count(cast).pk}/plausibility").json()
    assert answer.pop("is_weighed") is False
    assert set(answer.values()) == {None}


def test_a_surprising_count_is_told_held_up_and_signed_with_a_reason(ways, surprising):
    weighed = ways.verifier.get(f"{surprising}/plausibility").json()
    assert (weighed["is_weighed"], weighed["is_surprising"], weighed["waits_for_a_reason"]) == (True, True, True)
    assert "Log it now" in weighed["told"]
    said(sign(ways, surprising), 409, "count_surprises")
    answer = ways.verifier.post(f"{surprising}/surprise", {"reason": "re-spooled loosely"})
    assert (answer.status_code, answer.json()["accepted_by"]["username"]) == (201, "vic")
    assert ways.verifier.get(f"{surprising}/plausibility").json()["waits_for_a_reason"] is False
    assert sign(ways, surprising).status_code == 201


def test_before_the_fleets_rates_are_learned_it_is_weighed_by_general_ones_and_that_is_said(ways, surprising):
    before = ways.verifier.get(f"{surprising}/plausibility").json()
    assert before["told"].endswith("This is by general rates: the fleet's own are not learned yet.")
    assessments.bring_up_to_date(at=NOW)
    after = ways.verifier.get(f"{surprising}/plausibility").json()
    assert (after["is_surprising"], "general rates" in after["told"]) == (True, False)


def test_a_reason_is_given_once_by_who_takes_part_in_counting_and_not_by_a_stranger(ways, surprising):
    said(ways.stranger.get(f"{surprising}/plausibility"), 404, "not_found")
    said(ways.stranger.post(f"{surprising}/surprise", {"reason": "so"}), 404, "not_found")
    said(ways.colleague.post(f"{surprising}/surprise", {"reason": "so"}), 403, "not_authorised")
    said(ways.technician.post(f"{surprising}/surprise", {}), 400, "invalid_input")
    assert ways.technician.post(f"{surprising}/surprise", {"reason": "so"}).status_code == 201
    said(ways.technician.post(f"{surprising}/surprise", {"reason": "so"}), 409, "nothing_surprising")
