"""The newest count of a reel: is it plausible, what would explain it, and would one more count settle it?"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, rfft

from inspections.domain.drift_batch import Batch, make_batch
from inspections.domain.drift_beliefs import slip_beliefs
from inspections.domain.drift_chain import Chain, chains_of
from inspections.domain.drift_engine import Run, run
from inspections.domain.drift_fleet import node_weights, quantiles_m
from inspections.domain.drift_kernels import kernels_for
from inspections.domain.drift_rates import DEFAULT_RATES, Rates
from inspections.domain.drift_reading import reading_chances
from inspections.domain.drift_records import SLIPS, CountSeen, ReelHistory, Slip
from inspections.domain.hidden_chain import viterbi

FloatArray = NDArray[np.float64]
SURPRISING = 0.01  # a count less probable than this, if neither a slip nor an unlogged cut, is held up


@dataclass(frozen=True, slots=True, kw_only=True)
class Plausibility:
    """A count just keyed, held against the history before it.

    tail: probability of a count at least as improbable as this one, if there was neither a slip nor an unlogged cut; 1
    if there is nothing to compare with. expected_turns: what the history predicts. p_unlogged_cut, p_slip: what would
    explain the count. cut_m, cut_low_m, cut_high_m: how long the cut would be, 90 % interval. meant: layers and wraps
    that the likeliest slip would have come from.
    """

    comparable: bool
    tail: float
    expected_turns: float
    seen_turns: float
    p_unlogged_cut: float
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


def plausibility(history_before: ReelHistory, new_count: CountSeen, rates: Rates = DEFAULT_RATES) -> Plausibility:
    """How surprising a count is, and what would explain it.

    history_before: everything known, without the new count. new_count: later than all others.
    """
    history = replace(history_before, counts=(*history_before.counts, new_count))
    newest = _newest(history, rates)
    seen = float(newest.chain.read_turns[-1])
    slips = newest.weights @ slip_beliefs(newest.result)[-1]
    kind = Slip(SLIPS[1 + int(slips[1:].argmax())])
    if newest.chain.times < 2:
        return Plausibility(
            comparable=False,
            tail=1.0,
            expected_turns=seen,
            seen_turns=seen,
            p_unlogged_cut=0.0,
            cut_m=0.0,
            cut_low_m=0.0,
            cut_high_m=0.0,
            p_slip=float(slips[1:].sum()),
            likeliest_slip=kind,
            slip_shares=tuple(slips.tolist()),
        )
    p_cut, sizes = newest.cut()
    low, middle, high = quantiles_m(sizes[None, :], newest.chain.cell_m)[0]
    tail, expected = newest.tail()
    return Plausibility(
        comparable=True,
        tail=tail,
        expected_turns=expected,
        seen_turns=seen,
        p_unlogged_cut=p_cut,
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

    chain: Chain
    result: Run
    weights: FloatArray
    before: FloatArray

    @property
    def batch(self) -> Batch:
        return self.result.batch

    def unmoved(self) -> FloatArray:
        """Belief about the cable before the last count if nothing unlogged was cut: shape (nodes, cells)."""
        t = self.chain.times - 2
        after = self.result.after[t]
        still = self.batch.ahead_hat(t, self.batch.transform(t, after), after.shape[0])
        return self.batch.unmoved(t, after, still)

    def cut(self) -> tuple[float, FloatArray]:
        """Probability of an unlogged cut before the last count, and the distribution of its length in cells."""
        size, t = 2 * self.batch.kernels.cells, self.chain.times - 2
        still, likelihood = self.unmoved(), self.batch.likelihoods[-1, :, 0]
        overlap = irfft(rfft(still, size) * np.conj(rfft(likelihood, size)), size)[:, : size // 2]
        q = self.batch.p_cut_open[t]
        sizes = q[:, None] * self.batch.kernels.cut * np.maximum(overlap, 0.0) + 1e-300
        p = sizes.sum(axis=1) / (sizes.sum(axis=1) + (1.0 - q) * np.maximum(overlap[:, 0], 0.0))
        together = (self.weights * p / sizes.sum(axis=1)) @ sizes
        return float(self.weights @ p), together / together.sum()

    def by_cut(self) -> tuple[FloatArray, FloatArray]:
        """Belief about the cable now, with and without an unlogged cut before the last count: (nodes, cells) each."""
        size, t = 2 * self.batch.kernels.cells, self.chain.times - 2
        still, likelihood, q = self.unmoved(), self.batch.likelihoods[-1, :, 0], self.batch.p_cut_open[t][:, None]
        cut_hat = rfft(still, size) * np.conj(self.batch.kernels.cut_hat)
        cut = q * np.maximum(irfft(cut_hat, size)[:, : size // 2], 0.0) * likelihood
        none = (1.0 - q) * still * likelihood
        scale = (self.weights / (cut + none).sum(axis=1))[:, None]
        return cut * scale, none * scale

    def tail(self) -> tuple[float, float]:
        """Probability of a reading no likelier than the last one, and the expected turns; no slip, no cut."""
        still = self.unmoved()
        still /= still.sum(axis=1, keepdims=True) + 1e-300
        at_turns = self.chain.window_turns(self.chain.times - 1)
        low = np.floor(at_turns[0])
        readings = np.arange(low, np.floor(at_turns[-1]) + 1)
        every = reading_chances(self.chain, readings, at_turns, self.batch.rates)
        chances = np.einsum("n,nc,nrc->r", self.before, still, every)
        seen = float(chances[np.clip(int(self.chain.read_turns[-1] - low), 0, readings.size - 1)])
        expected = float((self.before @ still) @ at_turns)
        return float(min(chances[chances <= seen * (1 + 1e-9)].sum(), 1.0)), expected


def _newest(history: ReelHistory, rates: Rates) -> _Newest:
    chain = chains_of(history, 0, rates)[-1]
    result = _run_one(chain, rates)
    evidence = result.log_evidence + 0.0
    evidence[0] += np.log(np.array(rates.looseness_shares)[chain.nodes] + 1e-9)
    return _Newest(
        chain=chain,
        result=result,
        weights=node_weights(evidence.sum(axis=0)),
        before=node_weights(evidence[:-1].sum(axis=0)),
    )


def _run_one(chain: Chain, rates: Rates) -> Run:
    lanes = 3 if chain.entries else 1
    return run(make_batch([chain], kernels_for(chain.cell_m, chain.cells, rates), rates, lanes), smooth=False)


def _bits(p: FloatArray) -> FloatArray:
    q = np.clip(p, 1e-12, 1.0 - 1e-12)
    return -(q * np.log2(q) + (1.0 - q) * np.log2(1.0 - q))


def worth_of_recount(history: ReelHistory, rates: Rates = DEFAULT_RATES) -> float:
    """How much one more count now would tell about an unlogged cut before the newest one.

    Returns bits, 0 (nothing to learn) to 1: the expected fall of the uncertainty whether there was a cut. A reel with
    fewer than two counts since the cable was new is worth 0.
    Source: mutual information, Lindley (1956).
    """
    if not history.counts:
        return 0.0
    newest = _newest(history, rates)
    if newest.chain.times < 2:
        return 0.0
    with_cut, without = newest.by_cut()
    at_turns = newest.chain.window_turns(newest.chain.times - 1)
    low, high = np.floor(at_turns[[0, -1]])
    chances = reading_chances(newest.chain, np.arange(low, high, dtype=np.float64), at_turns, rates)
    cut = np.einsum("nc,nrc->r", with_cut, chances)
    none = np.einsum("nc,nrc->r", without, chances)
    p = float(with_cut.sum())
    seen = cut + none
    after = float((seen * _bits(cut / (seen + 1e-300))).sum() + (1.0 - min(seen.sum(), 1.0)) * _bits(np.array(p)))
    return max(float(_bits(np.array(p))) - after, 0.0)


def most_probable_course(history: ReelHistory, rates: Rates = DEFAULT_RATES) -> tuple[float, ...]:
    """The single most probable course of a reel: turns on the drum at each count, in order of time.

    The looseness is the likeliest one and log entries are taken in the interval where they stand.
    """
    course: list[float] = []
    for chain in chains_of(history, 0, rates):
        result = _run_one(chain, rates)
        node = int(result.log_evidence.sum(axis=0).argmax())
        steps = _log_steps(result.batch, node)
        start = np.log(result.batch.start[node].sum(axis=0) + 1e-300)
        states = viterbi(start, np.log(result.batch.likelihoods[:, node, 0] + 1e-300), steps.__getitem__)
        metres = np.asarray(chain.cell_m * (chain.offsets + states), dtype=np.float64)
        course.extend(chain.winding.turns(metres).tolist())
    return tuple(course)


def _log_steps(batch: Batch, node: int) -> list[FloatArray]:
    """Logarithm of the step from every cell to every other, for each interval."""
    cells = batch.kernels.cells
    steps = []
    for t in range(batch.likelihoods.shape[0] - 1):
        drop = np.arange(cells)[:, None] - np.arange(cells)[None, :] - batch.shift[t, node]
        move = batch.move_of[t + 1, node]
        hat = np.conj(batch.cut_factor(t, node + 1)[node])
        hat = hat if move < 0 else hat * batch.move_hats[move]
        kernel = np.maximum(irfft(hat, 2 * cells)[:cells], 0.0)
        steps.append(np.log(np.where((drop >= 0) & (drop < cells), kernel[np.clip(drop, 0, cells - 1)], 0.0) + 1e-300))
    return steps
