"""Habits of people are found where counts by others lie between theirs, told without names, and are no loss."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from inspections.domain import drift
from inspections.domain.drift import DEFAULT_PARAMETERS, CountSeen, DriftParameters, ReelHistory
from inspections.domain.drift.learning import _with_rules as with_rules
from inspections.domain.drift.parameters import hands_of
from tests.benchmarks.drift.fleets import FleetPlan, make_fleet

PLAN = FleetPlan(name="people", seed=2701, reels=24, counts=(12, 20), looseness=0.3, people=(1, 1, -1, 0, 0, 0))


def histories(plan: FleetPlan = PLAN) -> list[ReelHistory]:
    return [reel.history for reel in make_fleet(plan)]


def found(fleet: list[ReelHistory]) -> DriftParameters:
    return with_rules(fleet, DEFAULT_PARAMETERS)[0]


def changed(fleet: list[ReelHistory], change: Callable[[int, int, CountSeen], CountSeen]) -> list[ReelHistory]:
    """The fleet with each count as `change` makes it of its reel's number, its own and itself."""
    return [
        replace(history, counts=tuple(change(reel, k, count) for k, count in enumerate(history.counts)))
        for reel, history in enumerate(fleet)
    ]


@pytest.fixture(scope="module")
def learned() -> DriftParameters:
    return drift.learn(histories())


def test_each_habit_is_taken_off_the_counts_of_those_who_have_it(learned: DriftParameters) -> None:
    for history in histories():
        habits = [PLAN.people[int((count.counted_by or "").removeprefix("person "))] for count in history.counts]
        assert learned.people_wraps(history.counts).tolist() == habits


def test_people_with_like_habits_are_told_together_with_an_interval_and_without_a_name(
    learned: DriftParameters,
) -> None:
    told = [sentence for sentence in drift.in_words(learned) if sentence.startswith("Counts by")]
    assert [sentence.partition(" (")[0] for sentence in told] == [
        "Counts by one of the people lie about one wrap below the others'",
        "Counts by two of the people lie about one wrap above the others'",
    ]
    assert not any("person" in text for text in (*told, *learned.habits))


def test_a_habit_is_no_loss_and_the_sentence_says_what_it_is(learned: DriftParameters) -> None:
    without = replace(learned, habits=(), habit_sites=(), habit_wraps=(), habit_sd_wraps=())
    fleet = histories()
    even = histories(replace(PLAN, people=(0,) * 6))
    believed = [[i.p_unlogged_cut for reel in drift.assess_fleet(fleet, theta) for i in reel.intervals]
                for theta in (learned, without)]  # fmt: skip
    as_even = [i.p_unlogged_cut for reel in drift.assess_fleet(even, without) for i in reel.intervals]
    off_taken, off_left = (sum(abs(p - q) for p, q in zip(each, as_even, strict=True)) for each in believed)
    assert off_taken < 0.25 * off_left
    reel = next(drift.assess_fleet(fleet[:1], learned))
    place = next(k for k, interval in enumerate(reel.intervals) if interval.people_wraps == -1.0)
    assert "counts by who made the later one lie one wrap below those by the other" in drift.explain(reel, place)


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_where_nobody_has_a_habit_none_is_found(seed: int) -> None:
    for people in (2, 6, 12):
        assert found(histories(replace(PLAN, seed=seed, people=(0,) * people))).habits == ()


def test_whoever_counts_reels_alone_or_from_a_day_on_is_not_told_from_the_cable() -> None:
    def alone(reel: int, k: int, count: CountSeen) -> CountSeen:
        return replace(count, counted_by=f"person {reel}", verified_by=None, wraps=count.wraps + reel % 2)

    def taken_over(reel: int, k: int, count: CountSeen) -> CountSeen:
        return replace(count, counted_by=f"person {k > 6}", verified_by=None, wraps=count.wraps + (k > 6))

    even = histories(replace(PLAN, people=()))
    assert found(changed(even, alone)).habits == ()
    assert found(changed(even, taken_over)).habits == ()


def test_people_are_compared_within_a_site(learned: DriftParameters) -> None:
    sites = "Aldermere", "Stane Field"
    fleet = changed(
        histories(),
        lambda reel, k, count: replace(count, site=sites[reel % 2]),
    )
    told = [sentence for sentence in drift.in_words(found(fleet)) if sentence.startswith("Counts by two")]
    assert [sentence.partition(" lie")[0] for sentence in told] == [
        f"Counts by two of the people at {site}" for site in sites
    ]
    one = fleet[0].counts[0]
    assert set(hands_of(one)).isdisjoint(hands_of(replace(one, site=sites[1])))
