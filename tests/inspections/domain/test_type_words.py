from dataclasses import replace

import pytest

from inspections.domain import type_words
from inspections.domain.reading import Half, RuleParameters
from reels.domain.words import Graduation, LinePlace, Parity, Side
from tests.inspections.domain.counted_reels import TYPE
from tests.reels.domain.test_reel_figures import DRUM


@pytest.mark.parametrize(
    ("place", "words"),
    [
        (LinePlace.BOTTOM, ("first half: the aft side of the drum", "second half: the forward side of the drum")),
        (LinePlace.AFT, ("first half: the upper side of the drum", "second half: the lower side of the drum")),
    ],
)
def test_a_half_is_said_with_the_side_of_the_drum_that_it_is(place, words):
    drum = replace(DRUM, scale_line_at=place)
    assert tuple(type_words.half_in_words(half, drum) for half in (Half.FIRST, Half.SECOND)) == words
    assert type_words.half_in_words(Half.UNCLEAR, drum) == "on the scale line, or can't be told"


def test_a_scale_is_said_to_be_odd_or_even_only_where_the_type_divides_them():
    by_side, drum = replace(TYPE, graduation=Graduation.BY_SIDE), replace(DRUM, scale_marks=("cut in brass", ""))
    said = [type_words.scale_in_words(side, by_side, drum) for side in (by_side.anchor_side, by_side.anchor_side.other)]
    assert said == ["It carries the numbers that are odd (cut in brass).", "It carries the numbers that are even."]
    assert [type_words.scale_in_words(side, TYPE, drum) for side in Side] == ["", ""]
    assert type_words.face_in_words(Parity.ODD, drum) == "odd"


@pytest.mark.parametrize(("arc", "opposite"), [((0, 180), "second"), ((180, 360), "first")])
def test_a_crossover_opposite_the_line_is_said_to_go_with_the_half_outside_the_arc(arc, opposite):
    rules = replace(TYPE, arc_from_deg=arc[0], arc_to_deg=arc[1])
    told = type_words.where_to_look(rules, DRUM)
    assert "With the scale line on top, as installed" in told
    assert f"opposite the scale line goes with the {opposite} half" in told
    assert rules.half_at(180) == Half(opposite)


def test_where_degrees_are_keyed_nothing_goes_with_a_half():
    told = type_words.where_to_look(replace(TYPE, arc_to_deg=120), DRUM)
    assert "goes by the drawn arrow" in told
    assert "half" not in told


# The type of the worked examples: 28 wraps in odd layers, 27 in even ones, 40 layers.
@pytest.mark.parametrize(
    ("name", "value", "why"),
    [
        ("scale_left", 40, ""),
        ("scale_right", 41, "41 is more than the 40 layers that the drum takes, the part layer included."),
        ("scale_left", 0, ""),
        ("hand_wraps", 0, "A part layer has at least 1 wrap."),
        ("gauge_wraps", 1, ""),
        ("gauge_wraps", 28, ""),
        ("hand_wraps", 29, "29 is more than a layer takes: 28 wraps where its number is odd, 27 where it is even."),
    ],
)
def test_a_number_that_no_reel_of_the_type_shows_has_a_reason(name, value, why):
    rules = RuleParameters(anchor_side=Side.LEFT, wraps_odd_layer=28, wraps_even_layer=27, max_layers=40)
    assert type_words.why_out_of_range(name, value, rules) == why


def test_the_larger_layer_is_the_limit_whichever_it_is():
    rules = RuleParameters(anchor_side=Side.LEFT, wraps_odd_layer=27, wraps_even_layer=28, max_layers=40)
    assert type_words.why_out_of_range("hand_wraps", 28, rules) == ""
    assert type_words.why_out_of_range("hand_wraps", 29, rules) != ""
