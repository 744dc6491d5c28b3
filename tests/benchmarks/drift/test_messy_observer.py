"""The exact observer of messy fleets is right about what it believes, and expected figures are what they say."""

from dataclasses import replace

import numpy as np
import pytest

from inspections.domain.drift import DEFAULT_PARAMETERS
from tests.benchmarks.drift import judge
from tests.benchmarks.drift.fleets import DrumTables, FleetPlan, make_fleet
from tests.benchmarks.drift.messy_observer import MessyObserver, length_likelihood, slip_sources
from tests.benchmarks.drift.observer import Observer

CLEAN = FleetPlan(name="clean", seed=881, reels=6, counts=(10, 20), logged_per_interval=0.15)
MESSY = replace(
    CLEAN, name="messy", seed=882, reels=24, cut_per_interval=0.08, one_wrap=0.02, correction=0.01, scale=0.02,
    wrong_face=0.01, copied=0.02, anything=0.01, log_misdated=0.15, log_twice=0.08, log_wrong=0.08, log_late=0.2,
    stretch_share=0.003, replaced_per_interval=0.01,
)  # fmt: skip


def test_where_nothing_is_messy_it_agrees_with_the_plain_observer() -> None:
    for reel in make_fleet(CLEAN):
        sources = slip_sources(CLEAN, DrumTables.of(reel.history.drum))
        believed = MessyObserver(CLEAN, reel, sources).watch()
        # two ways to put a logged length between cells
        assert np.abs(believed - Observer(CLEAN, reel).watch()[0]).max() < 0.03


def test_what_it_believes_is_true_as_often_as_it_says() -> None:
    judged = judge.judge(MESSY, lambda histories: DEFAULT_PARAMETERS)
    for q, truth in ((judged.q, judged.truth), (judged.q_newest, judged.truth_newest)):
        spread = np.sqrt((q * (1 - q)).sum())
        assert abs(truth.sum() - q.sum()) < 3 * spread
        surprise = -np.where(truth, np.log(q), np.log1p(-q))
        sd = np.sqrt((q * (1 - q) * (np.log(q) - np.log1p(-q)) ** 2).sum())
        assert abs(surprise.sum() - judge.expected_loss(q, q)) < 3 * sd
    assert judge.expected_loss(judged.p, judged.q) > judge.expected_loss(judged.q, judged.q)
    assert judge.table("messy", [judged])[3].startswith("  loss ")


def test_every_length_that_may_be_logged_is_likely_in_all_once() -> None:
    plan = replace(MESSY, logged_sd_m=0.3)
    lengths = np.arange(1, 40_000) / 100.0
    for real_m in (0.3, 6.0, 20.0):
        every = [
            length_likelihood(plan, length_m, np.array([real_m]))[0] for length_m in lengths[::1][: int(real_m * 1500)]
        ]
        assert sum(every) == pytest.approx(1.0, abs=0.02)


def test_an_expected_loss_is_the_mean_over_what_may_be_true() -> None:
    p, q = np.array([0.2, 0.9]), np.array([0.5, 1.0])
    by_hand = -0.5 * (np.log(0.2) + np.log(0.8)) - np.log(0.9)
    assert judge.expected_loss(p, q) == pytest.approx(by_hand)
    assert judge.expected_precision_ratio(np.array([0.1, 0.8, 0.3]), np.array([0.0, 1.0, 0.2]), 1) == 1.0
    assert judge.expected_precision_ratio(np.array([0.9, 0.1]), np.array([0.0, 1.0]), 1) == 0.5
