"""The newest count of a reel: is it plausible, what would explain it, and would one more count settle it?"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import cast

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, rfft

from inspections.domain.drift.batch import Batch, make_batch
from inspections.domain.drift.fleet import grid_weights, quantiles_m
from inspections.domain.drift.hidden_markov import viterbi
from inspections.domain.drift.kernels import kernels_for
from inspections.domain.drift.likelihood import reading_pmf
from inspections.domain.drift.parameters import DEFAULT_PARAMETERS, DriftParameters
from inspections.domain.drift.posteriors import slip_posteriors
from inspections.domain.drift.records import SLIPS, CountSeen, ReelHistory, Slip
from inspections.domain.drift.sequence import CountSequence, sequences_of
from inspections.domain.drift.smoother import ForwardBackward, forward_backward

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
SURPRISING = 0.01  # a count less probable than this, if neither a slip nor an unlogged cut, is held up
LEAST_OF_A_COURSE = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Plausibility:
    """A count just keyed, held against the history before it.

    tail: probability of a count at least as improbable as this one, if there was neither a slip nor an unlogged cut; 1
    if there is nothing to compare with. expected_turns: what the history predicts. p_unlogged_cut, p_slip: what would
    explain the count, each with or without the other; p_cut_alone: a cut, and the count is as it should be. cut_m,
    cut_low_m, cut_high_m: how long such a cut would be, 90 % interval; 0 where none would explain the count.
    """

    comparable: bool
    tail: float
    expected_turns: float
    seen_turns: float
    p_unlogged_cut: float
    p_cut_alone: float
    cut_m: float
    cut_low_m: float
    cut_high_m: float
    p_slip: float
    likeliest_slip: Slip
    slip_shares: tuple[float, ...]

    @property
    def surprising(self) -> bool:
        """Whether it needs a logged cut, a fresh reading or a reason before it's signed."""
        return self.tail < SURPRISING


def plausibility(
    history_before: ReelHistory, new_count: CountSeen, theta: DriftParameters = DEFAULT_PARAMETERS
) -> Plausibility:
    """How surprising a count is, and what would explain it.

    history_before: everything known, without the new count. new_count: later than all others.
    """
    history = replace(history_before, counts=(*history_before.counts, new_count))
    newest = _last_sequence(history, theta)
    seen = float(newest.sequence.read_turns[-1])
    slips = newest.weights @ slip_posteriors(newest.result)[-1]
    kind = Slip(SLIPS[1 + int(slips[1:].argmax())])
    if newest.sequence.times < 2:
        return Plausibility(
            comparable=False,
            tail=1.0,
            expected_turns=seen,
            seen_turns=seen,
            p_unlogged_cut=0.0,
            p_cut_alone=0.0,
            cut_m=0.0,
            cut_low_m=0.0,
            cut_high_m=0.0,
            p_slip=float(slips[1:].sum()),
            likeliest_slip=kind,
            slip_shares=tuple(slips.tolist()),
        )
    p_cut, alone = newest.p_cut(), newest.cut_alone()
    p_alone = float(alone.sum())
    low, middle, high = (
        quantiles_m(alone[None, :] / p_alone, newest.sequence.cell_m)[0] if p_alone > 1e-3 else (0, 0, 0)
    )
    tail, expected = newest.tail()
    return Plausibility(
        comparable=True,
        tail=tail,
        expected_turns=expected,
        seen_turns=seen,
        p_unlogged_cut=p_cut,
        p_cut_alone=p_alone,
        cut_m=float(middle),
        cut_low_m=float(low),
        cut_high_m=float(high),
        p_slip=float(slips[1:].sum()),
        likeliest_slip=kind,
        slip_shares=tuple(slips.tolist()),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Newest:
    """The newest chain of a reel run forward. weights: of its looseness values; before: without the last count."""

    sequence: CountSequence
    result: ForwardBackward
    weights: FloatArray
    before: FloatArray

    @property
    def batch(self) -> Batch:
        return self.result.batch

    def unmoved(self) -> FloatArray:
        """Belief about the cable before the last count if nothing unlogged was cut: shape (nodes, cells)."""
        t = self.sequence.times - 2
        after = self.result.filtered[t]
        still = self.batch.ahead_fft(t, self.batch.transform(t, after), after.shape[0])
        return self.batch.unmoved(t, after, still)

    def p_cut(self) -> float:
        """Probability of an unlogged cut before the last count."""
        return float(self.by_cut()[0].sum())

    def cut_alone(self) -> FloatArray:
        """Probability of each length of an unlogged cut before the last count, and of no slip at it: shape (cells,)."""
        size, t, theta = 2 * self.batch.kernels.cells, self.sequence.times - 2, self.batch.theta
        read, at_turns = self.sequence.read_turns[-1:], self.sequence.window_turns(t + 1)
        honest = theta.slip_shares[0] * reading_pmf(self.sequence, read, at_turns, theta)[:, 0]
        still, likelihood, q = self.unmoved(), self.batch.likelihoods[-1, :, 0], self.batch.p_cut_open[t][:, None]
        overlap = irfft(rfft(still, size) * np.conj(rfft(honest, size)), size)[:, : size // 2]
        either = (1.0 - q) * still + q * self._after_cut(still)
        scale = self.weights / (either * likelihood).sum(axis=1)
        return cast(FloatArray, scale @ (q * self.batch.kernels.cut * np.maximum(overlap, 0.0)))

    def by_cut(self) -> tuple[FloatArray, FloatArray]:
        """Belief about the cable now, with and without an unlogged cut before the last count: (nodes, cells) each."""
        t = self.sequence.times - 2
        still, likelihood, q = self.unmoved(), self.batch.likelihoods[-1, :, 0], self.batch.p_cut_open[t][:, None]
        cut = q * self._after_cut(still) * likelihood
        none = (1.0 - q) * still * likelihood
        scale = (self.weights / (cut + none).sum(axis=1))[:, None]
        return cut * scale, none * scale

    def _after_cut(self, still: FloatArray) -> FloatArray:
        size = 2 * self.batch.kernels.cells
        after = irfft(rfft(still, size) * np.conj(self.batch.kernels.cut_fft), size)
        return cast(FloatArray, np.maximum(after[:, : size // 2], 0.0))

    def tail(self) -> tuple[float, float]:
        """Probability of a reading no likelier than the last one, and the expected turns; no slip, no cut."""
        still = self.unmoved()
        still /= still.sum(axis=1, keepdims=True) + 1e-300
        at_turns = self.sequence.window_turns(self.sequence.times - 1)
        low = np.floor(at_turns[0])
        readings = np.arange(low, np.floor(at_turns[-1]) + 1)
        every = reading_pmf(self.sequence, readings, at_turns, self.batch.theta)
        chances = np.einsum("n,nc,nrc->r", self.before, still, every)
        seen = float(chances[np.clip(int(self.sequence.read_turns[-1] - low), 0, readings.size - 1)])
        expected = float((self.before @ still) @ at_turns)
        return float(min(chances[chances <= seen * (1 + 1e-9)].sum(), 1.0)), expected


def _last_sequence(history: ReelHistory, theta: DriftParameters) -> _Newest:
    sequence = sequences_of(history, 0, theta)[-1]
    result = _run_one(sequence, theta)
    evidence = result.log_evidence + 0.0
    evidence[0] += np.log(np.array(theta.looseness_shares)[sequence.grid_points] + 1e-9)
    return _Newest(
        sequence=sequence,
        result=result,
        weights=grid_weights(evidence.sum(axis=0)),
        before=grid_weights(evidence[:-1].sum(axis=0)),
    )


def _run_one(sequence: CountSequence, theta: DriftParameters, *, smooth: bool = False) -> ForwardBackward:
    log_states = 3 if sequence.entries else 1
    return forward_backward(
        make_batch([sequence], kernels_for(sequence.cell_m, sequence.cells, theta), theta, log_states),
        smooth=smooth,
    )


def _bits(p: FloatArray) -> FloatArray:
    q = np.clip(p, 1e-12, 1.0 - 1e-12)
    return -(q * np.log2(q) + (1.0 - q) * np.log2(1.0 - q))


@dataclass(frozen=True, slots=True, kw_only=True)
class Recount:
    """One more count now, and the question whether there was an unlogged cut before the newest one.

    p_cut: what is believed of it now. doubt_bits: how open the question is, 0 (settled) to 1 (even odds). worth_bits:
    by how much the count is expected to lower that.
    """

    p_cut: float
    doubt_bits: float
    worth_bits: float

    @property
    def settled_share(self) -> float:
        """The share of the doubt that one more count is expected to take away, 0 to 1."""
        return min(self.worth_bits / self.doubt_bits, 1.0) if self.doubt_bits else 0.0


NOTHING_TO_ASK = Recount(p_cut=0.0, doubt_bits=0.0, worth_bits=0.0)


def worth_of_recount(history: ReelHistory, theta: DriftParameters = DEFAULT_PARAMETERS) -> float:
    """How much one more count now would tell about an unlogged cut before the newest one, in bits; see `recount`."""
    return recount(history, theta).worth_bits


def recount(history: ReelHistory, theta: DriftParameters = DEFAULT_PARAMETERS) -> Recount:
    """What is believed of an unlogged cut before the newest count, and what one more count would tell of it.

    NOTHING_TO_ASK with fewer than two counts since the cable was new.
    Source: mutual information, Lindley (1956).
    """
    if not history.counts:
        return NOTHING_TO_ASK
    newest = _last_sequence(history, theta)
    if newest.sequence.times < 2:
        return NOTHING_TO_ASK
    with_cut, without = newest.by_cut()
    at_turns = newest.sequence.window_turns(newest.sequence.times - 1)
    low, high = np.floor(at_turns[[0, -1]])
    chances = reading_pmf(newest.sequence, np.arange(low, high, dtype=np.float64), at_turns, theta)
    cut = np.einsum("nc,nrc->r", with_cut, chances)
    none = np.einsum("nc,nrc->r", without, chances)
    p = float(with_cut.sum())
    seen = cut + none
    doubt = float(_bits(np.array(p)))
    after = float((seen * _bits(cut / (seen + 1e-300))).sum() + (1.0 - min(seen.sum(), 1.0)) * doubt)
    return Recount(p_cut=p, doubt_bits=doubt, worth_bits=max(doubt - after, 0.0))


def most_probable_course(history: ReelHistory, theta: DriftParameters = DEFAULT_PARAMETERS) -> tuple[float, ...]:
    """The single most probable course of a reel: turns on the drum at each count, in order of time.

    The looseness is the likeliest one and log entries are taken in the interval where they stand. Lengths that all
    counts together make less probable than LEAST_OF_A_COURSE are not looked at.
    """
    course: list[float] = []
    for sequence in sequences_of(history, 0, theta):
        result = _run_one(sequence, theta, smooth=True)
        batch, grid_point = result.batch, int(result.log_evidence.sum(axis=0).argmax())
        smoothed = (result.filtered[:, grid_point] * result.backward[:, grid_point]).sum(axis=1)
        cells = [np.flatnonzero(row >= LEAST_OF_A_COURSE * row.sum()) for row in smoothed]
        start = np.log(batch.start[grid_point].sum(axis=0)[cells[0]] + 1e-300)
        fits = [np.log(batch.likelihoods[t, grid_point, 0, mine] + 1e-300) for t, mine in enumerate(cells)]
        states = viterbi(start, fits, partial(_log_step, batch, grid_point, cells))
        chosen = np.array([mine[state] for mine, state in zip(cells, states, strict=True)])
        course.extend(sequence.winding.turns(sequence.cell_m * (sequence.offsets + chosen)).tolist())
    return tuple(course)


def _log_step(batch: Batch, grid_point: int, cells: Sequence[IntArray], t: int) -> FloatArray:
    """Logarithm of the step from each of the cells at t to each of those at t + 1."""
    move = batch.move_of[t + 1, grid_point]
    fft = np.conj(batch.cut_factor(t, grid_point + 1)[grid_point])
    fft = fft if move < 0 else fft * batch.move_ffts[move]
    many = batch.kernels.cells
    kernel = np.maximum(irfft(fft, 2 * many)[:many], 0.0)
    drop = cells[t][:, None] - cells[t + 1][None, :] - batch.shift[t, grid_point]
    inside = (drop >= 0) & (drop < many)
    return cast(FloatArray, np.log(np.where(inside, kernel[np.clip(drop, 0, many - 1)], 0.0) + 1e-300))
