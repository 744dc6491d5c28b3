"""Bias, limits, repeatability and shares: published examples, a second way to the same figure, and laws."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from reels.errors import ValueNotTaken
from reports.domain.agreement import estimates
from reports.domain.agreement.estimates import Differences, Sample, trust_in_spread

# Their figures are None for too few pairs only: Any spares each test from saying that there are enough.
differences: Any = estimates.differences
repeatability: Any = estimates.repeatability
exact_agreement: Any = estimates.exact_agreement
share: Any = estimates.share

# Bland & Altman, Lancet 1986;i:307-310: peak expiratory flow rate of 17 subjects, by two meters, twice each. Data held
# from several independent public sources; the paper itself was not read.
LARGE_1 = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
LARGE_2 = [490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421]
MINI_1 = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]
MINI_2 = [525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443]

WRAPS = st.integers(-20, 20)
PAIRS = st.lists(st.tuples(WRAPS, WRAPS), min_size=2, max_size=60)


def values(estimate):
    return (estimate.value, estimate.low, estimate.high)


# Bland and Altman's example


def test_bias_and_spread_are_those_of_the_1986_paper():
    result = differences(LARGE_1, MINI_1, multiplier=2)
    # -2.1 and 38.8: several independent sources; interval -22.0 to 17.8 recomputed
    assert result.bias.value == pytest.approx(-2.1, abs=0.05)
    assert result.sd == pytest.approx(38.8, abs=0.05)
    assert (result.bias.low, result.bias.high) == pytest.approx((-22.05, 17.81), abs=0.01)


def test_limits_at_twice_the_sd_are_those_of_the_1986_paper():
    result = differences(LARGE_1, MINI_1, multiplier=2)
    # -79.7 and 75.5 (from memory) come from the rounded mean and SD, so to 0.15; recomputed to 0.001
    assert (result.lower.value, result.upper.value) == pytest.approx((-79.7, 75.5), abs=0.15)
    assert (result.lower.value, result.upper.value) == pytest.approx((-79.648, 75.413), abs=0.001)
    # the lower limit's interval was read in a public test suite, the upper one's is from memory
    assert (result.lower.low, result.lower.high) == pytest.approx((-114.3, -45.1), abs=0.15)
    assert (result.upper.low, result.upper.high) == pytest.approx((40.9, 110.1), abs=0.2)


def test_the_multiplier_of_today_gives_narrower_limits_and_is_said():
    result = differences(LARGE_1, MINI_1)
    assert result.multiplier == 1.96
    # recomputed
    assert (result.lower.value, result.upper.value) == pytest.approx((-78.097, 73.862), abs=0.001)


def test_repeatability_is_that_of_the_1986_paper():
    large, mini = repeatability(LARGE_1, LARGE_2, multiplier=2), repeatability(MINI_1, MINI_2, multiplier=2)
    # 43.2 and 56.4, from rounded SDs (from memory); 43.29 and 56.32 recomputed
    assert (large.coefficient.value, mini.coefficient.value) == pytest.approx((43.2, 56.4), abs=0.1)
    assert (large.coefficient.value, mini.coefficient.value) == pytest.approx((43.29, 56.32), abs=0.01)


def test_seventeen_subjects_are_told_as_a_small_sample():
    result = differences(LARGE_1, MINI_1)
    assert result.sample is Sample.SMALL
    assert result.why == "From 17 pairs each limit is known to within 0.9 standard deviations."


# Few pairs


@pytest.mark.parametrize(
    ("n", "verdict"),
    [(0, "too_few"), (1, "too_few"), (2, "too_few"), (14, "too_few"), (15, "small"), (48, "small"), (49, "enough")],
)
def test_a_spread_is_trusted_by_how_closely_its_limits_are_known(n, verdict):
    assert trust_in_spread(n)[0] == verdict


@pytest.mark.parametrize(("n", "why"), [(0, "There are no pairs"), (1, "There is 1 pair")])
def test_without_two_pairs_there_is_a_verdict_and_no_figure(n, why):
    result = differences(range(n), range(n))
    expected = Differences(n=n, sample=Sample.TOO_FEW, why=f"{why}; a spread needs at least 2.", multiplier=1.96)
    assert result == expected
    assert exact_agreement([], []).wilson is None
    none = repeatability([], [])
    assert (none.n, none.sample, none.within_sd, none.coefficient) == (0, Sample.TOO_FEW, None, None)


def test_two_pairs_know_a_limit_to_many_standard_deviations():
    # t of 1 degree of freedom at 97.5 %: 12.706 (any table of t), times √(3/2)
    assert trust_in_spread(2)[1] == "From 2 pairs each limit is known to within 15.6 standard deviations."


def test_differences_that_are_all_the_same_are_not_taken_for_certainty():
    result = differences([0.3] * 60, [0.1] * 60)
    assert (result.sd, result.lower.value) == (0.0, result.upper.value)
    assert "does not prove" in result.why


@pytest.mark.parametrize(
    ("first", "second", "field"),
    [
        ([1, 2], [1], "second"),
        ([[1]], [[1]], "second"),
        ([1, np.nan], [1, 2], "first"),
        ([1, 2], [1, np.inf], "second"),
    ],
)
def test_what_is_no_row_of_pairs_is_refused_by_name(first, second, field):
    with pytest.raises(ValueNotTaken) as refused:
        differences(first, second)
    assert refused.value.facts["field"] == field


@pytest.mark.parametrize("wrong", [{"multiplier": 0}, {"multiplier": np.inf}, {"confidence": 1}, {"confidence": 0}])
def test_an_impossible_multiplier_or_confidence_is_refused_by_name(wrong):
    with pytest.raises(ValueNotTaken) as refused:
        differences([1, 2], [2, 1], **wrong)
    assert refused.value.facts["field"] in wrong


# Intervals


def test_exact_limits_cover_the_true_limit_as_often_as_they_say():
    rng = np.random.Generator(np.random.PCG64(20250101))
    rows = rng.normal(1.0, 3.0, size=(2000, 10))
    result = [differences(row, np.zeros(10), exact_limits=True) for row in rows]
    upper, lower = 1.0 + 1.96 * 3.0, 1.0 - 1.96 * 3.0
    covered = [np.mean([d.upper.low <= upper <= d.upper.high for d in result])]
    covered += [np.mean([d.lower.low <= lower <= d.lower.high for d in result])]
    # 95 % of 2000 runs, give or take three standard errors
    assert covered == pytest.approx([0.95, 0.95], abs=0.015)


@pytest.mark.parametrize(("n", "factor"), [(2, 26.260), (5, 4.203), (10, 2.911), (20, 2.396)])
def test_exact_limits_end_where_the_published_tolerance_factors_say(n, factor):
    # one-sided factors for 95 % of a normal distribution with 95 % confidence: any table of them, from memory
    row = np.linspace(-1, 1, n)
    result = differences(row, np.zeros(n), multiplier=stats.norm.ppf(0.95), confidence=0.9, exact_limits=True)
    assert (result.upper.high, result.lower.low) == pytest.approx((factor * result.sd, -factor * result.sd), rel=5e-4)


def test_exact_and_approximate_limits_meet_for_many_pairs():
    rng = np.random.Generator(np.random.PCG64(7))
    row = rng.normal(size=3000)
    exact, approximate = (differences(row, np.zeros(3000), exact_limits=is_exact) for is_exact in (True, False))
    assert values(exact.upper) == pytest.approx(values(approximate.upper), abs=0.003)
    assert values(exact.lower) == pytest.approx(values(approximate.lower), abs=0.003)


def test_the_interval_of_repeatability_covers_the_truth_as_often_as_it_says():
    rng = np.random.Generator(np.random.PCG64(11))
    rows = rng.normal(0.0, 2.0, size=(2000, 2, 8))
    result = [repeatability(first, second).coefficient for first, second in rows]
    truth = 1.96 * np.sqrt(2) * 2.0
    assert np.mean([c.low <= truth <= c.high for c in result]) == pytest.approx(0.95, abs=0.015)


@given(PAIRS)
def test_the_bias_has_the_interval_of_the_paired_t_test(pairs):
    first, second = np.array(pairs).T
    result = differences(first, second)
    if result.sd == 0:
        assert values(result.bias) == (first[0] - second[0],) * 3
        return
    expected = stats.ttest_rel(first, second).confidence_interval(0.95)
    assert (result.bias.low, result.bias.high) == pytest.approx((expected.low, expected.high))


@given(PAIRS)
def test_exchanging_the_two_turns_every_figure_round(pairs):
    first, second = np.array(pairs).T
    one, other = differences(first, second), differences(second, first)
    assert one.sd == pytest.approx(other.sd)
    assert (one.lower.value, one.lower.low, one.lower.high) == pytest.approx(
        (-other.upper.value, -other.upper.high, -other.upper.low)
    )
    assert exact_agreement(first, second) == exact_agreement(second, first)


@given(PAIRS, st.integers(-50, 50))
def test_a_shift_of_one_of_them_moves_the_bias_and_nothing_else(pairs, shift):
    first, second = np.array(pairs).T
    still, moved = differences(first, second), differences(first + shift, second)
    assert moved.bias.value == pytest.approx(still.bias.value + shift)
    assert moved.sd == pytest.approx(still.sd)
    assert repeatability(first, first + shift).within_sd == pytest.approx(abs(shift) / np.sqrt(2))


# Shares


@pytest.mark.parametrize(
    ("hits", "n", "wilson", "exact"),
    [
        # Newcombe (1998), table I: from memory; recomputed
        (81, 263, (0.2553, 0.3662), (0.2527, 0.3676)),
        (15, 148, (0.0624, 0.1605), (0.0578, 0.1617)),
        (0, 20, (0.0, 0.1611), (0.0, 0.1684)),
        (1, 29, (0.0061, 0.1718), (0.0009, 0.1776)),
    ],
)
def test_shares_have_the_published_intervals(hits, n, wilson, exact):
    result = share(hits, n)
    assert (result.wilson.low, result.wilson.high) == pytest.approx(wilson, abs=5e-5)
    assert (result.exact.low, result.exact.high) == pytest.approx(exact, abs=5e-5)


@given(st.integers(1, 300).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))), st.sampled_from([0.8, 0.95]))
def test_intervals_of_shares_end_where_their_definitions_say(hits_of_n, confidence):
    hits, n = hits_of_n
    result, tail = share(hits, n, confidence=confidence), (1 - confidence) / 2
    for p in (result.wilson.low, result.wilson.high):  # the score test of p is at its critical value, or p is the share
        score = (hits / n - p) ** 2 - stats.norm.isf(tail) ** 2 * p * (1 - p) / n
        assert score == pytest.approx(0, abs=1e-9)
    # p at which so many hits, or more, are just rare enough; there is none below no hits, nor above n
    assert result.exact.low == 0 if hits == 0 else stats.binom.sf(hits - 1, n, result.exact.low) == pytest.approx(tail)
    assert result.exact.high == 1 if hits == n else stats.binom.cdf(hits, n, result.exact.high) == pytest.approx(tail)
    for interval in (result.wilson, result.exact):
        assert 0 <= interval.low <= interval.value <= interval.high <= 1


@pytest.mark.parametrize(
    ("hits", "n", "verdict"),
    [
        (0, 0, "too_few"),
        (10, 10, "too_few"),
        (12, 12, "small"),
        (34, 34, "small"),
        (35, 35, "enough"),
        (50, 100, "enough"),
    ],
)
def test_a_share_without_a_single_miss_still_needs_many(hits, n, verdict):
    assert share(hits, n).sample == verdict


def test_a_share_says_to_within_how_many_points_it_is_known():
    # none missed of 10: Wilson's interval begins at 10 / (10 + 1.96²) = 0.722, by hand
    assert share(10, 10).why == "From 10 the share is known to within 28 percentage points."


@pytest.mark.parametrize(("n", "confidence"), [(3, 1), (3, 0), (0, 1.5)])
def test_an_impossible_confidence_in_a_share_is_refused_by_name(n, confidence):
    with pytest.raises(ValueNotTaken, match="confidence"):
        share(n, n, confidence=confidence)


def test_equal_pairs_are_counted():
    assert (exact_agreement([1, 2, 3, 4], [1, 2, 3, 5]).hits, exact_agreement([1], [1]).n) == (3, 1)


@pytest.mark.parametrize(("hits", "n"), [(-1, 3), (4, 3)])
def test_more_hits_than_there_are_is_refused(hits, n):
    with pytest.raises(ValueNotTaken, match=f"hits was {hits}; allowed: 0 to 3"):
        share(hits, n)
