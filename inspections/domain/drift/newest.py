"""The newest count of a reel: is it plausible, what would explain it, and would one more count settle it?"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import cast

import numpy as np
import scipy

from inspections.domain.drift.batch import Batch, make_batch
from inspections.domain.drift.fixed import FIXED
from inspections.domain.drift.fleet import quantiles_m
from inspections.domain.drift.hidden_markov import TINY, IntArray, viterbi
from inspections.domain.drift.kernels import kernels_for
from inspections.domain.drift.likelihood import reading_pmf
from inspections.domain.drift.parameters import DEFAULT_PARAMETERS, DriftParameters
from inspections.domain.drift.posteriors import slip_posteriors
from inspections.domain.drift.records import (
    NOTHING_TO_ASK,
    SLIPS,
    CountSeen,
    Plausibility,
    Recount,
    ReelHistory,
)
from inspections.domain.drift.sequence import CountSequence, sequences_of
from inspections.domain.drift.smoother import ForwardBackward, forward_backward
from reels.domain.uncertainty import FloatArray


def plausibility(
    history_before: ReelHistory, new_count: CountSeen, theta: DriftParameters = DEFAULT_PARAMETERS
) -> Plausibility:
    """How surprising a count is, and what would explain it.

    history_before: everything known, without the new count. new_count: later than all others. Whoever counts can say at
    once whether the cable was cut or replaced and not logged yet, so that these are not weighed as in the report.
    """
    newest = _newest(replace(history_before, counts=(*history_before.counts, new_count)), theta)
    seen = float(newest.sequence.read_turns[-1])
    slips = newest.weights @ slip_posteriors(newest.passes)[-1]
    tail, expected, p_cut, p_alone, low, middle, high = 1.0, seen, 0.0, 0.0, 0.0, 0.0, 0.0
    comparable = newest.sequence.times > 1
    if comparable:
        alone = newest.cut_alone()
        p_cut, p_alone = float(newest.with_and_without_cut()[0].sum()), float(alone.sum())
        if p_alone > FIXED.least_cut_alone:
            low, middle, high = quantiles_m(alone[None, :] / p_alone, newest.sequence.cell_m)[0].tolist()
        tail, expected = newest.tail()
    return Plausibility(
        comparable=comparable,
        tail=tail,
        expected_turns=expected,
        seen_turns=seen,
        p_unlogged_cut=p_cut,
        p_cut_alone=p_alone,
        cut_m=middle,
        cut_low_m=low,
        cut_high_m=high,
        p_slip=float(slips[1:].sum()),
        likeliest_slip=SLIPS[1 + int(slips[1:].argmax())],
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Newest:
    """The newest sequence of a reel run forward.

    weights: p(σ | all counts), of each looseness tried; weights_before: without the last count.
    """

    sequence: CountSequence
    passes: ForwardBackward
    weights: FloatArray
    weights_before: FloatArray

    @property
    def batch(self) -> Batch:
        return self.passes.batch

    def unmoved(self) -> FloatArray:
        """p(x) before the last count if nothing unlogged was cut: shape (grid points, cells)."""
        t = self.sequence.times - 2
        filtered = self.passes.filtered[t]
        still = self.batch.ahead_fft(t, self.batch.transform(t, filtered), filtered.shape[0])
        return self.batch.unmoved(t, filtered, still)

    def cut_alone(self) -> FloatArray:
        """Probability of each length of an unlogged cut before the last count, and of no slip at it: shape (cells,)."""
        size, t, theta = 2 * self.batch.kernels.cells, self.sequence.times - 2, self.batch.theta
        read, at_turns = self.sequence.read_turns[-1:], self.sequence.window_turns(t + 1)
        no_slip = theta.slip_shares[0] * reading_pmf(self.sequence, read, at_turns, theta)[:, 0]
        still, likelihood, q = self._unmoved_likelihood_q()
        overlap = scipy.fft.irfft(scipy.fft.rfft(still, size) * np.conj(scipy.fft.rfft(no_slip, size)), size)[
            :, : size // 2
        ]
        either = (1.0 - q) * still + q * self._after_cut(still)
        scale = self.weights / (either * likelihood).sum(axis=1)
        return cast(FloatArray, scale @ (q * self.batch.kernels.cut * np.maximum(overlap, 0.0)))

    def with_and_without_cut(self) -> tuple[FloatArray, FloatArray]:
        """p(x) now, with and without an unlogged cut before the last count: (grid points, cells) each, together one."""
        cut, _, _, none = self.cut_moments()
        return cut, none

    def cut_moments(self) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """At each x now: p with an unlogged cut before the last count, times 1, its length and its square; p without.

        Metres and m²; (grid points, cells) each.
        """
        still, likelihood, q = self._unmoved_likelihood_q()
        kernels, size = self.batch.kernels, 2 * self.batch.kernels.cells
        length_m = kernels.cell_m * np.arange(kernels.cells)
        none = (1.0 - q) * still * likelihood
        cut = q * self._after_cut(still) * likelihood
        scale = (self.weights / (cut + none).sum(axis=1))[:, None]
        still_fft = scipy.fft.rfft(still, size)
        first, second = (
            q * np.maximum(scipy.fft.irfft(still_fft * np.conj(scipy.fft.rfft(kernels.cut * each, size)), size), 0.0)
            for each in (length_m, length_m**2)
        )
        moments = (cut, first[:, : size // 2] * likelihood, second[:, : size // 2] * likelihood, none)
        return cast(tuple[FloatArray, FloatArray, FloatArray, FloatArray], tuple(each * scale for each in moments))

    def _unmoved_likelihood_q(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        q = self.batch.p_cut_open[self.sequence.times - 2][:, None]
        return self.unmoved(), self.batch.likelihoods[-1, :, 0], q

    def _after_cut(self, still: FloatArray) -> FloatArray:
        size = 2 * self.batch.kernels.cells
        after = scipy.fft.irfft(scipy.fft.rfft(still, size) * np.conj(self.batch.kernels.cut_fft), size)
        return cast(FloatArray, np.maximum(after[:, : size // 2], 0.0))

    def tail(self) -> tuple[float, float]:
        """Probability of a reading no likelier than the last one, and the expected turns; no slip, no cut."""
        still = self.unmoved()
        still /= still.sum(axis=1, keepdims=True) + TINY
        at_turns = self.sequence.window_turns(self.sequence.times - 1)
        low = np.floor(at_turns[0])
        readings = np.arange(low, np.floor(at_turns[-1]) + 1)
        pmf = reading_pmf(self.sequence, readings, at_turns, self.batch.theta)
        probabilities = np.einsum("n,nc,nrc->r", self.weights_before, still, pmf)
        seen = float(probabilities[np.clip(int(self.sequence.read_turns[-1] - low), 0, readings.size - 1)])
        expected = float((self.weights_before @ still) @ at_turns)
        # readings as likely as this one, but for the last digits, are no likelier
        return float(min(probabilities[probabilities <= seen * (1 + 1e-9)].sum(), 1.0)), expected


def _newest(history: ReelHistory, theta: DriftParameters) -> _Newest:
    sequence = sequences_of(history, 0, theta)[-1]
    passes = _run_one(sequence, theta, smooth=False)
    evidence = passes.log_evidence + 0.0
    evidence[0] += theta.log_looseness()[sequence.grid_points]
    return _Newest(
        sequence=sequence,
        passes=passes,
        weights=scipy.special.softmax(evidence.sum(axis=0)),
        weights_before=scipy.special.softmax(evidence[:-1].sum(axis=0)),
    )


def _run_one(sequence: CountSequence, theta: DriftParameters, *, smooth: bool) -> ForwardBackward:
    kernels = kernels_for(sequence.cell_m, sequence.cells, theta)
    return forward_backward(make_batch([sequence], kernels, theta), smooth=smooth)


def _entropy_bits(p: FloatArray) -> FloatArray:
    q = np.clip(p, 1e-12, 1.0 - 1e-12)
    return -(q * np.log2(q) + (1.0 - q) * np.log2(1.0 - q))


def recount(history: ReelHistory, theta: DriftParameters = DEFAULT_PARAMETERS) -> Recount:
    """What is believed of an unlogged cut before the newest count, and what one more count would tell of it.

    The worth is the mutual information of the cut and the reading: the entropy of the cut now, less the mean of what
    it would be after each reading; in metres, the standard deviation of what is missing, now, less the root of its mean
    square after each reading. NOTHING_TO_ASK with fewer than two counts since the cable was new.
    Source: Lindley (1956).
    """
    if not history.counts:
        return NOTHING_TO_ASK
    newest = _newest(history, theta)
    if newest.sequence.times < 2:
        return NOTHING_TO_ASK
    with_cut, first_m, second_m2, without = newest.cut_moments()
    at_turns = newest.sequence.window_turns(newest.sequence.times - 1)
    low, high = np.floor(at_turns[[0, -1]])
    pmf = reading_pmf(newest.sequence, np.arange(low, high, dtype=np.float64), at_turns, theta)
    cut = np.einsum("nc,nrc->r", with_cut, pmf)
    reading = cut + np.einsum("nc,nrc->r", without, pmf)
    p = float(with_cut.sum())
    doubt = float(_entropy_bits(np.array(p)))
    # readings outside the window, the rest of the probability, would leave the doubt as it is
    after = float((reading * _entropy_bits(cut / (reading + TINY))).sum() + (1.0 - min(reading.sum(), 1.0)) * doubt)
    variance = max(float(second_m2.sum() - first_m.sum() ** 2), 0.0)
    first, second = (np.einsum("nc,nrc->r", each, pmf) for each in (first_m, second_m2))
    left = float((second - first**2 / (reading + TINY)).sum() + (1.0 - min(reading.sum(), 1.0)) * variance)
    return Recount(
        p_cut=p,
        doubt_bits=doubt,
        worth_bits=max(doubt - after, 0.0),
        doubt_m=float(np.sqrt(variance)),
        worth_m=max(float(np.sqrt(variance) - np.sqrt(max(left, 0.0))), 0.0),
    )


def most_probable_course(history: ReelHistory, theta: DriftParameters = DEFAULT_PARAMETERS) -> tuple[float, ...]:
    """The single most probable course of a reel: turns on the drum at each count, in order of time.

    The looseness is the likeliest one and log entries are taken in the interval where they stand.
    """
    course: list[float] = []
    for sequence in sequences_of(history, 0, theta):
        passes = _run_one(sequence, theta, smooth=True)
        batch, row = passes.batch, int(passes.log_evidence.sum(axis=0).argmax())
        cells = [np.flatnonzero(p >= FIXED.least_of_a_course * p.sum()) for p in passes.smoothed()[:, row]]
        log_start = np.log(batch.start[row].sum(axis=0)[cells[0]] + TINY)
        log_likelihoods = [np.log(batch.likelihoods[t, row, 0, here] + TINY) for t, here in enumerate(cells)]
        states = viterbi(log_start, log_likelihoods, partial(_log_step, batch, row, cells))
        chosen = np.array([here[state] for here, state in zip(cells, states, strict=True)])
        course.extend(sequence.winding.turns(sequence.cell_m * (sequence.offsets + chosen)).tolist())
    return tuple(course)


def _log_step(batch: Batch, row: int, cells: Sequence[IntArray], t: int) -> FloatArray:
    """Logarithm of the step from each of the cells at t to each of those at t + 1."""
    fft = np.conj(batch.cut_factor(t, row + 1)[row])
    if batch.log_states > 1:
        fft = fft * batch.move_ffts[batch.logged_of[t, row]]
    many = batch.kernels.cells
    kernel = np.maximum(scipy.fft.irfft(fft, 2 * many)[:many], 0.0)
    drop = cells[t][:, None] - cells[t + 1][None, :] - batch.shift[t, row]
    inside = (drop >= 0) & (drop < many)
    return cast(FloatArray, np.log(np.where(inside, kernel[np.clip(drop, 0, many - 1)], 0.0) + TINY))
