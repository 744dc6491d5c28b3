"""What a third reading is told to agree with, and where one can be asked for."""

import pytest

from inspections.domain.keying import KeyedValue
from inspections.domain.third_reading import ASKED_AT, AgreesWith, may_be_asked, number_at, whose
from inspections.domain.words import Point, Role
from inspections.errors import ImpossibleReading


def keyed(point, *values, attempt=1):
    return [
        KeyedValue(reading=1, point=point, attempt=attempt, role=role, value=value)
        for role, value in zip((Role.TECHNICIAN, Role.VERIFIER), values, strict=False)
    ]


DIFFERENT = {
    Point.OPEN_SIDE: ("left", "right"),
    Point.SCALE_LEFT: (13, 14),
    Point.SCALE_RIGHT: (12, None),
    Point.HAND_COUNT: (9, 10),
    Point.GAUGE: ({"face": "odd", "wraps": 9}, {"face": "odd", "wraps": 10}),
    Point.CROSSOVER: ({"half": "first"}, {"half": "second"}),
}


@pytest.mark.parametrize("point", DIFFERENT)
def test_it_can_be_asked_for_where_two_differ_and_more_than_a_few_answers_are_possible(point):
    assert may_be_asked(keyed(point, *DIFFERENT[point])) == ([point] if point in ASKED_AT else [])


@pytest.mark.parametrize("values", [(13,), (13, 13)])
def test_there_is_nothing_to_ask_before_both_have_keyed_or_when_they_agree(values):
    assert may_be_asked(keyed(Point.SCALE_LEFT, *values)) == []


def test_once_somebody_has_keyed_again_there_is_nothing_to_compare():
    assert may_be_asked([*keyed(Point.HAND_COUNT, 9, 10), *keyed(Point.HAND_COUNT, 9, attempt=2)]) == []


@pytest.mark.parametrize(
    ("number", "expected"), [(9, AgreesWith.TECHNICIAN), (10, AgreesWith.VERIFIER), (11, AgreesWith.NEITHER)]
)
def test_it_is_the_same_as_one_persons_value_or_neither(number, expected):
    assert whose(Point.HAND_COUNT, number, {Role.TECHNICIAN: 9, Role.VERIFIER: 10}) is expected


def test_a_scale_that_cannot_be_read_is_a_value_too():
    assert whose(Point.SCALE_LEFT, None, {Role.TECHNICIAN: None, Role.VERIFIER: 10}) is AgreesWith.TECHNICIAN


def test_at_the_gauge_the_number_alone_is_compared():
    odd, even = {"face": "odd", "wraps": 9}, {"face": "even", "wraps": 9}
    assert whose(Point.GAUGE, 9, {Role.TECHNICIAN: odd, Role.VERIFIER: even}) is AgreesWith.BOTH
    assert number_at(Point.GAUGE, {"gauge_wraps": 9}) == 9
    assert number_at(Point.HAND_COUNT, {"hand_wraps": 8}) == 8


def test_the_words_of_the_wire_and_of_people():
    assert {each.value: each.spoken for each in AgreesWith} == {
        "technician": "the technician's", "verifier": "the verifier's", "both": "both", "neither": "neither"
    }  # fmt: skip


@pytest.mark.parametrize(("point", "fields"), [(Point.GAUGE, {"gauge_wraps": "9"}), (Point.HAND_COUNT, {}),
                                               (Point.SCALE_LEFT, {"scale_left": -1})])  # fmt: skip
def test_what_is_no_number_is_refused(point, fields):
    with pytest.raises(ImpossibleReading):
        number_at(point, fields)
