"""What the drift model believes of single reels: slips revert, cuts stay, and everything that is known counts."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from inspections.domain import drift
from inspections.domain.drift import ClosedFlag, CountSeen, Ending, ReelHistory, Slip, newest
from inspections.domain.drift.fixed import FIXED
from reels.domain.words import LengthUnit
from tests.benchmarks.drift.fleets import make_fleet, messy_plan
from tests.inspections.domain.drift.small_reels import DRUM, LOWER, STEADY, counted, cut, day


def p_cuts(history: ReelHistory) -> list[float]:
    return [i.p_unlogged_cut for i in drift.assess(history).intervals]


def test_a_steady_reel_shows_no_drift() -> None:
    assert max(p_cuts(counted(STEADY))) < 0.02


def test_a_drop_that_stays_is_a_cut_of_its_length() -> None:
    posterior = drift.assess(counted(STEADY + LOWER)).intervals[5]
    assert posterior.p_unlogged_cut > 0.98
    assert (
        posterior.cut_low_m < 11.6 < posterior.cut_high_m
    )  # six wraps of the 13th layer at 1.94 m, by the winding model
    assert posterior.cut_high_m - posterior.cut_low_m < 4.0


def test_a_drop_that_reverts_is_a_slip_and_no_cut() -> None:
    assessment = drift.assess(counted([*STEADY, (12, 4), *STEADY]))
    assert max(i.p_unlogged_cut for i in assessment.intervals) < 0.05
    assert assessment.counts[6].p_slip > 0.9


@pytest.mark.parametrize(
    ("slipped", "kinds"),
    [
        ((13, 10), {Slip.SCALE}),
        ((10, 10), {Slip.SCALE}),
        ((12, 16), {Slip.WRONG_FACE}),  # 27 or 28 + 1 - 10 - twice what is subtracted
        ((3, 21), {Slip.ANYTHING}),
    ],
)
def test_a_slip_is_named_by_its_kind(slipped: tuple[int, int], kinds: set[Slip]) -> None:
    posterior = drift.assess(counted([*STEADY, slipped, *STEADY])).counts[6]
    assert (posterior.p_slip > 0.9, posterior.likeliest_slip in kinds) == (True, True)


def test_last_times_numbers_copied_after_a_logged_cut_are_seen() -> None:
    counts = [(12, 10)] * 4 + [(12, 10)] + [(12, 4)] * 4
    assessment = drift.assess(counted(counts, cuts=(cut(100, 11.6),)))
    assert assessment.counts[4].likeliest_slip in {Slip.COPIED, Slip.NONE}
    assert assessment.intervals[4].p_unlogged_cut < 0.3


def test_the_newest_interval_is_judged_by_what_was_known_then() -> None:
    whole = counted(STEADY + LOWER)
    then = drift.assess(replace(whole, counts=whole.counts[:7])).intervals[-1]
    now = drift.assess(whole).intervals[5]
    assert now.p_when_counted == pytest.approx(then.p_when_counted, abs=0.02)
    assert now.p_unlogged_cut > now.p_when_counted


def test_a_logged_cut_explains_the_drop() -> None:
    assessment = drift.assess(counted(STEADY + LOWER, cuts=(cut(165, 11.6),)))
    assert max(i.p_unlogged_cut for i in assessment.intervals) < 0.03
    assert assessment.intervals[5].logged_cut_m == 11.6


def test_a_cut_recorded_late_explains_today_but_not_the_day_of_the_count() -> None:
    posterior = drift.assess(counted(STEADY + LOWER, cuts=(cut(165, 11.6, recorded=250),))).intervals[5]
    assert posterior.p_unlogged_cut < 0.03
    assert posterior.p_when_counted > 0.3


def test_a_cut_dated_just_past_the_count_is_taken_for_the_same_cut() -> None:
    assessment = drift.assess(counted(STEADY + LOWER, cuts=(cut(181, 11.6),)))
    assert max(i.p_unlogged_cut for i in assessment.intervals) < 0.15
    assert assessment.intervals[6].log_doubt > 0.8


def test_a_cut_entered_twice_is_taken_once() -> None:
    assessment = drift.assess(counted(STEADY + LOWER, cuts=(cut(165, 11.6), cut(166, 11.6))))
    assert max(i.p_unlogged_cut for i in assessment.intervals) < 0.05


def test_a_replacement_starts_anew() -> None:
    assessment = drift.assess(counted([*STEADY, *[(15, 3)] * 4], replaced_at=(day(160),)))
    across = assessment.intervals[5]
    assert (across.replaced, across.p_unlogged_cut < 0.05) == (True, True)
    assert max(i.p_unlogged_cut for i in assessment.intervals if not i.replaced) < 0.03


@pytest.mark.parametrize(
    ("ending", "low", "high"),
    [(Ending.CONFIRMED_LOSS, 0.9, 1.0), (Ending.MISCOUNT, 0.0, 0.25), (Ending.UNEXPLAINED, 0.3, 0.98)],
)
def test_the_ending_of_a_flag_is_evidence(ending: Ending, low: float, high: float) -> None:
    history = counted([*STEADY, (12, 4)], closed_flags=(ClosedFlag(from_at=day(150), to_at=day(180), ending=ending),))
    assert low <= drift.assess(history).intervals[-1].p_unlogged_cut <= high


def test_a_count_just_keyed_is_held_against_the_history() -> None:
    history = counted(STEADY)
    as_ever = drift.plausibility(history, CountSeen(at=day(180), layers=12, wraps=10))
    lower = drift.plausibility(history, CountSeen(at=day(180), layers=12, wraps=4))
    misread = drift.plausibility(history, CountSeen(at=day(180), layers=13, wraps=10))
    assert (as_ever.is_outlier, lower.is_outlier, misread.is_outlier) == (False, True, True)
    assert lower.p_unlogged_cut > 0.3 > misread.p_unlogged_cut
    assert misread.likeliest_slip is Slip.SCALE
    assert drift.plausibility_in_words(as_ever) == "The count fits the reel's history: 0.2 wraps fewer than expected."
    assert drift.plausibility_in_words(lower) == (
        "The count is 6.2 wraps fewer than the history predicts; without a cut or a slip that happens once in 40,000 "
        "counts. What would explain it is a cut of about 11.8 m: was one made? Log it now."
    )
    assert drift.plausibility_in_words(misread) == (
        "The count is 27.8 wraps more than the history predicts; without a cut or a slip that happens less than once "
        "in a million counts. What would explain it is a slip: a flange scale misread by a layer or two."
    )


def test_the_likelier_of_a_cut_and_a_slip_is_said_first() -> None:
    weighed = drift.plausibility(counted(STEADY), CountSeen(at=day(180), layers=12, wraps=4))
    weighed = replace(weighed, p_cut_alone=0.6, p_slip=0.3, likeliest_slip=Slip.SCALE)
    cut, slip = "a cut of about 11.8 m: was one made? Log it now.", "a slip: a flange scale misread by a layer or two."
    assert drift.plausibility_in_words(weighed).endswith(f"What explains it best is {cut} Less likely is {slip}")
    misread = replace(weighed, p_cut_alone=0.3, p_slip=0.6)
    assert drift.plausibility_in_words(misread).endswith(f"What explains it best is {slip} Less likely is {cut}")
    assert (weighed.is_cut_likelier, misread.is_cut_likelier) == (True, False)
    neither = replace(weighed, p_cut_alone=0.0, p_slip=0.0)
    assert not neither.is_cut_likelier


@pytest.mark.parametrize(
    ("tail", "sentence"),
    [
        (0.0099, "once in 100 counts"), (0.00238, "once in 400 counts"), (1.84e-6, "once in 500,000 counts"),
        (1e-6, "once in 1,000,000 counts"), (9e-7, "less than once in a million counts"),
        (0.0, "less than once in a million counts"),
    ],
)  # fmt: skip
def test_how_rare_a_count_is_is_said_in_words(tail: float, sentence: str) -> None:
    weighed = drift.plausibility(counted(STEADY), CountSeen(at=day(180), layers=12, wraps=4))
    assert f"that happens {sentence}." in drift.plausibility_in_words(replace(weighed, tail=tail))


def test_a_count_with_more_cable_is_never_explained_by_a_cut() -> None:
    weighed = drift.plausibility(counted(STEADY), CountSeen(at=day(180), layers=12, wraps=26))
    assert (weighed.p_cut_alone < 1e-6, weighed.cut_m) == (True, 0.0)
    assert "Neither a cut of a usual length nor an ordinary slip explains it." in drift.plausibility_in_words(weighed)


def test_the_length_offered_is_that_of_a_cut_that_explains_the_count_without_a_slip() -> None:
    weighed = drift.plausibility(counted(STEADY), CountSeen(at=day(180), layers=12, wraps=4))
    drop = (weighed.expected_turns - weighed.seen_turns) * np.pi * (DRUM.core_diameter_mm + 25 * 8.66) / 1000
    assert weighed.cut_low_m < weighed.cut_m < weighed.cut_high_m
    assert weighed.cut_m == pytest.approx(drop, rel=0.12)
    assert weighed.p_cut_alone + weighed.p_slip <= 1.0 + 1e-9


def test_a_first_count_has_nothing_to_be_held_against() -> None:
    weighed = drift.plausibility(counted([]), CountSeen(at=day(0), layers=12, wraps=10))
    assert (weighed.comparable, weighed.is_outlier) == (False, False)


def test_the_most_probable_course_steps_down_once() -> None:
    course = np.array(drift.most_probable_course(counted([*STEADY, *LOWER])))
    assert np.ptp(course[:6]) == np.ptp(course[6:]) == 0.0
    assert course[5] - course[6] == pytest.approx(6.0, abs=0.7)


def test_the_course_over_the_likely_lengths_is_that_over_all(monkeypatch: pytest.MonkeyPatch) -> None:
    fleet = [replace(reel.history, counts=reel.history.counts[:10]) for reel in make_fleet(messy_plan(4000))[:4]]
    likely = [drift.most_probable_course(history) for history in fleet]
    monkeypatch.setattr(newest, "FIXED", replace(FIXED, least_of_a_course=0.0))
    assert likely == [drift.most_probable_course(history) for history in fleet]


def test_a_recount_is_worth_most_when_a_cut_is_in_doubt() -> None:
    doubtful = drift.recount(counted([*STEADY, (12, 4)])).worth_bits
    steady = drift.recount(counted(STEADY)).worth_bits
    settled = drift.recount(counted([*STEADY, *LOWER])).worth_bits
    assert 0.0 <= steady < 0.1 < doubtful <= 1.0
    assert settled < 0.1


def test_the_sentence_of_a_cut_names_the_facts() -> None:
    assessment = drift.assess(counted(STEADY + LOWER))
    sentence = drift.explain(assessment, 5)
    for fact in (
        "2024-05-30",
        "2024-06-29",
        "below",
        "no cut is logged",
        "all 6 counts before it fit the longer cable",
        "all 5 counts after it fit the shorter",
        "missing",
    ):
        assert fact in sentence


def test_the_sentence_says_lengths_in_feet_to_whoever_prefers_them() -> None:
    assessment = drift.assess(counted(STEADY + LOWER))
    missing = assessment.intervals[5].cut_m / 0.3048  # the international foot, exactly
    sentence = drift.explain(assessment, 5, LengthUnit.FEET)
    assert f"about {missing:.1f} ft are missing" in sentence
    assert " m " not in sentence
    assert " ft " not in drift.explain(assessment, 5)


def test_the_words_for_a_count_just_keyed_are_in_feet_too() -> None:
    lower = drift.plausibility(counted(STEADY), CountSeen(at=day(180), layers=12, wraps=4))
    assert f"a cut of about {lower.cut_m / 0.3048:.1f} ft:" in drift.plausibility_in_words(lower, LengthUnit.FEET)


def test_flags_keep_the_expected_share_of_false_ones() -> None:
    # running means of 1 - p: 0.01, 0.02, 0.0467, 0.06: the two equal ones come in together or not at all
    assert drift.choose_flags([0.99, 0.5, 0.97, 0.9, 0.2, 0.9]) == [True, False, True, False, False, False]
    assert drift.choose_flags([0.99, 0.5, 0.97, 0.9, 0.2, 0.9], 0.06) == [True, False, True, True, False, True]
    assert drift.choose_flags([]) == []
    assert drift.choose_flags([0.5], 0.0) == [False]


def test_empty_and_tiny_histories_have_no_intervals() -> None:
    assert drift.assess(counted([])).intervals == ()
    one = drift.assess(counted([(12, 10)]))
    assert (len(one.counts), one.intervals) == (1, ())
    assert drift.learn([]) == drift.DEFAULT_PARAMETERS
    assert drift.learn([counted([])]) == drift.DEFAULT_PARAMETERS


LEVELS = st.lists(st.tuples(st.integers(0, 19), st.integers(0, 27)), min_size=1, max_size=9)


@settings(max_examples=40, deadline=None, derandomize=True)
@example(  # two entries in doubt for certain, and weights of the looseness that add up to a little more than one
    counts=[(0, 4), (0, 1), (0, 5), (0, 2), (1, 5), (0, 3), (0, 1), (1, 3)],
    cuts=[(40.502081567124584, 300.0), (1.0, 258.6796085822221)],
)
@given(counts=LEVELS, cuts=st.lists(st.tuples(st.floats(0, 260), st.floats(0.1, 300)), max_size=4))
def test_whatever_is_counted_beliefs_are_probabilities(
    counts: list[tuple[int, int]], cuts: list[tuple[float, float]]
) -> None:
    assessment = drift.assess(counted(counts, cuts=tuple(cut(on, length) for on, length in cuts)))
    assert (len(assessment.counts), len(assessment.intervals)) == (len(counts), len(counts) - 1)
    for i in assessment.intervals:
        assert all(0.0 <= p <= 1.0 for p in (i.p_unlogged_cut, i.p_when_counted, i.log_doubt))
        assert 0.0 <= i.cut_low_m <= i.cut_m <= i.cut_high_m < 1e4
    for c in assessment.counts:
        assert 0.0 <= c.p_slip <= 1.0
        assert -30.0 <= c.turns <= 600.0


@settings(max_examples=20, deadline=None, derandomize=True)
@given(order=st.permutations(range(8)))
def test_the_order_of_the_rows_does_not_matter(order: list[int]) -> None:
    history = counted([*STEADY, (12, 4), (12, 4)], cuts=(cut(20, 3.0), cut(60, 3.0)))
    shuffled = replace(history, counts=tuple(history.counts[i] for i in order), cuts=history.cuts[::-1])
    assert drift.assess(shuffled) == drift.assess(history)


def test_a_fleet_is_answered_reel_by_reel_as_each_alone() -> None:
    reels = [
        counted(STEADY),
        counted([*STEADY, *LOWER], cuts=(cut(20, 2.0),)),
        counted([(3, 3)]),
        counted([]),
        replace(counted([(12, 10), (3, 2), (12, 10)]), drum=DRUM),
    ]
    together = list(drift.assess_fleet(reels, drift.DEFAULT_PARAMETERS))
    for alone, one in zip(map(drift.assess, reels), together, strict=True):
        assert [i.p_unlogged_cut for i in one.intervals] == pytest.approx([i.p_unlogged_cut for i in alone.intervals])
        assert [c.p_slip for c in one.counts] == pytest.approx([c.p_slip for c in alone.counts], abs=1e-9)
