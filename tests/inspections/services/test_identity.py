"""Both read the reel's serial off its data plate first, blind; a count of another reel ends there, and is kept."""

import json
from typing import Any

import pytest

from inspections.domain.words import InspectionState, Point, Role
from inspections.errors import ImpossibleReading, PointNotOpen
from inspections.models import Inspection, Keying
from reels.models import HistoryEntry
from tests import builders, stories

T, V = Role.TECHNICIAN, Role.VERIFIER


@pytest.fixture
def inspection(cast):
    return builders.open_count(cast)


def key_serials(cast, inspection, technician, verifier):
    stories.key(cast, inspection, Point.SERIAL, T, serial=technician)
    return stories.key(cast, inspection, Point.SERIAL, V, serial=verifier)


def last_facts() -> dict[str, Any]:
    facts: dict[str, Any] = json.loads(bytes(HistoryEntry.objects.order_by("-id")[0].content))["facts"]
    return facts


def test_nothing_is_read_before_both_have_keyed_the_serial(cast, inspection):
    stories.key(cast, inspection, Point.SERIAL)
    for role in Role:
        with pytest.raises(PointNotOpen, match="both people must first agree on the serial"):
            stories.key(cast, inspection, Point.OPEN_SIDE, role)


@pytest.mark.parametrize("seen", ["LW-0001", "lw-0001", "LW 0001", "lw/0001", " LW0001 "])
def test_case_and_separators_make_no_difference(cast, inspection, seen):
    inspection = key_serials(cast, inspection, "LW-0001", seen)
    assert (inspection.state, inspection.hides_serial) == (InspectionState.OPEN, False)
    assert stories.key_both(cast, inspection, Point.OPEN_SIDE).rereads == 0


@pytest.mark.parametrize(
    ("technician", "verifier", "words"),
    [
        ("LW-0002", "LW-0002", "Another reel is on the stand: bring reel LW-0001"),
        ("LW-0001", "LW-0002", "Read the data plate once more, together. If it says LW-0001, begin again"),
        ("LW-0003", "LW-0001", "Read the data plate once more"),
        ("LW-0003", "LW-0002", "Read the data plate once more"),
        ("LW-001", "LW-001", "Another reel is on the stand"),
    ],
)
def test_a_serial_that_is_another_ends_the_count_and_all_of_it_is_kept(cast, inspection, technician, verifier, words):
    ended = key_serials(cast, inspection, technician, verifier)
    assert ended.state == InspectionState.CANCELLED
    assert words in ended.end_reason
    assert f"{technician} by the technician and {verifier} by the verifier" in ended.end_reason
    assert list(Keying.objects.values_list("value", flat=True)) == [technician, verifier]
    facts = last_facts()
    assert facts["ended"] == "another_reel"
    assert [each["value"] for each in facts["revealed"]] == [technician, verifier]
    assert builders.open_count(cast).pk != inspection.pk  # another one can begin


def test_it_is_read_once_a_count_and_not_again_in_each_reading(cast, inspection):
    key_serials(cast, inspection, "LW-0001", "LW-0001")
    stories.key_both(cast, inspection, Point.OPEN_SIDE, Point.SCALE_LEFT, Point.SCALE_RIGHT)
    stories.key(cast, inspection, Point.UNWIND, unwind="left_to_right")
    again = [point for point in Point if point is not Point.SERIAL]
    inspection = stories.key_both(cast, inspection, *again)
    assert (inspection.state, inspection.readings.count()) == (InspectionState.AWAITING_SIGN_OFF, 2)
    assert Keying.objects.filter(point=Point.SERIAL).count() == 2


def test_whole_readings_carry_both_serials(cast, inspection):
    ended = builders.read(cast, inspection, verifier={"serial": "LW-0002"})
    assert (ended.state, ended.layers) == (InspectionState.CANCELLED, None)
    assert Keying.objects.count() == 15  # all that was read is kept
    inspection = builders.read(cast, builders.open_count(cast), serial="lw0001")
    assert inspection.state == InspectionState.AWAITING_SIGN_OFF


@pytest.mark.parametrize("seen", ["", " ", "-/.", "L" * 41, 7, None])
def test_what_can_be_no_serial_is_refused_and_ends_nothing(cast, inspection, seen):
    with pytest.raises(ImpossibleReading, match="serial was"):
        stories.key(cast, inspection, Point.SERIAL, serial=seen)
    assert Inspection.objects.get().state == InspectionState.OPEN


def test_a_count_that_was_referred_before_its_serial_was_read_hides_it_still(cast, inspection):
    stories.ask_for_help(cast, inspection)
    assert Inspection.objects.get().shown_serial is None
    stories.release(cast, inspection)
    assert Inspection.objects.get().shown_serial is None
    stories.key_both(cast, inspection, Point.SERIAL)
    assert Inspection.objects.get().shown_serial == "LW-0001"
