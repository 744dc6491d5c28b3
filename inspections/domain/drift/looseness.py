"""σ, how loosely a reel is wound: which values of the looseness grid are likely, before the inference proper."""

from typing import cast

import numpy as np
import scipy
from numpy.typing import NDArray

from inspections.domain.drift.fixed import FIXED
from inspections.domain.drift.geometry import WindingTable, days_between, ordered_counts, turns_of_counts, winding_table
from inspections.domain.drift.hidden_markov import IntArray
from inspections.domain.drift.parameters import LOOSENESS_GRID_WRAPS, DriftParameters
from inspections.domain.drift.records import ReelHistory
from reels.domain.uncertainty import FloatArray

BoolArray = NDArray[np.bool_]


def spread_factor(turns: FloatArray, winding: WindingTable, power: float) -> FloatArray:
    """How much looser a count is than on a half-full drum: (turns / half)^power, held within sensible bounds."""
    half = winding.below_turns[-1] / 2.0
    fullness = np.clip(np.maximum(turns, 1.0) / half, FIXED.least_fullness, FIXED.most_fullness)
    return cast(FloatArray, fullness**power)


def likely_grid_points(history: ReelHistory, theta: DriftParameters) -> IntArray:
    """Places in the looseness grid, evenly spaced, that differences between neighbouring counts make likeliest."""
    share = scipy.special.softmax(
        np.log(np.array(theta.looseness_shares) + 1e-6) + looseness_log_likelihood(history, theta)
    )
    stride = 1 if len(history.counts) >= FIXED.counts_that_show_it else 2
    tried = np.zeros(1 + stride * (FIXED.looseness_tried - 1))
    tried[::stride] = 1.0
    # the place from which the values that would be tried hold most of the probability
    first = int(np.convolve(share, tried, mode="valid").argmax())
    grid_points = np.arange(first, first + tried.size, stride)
    return cast(IntArray, grid_points[share[grid_points] >= FIXED.least_grid_share * share.max()])


def looseness_log_likelihood(history: ReelHistory, theta: DriftParameters) -> FloatArray:
    """A quick look at a reel's looseness: log likelihood of each of LOOSENESS_GRID_WRAPS, from neighbouring counts."""
    likely, comparable = difference_likelihoods(history, theta)
    return cast(FloatArray, FIXED.quick_weight * np.log(likely)[:, comparable].sum(axis=1))


def difference_likelihoods(
    history: ReelHistory,
    theta: DriftParameters,
    higher_by: FloatArray | float = 0.0,
    grid_points: IntArray | slice = slice(None),
) -> tuple[FloatArray, BoolArray]:
    """p(difference of neighbouring counts | σ), and of which the cable was not replaced in between.

    A difference is looseness, one wrap off besides, an unlogged cut, or anything at all. higher_by: wraps by which each
    later count is higher for another reason, or several to try. grid_points: places in the looseness grid, if not all.
    Shapes (as higher_by, looseness values, intervals), (intervals,).
    """
    counts = ordered_counts(history)
    winding = winding_table(history.drum)
    turns, days = turns_of_counts(counts, winding), np.array([days_between(c.at, counts[0].at) for c in counts])
    turns = turns - theta.taken_off(counts)
    wrap_m = np.array([winding.metres_per_wrap(t) for t in turns])
    replaced = sorted(days_between(at, counts[0].at) for at in history.replaced_at)
    part = np.searchsorted(replaced, days, side="right")
    cut_turns = np.zeros(max(turns.size - 1, 0))
    for cut in history.cuts:
        interval = int(np.searchsorted(days, days_between(cut.at, counts[0].at), side="right")) - 1
        if 0 <= interval < cut_turns.size:
            cut_turns[interval] += cut.length_m / wrap_m[interval]
    change = np.diff(turns) + cut_turns - np.asarray(higher_by)[..., None, None]
    # A difference has the spread of two counts, and the earlier one's rounding.
    sigma = LOOSENESS_GRID_WRAPS[grid_points, None]
    spread = np.sqrt(2.0) * sigma * spread_factor(turns[1:], winding, theta.fullness_power)
    rounding = np.where(cut_turns > 0, FIXED.quick_logged, FIXED.quick_rounding)
    kept = _with_one_wrap_off(change, np.hypot(spread, rounding))
    p_cut = theta.p_cut(np.diff(days))
    drop_m, half_m = -change * wrap_m[:-1], 0.5 * wrap_m[:-1]
    lost = p_cut * (theta.sizes_below(drop_m + half_m) - theta.sizes_below(drop_m - half_m))
    likely = (1.0 - FIXED.quick_anything - p_cut) * kept + lost + FIXED.quick_anything / FIXED.quick_wraps
    return likely, part[1:] == part[:-1]


def _with_one_wrap_off(difference: FloatArray, spread: FloatArray) -> FloatArray:
    """whole_wrap_pmf, but for a share of differences that are a wrap more, or less."""
    one_more, upper, lower, one_less = (
        scipy.special.ndtr((difference + off) / spread) for off in (1.5, 0.5, -0.5, -1.5)
    )
    off = (one_more - upper) + (lower - one_less)
    return cast(FloatArray, (1.0 - FIXED.quick_one_wrap) * (upper - lower) + 0.5 * FIXED.quick_one_wrap * off)


def whole_wrap_pmf(difference: FloatArray, spread: FloatArray) -> FloatArray:
    """Probability that a normal of this spread, rounded to whole wraps, falls on a reading so far from its mean."""
    return cast(
        FloatArray, scipy.special.ndtr((difference + 0.5) / spread) - scipy.special.ndtr((difference - 0.5) / spread)
    )
