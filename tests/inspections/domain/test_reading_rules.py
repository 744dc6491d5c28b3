"""What keeps a reading from being worked out, each rule at its edges. Common practice, no published source."""

from dataclasses import replace

import pytest

from inspections.domain.counting import problems_so_far, work_out
from inspections.domain.reading import KeyedReading, OpenSide, Outcome, Unwind
from inspections.errors import ReadingIncomplete
from reels.domain.words import Parity, Side
from tests.inspections.domain.counted_reels import (
    BY_SIDE,
    FLUSH,
    FLUSH_ODD,
    ODD,
    ON_HOLD,
    ORDINARY,
    TYPE,
    accepted,
    codes,
    numbers,
    wraps,
)

# 1 Layers


@pytest.mark.parametrize(
    ("left", "right", "expected"),
    [
        (12, 12, ["scales_equal"]),
        (12, 13, ["scales_lower_on_other_side"]),
        (14, 12, ["scales_uneven"]),
        (13, 11, ["scales_uneven"]),  # which of the two is wrong can't be told, so nothing else is judged by them
        (12, 14, ["scales_uneven", "scales_lower_on_other_side"]),
        (13, None, ["open_scale_missing"]),
        (None, None, ["scales_missing"]),
    ],
)
def test_scales_that_contradict_each_other_or_the_open_side_are_told(left, right, expected):
    working = work_out(TYPE, replace(ORDINARY, scale_left=left, scale_right=right))
    assert codes(working) == expected
    assert working.outcome is (Outcome.REFERRED if "scales_uneven" in expected else Outcome.REREAD)
    assert working.steps == ()


def test_scales_that_contradict_each_other_are_both_to_be_looked_at():
    for left, right in [(None, None), (14, 12)]:
        working = work_out(TYPE, replace(ORDINARY, scale_left=left, scale_right=right))
        assert working.problems[0].fields == ("scale_left", "scale_right")
    working = work_out(replace(TYPE, max_layers=12), ORDINARY)
    assert working.problems[0].fields == ("scale_left", "scale_right")


@pytest.mark.parametrize(
    ("reading", "expected"),
    [
        (replace(ORDINARY, scale_left=12), "scales_equal"),
        (replace(ORDINARY, scale_left=12, scale_right=13), "scales_lower_on_other_side"),
        (replace(ORDINARY, scale_left=12, scale_right=11), "open_side_disagrees"),
        (replace(FLUSH, scale_left=13), "scales_not_level"),
        (replace(FLUSH, scale_left=0, scale_right=0), "flush_without_layers"),
    ],
)
def test_scales_that_contradict_the_open_side_are_to_be_looked_at_with_it(reading, expected):
    problem = work_out(TYPE, reading).problems[0]
    assert (problem.code, problem.fields) == (expected, ("scale_left", "scale_right", "open_side"))


def test_the_higher_scale_may_be_left_out():
    left_out, both = work_out(TYPE, replace(ORDINARY, scale_left=None)), work_out(TYPE, ORDINARY)
    assert replace(left_out, steps=()) == replace(both, steps=())
    assert left_out.steps[1:] == both.steps[1:]


def test_the_drum_takes_its_layers_with_the_part_layer_and_no_more():
    assert numbers(work_out(replace(TYPE, max_layers=13), ORDINARY)) == accepted(12, 10, Parity.EVEN)
    for reading in (ORDINARY, replace(ORDINARY, scale_left=None)):
        working = work_out(replace(TYPE, max_layers=12), reading)
        assert (working.outcome, codes(working)) == (Outcome.REREAD, ["too_many_layers"])
        assert "13 layers, the part layer included; this drum takes 12" in working.problems[0].detail
    assert work_out(replace(TYPE, max_layers=12), FLUSH).outcome is Outcome.ACCEPTED
    assert codes(work_out(replace(TYPE, max_layers=11), FLUSH)) == ["too_many_layers"]


def test_a_scale_graduated_by_side_has_odd_numbers_at_the_anchor_and_even_ones_at_the_other():
    assert work_out(BY_SIDE, ORDINARY) == work_out(TYPE, ORDINARY)
    assert work_out(BY_SIDE, ODD) == work_out(TYPE, ODD)
    misread = work_out(BY_SIDE, replace(ORDINARY, scale_left=12, scale_right=11))
    assert codes(misread)[:2] == ["scale_wrong_parity", "scale_wrong_parity"]
    assert [problem.fields for problem in misread.problems[:2]] == [("scale_left",), ("scale_right",)]


# 2 Parity


def test_the_unwind_direction_starts_at_the_open_side():
    working = work_out(TYPE, replace(ORDINARY, unwind=Unwind.LEFT_TO_RIGHT))
    assert (working.outcome, codes(working)) == (Outcome.REREAD, ["unwind_disagrees"])
    assert "Unwinding starts at the right, the open side, so it should go right to left" in working.problems[0].detail


def test_an_open_side_that_stands_alone_disagrees_with_everything_else():
    working = work_out(TYPE, replace(ORDINARY, open_side=OpenSide.LEFT))
    assert codes(working) == ["scales_lower_on_other_side", "open_side_disagrees", "unwind_disagrees"]


# 3 Wraps


@pytest.mark.parametrize(("reading", "most"), [(ORDINARY, 27), (ODD, 26)])
def test_a_part_layer_has_at_least_one_wrap_and_fewer_than_all(reading, most):
    assert work_out(TYPE, wraps(1, reading)).outcome is Outcome.ACCEPTED
    assert work_out(TYPE, wraps(most, reading)).wraps == most - 2
    for n in (-1, 0, most + 1):
        working = work_out(TYPE, wraps(n, reading))
        assert (working.outcome, codes(working)) == (
            Outcome.REREAD, ["hand_wraps_out_of_range", "gauge_wraps_out_of_range"],
        )  # fmt: skip


def test_hand_count_and_gauge_reading_must_be_equal():
    working = work_out(TYPE, replace(ORDINARY, gauge_wraps=13))
    assert (working.outcome, codes(working)) == (Outcome.REREAD, ["wraps_differ"])
    assert "other face" not in working.problems[0].detail


def test_a_pair_from_the_other_face_is_said_to_look_like_it():
    working = work_out(TYPE, replace(ORDINARY, gauge_wraps=17))
    assert codes(working) == ["wraps_differ"]
    assert "The other face would read just that: 28 + 1 − 12 = 17." in working.problems[0].detail


@pytest.mark.parametrize(
    ("gauge", "expected"), [(12, ["gauge_wrong_face"]), (16, ["gauge_wrong_face", "wraps_differ"])]
)
def test_the_wrong_face_is_told_whatever_it_reads(gauge, expected):
    working = work_out(TYPE, replace(ORDINARY, gauge_face=Parity.ODD, gauge_wraps=gauge))
    assert codes(working) == expected
    assert "other flange" not in working.problems[0].detail


@pytest.mark.parametrize(
    ("reading", "expected"),
    [
        (ORDINARY, "With 12 full layers the wrap gauge is read on its even face; odd was keyed."),
        (ODD, "With 11 full layers the wrap gauge is read on its odd face; even was keyed."),
        (FLUSH, "With 11 full layers the wrap gauge is read on its odd face; even was keyed."),
    ],
)
def test_a_wrong_face_is_told_with_the_number_of_full_layers_below_the_counted_one(reading, expected):
    (problem,) = work_out(TYPE, replace(reading, gauge_face=reading.gauge_face.other)).problems
    assert problem.detail.startswith(expected)
    assert problem.detail.endswith(f"Lay the gauge on again and read the {reading.gauge_face} face.")
    assert problem.fields == ("gauge_face", "gauge_wraps")


# 4 Flush


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({"scale_left": 13}, ["scales_not_level"]),
        ({"scale_left": 14}, ["scales_uneven", "scales_not_level"]),
        ({"scale_left": 11}, ["scales_not_level"]),  # neither is the top layer's level, so nothing is judged by them
        ({"unwind": Unwind.RIGHT_TO_LEFT}, ["unwind_disagrees"]),
        ({"gauge_face": Parity.EVEN}, ["gauge_wrong_face"]),
        ({"gauge_face": Parity.EVEN, "gauge_wraps": 1}, ["gauge_wrong_face"]),
        ({"hand_wraps": 26, "gauge_wraps": 26}, ["hand_wraps_not_full", "gauge_wraps_not_full"]),
        ({"scale_left": 0, "scale_right": 0}, ["flush_without_layers"]),
        ({"scale_left": None, "scale_right": 0}, ["flush_without_layers"]),
    ],
)
def test_a_flush_reading_must_fit_together(change, expected):
    assert codes(work_out(TYPE, replace(FLUSH, **change))) == expected


def test_a_flush_drum_without_layers_has_no_top_layer_to_judge_the_rest_by():
    assert codes(work_out(TYPE, replace(FLUSH_ODD, scale_left=0, scale_right=0))) == ["flush_without_layers"]


def test_a_flush_layer_shows_on_one_scale_when_they_are_graduated_by_side():
    assert work_out(BY_SIDE, replace(FLUSH, scale_left=None)) == work_out(TYPE, FLUSH)
    assert work_out(BY_SIDE, replace(FLUSH_ODD, scale_right=None)) == work_out(TYPE, FLUSH_ODD)
    working = work_out(BY_SIDE, FLUSH)
    assert codes(working) == ["scale_wrong_parity"]
    assert "The left scale was read as 12; it carries odd numbers only." in working.problems[0].detail


# 5 Crossover


def test_a_half_that_the_arc_divides_is_the_half_to_be_looked_at():
    working = work_out(replace(TYPE, arc_from_deg=90, arc_to_deg=270), ORDINARY)
    assert (working.outcome, codes(working)) == (Outcome.REREAD, ["half_not_enough"])
    assert working.problems[0].fields == ("crossover_half",)


# While it is keyed

PART_LAYER = KeyedReading(scale_left=13, scale_right=12, open_side=OpenSide.RIGHT)


def test_a_scale_not_yet_keyed_is_not_one_left_out():
    keyed = KeyedReading(scale_left=13, open_side=OpenSide.RIGHT)
    assert problems_so_far(TYPE, keyed) == ()
    assert [problem.code for problem in problems_so_far(TYPE, keyed, {Side.RIGHT})] == ["open_scale_missing"]


@pytest.mark.parametrize(
    ("keyed", "expected"),
    [
        (KeyedReading(), []),
        (KeyedReading(scale_right=11, open_side=OpenSide.RIGHT), []),
        (KeyedReading(scale_left=41), ["too_many_layers"]),
        (KeyedReading(scale_left=14, scale_right=12), ["scales_uneven"]),
        (KeyedReading(open_side=OpenSide.RIGHT, unwind=Unwind.LEFT_TO_RIGHT), ["unwind_disagrees"]),
        (KeyedReading(scale_left=12, scale_right=11, open_side=OpenSide.RIGHT), ["open_side_disagrees"]),
        (
            replace(PART_LAYER, hand_wraps=28),
            ["hand_wraps_out_of_range"],
        ),
        (
            replace(PART_LAYER, gauge_face=Parity.ODD),
            ["gauge_wrong_face"],
        ),
        (KeyedReading(crossover_deg=360), ["crossover_unclear"]),
    ],
)
def test_a_problem_is_told_as_soon_as_it_can_be(keyed, expected):
    assert [problem.code for problem in problems_so_far(TYPE, keyed)] == expected


@pytest.mark.parametrize("wraps_keyed", [{"hand_wraps": 28}, {"gauge_face": Parity.ODD, "gauge_wraps": 28}])
def test_before_the_open_side_is_keyed_level_scales_name_no_top_layer(wraps_keyed):
    assert problems_so_far(TYPE, KeyedReading(scale_left=12, scale_right=12, **wraps_keyed)) == ()


def test_a_scale_at_nothing_waits_for_the_other_one():
    keyed = KeyedReading(scale_left=0, open_side=OpenSide.NONE)
    assert problems_so_far(TYPE, keyed) == ()
    assert [problem.code for problem in problems_so_far(TYPE, keyed, {Side.RIGHT})] == ["flush_without_layers"]


@pytest.mark.parametrize("gauge", [12, 17])
def test_the_gauge_may_be_keyed_before_the_hand_count(gauge):
    assert problems_so_far(TYPE, replace(PART_LAYER, gauge_face=Parity.EVEN, gauge_wraps=gauge)) == ()
    (problem,) = problems_so_far(TYPE, replace(PART_LAYER, gauge_face=Parity.ODD, gauge_wraps=gauge))
    assert problem.code == "gauge_wrong_face"
    assert "other flange" not in problem.detail  # it takes the hand count to see that


def test_a_gauge_reading_is_in_no_range_before_its_face_is_keyed():
    assert problems_so_far(TYPE, replace(PART_LAYER, gauge_wraps=28)) == ()
    (problem,) = problems_so_far(TYPE, replace(PART_LAYER, gauge_wraps=28, gauge_face=Parity.EVEN))
    assert (problem.code, problem.fields) == ("gauge_wraps_out_of_range", ("gauge_wraps",))


def test_methods_that_differ_are_told_before_the_face_is_keyed():
    (problem,) = problems_so_far(TYPE, replace(PART_LAYER, hand_wraps=12, gauge_wraps=17))
    assert problem.code == "wraps_differ"
    assert "The other face would read just that: 28 + 1 − 12 = 17." in problem.detail


@pytest.mark.parametrize("face", Parity)
def test_before_the_layer_is_known_no_face_is_wrong(face):
    assert problems_so_far(TYPE, KeyedReading(hand_wraps=12, gauge_face=face, gauge_wraps=12)) == ()
    (problem,) = problems_so_far(TYPE, KeyedReading(hand_wraps=12, gauge_face=face, gauge_wraps=17))
    assert (
        problem.detail == "The hand count is 12 and the gauge reads 17; they must be equal. Count and read both again."
    )


def test_once_all_is_keyed_an_unusual_count_is_told_too():
    assert problems_so_far(ON_HOLD, FLUSH) == work_out(ON_HOLD, FLUSH).problems
    assert problems_so_far(ON_HOLD, replace(FLUSH, scale_left=None)) == ()
    assert problems_so_far(ON_HOLD, replace(FLUSH, scale_left=None), [Side.LEFT]) == work_out(ON_HOLD, FLUSH).problems


@pytest.mark.parametrize("field", ["open_side", "unwind", "hand_wraps", "gauge_face", "gauge_wraps", "crossover_half"])
def test_an_incomplete_reading_is_not_worked_out(field):
    with pytest.raises(ReadingIncomplete, match=rf"Not keyed yet: {field}\."):
        work_out(TYPE, replace(ORDINARY, **{field: None}))
