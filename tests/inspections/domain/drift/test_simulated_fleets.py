"""The drift model on simulated fleets: beside an exact observer, true to its own promises, learned from records."""

from dataclasses import replace

import numpy as np
import pytest

from inspections.domain import drift
from inspections.domain.drift import CountSeen, ReelAssessment, ReelHistory
from inspections.domain.drift.parameters import LOOSENESS_GRID_WRAPS
from inspections.domain.drift.records import Slip
from reels.domain.uncertainty import FloatArray
from tests.benchmarks.drift import study
from tests.benchmarks.drift.fleets import FleetPlan, ReelTruth, make_fleet
from tests.benchmarks.drift.observer import Observer
from tests.benchmarks.drift.study import average_precision, log_loss, true_parameters

CLEAN = FleetPlan(name="clean", seed=20261125, reels=30, counts=(20, 40), cut_per_interval=0.15, looseness=0.35)
MESSY = replace(
    CLEAN,
    name="messy",
    seed=20261126,
    cut_per_interval=0.05,
    one_wrap=0.02,
    correction=0.01,
    scale=0.02,
    wrong_face=0.01,
    copied=0.02,
    anything=0.01,
    log_misdated=0.1,
    log_twice=0.05,
    log_wrong=0.03,
    stretch_share=0.002,
)


def posteriors(assessments: list[ReelAssessment], name: str = "p_unlogged_cut") -> FloatArray:
    return np.array([getattr(i, name) for reel in assessments for i in reel.intervals])


def lost_m(fleet: list[ReelTruth]) -> FloatArray:
    return np.concatenate([reel.unlogged_m for reel in fleet])


@pytest.fixture(scope="module")
def clean() -> tuple[list[ReelTruth], list[ReelAssessment]]:
    """A clean fleet, and what the model that has learned from it believes."""
    fleet = make_fleet(CLEAN)
    histories = [reel.history for reel in fleet]
    return fleet, list(drift.assess_fleet(histories, drift.learn(histories)))


def test_told_the_true_rates_it_agrees_with_the_exact_observer() -> None:
    fleet = make_fleet(replace(CLEAN, reels=12, looseness_spread=0.01))
    theta = replace(
        true_parameters(CLEAN), looseness_shares=tuple((np.abs(LOOSENESS_GRID_WRAPS - 0.41) < 0.01).astype(float))
    )
    exact = [Observer(replace(CLEAN, looseness=0.41), replace_looseness(reel)).watch() for reel in fleet]
    assessments = list(drift.assess_fleet([reel.history for reel in fleet], theta))
    for name, place in (("p_unlogged_cut", 0), ("p_when_counted", 1)):
        difference = np.abs(posteriors(assessments, name) - np.concatenate([e[place] for e in exact]))
        # cells of a third of a wrap against the observer's 0.15, and lengths shared between cells
        assert difference.mean() < 0.006
        assert np.quantile(difference, 0.98) < 0.08


def replace_looseness(reel: ReelTruth) -> ReelTruth:
    return ReelTruth(history=reel.history, looseness=0.1 * 1.6**3)


def test_on_a_clean_fleet_it_is_nearly_as_good_as_the_exact_observer(
    clean: tuple[list[ReelTruth], list[ReelAssessment]],
) -> None:
    fleet, assessments = clean
    truth = lost_m(fleet) > 0
    exact = np.concatenate([Observer(CLEAN, reel).watch()[0] for reel in fleet])
    assert average_precision(posteriors(assessments), truth) >= 0.985 * average_precision(exact, truth)
    # a fleet of 30 reels has to be learned from: the aim of 1.05 is for the study's fleets taken together
    assert log_loss(posteriors(assessments), truth) <= 1.12 * log_loss(exact, truth)


def test_nine_in_ten_length_intervals_hold_the_truth(clean: tuple[list[ReelTruth], list[ReelAssessment]]) -> None:
    fleet, assessments = clean
    cut_m, flagged = lost_m(fleet), np.array(drift.choose_flags(posteriors(assessments).tolist()))
    low, high = posteriors(assessments, "cut_low_m"), posteriors(assessments, "cut_high_m")
    sure = flagged & (cut_m > 0)
    assert sure.sum() > 80
    assert 0.85 <= ((low <= cut_m) & (cut_m <= high))[sure].mean() <= 0.97


def test_flags_are_false_no_oftener_than_stated(clean: tuple[list[ReelTruth], list[ReelAssessment]]) -> None:
    fleet, assessments = clean
    flagged = np.array(drift.choose_flags(posteriors(assessments).tolist(), 0.05))
    false = (flagged & (lost_m(fleet) == 0)).sum()
    # stated 5 %: with so few flags two standard deviations above it still agree with the statement
    assert false <= 0.05 * flagged.sum() + 2 * np.sqrt(0.05 * 0.95 * flagged.sum())


def test_on_a_messy_fleet_it_is_clearly_ahead_of_a_plain_smoother() -> None:
    fleet = make_fleet(MESSY)
    histories, truth = [reel.history for reel in fleet], lost_m(fleet) > 0
    model = posteriors(list(drift.assess_fleet(histories, drift.learn(histories))))
    plain = np.concatenate([Observer(MESSY, reel, slips=False).watch()[0] for reel in fleet])
    assert average_precision(model, truth) > average_precision(plain, truth) + 0.02
    assert log_loss(model, truth) < 0.8 * log_loss(plain, truth)


def test_rates_are_learned_from_the_fleet() -> None:
    plan = replace(
        CLEAN, seed=3, reels=60, cut_per_interval=0.08, size_m=12.0, size_spread=0.4, scale=0.03, looseness=0.7
    )
    rates = drift.learn([reel.history for reel in make_fleet(plan)])
    yearly = rates.cuts_per_interval + rates.cuts_per_year * plan.gap_days / 365.25
    assert yearly == pytest.approx(0.08, rel=0.25)
    assert rates.size_quantile_m(0.5) == pytest.approx(12.0, rel=0.2)
    assert rates.slip_share(Slip.SCALE) == pytest.approx(0.03, abs=0.01)
    looseness = np.exp(np.dot(rates.looseness_shares, np.log(LOOSENESS_GRID_WRAPS)))
    assert looseness == pytest.approx(0.7, rel=0.25)
    assert any("Unlogged cuts" in line for line in drift.in_words(rates))


def test_three_reels_keep_near_the_prior_and_learning_repeats_itself() -> None:
    histories = [reel.history for reel in make_fleet(replace(CLEAN, reels=3, counts=(4, 6), cut_per_interval=0.0))]
    rates = drift.learn(histories)
    assert rates == drift.learn(histories)
    assert 0.005 < rates.cuts_per_interval < 0.05
    assert rates.slip_share(Slip.NONE) == pytest.approx(drift.DEFAULT_PARAMETERS.slip_share(Slip.NONE), abs=0.02)


def test_a_new_count_asks_the_same_as_the_newest_interval_but_for_what_will_be_logged_yet() -> None:
    theta = replace(drift.DEFAULT_PARAMETERS, logged_per_interval=0.0, replaced_unlogged=0.0)
    for reel in make_fleet(replace(MESSY, reels=8)):
        counts = reel.history.counts
        before = known_then(reel.history, counts[-1])
        now = drift.assess(replace(before, counts=counts), theta).intervals[-1]
        asked = drift.plausibility(before, counts[-1], theta)
        assert asked.p_unlogged_cut == pytest.approx(now.p_when_counted, abs=1e-6)
        assert (asked.cut_low_m <= asked.cut_m <= asked.cut_high_m) is True
        assert 0.0 <= asked.tail <= 1.0


def known_then(history: ReelHistory, newest: CountSeen) -> ReelHistory:
    cuts = tuple(c for c in history.cuts if (c.recorded_at or c.at) <= newest.at)
    return replace(history, counts=history.counts[:-1], cuts=cuts)


def test_past_answers_hardly_move_when_counts_are_added() -> None:
    differences = []
    for reel in make_fleet(replace(MESSY, reels=6, log_late=0.3)):
        whole = drift.assess(reel.history)
        for n in range(2, len(reel.history.counts)):
            before = known_then(reel.history, reel.history.counts[n - 1])
            then = drift.assess(replace(before, counts=reel.history.counts[:n])).intervals[-1]
            differences.append(abs(whole.intervals[n - 2].p_when_counted - then.p_when_counted))
    # the looseness values tried for a reel, and the cells, are chosen by all its counts; the beliefs are not
    assert np.mean(differences) < 0.01
    assert np.quantile(differences, 0.98) < 0.1


def test_the_study_prints_its_tables(capsys: pytest.CaptureFixture[str]) -> None:
    study.main(["--fleets", "1"])
    printed = capsys.readouterr().out
    for words in ("clean fleets, against the exact observer", "messy fleets", "PELT", "calibration", "covers"):
        assert words in printed
