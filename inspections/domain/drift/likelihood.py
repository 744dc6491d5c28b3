"""What a count tells: how probable it is at each length of cable, without a slip and by way of each slip."""

from typing import cast

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from inspections.domain.drift.looseness import spread_factor
from inspections.domain.drift.parameters import LOOSENESS_GRID_STEP, LOOSENESS_GRID_WRAPS, DriftParameters
from inspections.domain.drift.records import SLIPS, Slip
from inspections.domain.drift.sequence import CountSequence

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

NEARBY_WRAPS = 3.0

# Looseness table: spread (rows) by difference between reading and truth in sixteenths of a wrap (columns).
_LEVELS_PER_NODE = 3
_TABLE_SPREADS = 0.04 * np.exp(LOOSENESS_GRID_STEP / _LEVELS_PER_NODE * np.arange(72))
_HALF_WIDTH = 960
_DIFFERENCES = np.arange(-_HALF_WIDTH, _HALF_WIDTH + 1) / 16.0
_READING_TABLE = ndtr((_DIFFERENCES + 0.5) / _TABLE_SPREADS[:, None]) - ndtr(
    (_DIFFERENCES - 0.5) / _TABLE_SPREADS[:, None]
)


def reading_pmf(sequence: CountSequence, turns: FloatArray, at_turns: FloatArray, theta: DriftParameters) -> FloatArray:
    """Probability to read exactly these whole turns, without a slip, if so many are there.

    turns: shape (n,). at_turns: shape (cells,). Returns shape (nodes, n, cells).
    """
    column = np.rint((turns[:, None] - at_turns[None, :]) * 16.0).astype(np.int32)
    column += _HALF_WIDTH
    np.clip(column, 0, 2 * _HALF_WIDTH, out=column)
    factor = spread_factor(turns, sequence.winding, theta.fullness_power)
    in_cell = 0.25 * sequence.cell_m / sequence.winding.metres_per_wrap(float(turns[0]))
    spread = np.hypot(LOOSENESS_GRID_WRAPS[sequence.grid_points][:, None] * factor, in_cell)
    level = np.rint(np.log(spread / _TABLE_SPREADS[0]) * _LEVELS_PER_NODE / LOOSENESS_GRID_STEP).astype(np.int64)
    start = (np.clip(level, 0, _TABLE_SPREADS.size - 1) * _DIFFERENCES.size).astype(np.int32)
    return cast(FloatArray, _READING_TABLE.ravel().take(start[:, :, None] + column))


def nearby_pmf(read_turns: FloatArray, at_turns: FloatArray) -> FloatArray:
    """Probability to read a few wraps off: shape (n, cells)."""
    distance = np.abs(read_turns[:, None] - at_turns[None, :])
    return np.exp(-distance / NEARBY_WRAPS) / (2.0 * NEARBY_WRAPS)


def hypotheses_of(sequence: CountSequence, a: int, b: int) -> tuple[slice, FloatArray, IntArray]:
    """The hypotheses of counts a to b: where they are, the turns that they stem from, which of these each does."""
    mine = slice(*np.searchsorted(sequence.hypothesis_time, [a, b]))
    turns, place = np.unique(sequence.hypothesis_turns[mine], return_inverse=True)
    return mine, turns, place


def count_likelihoods(sequence: CountSequence, a: int, b: int, theta: DriftParameters) -> FloatArray:
    """Probability of each count a to b, which share a window, at each cell: shape (b - a, nodes, cells)."""
    shares, at_turns = np.array(theta.slip_shares), sequence.window_turns(a)
    mine, turns, place = hypotheses_of(sequence, a, b)
    weights = np.zeros((b - a, turns.size))
    np.add.at(
        weights,
        (sequence.hypothesis_time[mine] - a, place),
        sequence.hypothesis_weight[mine] * shares[sequence.hypothesis_slip[mine]],
    )
    shared = (
        shares[SLIPS.index(Slip.NEARBY)] * nearby_pmf(sequence.read_turns[a:b], at_turns)
        + _flat(sequence, shares)[a:b, None]
    )
    return cast(
        FloatArray, np.moveaxis(weights @ reading_pmf(sequence, turns, at_turns, theta), 0, 1) + shared[:, None, :]
    )


def _flat(sequence: CountSequence, shares: FloatArray) -> FloatArray:
    """The part of each count's probability that is the same at every cell: copied, or anything at all."""
    anything = shares[SLIPS.index(Slip.ANYTHING)] / (sequence.winding.below_turns[-1] + 1.0)
    return cast(FloatArray, shares[SLIPS.index(Slip.COPIED)] * sequence.copied + anything)


def slip_likelihoods(
    sequence: CountSequence, a: int, b: int, smoothed: FloatArray, theta: DriftParameters
) -> FloatArray:
    """Unscaled probability of each slip at counts a to b: (b - a, nodes, slips). believed: (b - a, nodes, cells)."""
    shares, at_turns = np.array(theta.slip_shares), sequence.window_turns(a)
    hypotheses, turns, true = hypotheses_of(sequence, a, b)
    time, slip = sequence.hypothesis_time[hypotheses] - a, sequence.hypothesis_slip[hypotheses]
    fit = reading_pmf(sequence, turns, at_turns, theta)
    met = np.matmul(np.moveaxis(smoothed, 1, 0), np.moveaxis(fit, 1, 2))
    out = np.zeros((len(SLIPS), b - a, fit.shape[0]))
    part = met[:, time, true].T * (sequence.hypothesis_weight[hypotheses] * shares[slip])[:, None]
    np.add.at(out, (slip, time), part)
    total = smoothed.sum(axis=2)
    near = nearby_pmf(sequence.read_turns[a:b], at_turns)
    anything = shares[SLIPS.index(Slip.ANYTHING)] / (sequence.winding.below_turns[-1] + 1.0)
    out[SLIPS.index(Slip.NEARBY)] = shares[SLIPS.index(Slip.NEARBY)] * np.einsum("tnc,tc->tn", smoothed, near)
    out[SLIPS.index(Slip.COPIED)] = shares[SLIPS.index(Slip.COPIED)] * sequence.copied[a:b, None] * total
    out[SLIPS.index(Slip.ANYTHING)] = anything * total
    return np.moveaxis(out, 0, 2)
