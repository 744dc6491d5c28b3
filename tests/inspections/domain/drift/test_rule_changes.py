"""A changed rule is found by what all reels have in common, said once, and is no loss of any reel."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from inspections.domain import drift
from inspections.domain.drift import DEFAULT_PARAMETERS, CountSeen, ReelHistory
from inspections.domain.drift.learning import _with_rules as with_rules
from tests.benchmarks.drift.fleets import EPOCH, FleetPlan, make_fleet

PLAN = FleetPlan(
    name="rule", seed=2601, reels=24, counts=(10, 16), rule_wraps=-1, rule_changed_day=200.0, looseness=0.3
)


def histories(plan: FleetPlan = PLAN) -> list[ReelHistory]:
    return [reel.history for reel in make_fleet(plan)]


def found(fleet: list[ReelHistory]) -> drift.DriftParameters:
    return with_rules(fleet, DEFAULT_PARAMETERS)[0]


@pytest.fixture(scope="module")
def learned() -> drift.DriftParameters:
    return drift.learn(histories())


def test_counts_that_all_shift_on_one_day_are_told_as_one_finding(learned: drift.DriftParameters) -> None:
    changed_at = EPOCH + timedelta(days=PLAN.rule_changed_day)
    assert learned.rule_changed_wraps == -1
    assert abs(datetime.fromisoformat(learned.rule_changed_at) - changed_at) < timedelta(days=10)
    told = [sentence for sentence in drift.in_words(learned) if "one wrap lower than before" in sentence]
    assert len(told) == 1


def test_a_changed_rule_is_no_loss_and_the_sentence_says_so(learned: drift.DriftParameters) -> None:
    without = replace(learned, rule_changed_at="", rule_changed_wraps=0)
    fleet = histories()
    taken_off = [i for reel in drift.assess_fleet(fleet, learned) for i in reel.intervals]
    left_in = [i for reel in drift.assess_fleet(fleet, without) for i in reel.intervals]
    over = [place for place, interval in enumerate(taken_off) if interval.rule_wraps]
    assert len(over) == len(fleet)
    assert [taken_off[k].observed_change_m for k in over] == [left_in[k].observed_change_m for k in over]
    assert sum(taken_off[k].p_unlogged_cut for k in over) < 0.5 * sum(left_in[k].p_unlogged_cut for k in over)
    reel = next(drift.assess_fleet(fleet[:1], learned))
    place = next(k for k, interval in enumerate(reel.intervals) if interval.rule_wraps)
    assert "counts of the fleet came out one wrap lower by then" in drift.explain(reel, place)


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_where_no_rule_changed_none_is_found_nor_where_every_interval_loses_a_little(seed: int) -> None:
    steady = replace(PLAN, seed=seed, rule_wraps=0)
    worn = replace(steady, cut_per_interval=5.0, size="uniform", size_m=0.95, size_spread=0.55)
    for plan in (steady, worn, replace(PLAN, seed=seed, reels=3)):
        assert found(histories(plan)).rule_changed_at == ""


def by_revision(count: CountSeen, revisions: tuple[str, str]) -> CountSeen:
    """Reels change over when they like; the second revision has its counts a wrap higher."""
    later = count.at >= EPOCH + timedelta(days=200 + 40 * (count.layers % 3))
    return replace(count, revision=revisions[later], wraps=count.wraps + later)


def test_a_revision_that_counts_otherwise_is_named_with_its_wraps() -> None:
    fleet = [
        replace(h, counts=tuple(by_revision(count, ("WP 7 A", "WP 7 B")) for count in h.counts))
        for h in histories(replace(PLAN, rule_wraps=0))
    ]
    theta = found(fleet)
    assert (theta.revisions, theta.revision_wraps, theta.rule_changed_at) == (("WP 7 B",), (1,), "")
    assert "Counts by WP 7 B are one wrap higher than those before it. It is taken off." in drift.in_words(theta)
    assert theta.rule_wraps(fleet[0].counts).tolist() == [float(c.revision == "WP 7 B") for c in fleet[0].counts]


def test_a_revision_that_counts_as_the_one_before_is_left_alone() -> None:
    fleet = [
        replace(h, counts=tuple(replace(count, revision=f"WP 7 {'AB'[k >= 5]}") for k, count in enumerate(h.counts)))
        for h in histories(replace(PLAN, rule_wraps=0))
    ]
    assert found(fleet).revisions == ()
