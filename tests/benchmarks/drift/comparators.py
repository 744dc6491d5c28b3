"""Ordinary ways to look for lost cable, to measure the drift model against: one score an interval, higher is likelier.

All work on a reel's levels: metres by the counts, with the logged cuts put back, so that an unlogged cut is a step
down. Each gives the score for every pair of neighbouring counts.
"""

from collections.abc import Callable

import numpy as np
import ruptures

from inspections.domain.drift.records import ReelHistory
from reels.domain.uncertainty import FloatArray
from tests.benchmarks.drift.fleets import DrumTables


def levels_m(history: ReelHistory) -> FloatArray:
    """Metres at each count, with what was logged since the first one put back."""
    tables = DrumTables.of(history.drum)
    read = tables.metres(np.array([tables.turns_below[c.layers] + c.wraps for c in history.counts]))
    return read + [sum(e.length_m for e in history.cuts if history.counts[0].at < e.at <= c.at) for c in history.counts]


def spread_m(levels: FloatArray) -> float:
    """A robust spread of single levels, from differences of neighbours; at least a third of a metre."""
    differences = np.diff(levels)
    return max(float(1.4826 * np.median(np.abs(differences)) / np.sqrt(2.0)) if differences.size else 0.0, 0.33)


def neighbour_difference(levels: FloatArray) -> FloatArray:
    """How far the next count is lower."""
    return -np.diff(levels)


def clipped_medians(levels: FloatArray) -> FloatArray:
    """Median of up to three counts before less that of up to three after, nothing below zero."""
    steps = range(1, levels.size)
    return np.array([max(np.median(levels[max(t - 3, 0) : t]) - np.median(levels[t : t + 3]), 0.0) for t in steps])


def tabular_cusum(values: FloatArray, target: float, allowance: float) -> tuple[FloatArray, FloatArray]:
    """Upper and lower tabular sums, started at zero, in the unit of the values. Source: Page (1954)."""
    high, low = np.zeros(values.size + 1), np.zeros(values.size + 1)
    for i, x in enumerate(values):
        high[i + 1] = max(0.0, high[i] + x - target - allowance)
        low[i + 1] = max(0.0, low[i] + target - x - allowance)
    return high[1:], low[1:]


def cusum(levels: FloatArray) -> FloatArray:
    """The lower sum on the distance from the median of the five levels before."""
    return tabular_cusum(_surprises(levels), 0.0, 0.5 * spread_m(levels))[1]


def ewma(values: FloatArray, start: float, weight: float) -> FloatArray:
    """Exponentially weighted moving average after each value. Source: Roberts (1959)."""
    out, now = [], start
    for x in values:
        now += weight * (x - now)
        out.append(now)
    return np.array(out)


def smoothed_surprise(levels: FloatArray) -> FloatArray:
    """How far below zero the moving average of the same distances is."""
    return -ewma(_surprises(levels), 0.0, 0.3)


def _surprises(levels: FloatArray) -> FloatArray:
    return np.array([levels[t] - np.median(levels[max(t - 5, 0) : t]) for t in range(1, levels.size)])


def change_points(values: FloatArray, penalty: float) -> list[int]:
    """Places where a new mean starts, by PELT with squared error (general library ruptures)."""
    ends = ruptures.Pelt(model="l2", min_size=1, jump=1).fit(values.reshape(-1, 1)).predict(pen=penalty)
    return [int(place) for place in ends[:-1]]


def pelt(levels: FloatArray) -> FloatArray:
    """The drop of the mean at each change point; elsewhere nothing."""
    score = np.zeros(levels.size - 1)
    edges = [0, *change_points(levels, 3.0 * spread_m(levels) ** 2 * np.log(max(levels.size, 2))), levels.size]
    for before, here, after in zip(edges[:-2], edges[1:-1], edges[2:], strict=True):
        score[here - 1] = max(float(levels[before:here].mean() - levels[here:after].mean()), 0.0)
    return score


COMPARATORS: dict[str, Callable[[FloatArray], FloatArray]] = {
    "neighbour difference": neighbour_difference,
    "change points (PELT)": pelt,
    "CUSUM of residuals": cusum,
    "EWMA of residuals": smoothed_surprise,
    "clipped medians": clipped_medians,
}
