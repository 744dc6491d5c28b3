"""A third reading over the API: asked for, taken back, keyed, and shown as far as it may be."""

import pytest

from inspections.domain.words import Point
from tests import stories
from tests.api_client import said

TOLD = ("point", "attempt", "taken_back_at", "agrees_with", "values")


@pytest.fixture
def count(cast):
    """The technician keyed 14 at the left scale, the verifier 13."""
    return f"inspections/{stories.differ(cast, stories.at_the_scales(cast)).pk}"


@pytest.fixture
def third(cast, ways):
    stories.third_person(cast)
    return ways.setter


def ask(ways, count, point="scale_left"):
    return ways.technician.post(f"{count}/third-readings", {"point": point})


def shown(answer):
    return answer.json()["readings"][0]["third_readings"]


def test_it_is_asked_for_keyed_by_somebody_else_and_told_without_a_value(ways, count, third):
    asked = ask(ways, count)
    assert asked.status_code == 201
    [row] = shown(asked)
    assert {name: row[name] for name in TOLD} == {
        "point": "scale_left", "attempt": 1, "taken_back_at": None, "agrees_with": None, "values": None,
    }  # fmt: skip
    due = [(each["act"], each["point"], each["role"]) for each in asked.json()["next"]]
    assert ("third_reading", "scale_left", None) in due
    assert not [each for each in due if each[:2] == ("key", "scale_left")]
    keyed = third.post(f"{count}/third-readings/{row['id']}/keying", {"scale_left": 13})
    assert keyed.status_code == 201
    [row] = shown(keyed)
    assert (row["agrees_with"], row["read_by"]["username"], row["values"]) == ("verifier", "seth", None)
    for way in (ways.technician, ways.verifier, ways.colleague):
        assert shown(way.get(count))[0]["values"] is None


def test_its_value_is_shown_once_the_two_agree(cast, ways, count, third):
    [row] = shown(ask(ways, count))
    third.post(f"{count}/third-readings/{row['id']}/keying", {"scale_left": 15})
    for way, role in ((ways.technician, "technician"), (ways.verifier, "verifier")):
        way.post(f"{count}/keyings", {"point": "scale_left", "role": role, "scale_left": 13})
    [row] = shown(ways.colleague.get(count))
    assert (row["agrees_with"], row["values"]) == ("neither", {"scale_left": 15})


def test_the_point_is_closed_until_it_is_taken_back(ways, count):
    [row] = shown(ask(ways, count))
    keyed = {"point": "scale_left", "role": "verifier", "scale_left": 14}
    said(ways.verifier.post(f"{count}/keyings", keyed), 409, "third_reading_awaited")
    said(ways.verifier.post(f"{count}/third-readings/{row['id']}/end", {}), 403, "not_your_request")
    back = ways.technician.post(f"{count}/third-readings/{row['id']}/end", {})
    assert (back.status_code, bool(shown(back)[0]["taken_back_at"])) == (200, True)
    assert ways.verifier.post(f"{count}/keyings", keyed).status_code == 201
    said(ways.technician.post(f"{count}/third-readings/{row['id']}/end", {}), 409, "third_reading_over")


def test_what_is_refused(ways, count, third):
    said(ask(ways, count, "hand_count"), 409, "no_third_reading")
    said(ask(ways, count, "open_side"), 400, "invalid_input")
    said(third.post(f"{count}/third-readings", {"point": "scale_left"}), 403, "not_one_of_the_two")
    [row] = shown(ask(ways, count))
    said(ask(ways, count), 409, "third_reading_awaited")
    address = f"{count}/third-readings/{row['id']}/keying"
    said(ways.technician.post(address, {"scale_left": 13}), 403, "not_a_third_person")
    said(ways.colleague.post(address, {"scale_left": 13}), 403, "not_authorised")
    said(ways.stranger.post(address, {"scale_left": 13}), 404, "not_found")
    said(third.post(address, {"scale_left": -1}), 400, "invalid_input")
    said(third.post(address, {"hand_wraps": 13}), 400, "impossible_reading")
    said(third.post(f"{count}/third-readings/999999/keying", {"scale_left": 13}), 404, "not_found")
    assert third.post(address, {"scale_left": None}).status_code == 201
    said(third.post(address, {"scale_left": 13}), 409, "third_reading_over")


def test_the_gauges_number_alone_is_keyed(cast, ways, third):
    inspection = stories.at_the_scales(cast)
    stories.key_both(cast, inspection, Point.SCALE_LEFT, Point.SCALE_RIGHT, Point.UNWIND, Point.HAND_COUNT)
    stories.differ(cast, inspection, Point.GAUGE, gauge_face="even", gauge_wraps=11)
    count = f"inspections/{inspection.pk}"
    [row] = shown(ask(ways, count, "gauge"))
    keyed = third.post(f"{count}/third-readings/{row['id']}/keying", {"gauge_wraps": 11})
    assert shown(keyed)[0]["agrees_with"] == "technician"
