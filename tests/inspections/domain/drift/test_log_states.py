"""Where a logged cut may have been made, and that on every way of the log each is made once."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inspections.domain.drift import CutLogged
from inspections.domain.drift.fixed import FIXED
from inspections.domain.drift.log_states import AS_WRITTEN, Placement, first_states, placements, steps_of
from inspections.domain.drift.parameters import DEFAULT_PARAMETERS
from inspections.domain.drift.sequence import CountSequence, sequences_of
from tests.inspections.domain.drift.small_reels import STEADY, counted, cut

MISDATED = replace(DEFAULT_PARAMETERS, entry_misdated=0.2)


def placed(*cuts: CutLogged) -> tuple[CountSequence, list[Placement]]:
    (sequence,) = sequences_of(counted(STEADY, cuts=cuts), 0, MISDATED)
    return sequence, placements(sequence, MISDATED)


def density(gap_days: float) -> float:
    return float(0.5 * (0.9 * np.exp(-gap_days / 5.0) / 5.0 + 0.1 * np.exp(-gap_days / 60.0) / 60.0))


@pytest.mark.parametrize("on", [31, 36, 45, 54])
def test_the_nearer_an_entry_is_to_a_count_the_likelier_it_was_made_on_its_other_side(on: int) -> None:
    _, [one] = placed(cut(on, 10.0))
    assert one.home == 1
    # odds of misdated, times that a right date is any of thirty days
    for j, gap in ((0, on - 30), (2, 60 - on), (3, 90 - on)):
        odds = 0.25 * 30 * density(gap)
        assert one.at(j) / one.at(1) == pytest.approx(odds if odds >= FIXED.least_misdated else 0.0)
    assert one.p.sum() == pytest.approx(1.0)


def test_at_the_moment_of_a_count_nothing_says_which_came_first() -> None:
    (sequence,) = sequences_of(counted(STEADY, cuts=(cut(30, 10.0),)), 0, DEFAULT_PARAMETERS)
    [one] = placements(sequence, replace(DEFAULT_PARAMETERS, entry_misdated=0.001))
    assert one.at(0) / one.at(1) == pytest.approx(0.25)
    [one] = placements(sequence, replace(DEFAULT_PARAMETERS, entry_misdated=0.9))
    assert one.at(1) == pytest.approx(1.0 - FIXED.most_misdated)


def test_before_the_first_count_and_after_the_last_there_is_one_side_to_be_mistaken_for() -> None:
    _, [before, after] = placed(cut(-12, 10.0), cut(162, 10.0))
    assert (before.home, before.first, after.home, after.last) == (-1, -1, 5, 5)
    assert before.at(0) / before.at(-1) == pytest.approx(0.25 * FIXED.open_interval_days * density(12))
    assert after.at(4) / after.at(5) == pytest.approx(0.25 * FIXED.open_interval_days * density(12))


def test_a_cut_that_was_recorded_before_a_count_was_not_made_after_it() -> None:
    _, [at_once, unknown, days_later] = placed(cut(28, 10.0, recorded=28), cut(88, 4.0), cut(118, 7.0, recorded=123))
    assert (at_once.last, unknown.at(3) > 0.1) == (0, True)
    # recorded on a day of the next interval: few entries wait for five days, so that it was rather made then
    assert days_later.at(4) > 0.5


def test_at_most_so_many_entries_are_followed_at_a_count_the_likeliest_to_move() -> None:
    cuts = [cut(29.0 - 0.5 * k, 3.0 + k) for k in range(7)]
    _, found = placed(*cuts)
    assert sorted(one.slot for one in found) == [0, 0, 0, 1, 2, 3, 4]
    assert [one.slot > 0 for one in found] == [False] * 3 + [True] * 4  # in order of dates: the last are nearest
    assert all(one.p.tolist() == [1.0] for one in found if one.slot == 0)


def courses(sequence: CountSequence, found: list[Placement]) -> list[tuple[float, list[tuple[int, int]]]]:
    """Every way of the log: its probability, and which entry's cut is made in which interval."""
    ways: list[tuple[float, int, list[tuple[int, int]]]] = [(p, state, []) for state, p in first_states(found).items()]
    for t in range(sequence.times - 1):
        ways = [
            (p * step.probability, step.target, [*made, *((e, t) for e in step.entries)])
            for p, state, made in ways
            for step in steps_of(found, t)
            if step.source == state
        ]
    return [(p, made) for p, _, made in ways]


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.lists(st.floats(-20, 170), min_size=1, max_size=4))
def test_on_every_way_each_cut_is_made_once_and_the_ways_are_all_there_is(dates: list[float]) -> None:
    sequence, found = placed(*(cut(on, 5.0 + place) for place, on in enumerate(dates)))
    ways = courses(sequence, found)
    assert sum(p for p, _ in ways) == pytest.approx(1.0)
    for _, made in ways:
        assert len({e for e, _ in made}) == len(made)
        for e, one in enumerate(found):
            intervals = [t for each, t in made if each == e]
            if not intervals:  # then it was made before the first count, or after the last
                assert one.at(-1) + one.at(sequence.times - 1) > 0
            else:
                assert one.at(intervals[0]) > 0


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.floats(-20, 170))
def test_one_entry_alone_is_made_in_each_interval_as_often_as_is_said(on: float) -> None:
    sequence, [one] = placed(cut(on, 5.0))
    ways = courses(sequence, [one])
    for t in range(sequence.times - 1):
        assert sum(p for p, made in ways if (0, t) in made) == pytest.approx(one.at(t), abs=1e-12)


def test_the_states_that_are_open_at_a_count_are_those_of_entries_near_it() -> None:
    (sequence,) = sequences_of(counted(STEADY, cuts=(cut(29, 5.0), cut(100, 6.0))), 0, DEFAULT_PARAMETERS)
    found = placements(sequence, DEFAULT_PARAMETERS)
    assert [found[0].is_open(t) for t in range(3)] == [False, True, False]
    assert AS_WRITTEN not in {one.slot for one in found}
