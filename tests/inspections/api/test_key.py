"""POST /api/v1/inspections/{id}/keyings: one person, one point."""

import pytest

from reels.domain.words import Scope
from tests import stories
from tests.api_client import places, said

LEFT = {"point": "scale_left", "role": "technician", "scale_left": 13}


@pytest.fixture
def keyings(ways, cast):
    return f"inspections/{stories.at_the_scales(cast).pk}/keyings"


def test_what_is_open_next_is_told(ways, keyings):
    answer = ways.technician.post(keyings, LEFT).json()
    assert [(each["point"], each["role"]) for each in answer["next"]] == [
        ("scale_left", "verifier"), ("scale_right", "technician"), ("scale_right", "verifier"),
        ("unwind", "technician"),
    ]  # fmt: skip


def test_when_the_two_differ_both_key_it_again(ways, keyings):
    ways.technician.post(keyings, LEFT)
    answer = ways.verifier.post(keyings, {**LEFT, "role": "verifier", "scale_left": 14}).json()
    point = answer["readings"][0]["points"][-1]
    assert point["agreed"] is False
    assert [(each["point"], each["role"]) for each in answer["next"]][:2] == [
        ("scale_left", "technician"), ("scale_left", "verifier"),
    ]  # fmt: skip
    assert ways.technician.post(keyings, {**LEFT, "scale_left": 14}).status_code == 201


def test_a_scale_that_cannot_be_read_is_null(ways, keyings):
    answer = ways.technician.post(keyings, {**LEFT, "scale_left": None}).json()
    point = answer["readings"][0]["points"][-1]
    assert point["keyed"][0]["values"] == {"scale_left": None}


@pytest.mark.parametrize(
    ("given", "pointers"),
    [
        ({"point": "scale_left", "role": "technician"}, ["/scale_left"]),
        ({**LEFT, "hand_wraps": 3}, ["/hand_wraps"]),
        ({**LEFT, "scale_left": "13"}, ["/scale_left"]),
        ({**LEFT, "scale_left": 1000}, ["/scale_left"]),
        ({**LEFT, "point": "colour"}, ["/point"]),
        ({**LEFT, "role": "clerk"}, ["/role"]),
        ({"point": "gauge", "role": "technician", "gauge_face": "even"}, ["/gauge_wraps"]),
    ],
)
def test_a_malformed_body_is_refused(ways, keyings, given, pointers):
    answer = ways.technician.post(keyings, given)
    assert answer.status_code == 400
    assert places(answer) == pointers


def test_the_next_step_opens_when_the_one_before_is_agreed(ways, keyings):
    hand = {"point": "hand_count", "role": "technician", "hand_wraps": 12}
    said(ways.technician.post(keyings, hand), 409, "point_not_open")
    ways.technician.post(keyings, LEFT)
    said(ways.technician.post(keyings, LEFT), 409, "already_keyed")
    said(ways.verifier.post(keyings, {"point": "unwind", "role": "verifier", "unwind": "left_to_right"}),
         409, "not_your_point")  # fmt: skip


def test_who_may_not(ways, cast, token_way, keyings):
    said(ways.nobody.post(keyings, LEFT), 401, "not_logged_in")
    said(ways.stranger.post(keyings, LEFT), 404, "not_found")
    said(ways.colleague.post(keyings, LEFT), 403, "not_authorised")
    said(ways.technician.post(keyings, {**LEFT, "role": "verifier"}), 403, "not_authorised")
    said(token_way(cast.technician, *Scope).post(keyings, LEFT), 403, "only_in_person")
