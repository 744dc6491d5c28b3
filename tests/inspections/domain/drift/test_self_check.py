"""Fleets that are drawn like a given one, the observer who is told everything of them, and what is said of that."""

from dataclasses import replace

import numpy as np
import pytest

from inspections.domain import drift
from inspections.domain.drift import DEFAULT_PARAMETERS, ReelHistory, SelfCheck, check_in_words
from inspections.domain.drift.parameters import LOOSENESS_GRID_WRAPS
from inspections.domain.drift.records import SLIPS, Slip
from inspections.domain.drift.self_check import observe
from inspections.domain.drift.simulation import SimulatedReel, simulate
from reels.domain.words import LengthUnit
from tests.benchmarks.drift.fleets import FleetPlan, make_fleet, messy_plan
from tests.benchmarks.drift.observer import Observer
from tests.benchmarks.drift.study import log_loss, true_parameters
from tests.inspections.domain.drift.small_reels import STEADY, counted, cut, day

RATES = replace(DEFAULT_PARAMETERS, cuts_per_interval=0.08, cuts_per_year=0.0)


def fleet_of(reels: int, seed: int) -> list[ReelHistory]:
    plan = replace(messy_plan(seed), reels=reels, counts=(8, 20), replaced_per_interval=0.01)
    return [truth.history for truth in make_fleet(plan)]


def test_a_drawn_fleet_has_the_dates_drums_and_log_of_the_given_one() -> None:
    given = fleet_of(12, 9401)
    drawn = [reel.history for reel in simulate(given, RATES, np.random.default_rng(1))]
    for before, after in zip(given, drawn, strict=True):
        assert replace(after, counts=()) == replace(before, counts=())
        assert [c.at for c in after.counts] == [c.at for c in before.counts]
    assert any(a.counts != b.counts for a, b in zip(given, drawn, strict=True))


def test_the_same_seed_draws_the_same_fleet() -> None:
    given = fleet_of(6, 9402)
    one, same, other = (simulate(given, RATES, np.random.default_rng(seed)) for seed in (3, 3, 4))
    assert [reel.history for reel in one] == [reel.history for reel in same]
    assert [reel.history for reel in one] != [reel.history for reel in other]


def test_a_replacement_leaves_the_truth_open() -> None:
    given = counted([*STEADY, *[(15, 3)] * 4], replaced_at=(day(160),), cuts=(cut(20, 3.0),))
    [reel] = simulate([given], RATES, np.random.default_rng(5))
    assert np.flatnonzero(np.isnan(reel.unlogged_m)).tolist() == [5]
    assert [
        reel.unlogged_m.size for reel in simulate([counted([]), counted([(3, 3)])], RATES, np.random.default_rng(5))
    ] == [
        0,
        0,
    ]


def drawn_and_observed() -> tuple[list[SimulatedReel], list[drift.ReelAssessment]]:
    slips = dict(zip(SLIPS, RATES.slip_shares, strict=True)) | dict.fromkeys(SLIPS[1:], 0.01) | {Slip.NONE: 0.93}
    theta = replace(RATES, slip_shares=tuple(slips[slip] for slip in SLIPS), entry_void=0.05, entry_misdated=0.2)
    fleet = simulate(fleet_of(60, 9403), theta, np.random.default_rng(6))
    return fleet, list(observe(fleet, theta))


def test_the_observer_of_drawn_fleets_is_calibrated() -> None:
    """Of what it says of intervals and counts as many are true as it says, within three standard errors."""
    fleet, assessed = drawn_and_observed()
    true_m = np.concatenate([reel.unlogged_m for reel in fleet])
    intervals = [i for reel in assessed for i in reel.intervals]
    p = np.array([i.p_unlogged_cut for i in intervals])[~np.isnan(true_m)]
    happened = (true_m > 0)[~np.isnan(true_m)]
    for low, high in ((0.0, 0.1), (0.1, 0.9), (0.9, 1.0 + 1e-9)):
        some = (p >= low) & (p < high)
        error = np.sqrt((p[some] * (1 - p[some])).sum())
        assert abs(p[some].sum() - happened[some].sum()) < 3.0 * error + 1.0
    counts = [c for reel in assessed for c in reel.counts]
    slipped = np.array([c.p_slip for c in counts])
    assert slipped.sum() == pytest.approx(0.07 * len(counts), abs=3.0 * np.sqrt(0.07 * 0.93 * len(counts)))
    inside = [
        i.cut_low_m <= m <= i.cut_high_m
        for i, m in zip(intervals, true_m, strict=True) if m > 0 and i.p_unlogged_cut > 0.5
    ]  # fmt: skip
    assert np.mean(inside) == pytest.approx(0.9, abs=3.0 * np.sqrt(0.09 / len(inside)))


def test_told_everything_the_recursions_come_to_what_an_observer_written_apart_from_them_does() -> None:
    place = 6
    plan = FleetPlan(
        name="told", seed=9404, reels=12, looseness=float(LOOSENESS_GRID_WRAPS[place]), looseness_spread=0.0,
        cut_per_interval=0.06, logged_per_interval=0.0,
    )  # fmt: skip
    fleet = make_fleet(plan)
    told = [SimulatedReel(history=r.history, unlogged_m=np.array(r.unlogged_m), looseness=place) for r in fleet]
    truth = np.concatenate([r.unlogged_m for r in fleet]) > 0
    ours = np.array([i.p_unlogged_cut for reel in observe(told, true_parameters(plan)) for i in reel.intervals])
    apart = np.concatenate([Observer(plan, reel).watch()[0] for reel in fleet])
    assert log_loss(ours, truth) == pytest.approx(log_loss(apart, truth), rel=0.05)


def test_a_self_check_counts_what_is_found_and_what_could_be() -> None:
    checked = drift.self_check(fleet_of(8, 9405), RATES, false_share=0.05, seed=7, draws=1)
    assert (checked.draws, checked.reels, checked.least_m) == (1, 8, 2.0)
    assert checked == drift.self_check(fleet_of(8, 9405), RATES, false_share=0.05, seed=7, draws=1)
    assert 0 < checked.found <= checked.cuts
    assert 0 < checked.limit <= checked.cuts
    assert checked.false + checked.found <= checked.flags
    assert checked.covered <= checked.flags - checked.false


CHECKED = SelfCheck(
    draws=5, reels=40, intervals=1500, least_m=2.0, false_share=0.05, cuts=200, found=104, limit=108, flags=120,
    false=6, covered=104,
)  # fmt: skip


def test_what_to_expect_is_said_in_two_sentences() -> None:
    assert check_in_words(CHECKED) == (
        "On fleets like yours this finds 52 % of unlogged cuts above 2 m at 5 % false flags (5 % are allowed); the "
        "limit, for whoever knew every rate, is 54 %. The 90 % interval of a length covers 91 %. Measured on 5 drawn "
        "fleets with 200 such cuts."
    )
    assert "above 6.56 ft at" in check_in_words(CHECKED, LengthUnit.FEET)


def test_a_fleet_without_cuts_is_told_so() -> None:
    none = replace(CHECKED, cuts=0, found=0, limit=0, flags=0, false=0, covered=0)
    assert check_in_words(none) == (
        "On fleets like yours there is no unlogged cut above 2 m to be found (5 drawn fleets with 0 such cuts)."
    )
    empty = drift.self_check([], RATES, false_share=0.05, seed=7, draws=1)
    assert (empty.reels, empty.intervals, empty.cuts, empty.flags) == (0, 0, 0, 0)
