"""Keying: who keys what and when, in which form it is kept, what is agreed, and what may be seen before it is.

The order of the job and who keys what: common practice, no published source.
"""

import hashlib
import json
from collections.abc import Iterator
from dataclasses import asdict
from decimal import Decimal
from itertools import permutations
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.domain import keying
from inspections.domain.keying import HOLD_POINTS, KeyedValue, earlier_points, roles_at
from inspections.domain.reading import Half, OpenSide, Unwind
from inspections.domain.words import Point, Role
from inspections.errors import ImpossibleReading
from reels.domain.words import Parity, Side

T, V = Role.TECHNICIAN, Role.VERIFIER
SCALES = (Point.SCALE_LEFT, Point.SCALE_RIGHT)
ONE_HALF, OTHER_HALF = Half.at(90), Half.at(270)
WHOLE = {Point.SCALE_LEFT: "scale_left", Point.SCALE_RIGHT: "scale_right", Point.HAND_COUNT: "hand_wraps",
         Point.GAUGE: "gauge_wraps"}  # fmt: skip
WORDS = {
    Point.UNWIND: ("unwind", Unwind),
    Point.OPEN_SIDE: ("open_side", OpenSide),
    Point.GAUGE: ("gauge_face", Parity),
}
READINGS: list[tuple[Point, dict[str, Any]]] = [
    *((point, {field: n}) for point, field in WHOLE.items() if point is not Point.GAUGE for n in (0, 1, 12, 999)),
    *((point, {WHOLE[point]: None}) for point in SCALES),
    *((point, {field: word.value}) for point, (field, words) in WORDS.items() if point is not Point.GAUGE
      for word in words),
    *((Point.GAUGE, {"gauge_face": face.value, "gauge_wraps": n}) for face in Parity for n in (0, 12)),
    *((Point.CROSSOVER, {"crossover_half": half.value}) for half in Half),
    *((Point.CROSSOVER, {"crossover_deg": degrees}) for degrees in ("0", "12.50", "360")),
]  # fmt: skip


def value_for(point: Point, way: int = 0) -> Any:
    """A value that could be kept at a point; another one, which does not agree with it, for another way."""
    if point is Point.CROSSOVER:
        return {"half": (ONE_HALF, OTHER_HALF)[way].value}
    return {"face": "odd", "wraps": way} if point is Point.GAUGE else str(way)


def keyed(point: Point, role: Role, value: Any, *, attempt: int = 1, reading: int = 1) -> KeyedValue:
    return KeyedValue(reading=reading, point=point, attempt=attempt, role=role, value=value)


def by_everybody(*points: Point, reading: int = 1) -> list[KeyedValue]:
    """These points agreed."""
    return [keyed(p, role, value_for(p), reading=reading) for p in points for role in roles_at(p)]


def by_both(point: Point, attempt: int = 1, *, way: int = 1) -> list[KeyedValue]:
    """A point keyed by both; with the same value for way 0."""
    return [keyed(point, T, value_for(point), attempt=attempt), keyed(point, V, value_for(point, way), attempt=attempt)]


# Who keys what, and when --------------------------------------------------------------------------------------------


def test_both_key_the_hold_points_and_only_the_technician_the_rest() -> None:
    assert {point: roles_at(point) for point in Point} == {p: (T, V) if p in HOLD_POINTS else (T,) for p in Point}


def test_both_key_all_that_the_result_is_worked_out_from() -> None:
    assert {*SCALES, Point.HAND_COUNT, Point.GAUGE, Point.CROSSOVER} <= set(HOLD_POINTS)
    assert roles_at(Point.UNWIND) == (T,)


def test_the_hold_points_are_in_the_order_of_the_job() -> None:
    places = [HOLD_POINTS.index(p) for p in (Point.SCALE_LEFT, Point.HAND_COUNT, Point.GAUGE, Point.CROSSOVER)]
    assert places == sorted(places)
    assert len(set(HOLD_POINTS)) == len(HOLD_POINTS)


def test_nobody_counts_by_hand_before_the_scales_nor_takes_the_gauge_before_the_hand_count() -> None:
    scales, hand, gauge = (earlier_points(p) for p in (Point.SCALE_LEFT, Point.HAND_COUNT, Point.GAUGE))
    assert scales == earlier_points(Point.SCALE_RIGHT)
    assert not scales & {*SCALES, Point.HAND_COUNT, Point.GAUGE, Point.CROSSOVER}
    assert hand == {*Point} - {Point.HAND_COUNT, Point.GAUGE, Point.CROSSOVER}
    assert gauge == {*hand, Point.HAND_COUNT}
    assert earlier_points(Point.CROSSOVER) == {*Point} - {Point.CROSSOVER}


@pytest.mark.parametrize("point", Point)
def test_what_opens_a_point_opened_before_it(point: Point) -> None:
    for earlier in earlier_points(point):
        assert earlier_points(earlier) < earlier_points(point)


# What is keyed, and how it is kept ----------------------------------------------------------------------------------


@pytest.mark.parametrize(("point", "fields"), READINGS)
def test_what_is_kept_at_a_point_says_what_was_keyed_there(point: Point, fields: dict[str, Any]) -> None:
    value = keying.value_at(point, fields)
    assert keying.fields_at(point, value) == fields
    assert fields.keys() <= set(keying.FIELDS[point])
    json.dumps(value)  # plain, so that a history can hold it


def test_every_field_of_a_reading_is_keyed_at_one_point() -> None:
    fields = [field for point in Point for field in keying.FIELDS[point]]
    assert len(set(fields)) == len(fields)
    assert asdict(keying.reading_from({})).keys() <= set(fields)


def refusal(point: Point, fields: dict[str, Any]) -> dict[str, Any]:
    with pytest.raises(ImpossibleReading) as refused:
        keying.value_at(point, fields)
    return refused.value.facts


@pytest.mark.parametrize("wrong", [-1, 1000, 1.0, True, "12", "x"])
@pytest.mark.parametrize("point", WHOLE)
def test_only_a_whole_number_that_a_drum_can_show_is_taken(point: Point, wrong: Any) -> None:
    fields = {WHOLE[point]: wrong} | ({"gauge_face": "odd"} if point is Point.GAUGE else {})
    assert refusal(point, fields) == {
        "field": WHOLE[point], "seen": repr(wrong), "allowed": "a whole number from 0 to 999",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("point", "without"), [(point, {}) for point in WHOLE] + [(Point.HAND_COUNT, {"hand_wraps": None})]
)
def test_only_a_scale_can_be_left_out_and_only_on_purpose(point: Point, without: dict[str, Any]) -> None:
    facts = refusal(point, without | ({"gauge_face": "odd"} if point is Point.GAUGE else {}))
    assert (facts["field"], facts["seen"]) == (WHOLE[point], "None")


@pytest.mark.parametrize("wrong", [None, "", "Odd", "upwards", 1])
@pytest.mark.parametrize("point", WORDS)
def test_only_a_word_of_the_trade_is_taken_and_the_refusal_names_them(point: Point, wrong: Any) -> None:
    field, words = WORDS[point]
    facts = refusal(point, {field: wrong, "gauge_wraps": 3})
    assert facts == {"field": field, "seen": repr(wrong), "allowed": " or ".join(words)}


@pytest.mark.parametrize(
    ("degrees", "kept"),
    [(0, "0"), (360, "360"), (12.5, "12.5"), ("12.50", "12.50"), ("1E+2", "100"), (Decimal("359.9"), "359.9")],
)
def test_degrees_are_kept_as_they_were_keyed_without_an_exponent(degrees: Any, kept: str) -> None:
    assert keying.value_at(Point.CROSSOVER, {"crossover_deg": degrees}) == {"deg": kept}


@pytest.mark.parametrize("wrong", [-0.1, 360.1, -1, 361, "nan", "inf", "-inf", "north", "", True, False])
def test_degrees_that_are_not_on_a_turn_are_refused(wrong: Any) -> None:
    facts = refusal(Point.CROSSOVER, {"crossover_deg": wrong})
    assert (facts["field"], facts["seen"], facts["allowed"]) == ("crossover_deg", repr(wrong), "0 to 360")


def test_a_crossover_is_a_half_or_degrees_and_not_both() -> None:
    half = ONE_HALF.value
    for fields, seen in (({}, "nothing"), ({"crossover_half": half, "crossover_deg": 90}, f"{half!r} and 90")):
        facts = refusal(Point.CROSSOVER, fields)
        assert (facts["field"], facts["seen"]) == ("crossover_half", seen)
        assert "the half" in facts["allowed"]
        assert "or the degrees" in facts["allowed"]
    assert refusal(Point.CROSSOVER, {"crossover_half": "upper"})["seen"] == "'upper'"


@given(st.permutations([Point.SCALE_LEFT, Point.UNWIND, Point.GAUGE, Point.CROSSOVER]), st.integers(0, 4))
def test_a_reading_holds_what_was_keyed_so_far_and_nothing_else(order: list[Point], n: int) -> None:
    values = {
        Point.SCALE_LEFT: 13, Point.UNWIND: Unwind.LEFT_TO_RIGHT.value, Point.GAUGE: {"face": "even", "wraps": 16},
        Point.CROSSOVER: {"deg": "12.50"},
    }  # fmt: skip
    fields: dict[Point, dict[str, Any]] = {
        Point.SCALE_LEFT: {"scale_left": 13}, Point.UNWIND: {"unwind": Unwind.LEFT_TO_RIGHT},
        Point.GAUGE: {"gauge_face": Parity.EVEN, "gauge_wraps": 16}, Point.CROSSOVER: {"crossover_deg": 12.5},
    }  # fmt: skip
    so_far = order[:n]
    reading = keying.reading_of({point: values[point] for point in so_far})
    expected = {field: value for point in so_far for field, value in fields[point].items()}
    assert {field: value for field, value in asdict(reading).items() if value is not None} == expected


def test_the_words_of_a_reading_become_those_of_the_trade_and_none_stays_none() -> None:
    words = {"open_side": "left", "unwind": None, "gauge_face": "odd", "crossover_half": ONE_HALF.value}
    reading = keying.reading_from(words | {"scale_right": None})
    assert reading.open_side is OpenSide.LEFT
    assert (reading.unwind, reading.scale_right) == (None, None)
    assert reading.gauge_face is Parity.ODD
    assert reading.crossover_half is ONE_HALF
    assert keying.reading_from({"unwind": Unwind.RIGHT_TO_LEFT.value}).unwind is Unwind.RIGHT_TO_LEFT
    assert isinstance(keying.reading_from({"crossover_deg": "90"}).crossover_deg, float)


def test_a_scale_that_was_not_keyed_is_not_one_that_cannot_be_read() -> None:
    assert keying.scales_left_out({}) == frozenset()
    assert keying.scales_left_out({Point.SCALE_LEFT: None, Point.HAND_COUNT: None}) == {Side.LEFT}
    assert keying.scales_left_out({Point.SCALE_LEFT: 0, Point.SCALE_RIGHT: None}) == {Side.RIGHT}


# Agreement ----------------------------------------------------------------------------------------------------------

CROSSOVERS = [{"half": half.value} for half in (ONE_HALF, OTHER_HALF)] + [
    {"deg": degrees} for degrees in ("0", "0.1", "90", "179.9", "180", "270", "359.9", "360")
]


@pytest.mark.parametrize(
    ("degrees", "half"),
    [
        ("0.1", ONE_HALF),
        ("179.9", ONE_HALF),
        ("180", OTHER_HALF),
        ("359.9", OTHER_HALF),
        ("0", Half.UNCLEAR),
        ("360", Half.UNCLEAR),
    ],
)
def test_degrees_lie_in_a_half_or_on_the_scale_line(degrees: str, half: str) -> None:
    assert keying.half_of({"deg": degrees}) == half


@given(st.sampled_from(CROSSOVERS), st.sampled_from(CROSSOVERS))
def test_two_crossovers_agree_exactly_when_they_are_in_the_same_half_or_both_opposite_the_scale_line(
    one: dict[str, str], other: dict[str, str]
) -> None:
    both_or_neither_opposite = (one == {"deg": "180"}) is (other == {"deg": "180"})
    same_half = keying.half_of(one) == keying.half_of(other)
    assert keying.agree(Point.CROSSOVER, one, other) is (same_half and both_or_neither_opposite)
    assert keying.half_of({"half": keying.half_of(one)}) == keying.half_of(one)


@pytest.mark.parametrize(
    ("one", "other", "is_agreed"),
    [
        ({"half": "first"}, {"half": "first"}, True),
        ({"half": "first"}, {"half": "second"}, False),
        ({"half": "unclear"}, {"half": "unclear"}, True),
        ({"half": "unclear"}, {"half": "first"}, False),
        ({"half": "unclear"}, {"deg": "360"}, True),
        ({"deg": "75"}, {"half": "first"}, True),
        ({"deg": "75"}, {"deg": "80.5"}, True),
        ({"deg": "179.9"}, {"deg": "180.1"}, False),
        ({"deg": "180"}, {"deg": "180.0"}, True),
        # the half that it goes with is the type's: with neither can it be mistaken
        ({"deg": "180"}, {"half": "first"}, False),
        ({"deg": "180"}, {"half": "second"}, False),
        ({"deg": "180"}, {"deg": "181"}, False),
    ],
)
def test_at_the_crossover_the_same_half_agrees(one: dict[str, str], other: dict[str, str], is_agreed: bool) -> None:
    assert keying.agree(Point.CROSSOVER, one, other) is is_agreed
    assert keying.agree(Point.CROSSOVER, other, one) is is_agreed


@pytest.mark.parametrize(("code", "half"), [("aft", Half.FIRST), ("forward", Half.SECOND), ("first", Half.FIRST)])
def test_a_value_stored_under_an_older_code_is_read_as_the_same_half(code: str, half: Half) -> None:
    assert keying.half_of({"half": code}) is half
    assert keying.fields_at(Point.CROSSOVER, {"half": code}) == {"crossover_half": half}
    assert keying.agree(Point.CROSSOVER, {"half": code}, {"half": half.value})


@pytest.mark.parametrize("point", [p for p in HOLD_POINTS if p is not Point.CROSSOVER])
def test_at_the_other_points_only_the_same_agrees(point: Point) -> None:
    assert keying.agree(point, value_for(point), value_for(point)) is True
    assert keying.agree(point, value_for(point), value_for(point, 1)) is False


def test_a_scale_that_one_person_cannot_read_agrees_with_no_level() -> None:
    assert keying.agree(Point.SCALE_LEFT, None, None) is True
    assert keying.agree(Point.SCALE_LEFT, 0, None) is False


# Commitment ---------------------------------------------------------------------------------------------------------


def test_a_commitment_can_be_made_again_by_anybody_with_a_hash_and_plain_json() -> None:
    # RFC 8785: the members in order of their names and no blanks; SHA-256
    value = {"face": "even", "wraps": 12}
    text = json.dumps({"point": "gauge", "salt": "5a17", "value": value}, sort_keys=True, separators=(",", ":"))
    assert keying.commitment(Point.GAUGE, value, "5a17") == hashlib.sha256(text.encode()).hexdigest()


def test_a_commitment_holds_point_salt_and_value() -> None:
    made = {
        keying.commitment(point, value, salt)
        for point in (Point.SCALE_LEFT, Point.SCALE_RIGHT)
        for value in (12, 13, None)
        for salt in ("a", "b")
    }
    assert len(made) == 12


# What is open, and what is agreed -----------------------------------------------------------------------------------


def test_a_reading_is_keyed_from_its_first_point_to_its_last_each_once_by_everybody_who_keys_it() -> None:
    keyings: list[KeyedValue] = []
    while opened := keying.open_now(keyings):
        agreed = keying.agreed_values(keyings).keys()
        assert all(earlier_points(point) <= agreed for point, _ in opened)
        point, role = opened[-1]  # whoever comes last in the list may well be first at the reel
        keyings.append(keyed(point, role, value_for(point)))
    assert sorted((each.point, each.role) for each in keyings) == sorted((p, r) for p in Point for r in roles_at(p))
    assert keying.agreed_values(keyings) == {point: value_for(point) for point in Point}
    assert keying.differing_points(keyings) == []


def test_open_points_come_in_the_order_of_the_job_the_technician_first() -> None:
    order = list(Point)
    opened = keying.open_now([])
    assert opened == sorted(opened, key=lambda each: (order.index(each[0]), each[1] is V))
    assert {point for point, _ in opened} == {point for point in Point if not earlier_points(point)}


def test_whoever_has_keyed_waits_for_the_other() -> None:
    before = by_everybody(*earlier_points(Point.HAND_COUNT))
    assert keying.open_now(before) == [(Point.HAND_COUNT, T), (Point.HAND_COUNT, V)]
    for role, other in ((T, V), (V, T)):
        keyings = [*before, keyed(Point.HAND_COUNT, role, value_for(Point.HAND_COUNT))]
        assert keying.open_now(keyings) == [(Point.HAND_COUNT, other)]
        assert Point.HAND_COUNT not in keying.agreed_values(keyings)
        assert keying.differing_points(keyings) == []


def test_where_two_differ_both_key_again_and_nothing_after_it_opens() -> None:
    before = by_everybody(*earlier_points(Point.GAUGE))
    differ = [*before, *by_both(Point.GAUGE)]
    assert keying.differing_points(differ) == [Point.GAUGE]
    assert keying.open_now(differ) == [(Point.GAUGE, T), (Point.GAUGE, V)]
    again = [*differ, keyed(Point.GAUGE, V, value_for(Point.GAUGE), attempt=2)]
    assert keying.open_now(again) == [(Point.GAUGE, T)]
    assert keying.differing_points(again) == []
    settled = [*again, keyed(Point.GAUGE, T, value_for(Point.GAUGE), attempt=2)]
    assert keying.agreed_values(settled)[Point.GAUGE] == value_for(Point.GAUGE)
    assert {point for point, _ in keying.open_now(settled)} == {Point.CROSSOVER}


def test_the_technicians_degrees_stand_where_the_two_agree_on_the_half() -> None:
    keyings = [keyed(Point.CROSSOVER, V, {"half": ONE_HALF.value}), keyed(Point.CROSSOVER, T, {"deg": "90"})]
    assert keying.agreed_values(keyings) == {Point.CROSSOVER: {"deg": "90"}}


def test_points_that_differ_come_in_the_order_of_the_job() -> None:
    differ = [each for point in reversed(HOLD_POINTS) for each in by_both(point)]
    assert keying.differing_points(differ) == list(HOLD_POINTS)


@pytest.mark.parametrize("order", permutations(range(4)))
def test_only_the_latest_attempt_counts_in_whatever_order_keyings_are_handed_over(order: tuple[int, ...]) -> None:
    keyings = [*by_both(Point.HAND_COUNT), *by_both(Point.HAND_COUNT, 2, way=0)]
    handed_over = [keyings[i] for i in order]
    assert keying.latest_attempts(handed_over) == {Point.HAND_COUNT: dict.fromkeys((T, V), value_for(Point.HAND_COUNT))}
    assert Point.HAND_COUNT in keying.agreed_values(handed_over)


@pytest.mark.parametrize("point", Point)
def test_a_value_is_revealed_once_everybody_who_keys_it_has(point: Point) -> None:
    for n in range(len(roles_at(point)) + 1):
        by_role = {role: value_for(point) for role in roles_at(point)[:n]}
        assert keying.is_revealed(point, by_role) is (n == len(roles_at(point)))
    assert keying.is_revealed(Point.HAND_COUNT, {V: 12}) is False


# What others may see ------------------------------------------------------------------------------------------------


def some_readings() -> Iterator[list[KeyedValue]]:
    """One agreed; one half keyed; one that differs; the first again beside a second reading in which it differs."""
    yield by_everybody(Point.HAND_COUNT)
    yield [keyed(Point.HAND_COUNT, T, "0")]
    yield by_both(Point.HAND_COUNT)
    yield [
        *by_everybody(Point.HAND_COUNT),
        *(KeyedValue(**asdict(k) | {"reading": 2}) for k in by_both(Point.HAND_COUNT)),
    ]


@pytest.mark.parametrize(
    ("keyings", "while_open"),
    zip(some_readings(), [[True] * 2, [False], [False] * 2, [True, True, False, False]], strict=True),
)
def test_while_a_reel_may_still_be_read_only_what_both_agree_on_is_shown(
    keyings: list[KeyedValue], while_open: list[bool]
) -> None:
    assert keying.shown(keyings, is_open=True) == while_open
    assert keying.shown(keyings, is_open=False) == [True] * len(keyings)
