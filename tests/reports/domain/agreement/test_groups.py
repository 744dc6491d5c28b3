"""Which groups stand out: the published step-up example, exact tests counted out by hand, and false alarms counted."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from reels.errors import ValueNotTaken
from reports.domain.agreement.estimates import share
from reports.domain.agreement.groups import (
    FALSE_DISCOVERY,
    GroupVerdict,
    adjusted,
    biases_that_stand_out,
    rank_sum_p,
    shares_that_stand_out,
)

# Benjamini & Hochberg 1995 (JRSS-B 57:289-300), 15 p-values at q .05: ten public suites agree; the paper was not read
PUBLISHED = [
    .0001, .0004, .0019, .0095, .0201, .0278, .0298, .0344, .0459, .3240, .4262, .5719, .6528, .7590, 1.000,
]  # fmt: skip
# recomputed; another implementation agrees
PUBLISHED_ADJUSTED = [
    .0015, .003, .0095, .035625, .0603, .063857, .063857, .0645, .0765, .486, .581182, .714875, .753231, .813214, 1,
]  # fmt: skip

P_VALUES = st.lists(st.floats(0, 1), min_size=1, max_size=20)
SMALL_ROWS = st.lists(st.integers(-2, 2).map(float), min_size=1, max_size=5)


def standings(comparisons):
    return {each.key: each.verdict for each in comparisons}


# Adjusted p-values


def test_the_published_example_discovers_the_first_four():
    assert (adjusted(PUBLISHED) <= 0.05).tolist() == [True] * 4 + [False] * 11
    assert adjusted(PUBLISHED) == pytest.approx(PUBLISHED_ADJUSTED, abs=5e-7)


def test_a_larger_p_that_passes_takes_the_smaller_ones_with_it():
    # by hand: .04 is above its own bound .10/3, yet all three are discovered
    assert (adjusted([0.04, 0.05, 0.06]) <= 0.10).all()


@given(P_VALUES)
def test_an_adjusted_p_value_is_the_least_rate_that_discovers_it(p_values):
    m, ordered = len(p_values), sorted(p_values)
    # the step-up rule: at rate q the smallest k are discovered, k the last place with p_(k) <= q k / m
    rates = [min(1.0, *(ordered[k - 1] * m / k for k in range(1, m + 1) if ordered[k - 1] >= p)) for p in p_values]
    assert adjusted(p_values) == pytest.approx(rates)


@given(P_VALUES, st.randoms(use_true_random=False))
def test_the_order_of_p_values_changes_nothing(p_values, random):
    order = list(range(len(p_values)))
    random.shuffle(order)
    assert adjusted([p_values[i] for i in order]).tolist() == adjusted(p_values)[order].tolist()


def test_no_p_values_are_no_discoveries():
    assert adjusted([]).tolist() == []


@pytest.mark.parametrize("wrong", [[-0.1], [1.1], [np.nan], [[0.5]]])
def test_what_is_no_p_value_is_refused(wrong):
    with pytest.raises(ValueNotTaken):
        adjusted(wrong)


# Rank sums


@given(SMALL_ROWS, SMALL_ROWS)
def test_rank_sums_with_ties_are_those_of_dealing_out_every_way(group, rest):
    ranks = stats.rankdata(group + rest)
    middle = len(group) * (len(ranks) + 1) / 2
    off = [abs(sum(ranks[list(dealt)]) - middle) for dealt in combinations(range(len(ranks)), len(group))]
    seen = abs(sum(ranks[: len(group)]) - middle)
    p, least_p = rank_sum_p(np.array(group), np.array(rest))
    assert p == pytest.approx(np.mean([o >= seen - 1e-9 for o in off]))
    assert least_p == pytest.approx(np.mean([o >= max(off) - 1e-9 for o in off]))


@given(st.lists(st.integers(-1000, 1000), min_size=4, max_size=25, unique=True), st.integers(1, 3))
def test_without_ties_rank_sums_are_those_of_another_implementation(values, m):
    group, rest = np.array(values[:m], dtype=float), np.array(values[m:], dtype=float)
    assert rank_sum_p(group, rest)[0] == pytest.approx(stats.mannwhitneyu(group, rest, method="exact").pvalue)


def test_too_many_to_count_out_are_tested_by_the_normal_distribution_with_much_the_same_result(monkeypatch):
    rng = np.random.Generator(np.random.PCG64(3))
    group, rest = rng.integers(-1, 3, 20).astype(float), rng.integers(-2, 3, 120).astype(float)
    counted_out = rank_sum_p(group, rest)[0]
    monkeypatch.setattr("reports.domain.agreement.groups.MOST_WORK", 0)
    by_normal, least_p = rank_sum_p(group, rest)
    assert by_normal == pytest.approx(counted_out, rel=0.2)
    assert least_p == 0
    assert by_normal != counted_out


def test_values_that_are_all_tied_tell_nothing_however_many(monkeypatch):
    assert rank_sum_p(np.zeros(3), np.zeros(4)) == (1.0, 1.0)
    monkeypatch.setattr("reports.domain.agreement.groups.MOST_WORK", 0)
    assert rank_sum_p(np.zeros(3), np.zeros(4)) == (1.0, 1.0)


# Groups


def test_a_gauge_that_often_disagrees_stands_out_among_many():
    gauges = {f"G{i}": share(1, 50) for i in range(9)} | {"worn": share(14, 50)}
    comparisons = shares_that_stand_out(gauges)
    assert [each.key for each in comparisons] == list(gauges)
    assert {each.key for each in comparisons if each.verdict is GroupVerdict.STANDS_OUT} == {"worn"}
    assert {each.key for each in comparisons if each.stands_out} == {"worn"}
    worn = comparisons[-1]
    assert (worn.n, worn.value, worn.rest) == (50, 0.28, 9 / 450)
    assert worn.p == stats.fisher_exact([[14, 36], [9, 441]]).pvalue


def test_a_gauge_that_reads_a_wrap_high_stands_out_whatever_slips_the_others_had():
    gauges = {f"G{i}": [0.0] * 18 + [27.0, -27.0] for i in range(6)} | {"bent": [1.0] * 15 + [0.0] * 5}
    comparisons = biases_that_stand_out(gauges)
    assert {each.key for each in comparisons if each.verdict is GroupVerdict.STANDS_OUT} == {"bent"}
    assert (comparisons[-1].n, comparisons[-1].value, comparisons[-1].rest) == (20, 0.75, 0.0)


def test_a_group_too_small_to_stand_out_is_told_as_such_and_burdens_no_other():
    few = {f"new {i}": share(1, 1) for i in range(30)}
    alone = shares_that_stand_out({"old": share(80, 100), "worn": share(95, 100)})
    among = shares_that_stand_out({"old": share(80, 100), "worn": share(95, 100)} | few)
    assert {standings(among)[key] for key in few} == {GroupVerdict.CANNOT_BE_TOLD}
    assert {group.adjusted_p for group in among if group.key in few} == {None}
    assert among[1].adjusted_p == pytest.approx(among[1].p)  # only these two were tested, the other's p is smaller
    assert standings(alone)["worn"] is GroupVerdict.STANDS_OUT


def test_a_group_that_could_stand_out_one_way_only_is_tested():
    # nearly all agree, so that ten more that do say nothing, but ten that don't would
    comparisons = shares_that_stand_out({"ten": share(10, 10), "others": share(96, 100)})
    assert standings(comparisons) == {"ten": GroupVerdict.LIKE_THE_REST, "others": GroupVerdict.LIKE_THE_REST}


def test_the_rate_asked_for_is_the_one_that_decides():
    groups = {"a": share(30, 40), "b": share(20, 40)}
    (p,) = {group.p for group in shares_that_stand_out(groups)}  # two groups: neither is adjusted
    for rate, standing in ((p, GroupVerdict.STANDS_OUT), (p * 0.999, GroupVerdict.LIKE_THE_REST)):
        assert set(standings(shares_that_stand_out(groups, false_discovery=rate)).values()) == {standing}


@pytest.mark.parametrize("groups", [{}, {"only": share(3, 9)}, {"none": share(0, 0), "some": share(5, 9)}])
def test_without_a_rest_nothing_can_be_told(groups):
    assert set(standings(shares_that_stand_out(groups)).values()) <= {GroupVerdict.CANNOT_BE_TOLD}


@pytest.mark.parametrize(
    "groups", [{}, {"only": [1.0, 2.0]}, {"none": [], "some": [1.0]}, {"a": [0.0] * 9, "b": [0.0] * 9}]
)
def test_without_a_rest_or_any_difference_no_bias_can_be_told(groups):
    comparisons = biases_that_stand_out(groups)
    assert [each.key for each in comparisons] == list(groups)
    assert set(standings(comparisons).values()) <= {GroupVerdict.CANNOT_BE_TOLD}
    assert {each.p for each in comparisons} <= {1.0}


def test_among_groups_that_are_all_alike_one_in_twenty_looks_is_alarmed_at_most():
    rng = np.random.Generator(np.random.PCG64(42))
    alarms = {"shares": 0, "biases": 0}
    for _ in range(100):
        rows = {f"G{i}": rng.choice([-1.0, 0.0, 0.0, 0.0, 1.0], 12) for i in range(12)}
        by_share = {key: share(int((row != 0).sum()), 12) for key, row in rows.items()}
        alarms["biases"] += GroupVerdict.STANDS_OUT in standings(biases_that_stand_out(rows)).values()
        alarms["shares"] += GroupVerdict.STANDS_OUT in standings(shares_that_stand_out(by_share)).values()
    # 5 % of 100 looks, and three standard errors more
    assert max(alarms.values()) <= 5 + 7, alarms
    assert min(alarms.values()) > 0, alarms


@given(st.dictionaries(st.text("abcdef", min_size=1), SMALL_ROWS, max_size=6), st.randoms(use_true_random=False))
def test_the_order_of_groups_changes_nothing_but_the_order_of_the_answer(groups, random):
    keys = list(groups)
    random.shuffle(keys)
    one = {each.key: each for each in biases_that_stand_out(groups)}
    other = {each.key: each for each in biases_that_stand_out({key: groups[key] for key in keys})}
    assert {key: (g.verdict, g.p) for key, g in one.items()} == {key: (g.verdict, g.p) for key, g in other.items()}


@pytest.mark.parametrize("rate", [0, 1])
def test_an_impossible_rate_is_refused(rate):
    with pytest.raises(ValueNotTaken, match="false_discovery"):
        shares_that_stand_out({"a": share(1, 2)}, false_discovery=rate)


@pytest.mark.parametrize("broken", [[np.nan], [1.0, np.inf], [[1.0, 2.0]], 1.0])
def test_a_difference_that_is_no_number_is_refused_with_its_group(broken):
    with pytest.raises(ValueNotTaken) as refused:
        biases_that_stand_out({"fine": [1.0], "broken": broken})
    assert refused.value.facts["field"] == "broken"


def test_one_odd_group_does_not_make_the_sound_ones_look_odd():
    groups = {"worn": share(20, 40), **{f"sound {n}": share(40, 40) for n in range(3)}}
    comparisons = {each.key: each for each in shares_that_stand_out(groups)}
    assert {key for key, each in comparisons.items() if each.verdict is GroupVerdict.STANDS_OUT} == {"worn"}
    assert (comparisons["sound 0"].adjusted_p or 1) < FALSE_DISCOVERY  # its rest holds the worn one
    assert "because of others" in comparisons["sound 0"].why


def test_of_two_groups_both_stand_out_since_nobody_knows_which_is_odd():
    comparisons = biases_that_stand_out({"a": [0.0] * 30, "b": [1.0] * 30})
    assert {each.verdict for each in comparisons} == {GroupVerdict.STANDS_OUT}


def test_two_odd_groups_both_stand_out_beside_sound_ones():
    groups = {"low": [-1.0] * 30, "high": [1.0] * 29, **{f"sound {n}": [0.0] * 30 for n in range(6)}}
    comparisons = biases_that_stand_out(groups)
    assert {each.key for each in comparisons if each.verdict is GroupVerdict.STANDS_OUT} == {"low", "high"}
