"""p(y_t | x_t, σ): how probable a count is at each length of cable, without a slip and by way of each slip.

Without a slip the turns on the drum, τ(x), are seen through the looseness of the winding and rounded to whole wraps:

    p(read r | x, σ) = Φ((r + ½ − τ(x)) / s) − Φ((r − ½ − τ(x)) / s),    s = σ (r / half)^γ

where half is a half-full drum's turns. An ordinary slip reads right from a wrong number of turns: its hypotheses h are
the turns from which it leads to y. The others say little or nothing of x:

    p(y | x, σ) = Σ_slip π_slip Σ_h w_h p(read h | x, σ)
                  + π_nearby exp(−|y − τ(x)| / 3) / 6 + π_copied [y = y_before] + π_anything / (a full drum's turns + 1)
"""

from functools import cache
from typing import cast

import numpy as np

from inspections.domain.drift.fixed import FIXED
from inspections.domain.drift.hidden_markov import IntArray
from inspections.domain.drift.looseness import spread_factor, whole_wrap_pmf
from inspections.domain.drift.parameters import LOOSENESS_GRID_STEP, LOOSENESS_GRID_WRAPS, DriftParameters
from inspections.domain.drift.records import SLIPS, Slip
from inspections.domain.drift.sequence import CountSequence
from reels.domain.uncertainty import FloatArray

# The normal integrals come from a table, which takes a sixth of the time: by spread (rows, a third of a step of the
# looseness grid apart, 0.04 to 10 wraps) and by distance (columns, to a sixteenth of a wrap, up to 60 wraps on either
# side). Steps of half the size would halve the mean error of 0.008 and make four times of the table's 1.1 MB.
_LEVELS_PER_STEP = 3
_TABLE_SPREADS = 0.04 * np.exp(LOOSENESS_GRID_STEP / _LEVELS_PER_STEP * np.arange(72))
_HALF_WIDTH = 960
_DISTANCES = np.arange(-_HALF_WIDTH, _HALF_WIDTH + 1) / 16.0


@cache
def _pmf_table() -> FloatArray:
    """Probability of each distance at each spread: shape (spreads, distances), made when first asked for."""
    return whole_wrap_pmf(_DISTANCES, _TABLE_SPREADS[:, None])


def reading_pmf(sequence: CountSequence, turns: FloatArray, at_turns: FloatArray, theta: DriftParameters) -> FloatArray:
    """p(read exactly these whole turns, without a slip | so many are there), for each looseness tried.

    turns: shape (n,). at_turns: shape (cells,). Returns shape (grid points, n, cells).
    """
    column = np.rint((turns[:, None] - at_turns[None, :]) * 16.0).astype(np.int32)
    column += _HALF_WIDTH
    np.clip(column, 0, 2 * _HALF_WIDTH, out=column)
    factor = spread_factor(turns, sequence.winding, theta.fullness_power)
    in_cell = FIXED.in_cell * sequence.cell_m / sequence.winding.metres_per_wrap(float(turns[0]))
    spread = np.hypot(LOOSENESS_GRID_WRAPS[sequence.grid_points][:, None] * factor, in_cell)
    level = np.rint(np.log(spread / _TABLE_SPREADS[0]) * _LEVELS_PER_STEP / LOOSENESS_GRID_STEP).astype(np.int64)
    start = (np.clip(level, 0, _TABLE_SPREADS.size - 1) * _DISTANCES.size).astype(np.int32)
    return cast(FloatArray, _pmf_table().ravel().take(start[:, :, None] + column))


def _nearby_pmf(read_turns: FloatArray, at_turns: FloatArray) -> FloatArray:
    """Probability to read a few wraps off: shape (n, cells)."""
    distance = np.abs(read_turns[:, None] - at_turns[None, :])
    return np.exp(-distance / FIXED.nearby_wraps) / (2.0 * FIXED.nearby_wraps)


def _anything(sequence: CountSequence, shares: FloatArray) -> float:
    return float(shares[SLIPS.index(Slip.ANYTHING)] / (sequence.winding.below_turns[-1] + 1.0))


def _hypotheses_of(sequence: CountSequence, a: int, b: int) -> tuple[slice, FloatArray, IntArray]:
    """The hypotheses of counts a to b: where they are, the turns that they stem from, which of these each does."""
    rows = slice(*np.searchsorted(sequence.hypothesis_time, [a, b]))
    turns, place = np.unique(sequence.hypothesis_turns[rows], return_inverse=True)
    return rows, turns, place


def count_likelihoods(sequence: CountSequence, a: int, b: int, theta: DriftParameters) -> FloatArray:
    """p(y_t | x_t, σ) of counts a to b, which share a window, at each cell: shape (b - a, grid points, cells)."""
    shares, at_turns = np.array(theta.slip_shares), sequence.window_turns(a)
    rows, turns, place = _hypotheses_of(sequence, a, b)
    # Many hypotheses stem from the same turns: each of these is looked up once, and the weights of all are summed.
    weights = np.zeros((b - a, turns.size))
    np.add.at(
        weights,
        (sequence.hypothesis_time[rows] - a, place),
        sequence.hypothesis_weight[rows] * shares[sequence.hypothesis_slip[rows]],
    )
    flat = shares[SLIPS.index(Slip.COPIED)] * sequence.copied[a:b] + _anything(sequence, shares)
    shared = shares[SLIPS.index(Slip.NEARBY)] * _nearby_pmf(sequence.read_turns[a:b], at_turns) + flat[:, None]
    by_hypothesis = np.moveaxis(weights @ reading_pmf(sequence, turns, at_turns, theta), 0, 1)
    return cast(FloatArray, by_hypothesis + shared[:, None, :])


def slip_likelihoods(sequence: CountSequence, a: int, b: int, others: FloatArray, theta: DriftParameters) -> FloatArray:
    """p(y_t, slip | all other counts), unscaled, of counts a to b: shape (b - a, grid points, slips).

    others: p(x_t | all other counts), unscaled, shape (b - a, grid points, cells).
    """
    shares, at_turns = np.array(theta.slip_shares), sequence.window_turns(a)
    rows, turns, place = _hypotheses_of(sequence, a, b)
    time, slip = sequence.hypothesis_time[rows] - a, sequence.hypothesis_slip[rows]
    pmf = reading_pmf(sequence, turns, at_turns, theta)
    at_hypothesis = np.matmul(np.moveaxis(others, 1, 0), np.moveaxis(pmf, 1, 2))
    out = np.zeros((len(SLIPS), b - a, pmf.shape[0]))
    weighted = at_hypothesis[:, time, place].T * (sequence.hypothesis_weight[rows] * shares[slip])[:, None]
    np.add.at(out, (slip, time), weighted)
    total = others.sum(axis=2)
    nearby, copied = SLIPS.index(Slip.NEARBY), SLIPS.index(Slip.COPIED)
    out[nearby] = shares[nearby] * np.einsum("tnc,tc->tn", others, _nearby_pmf(sequence.read_turns[a:b], at_turns))
    out[copied] = shares[copied] * sequence.copied[a:b, None] * total
    out[SLIPS.index(Slip.ANYTHING)] = _anything(sequence, shares) * total
    return np.moveaxis(out, 0, 2)
