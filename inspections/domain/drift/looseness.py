"""How loosely a reel is wound: what spread of its counts is likely, before the inference proper."""

from typing import cast

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from inspections.domain.drift.geometry import WindingTable, days_between, ordered_counts, turns_of_counts, winding_table
from inspections.domain.drift.parameters import LOOSENESS_GRID_WRAPS, DriftParameters
from inspections.domain.drift.records import ReelHistory

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

GRID_POINTS_TRIED = 3  # looseness values tried for a reel: the likeliest one and its neighbours
COUNTS_THAT_SHOW_IT = 25
LEAST_GRID_SHARE = 1e-4  # looseness values less likely than this, next to the likeliest, aren't tried


def spread_factor(turns: FloatArray, winding: WindingTable, power: float) -> FloatArray:
    """How much looser a count is than on a half-full drum."""
    half = winding.below_turns[-1] / 2.0
    return cast(FloatArray, np.clip(np.maximum(turns, 1.0) / half, 0.05, 4.0) ** power)


def likely_grid_points(history: ReelHistory, theta: DriftParameters) -> IntArray:
    """The looseness values, side by side, that differences between neighbouring counts make likeliest.

    A reel that was counted often shows its looseness well, and its values lie close together; else every other one is
    tried.
    """
    support = np.log(np.array(theta.looseness_shares) + 1e-6) + looseness_support(history, theta)
    share = np.exp(support - support.max())
    share /= share.sum()
    stride = 1 if len(history.counts) >= COUNTS_THAT_SHOW_IT else 2
    tried = np.zeros(1 + stride * (GRID_POINTS_TRIED - 1))
    tried[::stride] = 1.0
    first = int(np.convolve(share, tried, mode="valid").argmax())
    grid_points = np.arange(first, first + tried.size, stride)
    return cast(IntArray, grid_points[share[grid_points] >= LEAST_GRID_SHARE * share.max()])


def looseness_support(history: ReelHistory, theta: DriftParameters) -> FloatArray:
    """A quick look at a reel's looseness: log likelihood of each of LOOSENESS_WRAPS, from neighbouring counts only.

    A difference is looseness, an unlogged cut, or, in one case of twenty, anything at all: were cuts left out, a reel
    that lost some would be taken for a loose one. Neighbouring differences share a count, which is why each of them
    counts for a little less than one.
    """
    counts = ordered_counts(history)
    winding = winding_table(history.drum)
    turns, days = turns_of_counts(counts, winding), np.array([days_between(c.at, counts[0].at) for c in counts])
    wrap_m = np.array([winding.metres_per_wrap(t) for t in turns])
    replaced = sorted(days_between(at, counts[0].at) for at in history.replaced_at)
    part = np.searchsorted(replaced, days, side="right")
    cut_turns = np.zeros(max(turns.size - 1, 0))
    for cut in history.cuts:
        place = int(np.searchsorted(days, days_between(cut.at, counts[0].at), side="right")) - 1
        if 0 <= place < cut_turns.size:
            cut_turns[place] += cut.length_m / wrap_m[place]
    change = np.diff(turns) + cut_turns
    spread = np.sqrt(2.0) * LOOSENESS_GRID_WRAPS[:, None] * spread_factor(turns[1:], winding, theta.fullness_power)
    found = _reading(change[None, :], np.hypot(spread, np.where(cut_turns > 0, 0.5, 0.28)))
    p_cut = theta.p_cut(np.diff(days))
    drop_m = -change * wrap_m[:-1]
    lost = p_cut * (theta.sizes_below(drop_m + 0.5 * wrap_m[:-1]) - theta.sizes_below(drop_m - 0.5 * wrap_m[:-1]))
    likely = (0.95 - p_cut) * found + lost + 0.05 / 60.0
    return cast(FloatArray, 0.7 * np.log(likely)[:, part[1:] == part[:-1]].sum(axis=1))


def _reading(difference: FloatArray, spread: FloatArray) -> FloatArray:
    return cast(FloatArray, ndtr((difference + 0.5) / spread) - ndtr((difference - 0.5) / spread))
