"""The winding model: what it refuses, small cases worked by hand, and its laws."""

import math
from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reels.domain import winding
from reels.domain.winding import Drum
from reels.errors import ImpossibleDrum, ImpossibleValue, OffTheDrum
from tests.reels.domain.drums import drum, drums, drums_with_turns

# Drums --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("field", "seen", "allowed"),
    [
        ("cable_diameter_mm", 0.0, "0.1 to 1000"),
        ("cable_diameter_mm", math.nan, "0.1 to 1000"),
        ("core_diameter_mm", 5.0, "6 to 100000"),
        ("core_diameter_mm", math.inf, "6 to 100000"),
        ("wraps_odd_layer", 0, "a whole number from 1 to 10000"),
        ("wraps_even_layer", 27.5, "a whole number from 1 to 10000"),
        ("max_layers", -1, "a whole number from 1 to 1000"),
        ("max_layers", 10**9, "a whole number from 1 to 1000"),
        ("layer_rise_mm", 2 * 6 * winding.NESTED, "3 to 7.5"),
        ("layer_rise_mm", -5.2, "3 to 7.5"),
        ("pitch_mm", -1.0, "0 to 12"),
        ("diameter_u_mm", -0.1, "0 to 6"),
        ("layer_rise_u_mm", math.nan, "0 to 6"),
    ],
)
def test_an_impossible_drum_is_refused_with_what_was_seen_and_what_is_allowed(
    field: str, seen: Any, allowed: str
) -> None:
    with pytest.raises(ImpossibleDrum) as refusal:
        drum(**{field: seen})
    assert str(refusal.value) == f"{field} was {seen}; allowed: {allowed}."


@pytest.mark.parametrize(
    "at_the_limit",
    [
        {"cable_diameter_mm": 0.1, "core_diameter_mm": 0.1},
        {"cable_diameter_mm": 1000.0, "core_diameter_mm": 100_000.0},
        {"wraps_odd_layer": 1, "wraps_even_layer": 10_000, "max_layers": 1000},
        {"wraps_odd_layer": 10_000, "wraps_even_layer": 1, "max_layers": 1},
        {"layer_rise_mm": 3.0, "pitch_mm": 0.0},
        {"layer_rise_mm": 7.5, "pitch_mm": 12.0},
        {"diameter_u_mm": 6.0, "layer_rise_u_mm": 6.0},
    ],
)
def test_a_drum_at_the_limits_is_possible(at_the_limit: dict[str, Any]) -> None:
    assert {name: getattr(drum(**at_the_limit), name) for name in at_the_limit} == at_the_limit


@pytest.mark.parametrize("field", ["wraps_odd_layer", "wraps_even_layer", "max_layers"])
def test_half_a_wrap_or_layer_is_refused_by_its_name(field: str) -> None:
    with pytest.raises(ImpossibleDrum, match=rf"^{field} was 1\.5; allowed: a whole number from 1 to 1000"):
        drum(**{field: 1.5})


def test_core_and_cable_keyed_the_wrong_way_round_are_refused() -> None:
    with pytest.raises(ImpossibleDrum, match=r"core_diameter_mm was 6\.0; allowed: 180 to 100000"):
        drum(core_diameter_mm=6.0, cable_diameter_mm=180.0)


def test_layers_are_nested_unless_a_rise_is_stated() -> None:
    # Elementary geometry: the third of three touching circles of diameter d stands d sqrt(3)/2 above the other two.
    assert drum().rise_mm == winding.nested_rise_mm(6.0) == pytest.approx(5.196152422706632, rel=1e-15)
    assert drum(layer_rise_mm=winding.stacked_rise_mm(6.0)).rise_mm == 6.0


def test_a_layer_rises_the_pitch_diameter_by_twice_its_rise() -> None:
    three = winding.pitch_diameters_mm(drum(layer_rise_mm=5.5, max_layers=3))
    assert three.tolist() == [186.0, 197.0, 208.0]


COLUMNS = {
    "core_diameter_mm": Decimal("180.0"), "cable_diameter_mm": Decimal("6.0"), "wraps_odd_layer": 28,
    "wraps_even_layer": 27, "max_layers": 40,
}  # fmt: skip


def test_a_types_columns_describe_its_drum() -> None:
    stated = {"layer_rise_mm": "5.5", "pitch_mm": "6.1", "diameter_u_mm": "0.05", "layer_rise_u_mm": "0.02"}
    assert winding.drum_from({**COLUMNS, **{name: Decimal(value) for name, value in stated.items()}}) == drum(
        layer_rise_mm=5.5, pitch_mm=6.1, diameter_u_mm=0.05, layer_rise_u_mm=0.02
    )


def test_how_uncertain_an_unmeasured_rise_is_follows_from_what_it_may_be() -> None:
    # An even spread from nested to stacked has the standard deviation of its width over the root of 12 (GUM 4.3.7).
    evenly = (6.0 - winding.nested_rise_mm(6.0)) / math.sqrt(12)
    assert winding.drum_from(COLUMNS).layer_rise_u_mm == pytest.approx(evenly, rel=1e-12)
    assert winding.drum_from(COLUMNS).diameter_u_mm == 0
    assert winding.drum_from(COLUMNS | {"layer_rise_mm": Decimal("5.5")}).layer_rise_u_mm == 0
    assert winding.drum_from(COLUMNS | {"layer_rise_u_mm": Decimal(0)}).layer_rise_u_mm == 0


# Counts and turns ---------------------------------------------------------------------------------------------------


def test_odd_and_even_layers_hold_their_own_wraps() -> None:
    assert winding.layer_capacities(drum(max_layers=5)).tolist() == [28, 27, 28, 27, 28]


def test_the_turns_of_a_count_are_its_full_layers_and_its_wraps() -> None:
    # 6 odd layers of 28 and 6 even ones of 27, and 10
    assert winding.turns_of(12, 10, drum()) == 6 * 28 + 6 * 27 + 10


def test_arrays_of_counts_are_worked_out_in_one_go_and_broadcast() -> None:
    turns = winding.turns_of([[0], [1], [2]], [0, 5], drum())
    assert turns.tolist() == [[0, 5], [28, 33], [55, 60]]


def test_a_flush_drum_is_written_as_full_layers_and_no_wraps() -> None:
    layers, wraps = winding.count_of_turns([0, 27, 28, 54.5, 55], drum(max_layers=2))
    assert layers.tolist() == [0, 0, 1, 1, 2]
    assert wraps.tolist() == [0, 27, 0, 26.5, 0]


def test_a_full_layer_is_the_same_cable_however_it_is_written() -> None:
    assert winding.length_m(12, 0, drum()) == winding.length_m(11, 27, drum())


@pytest.mark.parametrize(
    ("layers", "wraps", "sentence"),
    [
        ([3, 41], 0, "layers was 41.0 (place 1); this drum allows whole numbers, 0 to 40."),
        ([3, -1], 0, "layers was -1.0 (place 1); this drum allows whole numbers, 0 to 40."),
        (2.5, 0, "layers was 2.5 (place 0); this drum allows whole numbers, 0 to 40."),
        (math.inf, 0, "layers was inf (place 0); this drum allows whole numbers, 0 to 40."),
        (math.nan, 0, "layers was nan (place 0); this drum allows whole numbers, 0 to 40."),
        ([12, 11], [28, 28], "wraps was 28.0 (place 1); this drum allows 0 to 27."),
        (12, -0.5, "wraps was -0.5 (place 0); this drum allows 0 to 28."),
        (12, math.nan, "wraps was nan (place 0); this drum allows 0 to 28."),
        (40, 1, "wraps was 1.0 (place 0); this drum allows 0 to 0."),
    ],
)
def test_a_count_that_does_not_fit_is_refused_by_its_place(layers: Any, wraps: Any, sentence: str) -> None:
    with pytest.raises(OffTheDrum) as refusal:
        winding.length_m(layers, wraps, drum())
    assert str(refusal.value) == sentence


@pytest.mark.parametrize("turns", [-1e-9, 1100.001, math.nan, math.inf])
def test_turns_that_do_not_fit_are_refused(turns: float) -> None:
    with pytest.raises(OffTheDrum, match=r"^turns was .* \(place 1\); this drum allows 0 to 1100\.$"):
        winding.count_of_turns([0, turns], drum())


@pytest.mark.parametrize("length_m", [-0.001, 1e6, math.nan, math.inf])
def test_a_length_that_does_not_fit_is_refused(length_m: float) -> None:
    with pytest.raises(OffTheDrum, match="length_m was"):
        winding.turns_of_length(length_m, drum())


def test_no_counts_have_no_lengths() -> None:
    assert winding.length_m([], [], drum()).shape == (0,)


# Laws ---------------------------------------------------------------------------------------------------------------


@given(drums_with_turns(2))
def test_more_turns_are_never_less_cable(case: tuple[Drum, list[float]]) -> None:
    any_drum, turns = case
    fewer, more = winding.length_of_turns_m(sorted(turns), any_drum)
    assert fewer <= more


@given(drums_with_turns(3))
def test_a_length_leads_back_to_its_turns(case: tuple[Drum, list[float]]) -> None:
    any_drum, turns = case
    back = winding.turns_of_length(winding.length_of_turns_m(turns, any_drum), any_drum)
    # both ways are a few roundings of double precision
    np.testing.assert_allclose(back, turns, rtol=1e-12, atol=1e-9)


@given(drums_with_turns(3))
def test_turns_lead_to_a_count_and_back(case: tuple[Drum, list[float]]) -> None:
    any_drum, turns = case
    layers, wraps = winding.count_of_turns(turns, any_drum)
    np.testing.assert_array_equal(winding.turns_of(layers, wraps, any_drum), turns)
    room = np.append(winding.layer_capacities(any_drum), 1)[layers]
    assert (wraps < room).all()


@given(drums(), st.data())
def test_the_layers_add_up_to_the_whole(any_drum: Drum, data: st.DataObject) -> None:
    layers = data.draw(st.integers(0, any_drum.max_layers))
    one_by_one_m = 0.0
    for k in range(1, layers + 1):
        held = any_drum.wraps_odd_layer if k % 2 else any_drum.wraps_even_layer
        diameter_mm = any_drum.core_diameter_mm + any_drum.cable_diameter_mm + 2 * (k - 1) * any_drum.rise_mm
        one_by_one_m += held * math.sqrt((math.pi * diameter_mm) ** 2 + any_drum.advance_mm**2) / 1000
    assert winding.length_m(layers, 0, any_drum) == pytest.approx(one_by_one_m, rel=1e-12)


@given(drums())
def test_a_drum_takes_what_all_its_layers_hold(any_drum: Drum) -> None:
    assert winding.capacity_m(any_drum) == winding.length_m(any_drum.max_layers, 0, any_drum)
    odd, even = (any_drum.max_layers + 1) // 2, any_drum.max_layers // 2
    held = odd * any_drum.wraps_odd_layer + even * any_drum.wraps_even_layer
    assert winding.turns_of(any_drum.max_layers, 0, any_drum) == held
    assert winding.turns_of_length(winding.capacity_m(any_drum), any_drum) == held


@given(drums_with_turns(1))
def test_a_wrap_higher_up_is_more_cable(case: tuple[Drum, list[float]]) -> None:
    wraps_m = winding.wrap_lengths_mm(case[0])
    assert (np.diff(wraps_m) > 0).all()


# Cuts left ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("length_m", "least_m", "cut_m", "cuts"),
    [
        (100.0, 60.0, 15.0, 2),
        (100.0, 60.0, 20.0, 2),
        (59.9, 60.0, 15.0, 0),
        (60.0, 60.0, 15.0, 0),
        (0.3, 0.0, 0.1, 3),
        (1.0, 0.0, 0.001, 1000),
    ],
)
def test_cuts_left_are_whole_ones_above_the_least_length(
    length_m: float, least_m: float, cut_m: float, cuts: int
) -> None:
    assert winding.cuts_left(length_m, least_m, cut_m) == cuts


@pytest.mark.parametrize(
    ("numbers", "sentence"),
    [
        ((math.nan, 60.0, 15.0), "length_m was nan (place 0)"),
        ((100.0, -1.0, 15.0), "length_m was -1.0 (place 1)"),
        ((100.0, 60.0, 0.0), "typical_cut_m was 0.0 (place 0)"),
    ],
)
def test_cuts_left_of_an_impossible_length_are_refused(numbers: tuple[float, float, float], sentence: str) -> None:
    with pytest.raises(ImpossibleValue) as refusal:
        winding.cuts_left(*numbers)
    assert str(refusal.value).startswith(sentence)
