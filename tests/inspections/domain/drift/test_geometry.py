"""The drum as tables against the winding model itself, and windows that leave no length out that counts leave open."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.domain.drift import CountSeen, geometry
from inspections.domain.drift.fixed import FIXED
from inspections.domain.drift.geometry import CELL_COUNTS, CountColumns, grid_for
from reels.domain import winding
from tests.inspections.domain.drift.small_reels import DRUM, START, counted

TABLE = geometry.winding_table(DRUM)
FULL = 10 * 28 + 10 * 27  # wraps on the twenty layers
LEVELS = st.integers(0, 19).flatmap(lambda full: st.tuples(st.just(full), st.integers(0, 28 if full % 2 == 0 else 27)))
METRES = st.lists(st.floats(0, 900), min_size=1, max_size=14)


# Tables -------------------------------------------------------------------------------------------------------------


@given(LEVELS)
def test_the_tables_hold_the_lengths_of_the_winding_model(level: tuple[int, int]) -> None:
    layers, wraps = level
    turns = float(winding.turns_of(layers, wraps, DRUM))
    metres = float(winding.length_m(layers, wraps, DRUM))
    assert TABLE.metres(np.array([turns]))[0] == pytest.approx(metres, rel=1e-12)
    assert TABLE.turns(np.array([metres]))[0] == pytest.approx(turns, rel=1e-12, abs=1e-12)


@pytest.mark.parametrize("turns", [0, 5, 27, 28, 29, 54, 55, 200, FULL - 28, FULL - 27, FULL - 1])
def test_the_wrap_that_comes_next_is_as_long_as_the_winding_model_says(turns: int) -> None:
    longer, shorter = TABLE.metres(np.array([turns + 1.0, turns]))
    assert TABLE.metres_per_wrap(float(turns)) == pytest.approx(longer - shorter)


@pytest.mark.parametrize(("layers", "full"), [(20, FULL), (19, FULL - 27)])
def test_past_either_end_the_drum_goes_on_with_its_last_layer(layers: int, full: int) -> None:
    table = geometry.winding_table(replace(DRUM, max_layers=layers))
    first, last = (table.metres_per_wrap(turns) for turns in (-3.0, full + 3.0))
    assert (first, last) == (table.metres_per_wrap(0.0), table.metres_per_wrap(full - 1.0))
    past = table.turns(np.array([-2 * first, table.below_m[-1] + 2 * last]))
    assert past == pytest.approx([-2.0, full + 2.0])


@pytest.mark.parametrize(("layers", "wraps", "turns"), [(0, 0, 0), (1, 3, 31), (2, 3, 58), (20, 0, FULL), (20, 9, FULL),
                                                        (25, 0, FULL), (19, 40, FULL), (-1, 4, 4)])  # fmt: skip
def test_a_count_that_the_drum_cannot_hold_is_taken_for_a_full_one(layers: int, wraps: int, turns: int) -> None:
    assert geometry.turns_of_counts((CountSeen(at=START, layers=layers, wraps=wraps),), TABLE).tolist() == [turns]


def test_days_are_of_twenty_four_hours_from_the_second_to_the_first() -> None:
    assert geometry.days_between(START + timedelta(hours=36), START) == 1.5
    assert geometry.days_between(START, START + timedelta(minutes=6)) == pytest.approx(-1 / 240)


def test_counts_are_put_in_order_of_time() -> None:
    history = counted([(3, 1), (2, 1), (1, 1)])
    assert geometry.ordered_counts(replace(history, counts=history.counts[::-1])) == history.counts


# Nearby counts ------------------------------------------------------------------------------------------------------


@given(METRES, st.floats(0.1, 50))
def test_counts_agree_that_lie_close_in_order_and_in_length(metres: list[float], margin: float) -> None:
    by_hand = [
        sum(abs(other - here) <= margin for other in metres[max(i - FIXED.neighbours, 0) : i + FIXED.neighbours + 1])
        for i, here in enumerate(metres)
    ]
    assert geometry._agreeing_nearby(np.array(metres), margin).tolist() == by_hand


@given(METRES)
def test_the_least_nearby_is_that_of_four_counts_either_way(metres: list[float]) -> None:
    by_hand = [min(metres[max(i - FIXED.neighbours, 0) : i + FIXED.neighbours + 1]) for i in range(len(metres))]
    assert geometry._least_nearby(np.array(metres)).tolist() == by_hand


@given(METRES)
def test_the_second_lowest_is_of_those_before(metres: list[float]) -> None:
    by_hand = [sorted([*metres[:i], np.inf, np.inf])[1] for i in range(len(metres))]
    assert geometry._second_lowest_so_far(np.array(metres)).tolist() == by_hand


# Windows ------------------------------------------------------------------------------------------------------------


@given(st.lists(st.tuples(st.integers(-5, 60), st.integers(0, 31)), min_size=1, max_size=12))
def test_windows_hold_what_they_must_and_stay_as_long_as_they_can(needs: list[tuple[int, int]]) -> None:
    low = np.array([float(lowest) for lowest, _ in needs])
    high = low + [float(width) for _, width in needs]
    offsets = geometry._offsets(low, high, 32)
    assert (offsets <= low).all()
    assert (high <= offsets + 31).all()
    first = 0
    for t in [*(np.flatnonzero(np.diff(offsets)) + 1).tolist(), len(needs)]:
        # in the middle, to a cell; and what comes next would not have fitted in
        below, above = low[first:t].min() - offsets[first], offsets[first] + 31 - high[first:t].max()
        assert 0 <= above - below <= 1
        if t < len(needs):
            assert max(high[first : t + 1]) - min(low[first : t + 1]) >= 32
        first = t


def columns(metres: list[float]) -> CountColumns:
    m = np.array(metres)
    none = np.zeros(m.size, dtype=np.int64)
    return CountColumns(
        first=0,
        layers=none,
        wraps=none,
        turns=TABLE.turns(m),
        rule_wraps=np.zeros(m.size),
        before_turns=-1.0,
        metres=m,
        days=30.0 * np.arange(m.size, dtype=np.float64),
    )


def open_lengths(metres: list[float], looseness: float = 0.5) -> tuple[list[float], list[float], float]:
    """The lowest and the highest length that is looked at for each count, and the margin of five spreads and slips."""
    cell_m, cells, offsets = grid_for(columns(metres), TABLE, looseness)
    wrap_m = TABLE.metres_per_wrap(float(np.median(TABLE.turns(np.array(metres)))))
    low, high = cell_m * offsets, cell_m * (offsets + cells - 1)
    return low.tolist(), high.tolist(), (6 + 5 * looseness) * wrap_m


def test_what_is_counted_twice_nearby_is_open_with_a_margin_of_slips_and_five_spreads() -> None:
    low, high, margin = open_lengths([400.0] * 6 + [350.0] * 6)
    for t in range(2, 10):  # within four counts of both
        assert low[t] <= 350.0 - margin
        assert high[t] >= 400.0 + margin
    assert low[0] <= 400.0 - margin


def test_a_high_that_two_counts_before_it_contradict_is_left_out() -> None:
    low, high, margin = open_lengths([300.0] * 5 + [800.0] + [300.0] * 5)
    assert max(high) < 800.0
    assert min(high) >= 300.0 + margin
    assert max(low) <= 300.0 - margin


def test_a_high_that_another_count_bears_out_is_open_whatever_came_before() -> None:
    _, high, margin = open_lengths([300.0] * 5 + [800.0, 800.0] + [300.0] * 5)
    assert max(high) >= 800.0 + margin


def test_a_low_is_judged_by_the_lowest_so_far_and_not_by_the_first_count() -> None:
    low, _, margin = open_lengths([700.0] * 3 + [600.0] * 3 + [500.0] * 3 + [400.0] + [500.0] * 3)
    assert low[9] <= 400.0 - margin


@pytest.mark.parametrize("looseness", [0.1, 0.45, 1.5, 4.3])
def test_a_reel_that_nothing_happened_to_is_looked_at_no_wider_than_the_margin_needs(looseness: float) -> None:
    cell_m, cells, _ = grid_for(columns([500.0] * 6), TABLE, looseness)
    needed = 2 * (6 + 5 * looseness) * TABLE.metres_per_wrap(float(TABLE.turns(np.array([500.0]))[0])) / cell_m
    assert cells == min(number for number in CELL_COUNTS if number >= needed + 2)


def test_windows_have_numbers_of_cells_that_the_fast_transform_likes() -> None:
    for number in CELL_COUNTS.tolist():
        while number % 2 == 0 or number % 3 == 0:
            number //= 2 if number % 2 == 0 else 3  # noqa: PLW2901  # what is left of it
        assert number == 1


def test_a_low_that_later_counts_contradict_and_no_cut_would_reach_is_left_out() -> None:
    deep, shallow = 700.0 - FIXED.longest_undone_m - 50.0, 700.0 - FIXED.longest_undone_m + 50.0
    low, _, _ = open_lengths([700.0] * 5 + [deep] + [700.0] * 5)
    assert min(low) > deep
    low, _, margin = open_lengths([700.0] * 5 + [shallow] + [700.0] * 5)
    assert low[5] <= shallow - margin


def test_a_low_that_nothing_contradicts_is_open_however_deep() -> None:
    low, high, margin = open_lengths([700.0] * 5 + [300.0, 301.0, 300.0])
    assert low[5] <= 300.0 - margin
    assert high[5] >= 700.0 + margin
    low, _, _ = open_lengths([700.0] * 5 + [300.0])
    assert low[5] <= 300.0 - margin


@given(st.lists(st.floats(0, 900), min_size=1, max_size=14), st.sampled_from([0.1, 0.45, 1.5, 4.3]))
def test_a_grid_is_one_of_few_and_fine_enough(metres: list[float], looseness: float) -> None:
    cell_m, cells, offsets = grid_for(columns(metres), TABLE, looseness)
    wrap_m = TABLE.metres_per_wrap(float(np.median(TABLE.turns(np.array(metres)))))
    assert cells in CELL_COUNTS
    assert 2 * np.log2(cell_m) == pytest.approx(np.rint(2 * np.log2(cell_m)), abs=1e-9)
    # eight tenths of the spread, within a fifth and a wrap and a fifth; to the nearest power of √2
    assert abs(np.log2(cell_m / (wrap_m * min(max(0.8 * looseness, 0.22), 1.2)))) <= 0.25 + 1e-9
    assert len(offsets) == len(metres)


def test_a_window_that_would_be_too_wide_gets_longer_cells_and_no_more_of_them() -> None:
    far = [100_000.0 * (i % 2) for i in range(8)]
    cell_m, cells, offsets = grid_for(columns(far), TABLE, 0.1)
    assert cells <= CELL_COUNTS[-1]
    assert 2 * np.log2(cell_m) == pytest.approx(np.rint(2 * np.log2(cell_m)), abs=1e-9)
    assert cell_m * offsets.min() <= 0.0
    assert cell_m * (offsets.max() + cells - 1) >= 100_000.0
