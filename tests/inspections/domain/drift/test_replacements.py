"""A replacement that nobody logged is asked about: it is no loss, and no flag."""

from dataclasses import replace

import numpy as np
import pytest

from inspections.domain import drift
from inspections.domain.drift import DEFAULT_PARAMETERS, ReelAssessment, choose_flags
from tests.benchmarks.drift.fleets import FleetPlan, make_fleet
from tests.inspections.domain.drift.small_reels import STEADY, counted

FULLER = [(15, 3)] * 3
PLAN = FleetPlan(
    name="replaced",
    seed=2901,
    reels=24,
    counts=(12, 20),
    looseness=0.3,
    replaced_per_interval=0.02,
    replaced_unlogged=True,
)


def assessed(counts: list[tuple[int, int]]) -> ReelAssessment:
    return drift.assess(counted(counts), DEFAULT_PARAMETERS)


def test_counts_that_stay_on_another_cable_are_asked_about() -> None:
    reel = assessed(STEADY + FULLER)
    place = len(STEADY) - 1
    swap = reel.intervals[place]
    assert swap.p_replaced > 0.9
    assert swap.p_unlogged_cut < 0.01
    day, then = f"{swap.from_at:%Y-%m-%d}", f"{swap.to_at:%Y-%m-%d}"
    assert drift.explain(reel, place).endswith(f"was that of {reel.reel} replaced between {day} and {then}?")
    assert sum(interval.p_replaced for interval in reel.intervals) - swap.p_replaced < 0.01


def test_one_count_that_is_high_and_comes_back_is_a_slip() -> None:
    reel = assessed([*STEADY, (15, 3), *STEADY])
    assert max(interval.p_replaced for interval in reel.intervals) < 0.01
    assert reel.counts[len(STEADY)].p_slip > 0.99


@pytest.mark.parametrize("unlogged", [True, False])
def test_of_swaps_that_nobody_logged_half_at_least_are_asked_about_and_few_flagged(unlogged: bool) -> None:
    fleet = make_fleet(replace(PLAN, replaced_unlogged=unlogged))
    histories = [reel.history for reel in fleet]
    swapped = np.concatenate([reel.over_replacement for reel in fleet]).astype(bool)
    rows = [i for reel in drift.assess_fleet(histories, drift.learn(histories)) for i in reel.intervals]
    asked = np.array([i.p_replaced >= 0.5 for i in rows])
    flagged = np.array(choose_flags([i.p_unlogged_cut for i in rows]))
    assert not (asked & ~swapped).any()
    if unlogged:
        assert (asked & swapped).sum() >= 0.5 * swapped.sum()
        assert (flagged & swapped).sum() <= 0.2 * swapped.sum()
    else:
        assert not asked.any()
