from typing import TypeVar

import pytest

from inspections.domain.words import Point
from reports.domain.agreement.groups import GroupVerdict
from reports.domain.agreement.pairs import Comparison, Grouping
from reports.domain.agreement.report import agreement_of, named
from reports.domain.agreement.words import finding, unnamed_in_words, verdict_in_words
from tests.reports.domain.agreement.test_pairs import gauge, reading

Something = TypeVar("Something")


def some(value: Something | None) -> Something:
    assert value is not None
    return value


def table(report, grouping):
    return next(each for each in report.tables if each.grouping is grouping)


def fleet(worn=30, sound=90):
    """One gauge that reads one high every other time, three that never do."""
    worn_ones = [
        reading(n, gauge_name="WG-4", hand_t=(1, 12), gauge_t=(1, gauge(12 + n % 2)), hand_v=(2, 12))
        for n in range(worn)
    ]
    return worn_ones + [
        reading(100 + n, gauge_name=f"WG-{1 + n % 3}", hand_t=(1, 12), gauge_t=(1, gauge(12)), hand_v=(2, 12))
        for n in range(sound)
    ]


def test_the_figures_are_those_of_the_pairs():
    report = agreement_of(fleet(), Comparison.METHODS)
    assert (report.share.hits, report.share.n, report.repeatability) == (105, 120, None)
    assert some(report.differences.bias).value == pytest.approx(-15 / 120)
    assert table(report, Grouping.SITE).rows[0].share.n == 120


def test_a_gauge_that_reads_high_stands_out_and_the_others_do_not():
    rows = table(agreement_of(fleet(), Comparison.METHODS), Grouping.GAUGE).rows
    assert {row.name: row.stands_out for row in rows} == {"WG-1": False, "WG-2": False, "WG-3": False, "WG-4": True}
    assert verdict_in_words(rows[3]) == (
        "Stands out: equal less often (50 % against 100 %) and differences lower (−0.50 against 0.00 wraps) than the "
        "rest."
    )
    assert verdict_in_words(rows[0]) == "Like the rest, as far as these pairs tell."


def test_the_only_group_has_nothing_to_stand_out_from():
    rows = table(agreement_of(fleet(), Comparison.METHODS), Grouping.REEL_TYPE).rows
    assert [verdict_in_words(row) for row in rows] == ["There is no other to compare it with."]


def test_where_so_little_differs_no_group_can_stand_out():
    rows = table(agreement_of(fleet(worn=2, sound=3), Comparison.METHODS), Grouping.GAUGE).rows
    assert {row.by_share.verdict for row in rows} == {GroupVerdict.CANNOT_BE_TOLD}
    assert {verdict_in_words(row) for row in rows} == {"Too few to tell."}


def test_two_people_with_one_method_are_repeatable_to_so_many_wraps():
    report = agreement_of(fleet(), Comparison.HAND)
    assert (some(report.repeatability).n, some(some(report.repeatability).coefficient).value) == (120, 0.0)
    assert [row.key for row in table(report, Grouping.VERIFIER).rows] == ["2"]


def test_kappa_is_given_where_words_are_keyed_and_only_there():
    readings = [
        reading(n, half_t=(1, {"half": half}), half_v=(2, {"half": other}))
        for n, (half, other) in enumerate([("first", "first"), ("first", "second"), ("second", "second")] * 6)
    ]
    rows = {row.point: row for row in agreement_of(readings, Comparison.HAND).points}
    assert (rows[Point.CROSSOVER].share.hits, rows[Point.CROSSOVER].share.n) == (12, 18)
    # by hand: P_o = 2/3, P_e = 2/3·1/3 + 1/3·2/3 = 4/9, so kappa = (2/3 − 4/9)/(5/9) = 0.4
    assert some(some(rows[Point.CROSSOVER].kappa).kappa).value == pytest.approx(0.4)
    assert (rows[Point.HAND_COUNT].kappa, some(rows[Point.GAUGE].kappa).n) == (None, 0)


def test_a_crossover_on_the_scale_line_is_a_category_of_its_own():
    readings = [reading(1, half_t=(1, {"deg": "0"}), half_v=(2, {"half": "first"}))]
    rows = {row.point: row for row in agreement_of(readings, Comparison.HAND).points}
    assert (rows[Point.CROSSOVER].share.hits, some(rows[Point.CROSSOVER].kappa).n) == (0, 1)


def test_kappa_at_the_gauge_is_that_of_the_faces():
    readings = [
        reading(n, gauge_t=(1, gauge(12, face)), gauge_v=(2, gauge(12, other)))
        for n, (face, other) in enumerate([("odd", "odd"), ("odd", "even"), ("even", "even")] * 6)
    ]
    rows = {row.point: row for row in agreement_of(readings, Comparison.GAUGE).points}
    # as above, by hand
    assert some(some(rows[Point.GAUGE].kappa).kappa).value == pytest.approx(0.4)


def test_a_gauge_that_is_off_both_ways_alike_stands_out_by_how_seldom_it_is_equal():
    readings = [
        reading(n, gauge_name=f"WG-{n % 4}", hand_t=(1, 12), gauge_t=(1, gauge(12 + (n % 4 == 3) * (-1) ** (n // 4))))
        for n in range(160)
    ]
    row = table(agreement_of(readings, Comparison.METHODS), Grouping.GAUGE).rows[3]
    assert (row.by_share.stands_out, row.by_bias.stands_out, row.stands_out) == (True, False, True)


def test_a_gauge_that_is_off_the_other_way_stands_out_though_all_are_as_seldom_equal():
    readings = [
        reading(n, gauge_name=f"WG-{n % 4}", hand_t=(1, 12), gauge_t=(1, gauge(13 if n % 4 == 3 else 11)))
        for n in range(160)
    ]
    row = table(agreement_of(readings, Comparison.METHODS), Grouping.GAUGE).rows[3]
    assert (row.by_share.stands_out, row.by_bias.stands_out, row.stands_out) == (False, True, True)


def test_who_sees_everybody_is_told_of_nobody_who_is_not_shown():
    readings = [reading(n, hand_t=(1 + n % 3, 12), hand_v=(9, 12)) for n in range(6)]
    all_of_them = table(agreement_of(readings, Comparison.HAND), Grouping.TECHNICIAN)
    shown = named(all_of_them, {"1": "Zoe", "2": "Abe"})
    assert [row.name for row in shown.rows] == ["3", "Abe", "Zoe"]
    for each in (all_of_them, shown):
        assert (each.unnamed, each.unnamed_standing_out, unnamed_in_words(each)) == (0, 0, "")


@pytest.mark.parametrize(("grouping", "is_said"), [(each, each in ("technician", "verifier")) for each in Grouping])
def test_only_of_people_is_it_said_that_some_are_not_shown(grouping, is_said):
    readings = [reading(n, hand_t=(1, 12), hand_v=(2, 12)) for n in range(6)]
    hidden = named(table(agreement_of(readings, Comparison.HAND), grouping), {}, lambda _: False)
    assert unnamed_in_words(hidden).startswith("1 person is not shown:") is is_said


def test_people_are_shown_by_name_in_order_of_names_and_the_rest_as_numbers():
    readings = [reading(n, hand_t=(1 + n % 3, 12), hand_v=(9, 12 - (n % 3 == 2))) for n in range(60)]
    report = table(agreement_of(readings, Comparison.HAND), Grouping.TECHNICIAN)
    shown = named(report, {"1": "Zoe", "2": "Abe"}, lambda key: key != "3")
    assert [row.name for row in shown.rows] == ["Abe", "Zoe"]
    assert (shown.unnamed, shown.unnamed_standing_out) == (1, 1)


def test_the_finding_says_which_way_and_how_far():
    assert finding(agreement_of(fleet(), Comparison.METHODS)) == (
        "In 120 pairs the hand count lies 0.12 wraps below the gauge reading on average (95 % interval −0.19 to "
        "−0.06), and 19 of 20 differences are expected between −0.78 and +0.53 wraps. Equal: 105 of 120: 88 % "
        "(80 to 92 %)."
    )


@pytest.mark.parametrize("n", [0, 1])
def test_without_two_pairs_there_is_nothing_to_say(n):
    report = agreement_of(fleet(worn=n, sound=0), Comparison.METHODS)
    assert finding(report).startswith("There are not two pairs of readings yet.")


def test_a_small_sample_is_told_in_the_finding_and_level_readings_are_called_level():
    sentence = finding(agreement_of(fleet(worn=0, sound=10), Comparison.METHODS))
    assert "the hand count lies level with the gauge reading" in sentence
    assert sentence.endswith("Too few pairs: conclude nothing.")
