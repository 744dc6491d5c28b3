"""The forward and the backward pass over a batch, and the intervals read off them."""

from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft

from inspections.domain.drift.batch import Batch
from inspections.domain.drift.hidden_markov import backward, forward

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ForwardBackward:
    """The two passes over a batch.

    predicted, filtered, backward: (times, rows, log states, cells); log_evidence: (times, rows).

    p_when_counted: (times - 1, rows), the newest interval's probability at its later count.
    """

    batch: Batch
    predicted: FloatArray
    filtered: FloatArray
    backward: FloatArray
    log_evidence: FloatArray
    p_when_counted: FloatArray


def forward_backward(batch: Batch, smooth: bool = True) -> ForwardBackward:
    """Forward, and backward unless only the newest interval is asked for."""
    cells, size = batch.kernels.cells, 2 * batch.kernels.cells
    newest = np.zeros(batch.p_cut.shape)

    def ahead(t: int, belief: FloatArray) -> FloatArray:
        n = belief.shape[0]
        still = batch.ahead_fft(t, batch.transform(t, belief), n)
        moved = batch.windowed(t, irfft(still * batch.cut_factor(t, n)[:, None, :], size))
        newest[t, :n] = _newest(batch, t, batch.unmoved(t, belief, still), moved)
        return moved

    def back(t: int, message: FloatArray) -> FloatArray:
        n = message.shape[0]
        fft = batch.placed(t, message) * np.conj(batch.cut_factor(t, n))[:, None, :]
        return cast(FloatArray, np.maximum(irfft(batch.backward_fft(t, fft, n), size)[..., :cells], 0.0))

    filtered = forward(batch.start, batch.likelihoods, ahead, batch.lengths)
    if smooth:
        messages = backward(batch.likelihoods, back, batch.lengths, (batch.log_states, cells))
    else:
        messages = np.ones_like(filtered.filtered)
    return ForwardBackward(
        batch=batch,
        predicted=filtered.predicted,
        filtered=filtered.filtered,
        backward=messages,
        log_evidence=filtered.log_evidence,
        p_when_counted=newest,
    )


def _newest(batch: Batch, t: int, unmoved: FloatArray, moved: FloatArray) -> FloatArray:
    """Probability of an unlogged cut in t to t + 1 at the count of t + 1; entries dated later aren't known yet."""
    n = moved.shape[0]
    likelihood = batch.likelihoods[t + 1, :n, 0]
    q, q_open = batch.p_cut[t, :n], batch.p_cut_open[t, :n]
    no_cut = np.einsum("nc,nc->n", unmoved, likelihood)
    either = np.einsum("nlc,nc->n", moved[:, : min(2, batch.log_states)], likelihood)
    cut = np.maximum(either - (1.0 - q) * no_cut, 0.0) / q
    return cast(FloatArray, q_open * cut / (q_open * cut + (1.0 - q_open) * no_cut + 1e-300))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class IntervalPosteriors:
    """What a run says, row by row; steps and rows list the intervals, shape (pairs,).

    p_cut: (pairs,). sizes: (pairs, cells), distribution of the cut's length in cells given a cut.
    """

    steps: IntArray
    rows: IntArray
    p_cut: FloatArray
    sizes: FloatArray


def interval_posteriors(result: ForwardBackward) -> IntervalPosteriors:
    """Probability and length of an unlogged cut in every interval of every row, given all counts."""
    batch = result.batch
    cells, size = batch.kernels.cells, 2 * batch.kernels.cells
    steps, rows, overlaps = [], [], []
    for t in range(batch.likelihoods.shape[0] - 1):
        n = int(np.count_nonzero(batch.lengths > t + 1))
        still = batch.ahead_fft(t, batch.transform(t, result.filtered[t, :n]), n)
        later = batch.placed(t, result.backward[t + 1, :n] * batch.likelihoods[t + 1, :n])
        together = (still * np.conj(later)).sum(axis=1)
        overlaps.append(np.maximum(irfft(together, size)[:, :cells], 0.0))
        steps.append(np.full(n, t))
        rows.append(np.arange(n))
    if not steps:
        empty = np.zeros(0, dtype=np.int64)
        return IntervalPosteriors(steps=empty, rows=empty, p_cut=np.zeros(0), sizes=np.zeros((0, cells)))
    step, row, overlap = np.concatenate(steps), np.concatenate(rows), np.concatenate(overlaps)
    q = batch.p_cut[step, row]
    sizes = batch.kernels.cut * overlap + 1e-300
    cut = q * sizes.sum(axis=1)
    return IntervalPosteriors(
        steps=step,
        rows=row,
        p_cut=cut / (cut + (1.0 - q) * overlap[:, 0]),
        sizes=sizes / sizes.sum(axis=1, keepdims=True),
    )
