"""Kappa: published examples with both standard errors, and laws."""

from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from reels.errors import ValueNotTaken
from reports.domain.agreement import kappa as kappa_module
from reports.domain.agreement.estimates import Sample
from reports.domain.agreement.kappa import linear, nominal, quadratic, table_of

# Its figures are None where there is nothing to tell only: Any spares each test from saying that there is.
kappa: Any = kappa_module.kappa

# P. Bonnardel's kappa.txt, read on one public page: Po .770, Pe .336, kappa .654, se0 .069, z 9.422, se .062
BONNARDEL = [[25, 3, 5], [6, 32, 8], [1, 0, 20]]
# Cohen (1968), N 200: table and results from memory, weights read on one public page
COHEN_1968 = [[88, 14, 18], [10, 40, 10], [2, 6, 12]]
COHEN_1968_WEIGHTS = [[0, 1, 3], [1, 0, 6], [3, 6, 0]]

TABLES = st.integers(2, 4).flatmap(
    lambda k: st.lists(st.lists(st.integers(0, 30), min_size=k, max_size=k), min_size=k, max_size=k)
)


def test_kappa_and_both_standard_errors_are_the_published_ones():
    result = kappa(BONNARDEL)
    assert (result.observed, result.expected) == pytest.approx((0.770, 0.336), abs=5e-4)
    assert (result.kappa.value, result.se_null, result.z, result.se) == pytest.approx(
        (0.654, 0.069, 9.422, 0.062), abs=5e-4
    )
    # recomputed
    assert (result.kappa.value, result.se_null, result.se) == pytest.approx((0.65367, 0.06937, 0.06208), abs=5e-6)
    assert (result.kappa.low, result.kappa.high) == pytest.approx((0.65367 - 1.95996 * 0.06208, 0.77534), abs=1e-4)


def test_cohens_weighted_example():
    # .492 and .348 from memory; .491525 and .347826 recomputed
    assert kappa(COHEN_1968).kappa.value == pytest.approx(0.491525, abs=5e-7)
    assert kappa(COHEN_1968, COHEN_1968_WEIGHTS).kappa.value == pytest.approx(0.347826, abs=5e-7)


@pytest.mark.parametrize(
    ("table", "expected"),
    [
        ([[20, 5], [10, 15]], 0.4),  # from memory; exact by hand
        ([[50, 10], [10, 20]], 0.5),  # read on one public page
    ],
)
def test_small_tables_worked_by_hand(table, expected):
    assert kappa(table).kappa.value == pytest.approx(expected)


def test_the_null_standard_error_is_the_spread_of_kappa_when_two_people_only_guess():
    rng = np.random.Generator(np.random.PCG64(5))
    by_first, by_second = np.array([0.5, 0.3, 0.2]), np.array([0.4, 0.4, 0.2])
    tables = rng.multinomial(400, np.outer(by_first, by_second).ravel(), size=1000).reshape(-1, 3, 3)
    for weights in (nominal(3), quadratic(3)):
        result = [kappa(table, weights) for table in tables]
        spread = np.std([k.kappa.value for k in result])
        # a spread from 1000 runs is known to about 2.2 %
        assert np.mean([k.se_null for k in result]) == pytest.approx(spread, rel=0.07)


def test_the_other_standard_error_is_the_spread_of_kappa_when_two_people_agree():
    rng = np.random.Generator(np.random.PCG64(6))
    shares = np.array([[0.35, 0.05, 0.02], [0.06, 0.25, 0.05], [0.01, 0.04, 0.17]])
    tables = rng.multinomial(400, shares.ravel(), size=1000).reshape(-1, 3, 3)
    for weights in (nominal(3), linear(3), quadratic(3)):
        result = [kappa(table, weights) for table in tables]
        spread = np.std([k.kappa.value for k in result])
        assert np.mean([k.se for k in result]) == pytest.approx(spread, rel=0.07)


def test_complete_agreement_of_a_few_is_not_taken_for_certainty():
    result = kappa([[5, 0], [0, 5]])
    assert (result.kappa.value, result.se) == (1.0, 0.0)
    assert (result.sample, result.why) == (Sample.SMALL, "From 10 kappa is known to within 0.62.")


@pytest.mark.parametrize(
    ("table", "verdict"),
    [([[2, 1], [1, 3]], "too_few"), ([[4, 1], [1, 2]], "small"), (BONNARDEL, "enough"), ([[0, 0], [0, 0]], "too_few")],
)
def test_few_are_told_as_few(table, verdict):
    assert kappa(table).sample == verdict


def test_one_category_alone_says_nothing():
    result = kappa([[50, 0], [0, 0]])
    assert (result.sample, result.kappa, result.observed, result.expected) == (Sample.TOO_FEW, None, 1.0, 1.0)


@given(TABLES, st.floats(0.1, 100))
def test_kappa_asks_neither_who_is_first_nor_for_the_unit_of_the_weights(table, unit):
    k = len(table)
    one = kappa(table, linear(k))
    assume(one.kappa is not None)
    for other in (kappa(np.transpose(table), linear(k)), kappa(table, linear(k) * unit)):
        assert other.kappa.value == pytest.approx(one.kappa.value)
        assert (other.se, other.se_null) == pytest.approx((one.se, one.se_null), abs=1e-7)


@given(TABLES)
def test_kappa_is_one_exactly_when_nobody_differs(table):
    result = kappa(table)
    assume(result.kappa is not None)
    off_diagonal = np.sum(table) - np.trace(table)
    assert result.kappa.value <= 1
    assert (result.kappa.value == pytest.approx(1, abs=1e-12)) is bool(off_diagonal == 0)


@given(TABLES.filter(lambda table: len(table) == 2))
def test_with_two_categories_there_is_nothing_to_weigh(table):
    assert kappa(table, quadratic(2)) == kappa(table)


@pytest.mark.parametrize(("n", "verdict"), [(23, "small"), (25, "enough")])
def test_kappa_is_enough_once_it_is_known_to_within_a_fifth(n, verdict):
    # By hand: two people who only guess between two, n of 4 n in each cell. Kappa is 0 with both errors 1 / √(4 n), and
    # 1.96 of those are 0.2 where 4 n is 96.
    result = kappa([[n, n], [n, n]])
    assert (result.se, result.se_null) == pytest.approx((1 / np.sqrt(4 * n),) * 2)
    assert result.sample == verdict


def middles(table):
    """Means, variances and covariance of the two people's categories, taken as the numbers from 0 on."""
    p = np.array(table) / np.sum(table)
    i = np.arange(len(p))
    by_first, by_second = p.sum(axis=1), p.sum(axis=0)
    means = i @ by_first, i @ by_second
    return means, (i**2 @ by_first - means[0] ** 2, i**2 @ by_second - means[1] ** 2), i @ p @ i - means[0] * means[1]


@given(TABLES)
def test_quadratic_kappa_is_the_correlation_that_a_shift_between_the_two_lowers(table):
    # Fleiss & Cohen (1973), from memory: 2 cov / (var + var + (difference of means)²), here worked out without weights
    result = kappa(table, quadratic(len(table)))
    assume(result.kappa is not None)
    means, variances, covariance = middles(table)
    by_moments = 2 * covariance / (sum(variances) + (means[0] - means[1]) ** 2)
    assert result.kappa.value == pytest.approx(by_moments, abs=1e-9)


@given(TABLES)
def test_linear_kappa_is_what_the_cuts_between_neighbouring_categories_give_together(table):
    # Vanbelle & Albert (2009), from memory: disagreements, seen and by chance, of two categories, summed over all cuts
    result = kappa(table, linear(len(table)))
    assume(result.kappa is not None)
    p = np.array(table) / np.sum(table)
    seen = by_chance = 0.0
    for cut in range(1, len(table)):
        below_first, below_second = p[:cut].sum(), p[:, :cut].sum()
        seen += below_first + below_second - 2 * p[:cut, :cut].sum()
        by_chance += below_first + below_second - 2 * below_first * below_second
    assert result.kappa.value == pytest.approx(1 - seen / by_chance, abs=1e-9)


@given(TABLES)
def test_the_interval_holds_kappa_and_does_not_pass_one(table):
    result = kappa(table)
    assume(result.kappa is not None)
    assert result.kappa.low <= result.kappa.value <= result.kappa.high <= 1


def test_words_are_counted_into_a_table():
    table = table_of(["open", "open", "none"], ["open", "none", "none"], ["open", "none"])
    assert table.tolist() == [[1, 1], [0, 1]]


@pytest.mark.parametrize(
    ("first", "second", "says"),
    [(["a"], [], "second was 0 words; allowed: 1"), (["a"], ["c"], "second was c; allowed: a, b")],
)
def test_words_that_fit_no_table_are_refused(first, second, says):
    with pytest.raises(ValueNotTaken, match=says):
        table_of(first, second, ["a", "b"])


@pytest.mark.parametrize(
    ("table", "weights", "field"),
    [
        ([[1, 2]], None, "table"),
        ([[5]], None, "table"),
        ([[1, -1], [0, 2]], None, "table"),
        ([[1, 0.5], [0, 2]], None, "table"),
        ([[1, np.nan], [0, 2]], None, "table"),
        ([[1, np.inf], [0, 2]], None, "table"),
        ([1, 2], None, "table"),
        ([[[1, 2], [3, 4]], [[1, 2], [3, 4]]], None, "table"),
        ([[1, 1], [0, 2]], [[0, 1, 2]], "disagreement"),
        ([[1, 1], [0, 2]], [[0, 0], [0, 0]], "disagreement"),
        ([[1, 1], [0, 2]], [[1, 1], [1, 0]], "disagreement"),
        ([[1, 1], [0, 2]], [[0, -1], [1, 0]], "disagreement"),
        ([[1, 1], [0, 2]], [[0, np.nan], [1, 0]], "disagreement"),
        ([[1, 1], [0, 2]], [[0, np.inf], [1, 0]], "disagreement"),
    ],
)
def test_what_is_no_table_or_no_weights_is_refused_by_name(table, weights, field):
    with pytest.raises(ValueNotTaken) as refused:
        kappa(table, weights)
    assert refused.value.facts["field"] == field
