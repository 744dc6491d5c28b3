"""Nobody learns what the other person keyed before they agree: not from answers, histories or refusals."""

import json
import re
from typing import Any

import pytest

from inspections.domain import keying
from inspections.domain.words import InspectionState, Point, Role
from inspections.models import Inspection, Keying
from inspections.queries.keyings import keyings_for, shown_keyings
from inspections.queries.status import with_status
from inspections.services import counting
from reels.models import HistoryEntry, Reel
from reels.services.history import Actor
from tests import builders, stories
from tests.builders import NOW, Cast

ODD_ONE: dict[
    Point, dict[str, Any]
] = {  # a value at each hold point that stands out wherever it turns up, and the one that is true
    Point.OPEN_SIDE: {"open_side": "none"},
    Point.SCALE_LEFT: {"scale_left": 777},
    Point.SCALE_RIGHT: {"scale_right": 777},
    Point.HAND_COUNT: {"hand_wraps": 777},
    Point.GAUGE: {"gauge_face": "even", "gauge_wraps": 777},
    Point.CROSSOVER: {"crossover_deg": 277.7},
}
BEFORE: dict[Point, tuple[Point, ...]] = {
    point: tuple(each for each in Point if each in keying.earlier_points(point)) for point in Point
}


def history() -> str:
    return "\n".join(bytes(row.content).decode() for row in HistoryEntry.objects.order_by("id"))


def is_hidden(row: Keying) -> bool:
    """Whether neither the value nor the salt of a keying stands anywhere that others can read."""
    told = history()
    shown = {each.pk for each in shown_keyings(Inspection.objects.get())}
    facts = [fact for line in told.splitlines() for fact in json.loads(line)["facts"].get("revealed", [])]
    return row.salt not in told and row.pk not in shown and row.pk not in {fact["keying"] for fact in facts}


@pytest.mark.parametrize("point", keying.HOLD_POINTS)
@pytest.mark.parametrize("role", list(Role))
def test_one_persons_value_is_hidden_until_the_other_keys_the_same(cast: Cast, point: Point, role: Role):
    other = Role.VERIFIER if role is Role.TECHNICIAN else Role.TECHNICIAN
    inspection = builders.open_count(cast)
    stories.key_both(cast, inspection, *BEFORE[point])
    stories.key(cast, inspection, point, role)
    row = Keying.objects.latest("id")
    assert is_hidden(row)
    assert row.commitment in history()
    stories.key(cast, inspection, point, other)
    assert not is_hidden(row)
    assert row.salt in history()


@pytest.mark.parametrize("point", ODD_ONE)  # a serial that differs ends the count: test_identity.py
def test_when_two_differ_it_is_told_which_point_and_never_the_values(cast: Cast, point: Point):
    inspection = builders.open_count(cast)
    stories.key_both(cast, inspection, *BEFORE[point])
    stories.key(cast, inspection, point)
    stories.key(cast, inspection, point, Role.VERIFIER, **ODD_ONE[point])
    assert json.loads(history().splitlines()[-1])["facts"]["differs"] == [point.value]
    assert all(is_hidden(row) for row in Keying.objects.filter(point=point))
    odd_one = r'(?<![0-9a-f])(777|277\.7)(?![0-9a-f])|"none"'  # alone, not within a digest
    assert not re.search(odd_one, history())
    stories.key_both(cast, inspection, point)
    assert not any(is_hidden(row) for row in Keying.objects.filter(point=point))


def test_asking_for_help_shows_nobody_what_the_other_keyed(cast: Cast):
    inspection = stories.at_the_scales(cast)
    stories.key(cast, inspection, Point.SCALE_LEFT, scale_left=777)
    row = Keying.objects.latest("id")
    counting.ask_for_help(inspection_id=inspection.pk, remark="?", actor=Actor(cast.verifier), at=NOW)
    assert is_hidden(row)
    stories.release(cast, inspection)
    assert is_hidden(row)
    stories.key_all(cast, inspection)
    assert not is_hidden(row)


def test_three_differences_refer_the_count_without_showing_a_value(cast: Cast):
    inspection = stories.at_the_scales(cast)
    for seen in (777, 778, 779):
        stories.key(cast, inspection, Point.SCALE_LEFT, scale_left=seen)
        stories.key(cast, inspection, Point.SCALE_LEFT, Role.VERIFIER)
    assert Inspection.objects.get().state == InspectionState.REFERRED
    rows = Keying.objects.filter(point=Point.SCALE_LEFT)
    assert [is_hidden(row) for row in rows] == [True] * 6


def test_whole_readings_that_differ_show_no_value_either(cast: Cast):
    inspection = builders.open_count(cast)
    builders.read(cast, inspection, verifier={"hand_wraps": 777, "scale_left": 778})
    assert json.loads(history().splitlines()[-1])["facts"]["differs"] == ["scale_left", "hand_count"]
    assert all(is_hidden(row) for row in Keying.objects.filter(point__in=["scale_left", "hand_count"]))
    first, second = inspection.readings.all()
    assert (first.outcome, second.ended_at) == ("reread", None)
    assert "77" not in json.dumps(first.working)


def test_everything_is_told_once_a_count_has_ended(cast: Cast):
    inspection = stories.at_the_scales(cast)
    stories.key(cast, inspection, Point.SCALE_LEFT, scale_left=777)
    counting.cancel(inspection_id=inspection.pk, reason="a fire drill", actor=Actor(cast.technician), at=NOW)
    assert not is_hidden(Keying.objects.latest("id"))


def test_what_was_revealed_is_what_was_committed_to(cast: Cast):
    inspection = stories.at_the_scales(cast)
    stories.key(cast, inspection, Point.SCALE_LEFT, scale_left=14)
    stories.key(cast, inspection, Point.SCALE_LEFT, Role.VERIFIER)
    stories.key_the_rest(cast, inspection)
    committed: dict[int, dict[str, Any]] = {}
    revealed: set[int] = set()
    for line in history().splitlines():
        entry = json.loads(line)
        committed |= {c["id"]: c["after"] for c in entry["changes"] if c["table"] == "inspections_keying"}
        for fact in entry["facts"].get("revealed", []):
            told = committed[fact["keying"]]
            assert told["commitment"] == keying.commitment(Point(told["point"]), fact["value"], fact["salt"])
            assert "value" not in told
            revealed.add(fact["keying"])
    assert revealed == set(committed) == set(Keying.objects.values_list("pk", flat=True))
    assert len(revealed) == 17


def test_equal_values_have_different_commitments(cast: Cast):
    inspection = stories.at_the_scales(cast)
    stories.key_both(cast, inspection, Point.SCALE_LEFT)
    technicians, verifiers = Keying.objects.filter(point=Point.SCALE_LEFT)
    assert technicians.value == verifiers.value == 13
    assert technicians.commitment != verifiers.commitment
    assert len(technicians.salt) == 32


def test_a_refusal_does_not_say_what_was_keyed(cast: Cast):
    inspection = stories.at_the_scales(cast)
    stories.key(cast, inspection, Point.SCALE_LEFT, scale_left=777)
    stories.key(cast, inspection, Point.SCALE_RIGHT, scale_right=778)
    for point in (Point.HAND_COUNT, Point.GAUGE, Point.CROSSOVER):
        with pytest.raises(Exception, match="comes later") as refused:
            stories.key(cast, inspection, point, Role.VERIFIER)
        assert "77" not in str(refused.value)


def test_the_status_of_a_reel_gives_nothing_away(cast: Cast):
    inspection = stories.at_the_scales(cast)
    stories.key(cast, inspection, Point.SCALE_LEFT, scale_left=777)
    row: Any = with_status(Reel.objects.all()).get()
    assert (row.status, row.layers, row.wraps) == ("count_open", None, None)


def test_the_unwind_direction_is_told_only_with_the_worked_count(cast: Cast):
    """With the open side it tells which scale is the lower one and which face the gauge shows."""
    inspection = stories.at_the_scales(cast)
    stories.key(cast, inspection, Point.UNWIND)
    row = Keying.objects.get(point=Point.UNWIND)
    for point in (Point.SCALE_LEFT, Point.SCALE_RIGHT, Point.HAND_COUNT, Point.GAUGE):
        stories.key_both(cast, inspection, point)
        assert is_hidden(row)
        assert [seen.values for seen in keyings_for(inspection, cast.verifier) if seen.row == row] == [None]
        assert [seen.values for seen in keyings_for(inspection, cast.technician) if seen.row == row] != [None]
    stories.key_both(cast, inspection, Point.CROSSOVER)
    assert not is_hidden(row)
