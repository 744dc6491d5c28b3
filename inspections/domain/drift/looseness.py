"""σ, how loosely a reel is wound: which values of the looseness grid are likely, before the inference proper."""

from typing import cast

import numpy as np
import scipy

from inspections.domain.drift.geometry import WindingTable, days_between, ordered_counts, turns_of_counts, winding_table
from inspections.domain.drift.hidden_markov import FloatArray, IntArray
from inspections.domain.drift.parameters import LOOSENESS_GRID_WRAPS, DriftParameters
from inspections.domain.drift.records import ReelHistory

# Values of the looseness grid tried for a reel: the likeliest one and its neighbours. The time that everything takes
# goes with it; with one alone, probabilities come out too sure.
GRID_POINTS_TRIED = 3
# A reel counted so often shows its looseness well, and the values tried lie side by side; else every other one.
COUNTS_THAT_SHOW_IT = 25
# Values less likely than this, next to the likeliest, aren't tried: nothing but time is saved by more.
LEAST_GRID_SHARE = 1e-4


def spread_factor(turns: FloatArray, winding: WindingTable, power: float) -> FloatArray:
    """How much looser a count is than on a half-full drum: (turns / half)^power, held within sensible bounds."""
    half = winding.below_turns[-1] / 2.0
    return cast(FloatArray, np.clip(np.maximum(turns, 1.0) / half, 0.05, 4.0) ** power)


def likely_grid_points(history: ReelHistory, theta: DriftParameters) -> IntArray:
    """Places in the looseness grid, evenly spaced, that differences between neighbouring counts make likeliest."""
    share = scipy.special.softmax(
        np.log(np.array(theta.looseness_shares) + 1e-6) + looseness_log_likelihood(history, theta)
    )
    stride = 1 if len(history.counts) >= COUNTS_THAT_SHOW_IT else 2
    tried = np.zeros(1 + stride * (GRID_POINTS_TRIED - 1))
    tried[::stride] = 1.0
    # the place from which the values that would be tried hold most of the probability
    first = int(np.convolve(share, tried, mode="valid").argmax())
    grid_points = np.arange(first, first + tried.size, stride)
    return cast(IntArray, grid_points[share[grid_points] >= LEAST_GRID_SHARE * share.max()])


def looseness_log_likelihood(history: ReelHistory, theta: DriftParameters) -> FloatArray:
    """A quick look at a reel's looseness: log likelihood of each of LOOSENESS_GRID_WRAPS, from neighbouring counts.

    A difference is looseness, an unlogged cut, or, in one case of twenty, anything at all within sixty wraps: were cuts
    left out, a reel that lost some would be taken for a loose one. Neighbouring differences share a count, which is why
    each of them counts for 0.7 of one.
    """
    counts = ordered_counts(history)
    winding = winding_table(history.drum)
    turns, days = turns_of_counts(counts, winding), np.array([days_between(c.at, counts[0].at) for c in counts])
    wrap_m = np.array([winding.metres_per_wrap(t) for t in turns])
    replaced = sorted(days_between(at, counts[0].at) for at in history.replaced_at)
    part = np.searchsorted(replaced, days, side="right")
    cut_turns = np.zeros(max(turns.size - 1, 0))
    for cut in history.cuts:
        interval = int(np.searchsorted(days, days_between(cut.at, counts[0].at), side="right")) - 1
        if 0 <= interval < cut_turns.size:
            cut_turns[interval] += cut.length_m / wrap_m[interval]
    change = np.diff(turns) + cut_turns
    # A difference has the spread of two counts; 0.28 = 1/√12 wraps are those of the earlier one's rounding, and a
    # logged cut is some tenths of a wrap off besides.
    spread = np.sqrt(2.0) * LOOSENESS_GRID_WRAPS[:, None] * spread_factor(turns[1:], winding, theta.fullness_power)
    kept = whole_wrap_pmf(change[None, :], np.hypot(spread, np.where(cut_turns > 0, 0.5, 0.28)))
    p_cut = theta.p_cut(np.diff(days))
    drop_m, half_m = -change * wrap_m[:-1], 0.5 * wrap_m[:-1]
    lost = p_cut * (theta.sizes_below(drop_m + half_m) - theta.sizes_below(drop_m - half_m))
    likely = (0.95 - p_cut) * kept + lost + 0.05 / 60.0
    return cast(FloatArray, 0.7 * np.log(likely)[:, part[1:] == part[:-1]].sum(axis=1))


def whole_wrap_pmf(difference: FloatArray, spread: FloatArray) -> FloatArray:
    """Probability that a normal of this spread, rounded to whole wraps, falls on a reading so far from its mean."""
    return cast(
        FloatArray, scipy.special.ndtr((difference + 0.5) / spread) - scipy.special.ndtr((difference - 0.5) / spread)
    )
