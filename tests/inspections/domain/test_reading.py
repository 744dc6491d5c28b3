"""Rule parameters and readings that cannot be are refused."""

from dataclasses import replace

import pytest

from inspections.domain.reading import Half, KeyedReading, OpenSide, Outcome, RuleParameters, Unwind
from inspections.errors import ImpossibleParameters, ImpossibleReading
from reels.domain.words import Graduation, Side, UnusualRule
from tests.inspections.domain.counted_reels import TYPE


def test_a_type_that_says_nothing_else_has_a_lead_of_one_and_an_arc_of_half_a_turn_and_holds_what_is_unusual():
    plain = RuleParameters(anchor_side=Side.LEFT, wraps_odd_layer=28, wraps_even_layer=27, max_layers=40)
    assert (plain.lead_wraps, plain.arc_from_deg, plain.arc_to_deg) == (1, 0, 180)
    assert (plain.unusual, plain.graduation) == (UnusualRule.HOLD, Graduation.EVERY)


@pytest.mark.parametrize(
    ("field", "bad", "good"),
    [
        ("wraps_odd_layer", 1, 2),
        ("wraps_even_layer", 1, 2),
        ("max_layers", 0, 1),
        ("lead_wraps", -1, 0),
        ("arc_from_deg", -0.1, 0),
        ("arc_from_deg", 360, 179),
        ("arc_to_deg", 0, 0.1),
        ("arc_to_deg", 360.1, 360),
        ("arc_to_deg", float("nan"), 360),
    ],
)
def test_parameters_that_no_drum_has_are_refused_with_what_was_seen_and_what_is_allowed(field, bad, good):
    assert getattr(replace(TYPE, **{field: good}), field) == good
    with pytest.raises(ImpossibleParameters, match=rf"{field} was {bad}; allowed: ") as caught:
        replace(TYPE, **{field: bad})
    assert (caught.value.facts["field"], caught.value.facts["allowed"] != "") == (field, True)


@pytest.mark.parametrize(
    ("field", "bad"),
    [("scale_left", -1), ("scale_right", -1), ("crossover_deg", -0.1), ("crossover_deg", 360.1),
     ("crossover_deg", float("nan"))],
)  # fmt: skip
def test_a_reading_that_nobody_can_have_made_is_refused(field, bad):
    with pytest.raises(ImpossibleReading, match=rf"{field} was {bad}; allowed: 0 "):
        KeyedReading(**{field: bad})


def test_the_crossover_is_given_once():
    with pytest.raises(ImpossibleReading, match=r"crossover_half was first; allowed: the half or the degrees"):
        KeyedReading(crossover_half=Half.FIRST, crossover_deg=75)


def test_the_codes_that_are_stored_and_served_keep_their_letters():
    assert [*OpenSide, *Unwind, *Half, *Outcome] == [
        "left", "right", "none", "left_to_right", "right_to_left", "first", "second", "unclear",
        "accepted", "reread", "referred",
    ]  # fmt: skip


def test_an_angle_lies_in_a_half_or_on_the_scale_line():
    assert [Half.at(deg) for deg in (0, 179.9, 180, 359.9, 360)] == [
        Half.UNCLEAR, Half.FIRST, Half.SECOND, Half.SECOND, Half.UNCLEAR,
    ]  # fmt: skip


@pytest.mark.parametrize(("arc", "half"), [((0, 180), Half.SECOND), ((180, 360), Half.FIRST)])
def test_exactly_opposite_the_scale_line_is_the_half_outside_the_arc(arc, half):
    parameters = replace(TYPE, arc_from_deg=arc[0], arc_to_deg=arc[1])
    assert (parameters.half_opposite, parameters.half_at(180)) == (half, half)


def test_the_codes_of_older_records_are_read_as_what_they_meant():
    assert [Half.stored(code) for code in ("aft", "forward", "first", "second", "unclear")] == [
        Half.FIRST, Half.SECOND, Half.FIRST, Half.SECOND, Half.UNCLEAR,
    ]  # fmt: skip
