"""The drum as tables, a reel's counts as turns, and the window of cable lengths that is looked at for each count."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from math import ceil
from typing import cast

import numpy as np
import scipy

from inspections.domain.drift.fixed import FIXED
from inspections.domain.drift.hidden_markov import IntArray
from inspections.domain.drift.records import CountSeen, ReelHistory
from reels.domain.uncertainty import FloatArray
from reels.domain.winding import Drum, layer_capacities, wrap_lengths_mm

# A window has one of these numbers of cells, so that reels fall into few groups which are worked out together; each is
# a product of small primes, for which the FFT is fast. The last one bounds memory: a wider window gets longer cells.
CELL_COUNTS = np.array([32, 48, 64, 96, 128, 192, 256, 384, 512, 768, 1024, 1536, 2048, 3072, 4096])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WindingTable:
    """The winding model of a drum as tables: turns and metres below each layer, layer 1 first; capacities in wraps."""

    capacities: IntArray
    below_turns: FloatArray
    below_m: FloatArray

    def metres(self, turns: FloatArray) -> FloatArray:
        """Length of so many turns."""
        return np.interp(turns, self.below_turns, self.below_m)

    def turns(self, metres: FloatArray) -> FloatArray:
        """Turns of a length; past either end of the drum as if its last layer went on."""
        inside = np.interp(metres, self.below_m, self.below_turns)
        first = self.below_m[1] / self.below_turns[1]
        last = (self.below_m[-1] - self.below_m[-2]) / self.capacities[-1]
        past = np.minimum(metres, 0.0) / first + np.maximum(metres - self.below_m[-1], 0.0) / last
        return cast(FloatArray, inside + past)

    def metres_per_wrap(self, turns: float) -> float:
        """Length of the wrap that comes next."""
        layer = int(np.clip(np.searchsorted(self.below_turns, turns, side="right") - 1, 0, self.capacities.size - 1))
        return float((self.below_m[layer + 1] - self.below_m[layer]) / self.capacities[layer])


@lru_cache(maxsize=512)
def winding_table(drum: Drum) -> WindingTable:
    """The tables of a drum."""
    capacities = layer_capacities(drum)
    lengths_m = wrap_lengths_mm(drum) / 1000.0 * capacities
    return WindingTable(
        capacities=capacities,
        below_turns=np.concatenate([[0.0], np.cumsum(capacities)]),
        below_m=np.concatenate([[0.0], np.cumsum(lengths_m)]),
    )


def days_between(at: datetime, since: datetime) -> float:
    """Days from `since` to `at`."""
    return (at - since).total_seconds() / 86400.0


def ordered_counts(history: ReelHistory) -> tuple[CountSeen, ...]:
    """The counts in order of time."""
    return tuple(sorted(history.counts, key=lambda c: c.at))


def turns_of_counts(counts: tuple[CountSeen, ...], winding: WindingTable) -> FloatArray:
    """Turns on the drum by each count; one that the drum can't hold is taken for a full drum."""
    layers = np.clip(np.array([c.layers for c in counts], dtype=np.int64), 0, winding.capacities.size)
    turns = winding.below_turns[layers] + [c.wraps for c in counts]
    return cast(FloatArray, np.minimum(turns, winding.below_turns[-1]))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CountColumns:
    """The counts of a sequence as columns, shape (times,).

    first: place of the first one among the reel's counts; before_turns: the count before it, or -1. rule_wraps: what a
    changed rule added to each, and is taken off the turns.
    """

    first: int
    layers: IntArray
    wraps: IntArray
    turns: FloatArray
    rule_wraps: FloatArray
    before_turns: float
    metres: FloatArray
    days: FloatArray


def grid_for(counts: CountColumns, winding: WindingTable, looseness: float) -> tuple[float, int, IntArray]:
    """The grid of the hidden state: cell length in metres, cells of a window, and each count's lowest cell.

    Fine enough for the looseness (in wraps); wide enough for every truth that the counts close by leave open. Left out,
    unless another count close by agrees: lows that two later counts contradict and that no cut would reach, and highs
    that two earlier ones contradict.
    """
    wrap_m = winding.metres_per_wrap(float(np.median(counts.turns)))
    # Powers of √2 metres, so that reels share their grids and are worked out together.
    wraps = np.clip(FIXED.cell_spreads * looseness, FIXED.least_cell_wraps, FIXED.most_cell_wraps)
    cell_m = _root_two_power(round, wrap_m * wraps)
    margin = (FIXED.margin_wraps + FIXED.margin_spreads * looseness) * wrap_m
    m = counts.metres
    before = np.concatenate([[m[0]], np.minimum.accumulate(m)[:-1]])
    borne_out = _agreeing_nearby(m, margin) >= 2
    low_fine = (
        borne_out | (-_second_lowest_so_far(-m[::-1])[::-1] <= m + margin) | (m > before - FIXED.longest_undone_m)
    )
    high_fine = borne_out | (_second_lowest_so_far(m) >= m - margin)
    low = np.minimum(_least_nearby(np.where(low_fine, m, np.inf)), np.where(low_fine, np.inf, before)) - margin
    high = -_least_nearby(np.where(high_fine, -m, np.inf)) + margin
    widest = float((high - low).max())
    cell_m = max(cell_m, _root_two_power(ceil, widest / (CELL_COUNTS[-1] - 2)))
    cells = int(CELL_COUNTS[np.searchsorted(CELL_COUNTS, widest / cell_m + 2)])
    return cell_m, cells, _offsets(np.floor(low / cell_m), np.ceil(high / cell_m), cells)


def _root_two_power(rounding: Callable[[float], int], value: float) -> float:
    return float(2.0 ** (rounding(2.0 * np.log2(value)) / 2.0))


def _agreeing_nearby(values: FloatArray, margin: float) -> IntArray:
    """How many values at most FIXED.neighbours places away, itself included, are within the margin: shape (n,)."""
    padded = np.pad(values, FIXED.neighbours, constant_values=np.inf)
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * FIXED.neighbours + 1)
    return cast(IntArray, np.count_nonzero(np.abs(windows - values[:, None]) <= margin, axis=1))


def _least_nearby(values: FloatArray) -> FloatArray:
    """The least of the values at most FIXED.neighbours places away: shape (n,)."""
    return cast(FloatArray, scipy.ndimage.minimum_filter1d(values, 2 * FIXED.neighbours + 1, mode="nearest"))


def _offsets(low: FloatArray, high: FloatArray, cells: int) -> IntArray:
    """Lowest cell of each count's window: the same for as many counts in a row as fit into one, put in its middle."""
    out = np.zeros(low.size, dtype=np.int64)
    first, least, most = 0, low[0], high[0]
    for t in range(low.size + 1):
        if t < low.size and max(most, high[t]) - min(least, low[t]) < cells:
            least, most = min(least, low[t]), max(most, high[t])
            continue
        out[first:t] = int(least - (cells - 1 - (most - least)) // 2)
        if t < low.size:
            first, least, most = t, low[t], high[t]
    return out


def _second_lowest_so_far(values: FloatArray) -> FloatArray:
    """The second lowest of all values before each one: shape (n,), infinite where there are none."""
    seconds, lowest, second = [], np.inf, np.inf
    for value in values:
        seconds.append(second)
        lowest, second = min(lowest, value), min(second, max(lowest, value))
    return np.array(seconds)
