"""Learning θ, a fleet's parameters, from its own records: expectation–maximisation with broad priors.

The e-step runs the two passes over every sequence and sums up the expected numbers of everything that the parameters
are shares of; the m-step makes parameters of them and of the prior. A fleet of three reels keeps close to the prior,
and a large one forgets it.

Source: Dempster, Laird and Rubin (1977).
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
import scipy

from inspections.domain.drift.batch import batches_of
from inspections.domain.drift.e_step import e_step
from inspections.domain.drift.fixed import FIXED
from inspections.domain.drift.habits import with_habits
from inspections.domain.drift.looseness import looseness_log_likelihood
from inspections.domain.drift.m_step import m_step, smooth_looseness, starting_sizes
from inspections.domain.drift.parameters import DEFAULT_PARAMETERS, DriftParameters
from inspections.domain.drift.records import ReelHistory
from inspections.domain.drift.rule_changes import RuleChange, likeliest_rule_change, with_revisions
from inspections.domain.drift.sequence import CountSequence, sequences_of
from inspections.domain.drift.smoother import forward_backward
from reels.domain.uncertainty import FloatArray

# What is learned from: at most so many counts, of reels spread evenly over those given, so that a large fleet costs no
# more than a middling one. Twice as many would halve the sampling variance for twice the time.
LEARN_COUNTS = 6_000
EARLY_COUNTS = 1_500  # that the first rounds go over, to be near the right parameters before all are looked at


def learn(histories: Iterable[ReelHistory], prior: DriftParameters = DEFAULT_PARAMETERS) -> DriftParameters:
    """The parameters of a fleet.

    histories: any number of reels, none included. prior: where the search starts, and what scant evidence keeps to.
    Returns parameters; the same histories give the same ones.
    """
    every = list(histories)
    step = max(1, -(-sum(len(h.counts) for h in every) // LEARN_COUNTS))
    sample = [h for h in every[::step] if h.counts]
    if not sample:
        return prior
    prior, change = _with_rules(sample, prior)
    few = sample[:: max(1, sum(len(h.counts) for h in sample) // EARLY_COUNTS)]
    theta = _em(few, _first_look(sample, prior), prior, FIXED.most_rounds)
    theta = theta if len(few) == len(sample) else _em(sample, theta, prior, FIXED.more_rounds)
    better = _stretch(sample, theta)
    if change.gained >= FIXED.rule_worth_a_look and not theta.rule_changed_at:
        changed = change.added_to(better)
        gain = _log_evidence(_sequences(sample, changed), changed) - _log_evidence(_sequences(sample, better), better)
        better = changed if gain >= change.needed else better
    return theta if better == theta else _em(sample, better, prior, FIXED.more_rounds)


def _with_rules(histories: Sequence[ReelHistory], prior: DriftParameters) -> tuple[DriftParameters, RuleChange]:
    """The prior with what is plain of revisions, habits and a changed rule; and the likeliest change, plain or not."""
    looked = with_revisions(histories, _first_look(histories, prior))
    prior = replace(prior, revisions=looked.revisions, revision_wraps=looked.revision_wraps)
    prior, looked = _with_habits(histories, prior, looked)
    change = likeliest_rule_change(histories, looked)
    return (change.added_to(prior) if change.gained >= change.needed else prior), change


def _with_habits(
    histories: Sequence[ReelHistory], prior: DriftParameters, looked: DriftParameters
) -> tuple[DriftParameters, DriftParameters]:
    """The prior and the first look with habits taken off; twice, for they make every reel look looser than it is."""
    for _ in range(2):
        settled = with_habits(histories, looked)
        if settled == looked:
            break
        prior = replace(
            prior, habits=settled.habits, habit_sites=settled.habit_sites, habit_wraps=settled.habit_wraps,
            habit_sd_wraps=settled.habit_sd_wraps,
        )  # fmt: skip
        looked = _first_look(histories, prior)
    return prior, looked


def _em(
    histories: Sequence[ReelHistory], theta: DriftParameters, prior: DriftParameters, rounds: int
) -> DriftParameters:
    """Rounds of e-step and m-step until nothing is gained.

    The evidence of a round that follows a new layout can't be compared with that of the one before.
    """
    best = -np.inf
    known: dict[int, FloatArray] = {}
    sequences = _sequences(histories, theta)
    for number in range(rounds):
        if number == FIXED.layout_round:
            sequences, best, known = _sequences(histories, theta), -np.inf, {}
        statistics = e_step(sequences, theta, known)
        theta = m_step(statistics, theta, prior)
        if number > FIXED.layout_round and statistics.log_evidence - best < FIXED.close_enough * (
            1000.0 + statistics.counts
        ):
            break
        best = statistics.log_evidence
    return theta


def _sequences(histories: Sequence[ReelHistory], theta: DriftParameters) -> list[CountSequence]:
    return [sequence for place, history in enumerate(histories) for sequence in sequences_of(history, place, theta)]


def _first_look(histories: Sequence[ReelHistory], prior: DriftParameters) -> DriftParameters:
    """Looseness shares from neighbouring counts alone, so that the first round tries the right values."""
    lengths = [cut.length_m for history in histories for cut in history.cuts if cut.length_m > 0]
    sizes = starting_sizes(lengths, prior)
    start = replace(prior, size_shares=sizes, logged_size_shares=sizes)
    log_likelihoods = np.array([looseness_log_likelihood(h, start) for h in histories])
    shares = np.array(prior.looseness_shares)
    for _ in range(FIXED.mixture_rounds):
        weights = scipy.special.softmax(log_likelihoods + np.log(shares + 1e-9), axis=1)
        shares = smooth_looseness(weights.sum(axis=0), prior)
        shares /= shares.sum()
    return replace(start, looseness_shares=tuple(shares.tolist()))


def _stretch(histories: Sequence[ReelHistory], theta: DriftParameters) -> DriftParameters:
    """The growth of new cable that makes the counts likeliest, if it does so clearly; else none."""
    sequences = [
        sequence
        for sequence in _sequences(histories, theta)
        if sequence.start_day is not None and float(sequence.days[0]) - sequence.start_day < FIXED.stretch_seen_days
    ]
    best, gained = replace(theta, stretch_share=0.0), FIXED.stretch_must_gain
    if not sequences:
        return best
    plain = _log_evidence(sequences, best)
    for share in FIXED.stretch_shares:
        tried = replace(theta, stretch_share=share)
        gain = _log_evidence(sequences, tried) - plain
        if gain < gained:
            break
        best, gained = tried, gain
    return best


def _log_evidence(sequences: Sequence[CountSequence], theta: DriftParameters) -> float:
    """Log probability of all counts; each sequence's looseness judged by itself."""
    total = 0.0
    log_prior = theta.log_looseness()
    for places, batch in batches_of(sequences, theta):
        by_row = forward_backward(batch, smooth=False).log_evidence.sum(axis=0)
        for row, place in enumerate(places):
            total += float(np.logaddexp.reduce(by_row[batch.rows(row)] + log_prior[sequences[place].grid_points]))
    return total
