"""The forward and the backward pass over a batch, and the unlogged cut of every interval read off them.

An interval's cut of k cells has the posterior

    p(u_t = k | y) ∝ p(u_t = k) Σ_x filtered_t(x) p(y_t+1 | x') backward_t+1(x'),   x' = x moved by the log and by k

The sum over x is a correlation of two rows, so that all lengths k are had at once, as a product of their transforms.
"""

from dataclasses import dataclass
from typing import cast

import numpy as np
import scipy

from inspections.domain.drift.batch import Batch
from inspections.domain.drift.hidden_markov import TINY, IntArray, backward, forward
from inspections.domain.drift.log_states import AS_WRITTEN
from reels.domain.uncertainty import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ForwardBackward:
    """The two passes over a batch; see hidden_markov.

    predicted, filtered, backward: (times, rows, log states, cells). log_evidence: (times, rows). p_when_counted:
    (times - 1, rows), each interval's probability of an unlogged cut as the newest one, at its later count.
    """

    batch: Batch
    predicted: FloatArray
    filtered: FloatArray
    backward: FloatArray
    log_evidence: FloatArray
    p_when_counted: FloatArray

    def without_own_count(self) -> FloatArray:
        """p(x_t | all counts but y_t), unscaled, over all log states: (times, rows, cells)."""
        return cast(FloatArray, (self.predicted * self.backward).sum(axis=2))

    def smoothed(self) -> FloatArray:
        """p(x_t | all counts), unscaled, over all log states: (times, rows, cells)."""
        return cast(FloatArray, (self.filtered * self.backward).sum(axis=2))


def forward_backward(batch: Batch, smooth: bool = True) -> ForwardBackward:
    """Forward, and backward unless only the newest interval is asked for."""
    cells = batch.kernels.cells
    p_when_counted = np.zeros(batch.p_cut.shape)

    def ahead(t: int, filtered: FloatArray) -> FloatArray:
        n = filtered.shape[0]
        still = batch.ahead_fft(t, batch.transform(t, filtered), n)
        moved = batch.windowed(t, batch.inverse(t + 1, still * batch.cut_factor(t, n)[:, None, :]))
        p_when_counted[t, :n] = _p_newest(batch, t, batch.unmoved(t, filtered, still), moved)
        return batch.with_replacements(t, moved)

    def back(t: int, message: FloatArray) -> FloatArray:
        n = message.shape[0]
        fft = batch.placed(t, message) * np.conj(batch.cut_factor(t, n))[:, None, :]
        before = np.maximum(batch.inverse(t, batch.back_fft(t, fft, n))[..., :cells], 0.0)
        return batch.back_over_replacements(t, before, message)

    passed = forward(batch.start, batch.likelihoods, ahead, batch.lengths)
    if smooth:
        messages = backward(batch.likelihoods, back, batch.lengths, (batch.log_states, cells))
    else:
        messages = np.ones_like(passed.filtered)
    return ForwardBackward(
        batch=batch,
        predicted=passed.predicted,
        filtered=passed.filtered,
        backward=messages,
        log_evidence=passed.log_evidence,
        p_when_counted=p_when_counted,
    )


def _p_newest(batch: Batch, t: int, unmoved: FloatArray, moved: FloatArray) -> FloatArray:
    """Probability of an unlogged cut in t to t + 1 at the count of t + 1; entries dated later aren't known yet.

    The pass has mixed cut and no cut by q with closed flags, which nobody knew of then: it is taken apart again, and
    mixed by q as if all flags were open.
    """
    n = moved.shape[0]
    likelihood = batch.likelihoods[t + 1, :n, 0]
    q, q_open = batch.p_cut[t, :n], batch.p_cut_open[t, :n]
    no_cut = np.einsum("nc,nc->n", unmoved, likelihood)
    either = np.einsum("nlc,nl,nc->n", moved, batch.log.dated_by(t + 1)[:n], likelihood)
    cut = np.maximum(either - (1.0 - q) * no_cut, 0.0) / q
    # A cut that is still to be logged is no unlogged one: it looks the same that day.
    to_come = batch.p_not_on_record[t, :n]
    none = (1.0 - q_open) * ((1.0 - to_come) * no_cut + to_come * cut)
    replaced = batch.replaced[t, :n] * likelihood.sum(axis=1) / (1.0 - batch.theta.replaced_unlogged)
    return cast(FloatArray, q_open * cut / (q_open * cut + none + replaced + TINY))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CutPosteriors:
    """Unlogged cuts, row by row; steps and rows list the intervals, shape (pairs,).

    p_cut, p_replaced: (pairs,). sizes: (pairs, cells), distribution of the cut's length in cells given a cut. evidence:
    (pairs,), of all courses through the interval, on the scale of filtered and backward.
    """

    steps: IntArray
    rows: IntArray
    p_cut: FloatArray
    p_replaced: FloatArray
    sizes: FloatArray
    evidence: FloatArray


def cut_posteriors(passes: ForwardBackward) -> CutPosteriors:
    """Probability and length of an unlogged cut in every interval of every row, given all counts."""
    batch = passes.batch
    cells, size = batch.kernels.cells, 2 * batch.kernels.cells
    steps, rows, overlaps = [np.zeros(0, np.int64)], [np.zeros(0, np.int64)], [np.zeros((0, cells))]
    new = [np.zeros(0)]
    for t in range(batch.likelihoods.shape[0] - 1):
        n = int(np.count_nonzero(batch.lengths > t + 1))
        still = batch.ahead_fft(t, batch.transform(t, passes.filtered[t, :n]), n)
        message = passes.backward[t + 1, :n] * batch.likelihoods[t + 1, :n]
        later = batch.placed(t, message)
        new.append(batch.replaced[t, :n] * message[:, AS_WRITTEN].sum(axis=1))
        together = (still * np.conj(later)).sum(axis=1)
        overlaps.append(np.maximum(scipy.fft.irfft(together, size)[:, :cells], 0.0))
        steps.append(np.full(n, t))
        rows.append(np.arange(n))
    step, row, overlap = np.concatenate(steps), np.concatenate(rows), np.concatenate(overlaps)
    q = batch.p_cut[step, row]
    sizes = batch.kernels.cut * overlap + TINY
    cut, replaced = q * sizes.sum(axis=1), np.concatenate(new) / (1.0 - batch.theta.replaced_unlogged)
    evidence = cut + (1.0 - q) * overlap[:, 0] + replaced
    return CutPosteriors(
        steps=step,
        rows=row,
        p_cut=cut / evidence,
        p_replaced=replaced / evidence,
        sizes=sizes / sizes.sum(axis=1, keepdims=True),
        evidence=evidence,
    )
