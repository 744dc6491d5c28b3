"""What is said of agreement: sentences and the lines of the files, figure by figure.

The figures are those of `fleet` in test_report.py: 105 of 120 pairs are equal, 15 differ by one wrap. Share and Wilson
limits: Newcombe (1998), method 3, worked out by hand (87.5 %; 80.4 to 92.3 %); the bias is 15 / 120.
"""

from dataclasses import replace

import pytest

from reports.domain.agreement.kappa import kappa
from reports.domain.agreement.pairs import Comparison, Grouping
from reports.domain.agreement.report import Table, agreement_of
from reports.domain.agreement.words import (
    COLUMNS,
    PAIR_COLUMNS,
    estimate_in_words,
    facts,
    figures_as_written,
    kappa_in_words,
    limits_in_words,
    pairs_as_written,
    share_in_words,
    signed,
    unnamed_in_words,
    verdict_in_words,
)
from tests.reports.domain.agreement.test_report import fleet, table


@pytest.fixture(scope="module")
def report():
    return agreement_of(fleet(), Comparison.METHODS)


def test_columns_are_those_that_readers_of_the_files_know():
    figures = "comparison group_by group pairs equal share_equal share_low share_high bias bias_low bias_high sd lower"
    figures += " lower_low lower_high upper upper_low upper_high sample adjusted_p_equal adjusted_p_bias standing"
    assert list(COLUMNS) == figures.split()
    pairs = "inspection done_at reel reel_type site wrap_gauge first second difference"
    assert list(PAIR_COLUMNS) == pairs.split()


def test_a_line_for_all_pairs_comes_first_and_then_one_for_each_group(report):
    lines = [dict(zip(COLUMNS, line, strict=True)) for line in figures_as_written(report)]
    everything = lines[0]
    assert [everything[name] for name in ("group_by", "group", "pairs", "equal")] == ["all", "", "120", "105"]
    assert [everything[name] for name in ("share_equal", "share_low", "share_high")] == ["0.8750", "0.8040", "0.9228"]
    assert everything["bias"] == "-0.1250"
    assert [everything[name] for name in ("adjusted_p_equal", "adjusted_p_bias", "standing")] == ["", "", ""]
    assert len(lines) == 1 + sum(len(each.rows) for each in report.tables)
    [worn] = [line for line in lines if line["group"] == "WG-4"]
    assert (worn["group_by"], worn["pairs"], worn["equal"], worn["share_equal"]) == ("gauge", "30", "15", "0.5000")
    assert float(worn["adjusted_p_equal"]) < 0.001
    assert worn["standing"].startswith("Stands out: equal less often (50\xa0% against 100\xa0%)")
    assert lines[0]["comparison"] == worn["comparison"]


def test_a_line_for_each_pair_tells_both_readings_and_no_person(report):
    lines = [dict(zip(PAIR_COLUMNS, line, strict=True)) for line in pairs_as_written(report)]
    assert len(lines) == 120
    assert {(line["first"], line["second"], line["difference"]) for line in lines} == {
        ("12", "12", "0"), ("12", "13", "-1"),
    }  # fmt: skip
    first = report.pairs[0].source
    assert (lines[0]["inspection"], lines[0]["wrap_gauge"]) == (str(first.inspection), first.gauge)
    assert (lines[0]["reel"], lines[0]["reel_type"], lines[0]["site"]) == (first.reel, first.reel_type, first.site)


def test_the_figures_of_all_pairs_have_their_names(report):
    said = dict(facts(report))
    assert list(said) == [
        "Pairs", "Equal (95 % interval)", "Bias, wraps (95 % interval)", "Upper limit of agreement",
        "Lower limit of agreement", "Standard deviation", "Sample size",
    ]  # fmt: skip
    assert said["Pairs"] == "120"
    assert said["Equal (95 % interval)"] == "105 of 120: 88\xa0% (80 to 92\xa0%)"
    assert said["Bias, wraps (95 % interval)"] == "−0.12 (−0.19 to −0.06)"
    assert said["Standard deviation"] == "0.33 wraps"
    assert said["Sample size"].startswith("Enough pairs. ")


def test_where_there_is_nothing_a_dash_stands(report):
    none = agreement_of([], Comparison.METHODS)
    assert limits_in_words(none) == share_in_words(none.share) == estimate_in_words(None) == "—"
    assert kappa_in_words(None) == "—"
    assert dict(facts(none))["Standard deviation"] == "—"
    [line] = figures_as_written(none)
    assert dict(zip(COLUMNS, line, strict=True))["share_equal"] == ""
    lower, upper = limits_in_words(report).split(" to ")
    assert (lower[0], float(upper) > 0) == ("−", True)


def test_kappa_is_told_with_its_interval_or_why_there_is_none():
    # 80 of 100 equal where 50 are by chance: kappa 0.6 (Cohen 1960)
    assert kappa_in_words(kappa([[40, 10], [10, 40]])).startswith("0.60 (0.44 to 0.76); ")
    one_category = kappa([[9, 0], [0, 0]])
    assert kappa_in_words(one_category) == one_category.why != ""
    assert kappa_in_words(kappa([[10, 40], [40, 10]])).startswith("−0.60 (−0.76 to −0.44); ")


@pytest.mark.parametrize(
    ("unnamed", "out", "words"),
    [
        (1, 0, "1 person is not shown: people are named to whoever verifies counts where theirs were made, and to "
         "themselves. Of those not shown, none stand out."),
        (3, 1, "3 people are not shown: people are named to whoever verifies counts where theirs were made, and to "
         "themselves. Of those not shown, 1 stands out."),
        (4, 2, "4 people are not shown: people are named to whoever verifies counts where theirs were made, and to "
         "themselves. Of those not shown, 2 stand out."),
    ],
)  # fmt: skip
def test_of_people_who_are_not_named_is_told_how_many_they_are(unnamed, out, words):
    people = Table(grouping=Grouping.TECHNICIAN, rows=(), unnamed=unnamed, unnamed_standing_out=out)
    assert unnamed_in_words(people) == words
    assert unnamed_in_words(replace(people, grouping=Grouping.SITE)) == ""
    assert unnamed_in_words(replace(people, unnamed=0)) == ""


def test_a_group_that_agrees_more_often_or_lies_higher_is_told_so(report):
    worn = next(row for row in table(report, Grouping.GAUGE).rows if row.name == "WG-4")
    share = replace(worn.by_share, value=1.0, rest=0.5)
    bias = replace(worn.by_bias, value=0.25, rest=-0.5)
    assert verdict_in_words(replace(worn, by_share=share, by_bias=bias)) == (
        "Stands out: equal more often (100\xa0% against 50\xa0%) and differences higher (+0.25 against "
        "−0.50 wraps) than the rest."
    )


@pytest.mark.parametrize(("wraps", "words"), [(0.004, "0.00"), (-0.004, "0.00"), (1, "+1.00"), (-0.125, "−0.12")])
def test_a_difference_has_its_sign(wraps, words):
    assert signed(wraps) == words


def test_a_comparison_of_people_tells_how_close_two_lie():
    said = dict(facts(agreement_of(fleet(), Comparison.HAND)))
    assert said["Two people lie this close, 19 times of 20"].startswith("0.00 wraps (0.00 to ")
