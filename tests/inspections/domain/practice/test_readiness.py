"""Readiness: runs without a miss, what ends them, and where somebody slips."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.domain.practice.draws import Difficulty
from inspections.domain.practice.marking import PracticeSheet, mark
from inspections.domain.practice.readiness import (
    PracticeResult,
    ReadinessRule,
    RuleRecord,
    assess_readiness,
    result_of,
)
from inspections.domain.practice.reels import practice_reel
from inspections.domain.practice.slips import PracticeSlip, Rule
from reels.domain.words import Parity
from reels.errors import ValueNotTaken
from tests.inspections.domain.counted_reels import TYPE

TODAY = datetime(2025, 6, 30, 12, tzinfo=UTC)
MISS = ((Rule.WRAPS, PracticeSlip.ONE_WRAP),)
TEN = ReadinessRule()


def result(days_ago=1.0, misses=(), difficulty=Difficulty.TRICKY):
    at = TODAY - timedelta(days=days_ago)
    return PracticeResult(at=at, difficulty=difficulty, tried=frozenset({Rule.LAYERS, Rule.WRAPS}), misses=misses)


def results(n, **changes):
    return [result(**changes)] * n


@pytest.mark.parametrize(
    ("tried", "run"),
    [
        ([], 0),
        (results(9), 9),
        (results(10), 10),
        ([*results(10), result(0.5, MISS)], 0),  # the newest one counts most
        ([result(5, MISS), *results(10)], 10),
        ([*results(9), result(30)], 9),  # just too long ago
        ([*results(9), result(29.9)], 10),
        ([*results(9), result(-1)], 9),  # after the day asked about
        ([*results(9), result(difficulty=Difficulty.PLAIN)], 9),  # too easy to add
        ([*results(9), result(0.5, MISS, Difficulty.PLAIN), result(0.1)], 1),  # not too easy to end it
        ([*results(9), result(difficulty=Difficulty.USUAL)], 10),
    ],
)
def test_ten_in_a_row_without_a_miss_in_thirty_days_are_ready(tried, run):
    found = assess_readiness(tried, TEN, TODAY)
    assert (found.in_a_row, found.is_ready) == (run, run >= 10)
    assert found.why.endswith(f"in the last 30 days: {run}; asked for: 10.")


@given(
    st.lists(st.builds(result, st.floats(0, 60), st.sampled_from([(), MISS]), st.sampled_from(Difficulty)), max_size=30)
)
def test_the_order_of_results_changes_nothing_and_a_stricter_rule_never_makes_ready(tried):
    one = assess_readiness(tried, ReadinessRule(in_a_row=3), TODAY)
    assert assess_readiness(sorted(tried, key=lambda r: r.at), ReadinessRule(in_a_row=3), TODAY) == one
    for stricter in (
        ReadinessRule(in_a_row=4),
        ReadinessRule(in_a_row=3, within_days=20),
        ReadinessRule(in_a_row=3, least=Difficulty.TREACHEROUS),
    ):
        assert one.is_ready or not assess_readiness(tried, stricter, TODAY).is_ready


def test_slips_are_counted_by_rule_within_the_days_asked_for():
    twice = (*MISS, (Rule.WRAPS, PracticeSlip.WRONG_FACE))
    found = assess_readiness([result(), result(2, MISS), result(3, twice), result(40, MISS)], TEN, TODAY)
    assert set(found.by_rule) == set(Rule)
    assert found.by_rule[Rule.WRAPS] == RuleRecord(
        tried=3, missed=2, slips={PracticeSlip.ONE_WRAP: 2, PracticeSlip.WRONG_FACE: 1}
    )
    assert found.by_rule[Rule.LAYERS] == RuleRecord(tried=3, missed=0, slips={})
    assert found.by_rule[Rule.FLUSH] == RuleRecord(tried=0, missed=0, slips={})


def test_a_marked_sheet_is_remembered_with_one_miss_for_one_slip():
    reel = practice_reel(TYPE, Difficulty.PLAIN, 1)
    face = Parity.of(reel.drum.layer)
    wrong = replace(reel.reading, gauge_face=face, gauge_wraps=reel.gauge[face])
    marking = mark(reel, PracticeSheet(reading=wrong))
    remembered = result_of(marking, difficulty=reel.difficulty, at=TODAY)
    assert remembered.misses == ((Rule.WRAPS, PracticeSlip.WRONG_FACE),)
    assert remembered.tried == {Rule.LAYERS, Rule.PARITY, Rule.WRAPS, Rule.CROSSOVER}


@pytest.mark.parametrize("wrong", [{"in_a_row": 0}, {"within_days": 0}])
def test_a_rule_that_asks_for_nothing_is_refused(wrong):
    with pytest.raises(ValueNotTaken, match="was 0; allowed: 1 or more"):
        ReadinessRule(**wrong)


def test_one_reel_within_one_day_is_the_least_that_can_be_asked_for():
    assert assess_readiness([result(days_ago=0.5)], ReadinessRule(in_a_row=1, within_days=1), TODAY).is_ready


def test_a_reel_that_was_ended_at_the_very_moment_counts():
    assert assess_readiness([result(days_ago=0)], ReadinessRule(in_a_row=1), TODAY).in_a_row == 1
