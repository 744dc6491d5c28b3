"""Counting: the worked examples, and each correction at its edges. Common practice, no published source."""

from dataclasses import asdict, replace

import pytest

from inspections.domain.counting import Count, Unusual, WorkingStep, work_out
from inspections.domain.reading import Half, OpenSide, Outcome, RuleParameters, Unwind
from reels.domain.words import Parity, Side
from tests.inspections.domain.counted_reels import (
    EMPTY,
    FLUSH,
    FLUSH_ODD,
    ODD,
    ON_HOLD,
    ORDINARY,
    STEPS_DOWN,
    TYPE,
    accepted,
    at,
    codes,
    numbers,
    wraps,
)

# The worked examples


def test_a_lower_reading_of_the_wrong_parity_for_its_side_is_reread():
    working = work_out(TYPE, replace(wraps(9), scale_left=12, scale_right=11))
    assert working.outcome is Outcome.REREAD
    assert codes(working) == ["open_side_disagrees", "gauge_wrong_face"]
    assert working.problems[0].detail == (
        "The lower scale reading is 11, odd, so the open side should be the left; right was keyed. Read both scales "
        "and find the open side again."
    )


def test_an_ordinary_count_loses_the_part_turn_and_the_lead():
    assert numbers(work_out(TYPE, ORDINARY)) == accepted(12, 10, Parity.EVEN)


@pytest.mark.parametrize("reading", [at(180), replace(ORDINARY, crossover_half=Half.SECOND)])
def test_from_half_a_turn_the_last_turn_counts(reading):
    assert numbers(work_out(TYPE, reading)) == accepted(12, 11, Parity.EVEN)


@pytest.mark.parametrize("deg", [0, 360])
def test_on_the_scale_line_the_count_is_referred(deg):
    working = work_out(TYPE, at(deg))
    assert (working.outcome, working.layers, working.proposed) == (Outcome.REFERRED, None, None)
    assert codes(working) == ["crossover_unclear"]
    assert f"The crossover is on the scale line, at {deg}°" in working.problems[0].detail
    assert [step.after for step in working.steps] == [12, 12]  # as read, so that somebody can decide


def test_the_wrong_face_is_named_when_the_pair_looks_like_it():
    working = work_out(TYPE, replace(ORDINARY, gauge_face=Parity.ODD, gauge_wraps=17))
    assert (working.outcome, codes(working)) == (Outcome.REREAD, ["gauge_wrong_face"])
    assert "28 + 1 − 12 = 17" in working.problems[0].detail


def test_a_count_below_zero_steps_down_a_layer():
    assert numbers(work_out(TYPE, STEPS_DOWN)) == accepted(10, 27, Parity.EVEN, Unusual.STEPPED_DOWN)


def test_on_hold_a_count_that_steps_down_is_only_proposed():
    working = work_out(ON_HOLD, STEPS_DOWN)
    assert numbers(working) == (Outcome.REFERRED, None, None, None, Unusual.STEPPED_DOWN)
    assert working.proposed == Count(layers=10, wraps=27, parity=Parity.EVEN)
    assert codes(working) == ["unusual_count_held"]
    assert "This count steps down a layer" in working.problems[0].detail
    assert "Proposed: layers 10, wraps 27." in working.problems[0].detail


def test_a_flush_layer_is_worked_as_the_part_layer_with_all_its_wraps():
    working = work_out(replace(TYPE, lead_wraps=2), FLUSH)
    assert numbers(working) == accepted(11, 24, Parity.ODD, Unusual.FLUSH)


def test_an_anchor_at_the_right_turns_the_sides_round():
    parameters = RuleParameters(
        anchor_side=Side.RIGHT, wraps_odd_layer=40, wraps_even_layer=40, max_layers=40, lead_wraps=0
    )
    reading = replace(
        wraps(9), scale_left=7, scale_right=8, open_side=OpenSide.LEFT, unwind=Unwind.LEFT_TO_RIGHT,
        gauge_face=Parity.ODD,
    )  # fmt: skip
    assert codes(work_out(parameters, reading)) == ["open_side_disagrees"]
    turned = replace(reading, scale_left=8, scale_right=7, open_side=OpenSide.RIGHT, unwind=Unwind.RIGHT_TO_LEFT)
    assert numbers(work_out(parameters, turned)) == accepted(7, 8, Parity.ODD)


# 4 Flush


@pytest.mark.parametrize(("reading", "expected"), [(FLUSH, (11, 25, Parity.ODD)), (FLUSH_ODD, (10, 26, Parity.EVEN))])
@pytest.mark.parametrize("left_out", [None, "scale_left", "scale_right"])
def test_a_flush_count_needs_one_scale_only(reading, expected, left_out):
    reading = replace(reading, **{left_out: None}) if left_out else reading
    assert numbers(work_out(TYPE, reading)) == (Outcome.ACCEPTED, *expected, Unusual.FLUSH)


def test_a_flush_layer_from_which_nothing_is_taken_is_written_as_a_full_one():
    working = work_out(replace(TYPE, lead_wraps=0), replace(FLUSH, crossover_half=Half.SECOND))
    assert numbers(working) == accepted(12, 0, Parity.EVEN, Unusual.FLUSH)


def test_on_hold_a_flush_count_is_only_proposed():
    working = work_out(ON_HOLD, FLUSH)
    assert numbers(working) == (Outcome.REFERRED, None, None, None, Unusual.FLUSH)
    assert working.proposed == Count(layers=11, wraps=25, parity=Parity.ODD)
    assert "This count is flush" in working.problems[0].detail


def test_on_hold_a_flush_reading_with_another_problem_proposes_nothing():
    working = work_out(ON_HOLD, replace(FLUSH, hand_wraps=26))
    assert (working.outcome, working.proposed, working.unusual) == (Outcome.REREAD, None, None)
    assert codes(working) == ["hand_wraps_not_full", "wraps_differ"]


# 5 Crossover


@pytest.mark.parametrize(
    ("deg", "expected"), [(1e-9, 10), (75, 10), (179.999, 10), (180, 11), (180.001, 11), (359.999, 11)]
)
def test_a_wrap_is_taken_off_strictly_within_the_arc(deg, expected):
    assert work_out(TYPE, at(deg)).wraps == expected


@pytest.mark.parametrize(
    ("arc", "deg", "expected"),
    [((10, 190), deg, wraps) for deg, wraps in
     [(5, 11), (10, 11), (10.001, 10), (189.999, 10), (190, 11), (0, None), (360, None)]]
    + [((180, 360), deg, wraps) for deg, wraps in
       [(0, None), (1e-9, 11), (179.999, 11), (180, 11), (180.001, 10), (359.999, 10), (360, None)]]
    + [((0, 360), deg, wraps) for deg, wraps in [(0, None), (1e-9, 10), (180, 10), (359.999, 10), (360, None)]],
)  # fmt: skip
def test_at_the_ends_of_the_types_arc_nothing_is_subtracted_but_on_the_scale_line_it_is_referred(arc, deg, expected):
    working = work_out(replace(TYPE, arc_from_deg=arc[0], arc_to_deg=arc[1]), at(deg))
    assert working.wraps == expected
    assert working.outcome is (Outcome.ACCEPTED if expected else Outcome.REFERRED)


@pytest.mark.parametrize(
    ("arc", "first", "second"),
    [
        ((0, 180), 10, 11),
        ((180, 360), 11, 10),
        ((0, 360), None, None),
        ((0, 200), None, None),
        ((0.5, 180), None, None),
    ],
)
def test_a_half_is_enough_only_where_the_arc_is_a_half_turn(arc, first, second):
    parameters = replace(TYPE, arc_from_deg=arc[0], arc_to_deg=arc[1])
    for half, expected in ((Half.FIRST, first), (Half.SECOND, second)):
        working = work_out(parameters, replace(ORDINARY, crossover_half=half))
        assert (working.wraps, codes(working)) == (expected, [] if expected else ["half_not_enough"])


@pytest.mark.parametrize("arc", [(0, 180), (180, 360), (10, 190), (0, 360)])
def test_a_crossover_that_is_unclear_is_referred_whatever_the_arc(arc):
    parameters = replace(TYPE, arc_from_deg=arc[0], arc_to_deg=arc[1])
    working = work_out(parameters, replace(ORDINARY, crossover_half=Half.UNCLEAR))
    assert (working.outcome, codes(working), working.proposed) == (Outcome.REFERRED, ["crossover_unclear"], None)
    assert working.problems[0].fields == ("crossover_half",)


@pytest.mark.parametrize("reading", [ORDINARY, at(75), at(270), FLUSH])
def test_every_count_of_a_type_whose_crossover_begins_no_layer_is_referred(reading):
    working = work_out(replace(TYPE, crossover_begins_layer=False), reading)
    assert (working.outcome, codes(working)) == (Outcome.REFERRED, ["crossover_begins_no_layer"])


# 1 The lower reading counts


def test_with_the_higher_scale_left_out_the_working_starts_from_the_lower_reading():
    working = work_out(TYPE, replace(ORDINARY, scale_left=None))
    assert (working.layers, working.wraps) == (12, 10)
    first = working.steps[0]
    assert (first.label, first.before, first.change, first.after) == ("Full layers", 12, 0, 12)
    assert "higher scale was left out" in first.why


# 6 and 7 Lead, and below zero


@pytest.mark.parametrize(
    ("lead", "n", "expected"),
    [
        (0, 1, (11, 0, Parity.ODD, None)),
        (0, 2, (11, 1, Parity.ODD, None)),
        (1, 2, (11, 0, Parity.ODD, None)),
        (2, 1, (10, 26, Parity.EVEN, Unusual.STEPPED_DOWN)),
        (3, 3, (10, 27, Parity.EVEN, Unusual.STEPPED_DOWN)),
        (3, 1, (10, 25, Parity.EVEN, Unusual.STEPPED_DOWN)),
    ],
)
def test_the_lead_is_taken_off_and_may_reach_into_the_layer_below(lead, n, expected):
    assert numbers(work_out(replace(TYPE, lead_wraps=lead), wraps(n, ODD))) == accepted(*expected)


def test_stepping_down_takes_the_capacity_of_the_layer_below():
    assert numbers(work_out(TYPE, wraps(1))) == accepted(11, 26, Parity.ODD, Unusual.STEPPED_DOWN)


@pytest.mark.parametrize("parameters", [TYPE, ON_HOLD])
def test_an_empty_drum_cannot_be_stepped_down_from(parameters):
    working = work_out(parameters, EMPTY)
    assert numbers(working) == (Outcome.REFERRED, None, None, None, Unusual.STEPPED_DOWN)
    assert (working.proposed, codes(working)) == (None, ["cannot_step_down"])
    assert "take 1 wrap more than the part layer has, and there is no layer below" in working.problems[0].detail
    assert [step.after for step in working.steps] == [0, 1, 0, -1]


def test_one_layer_is_stepped_down_and_never_two():
    small = replace(TYPE, wraps_odd_layer=3, wraps_even_layer=2)
    steps_down = wraps(1, ODD)  # layer 11 below holds 3
    assert numbers(work_out(replace(small, lead_wraps=3), steps_down))[:3] == (Outcome.ACCEPTED, 10, 0)
    working = work_out(replace(small, lead_wraps=4), steps_down)
    assert (working.outcome, working.proposed, codes(working)) == (Outcome.REFERRED, None, ["cannot_step_down"])
    assert "take 4 wraps more than the part layer has, and the layer below holds 3 wraps" in working.problems[0].detail


def test_a_flush_reading_that_steps_down_is_said_to_step_down():
    small = replace(TYPE, wraps_even_layer=2, lead_wraps=3)
    assert numbers(work_out(small, wraps(2, FLUSH))) == accepted(10, 26, Parity.EVEN, Unusual.STEPPED_DOWN)


# All together


def test_all_problems_are_told_together_and_referred_outranks_reread():
    reading = replace(at(0), scale_left=14, unwind=Unwind.LEFT_TO_RIGHT, gauge_wraps=13)
    working = work_out(TYPE, reading)
    assert codes(working) == ["scales_uneven", "unwind_disagrees", "wraps_differ", "crossover_unclear"]
    assert [problem.outcome for problem in working.problems] == ["referred", "reread", "reread", "referred"]
    assert (working.outcome, working.proposed) == (Outcome.REFERRED, None)


def test_the_steps_show_the_arithmetic():
    assert [(step.label, step.before, step.change, step.after) for step in work_out(TYPE, STEPS_DOWN).steps] == [
        ("Full layers", 12, -1, 11),
        ("Part-layer wraps", 1, 0, 1),
        ("Crossover correction", 1, -1, 0),
        ("Lead allowance", 0, -1, -1),
        ("Full layers, stepped down", 11, -1, 10),
        ("Part-layer wraps, stepped down", -1, 28, 27),
    ]
    assert work_out(TYPE, STEPS_DOWN).steps[-1].why == "Layer 11 holds 28 wraps when full; less the 1 missing."


def test_the_steps_of_a_flush_layer_kept_whole_show_it():
    working = work_out(replace(TYPE, lead_wraps=0), at(200, FLUSH))
    assert [(step.before, step.change, step.after) for step in working.steps] == [
        (12, -1, 11), (27, 0, 27), (27, 0, 27), (27, 0, 27), (11, 1, 12), (27, -27, 0),
    ]  # fmt: skip


def test_each_step_says_why():
    assert work_out(TYPE, at(75)).steps[2] == WorkingStep(
        label="Crossover correction", before=12, change=-1, after=11,
        why="The crossover is at 75°, in the arc from 0° to 180°: the last turn is not counted as a whole one.",
    )  # fmt: skip
    assert [step.why for step in work_out(TYPE, ORDINARY).steps[:2]] == [
        "Layer 13 on top is the part layer and is not counted.",
        "The hand count and the gauge's even face agree.",
    ]
    kept_whole = work_out(replace(TYPE, lead_wraps=0), at(200, FLUSH)).steps
    assert [step.why for step in (*kept_whole[:2], *kept_whole[4:])] == [
        "No side is open: layer 12 is worked as the part layer, with all its wraps.",
        "The hand count and the gauge's odd face agree.",
        "Nothing was subtracted, so layer 12 is a full one.",
        "Nothing was subtracted, so layer 12 is a full one.",
    ]


def test_a_count_that_is_referred_names_what_to_look_at_again():
    assert work_out(TYPE, EMPTY).problems[0].fields == ("hand_wraps", "gauge_wraps")
    assert work_out(ON_HOLD, FLUSH).problems[0].fields == ("open_side", "hand_wraps", "gauge_wraps")


def test_a_working_carries_the_facts_of_the_answer_and_no_others():
    facts = asdict(work_out(ON_HOLD, STEPS_DOWN))
    assert list(facts) == ["outcome", "layers", "wraps", "parity", "unusual", "proposed", "steps", "problems"]
    assert list(facts["steps"][0]) == ["label", "before", "change", "after", "why"]
    assert facts["proposed"] == {"layers": 10, "wraps": 27, "parity": "even"}
    assert [facts["unusual"], work_out(ON_HOLD, FLUSH).unusual] == ["stepped_down", "flush"]


# What one reading can't show: the second person, the history or nothing does


def test_the_halves_confused_give_a_number_that_is_one_off():
    assert numbers(work_out(TYPE, ORDINARY)) == accepted(12, 10, Parity.EVEN)
    assert numbers(work_out(TYPE, replace(ORDINARY, crossover_half=Half.SECOND))) == accepted(12, 11, Parity.EVEN)


def test_the_only_scale_misread_by_two_gives_a_number_that_is_two_layers_off():
    misread = replace(ORDINARY, scale_left=None, scale_right=14)
    assert numbers(work_out(TYPE, misread)) == accepted(14, 10, Parity.EVEN)


def test_both_methods_off_by_the_same_wrap_give_a_number_that_is_one_off():
    assert numbers(work_out(TYPE, wraps(13))) == accepted(12, 11, Parity.EVEN)
