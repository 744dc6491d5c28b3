"""One stretch of a reel's history between replacements, laid out for the inference: readings, log entries, grid.

The hidden state is the length of cable on the drum, in cells of equal length, so that a cut of so many metres moves
every state by as many cells. A count says which cells it fits, directly or through a slip.
"""

from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from itertools import pairwise
from typing import cast

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from inspections.domain.drift_rates import LOOSENESS_WRAPS, Rates
from inspections.domain.drift_records import SLIPS, CountSeen, CutLogged, Ending, ReelHistory, Slip
from reels.domain.winding import Drum, layer_capacities, wrap_lengths_mm

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

NEIGHBOURS = 4  # counts on either side that say which lengths are open at a count
CELL_COUNTS = np.array([32, 48, 64, 96, 128, 192, 256, 384, 512, 768, 1024, 1536, 2048, 3072, 4096])
NODES = 3  # looseness values tried for a reel: the likeliest one and its neighbours
LEAST_NODE_SHARE = 1e-4  # looseness values less likely than this, next to the likeliest, aren't tried
NODE_STEP = float(np.log(1.6))

# Looseness table: spread (rows) by difference between reading and truth in sixteenths of a wrap (columns).
_LEVELS_PER_NODE = 6
_TABLE_SPREADS = 0.04 * np.exp(NODE_STEP / _LEVELS_PER_NODE * np.arange(72))
_HALF_WIDTH = 960
_DIFFERENCES = np.arange(-_HALF_WIDTH, _HALF_WIDTH + 1) / 16.0
_READING_TABLE = ndtr((_DIFFERENCES + 0.5) / _TABLE_SPREADS[:, None]) - ndtr(
    (_DIFFERENCES - 0.5) / _TABLE_SPREADS[:, None]
)
NEARBY_WRAPS = 3.0
LONGEST_UNDONE_M = 150.0  # a low further below than this, which later counts contradict, is never taken for a cut


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Winding:
    """The winding model of a drum as tables: turns and metres below each layer, layer 1 first."""

    capacities: IntArray
    below_turns: FloatArray
    below_m: FloatArray

    def metres(self, turns: FloatArray) -> FloatArray:
        return cast(FloatArray, np.interp(turns, self.below_turns, self.below_m))

    def turns(self, metres: FloatArray) -> FloatArray:
        """Turns of a length; past either end of the drum as if its last layer went on."""
        inside = np.interp(metres, self.below_m, self.below_turns)
        first = self.below_m[1] / self.below_turns[1]
        last = (self.below_m[-1] - self.below_m[-2]) / self.capacities[-1]
        past = np.minimum(metres, 0.0) / first + np.maximum(metres - self.below_m[-1], 0.0) / last
        return cast(FloatArray, inside + past)

    def metres_per_wrap(self, turns: float) -> float:
        layer = int(np.clip(np.searchsorted(self.below_turns, turns, side="right") - 1, 0, self.capacities.size - 1))
        return float((self.below_m[layer + 1] - self.below_m[layer]) / self.capacities[layer])


@lru_cache(maxsize=512)
def winding_of(drum: Drum) -> Winding:
    capacities = layer_capacities(drum)
    lengths = wrap_lengths_mm(drum) / 1000.0 * capacities
    return Winding(
        capacities=capacities,
        below_turns=np.concatenate([[0.0], np.cumsum(capacities)]),
        below_m=np.concatenate([[0.0], np.cumsum(lengths)]),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A log entry in its interval; interval -1 is before the first count, the last one after the last count."""

    interval: int
    at_day: float
    recorded_day: float
    length_m: float
    twin: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chain:
    """Counts between two replacements, with everything about them that doesn't depend on the rates.

    first: place of the first count among the reel's counts. read_turns, read_m: shape (times,). days: since the
    reel's first count. copied: the count repeats the one before. hypothesis_*: for each way in which a count may have
    come about, in order of the counts: which count, which slip, its weight within the slip, turns that it stems from.
    offsets: lowest cell of the window of cells that is looked at for each count, shape (times,); cells: how many.
    """

    reel: int
    first: int
    winding: Winding
    days: FloatArray
    read_turns: FloatArray
    read_m: FloatArray
    copied: NDArray[np.bool_]
    hypothesis_time: IntArray
    hypothesis_slip: IntArray
    hypothesis_weight: FloatArray
    hypothesis_turns: FloatArray
    entries: tuple[Entry, ...]
    endings: tuple[Ending | None, ...]
    start_day: float | None
    start_m: float | None
    nodes: IntArray
    cell_m: float
    cells: int
    offsets: IntArray

    @property
    def times(self) -> int:
        return int(self.read_turns.size)

    def window_m(self, t: int) -> FloatArray:
        """Length of cable at each cell of the window of count t, metres."""
        return self.cell_m * (self.offsets[t] + np.arange(self.cells))

    def window_turns(self, t: int) -> FloatArray:
        """The same in turns."""
        return self.winding.turns(self.window_m(t))

    def pieces(self) -> list[tuple[int, int]]:
        """Runs of counts that share a window: first and one past the last."""
        edges = [0, *(np.flatnonzero(np.diff(self.offsets)) + 1).tolist(), self.times]
        return list(pairwise(edges))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Readings:
    """The counts of a chain as numbers."""

    layers: IntArray
    wraps: IntArray
    turns: FloatArray
    metres: FloatArray
    days: FloatArray


def _days(at: datetime, since: datetime) -> float:
    return (at - since).total_seconds() / 86400.0


def ordered_counts(history: ReelHistory) -> tuple[CountSeen, ...]:
    return tuple(sorted(history.counts, key=lambda c: c.at))


def chains_of(history: ReelHistory, reel: int, rates: Rates) -> list[Chain]:
    """A reel's history cut at its replacements; stretches without a count are left out."""
    counts = ordered_counts(history)
    if not counts:
        return []
    since = counts[0].at
    winding = winding_of(history.drum)
    replaced = sorted(_days(at, since) for at in history.replaced_at)
    days = np.array([_days(c.at, since) for c in counts])
    turns = _turns_of(counts, winding)
    part = np.searchsorted(replaced, days, side="right")
    nodes = likely_nodes(history, rates)
    cuts = sorted(history.cuts, key=lambda c: c.at)
    twins = _twins(cuts, since)
    bounds = [-np.inf, *replaced, np.inf]
    chains = []
    for piece in np.unique(part):
        chosen = np.flatnonzero(part == piece)
        lo, hi = bounds[piece], bounds[piece + 1]
        inside = [(c, twin) for c, twin in zip(cuts, twins, strict=True) if lo <= _days(c.at, since) < hi]
        readings = Readings(
            layers=np.array([counts[i].layers for i in chosen]),
            days=days[chosen],
            wraps=np.array([counts[i].wraps for i in chosen]),
            turns=turns[chosen],
            metres=winding.metres(turns[chosen]),
        )
        start = (_days(history.received_at, since) if history.received_at is not None else None) if piece == 0 else lo
        length = history.received_m if piece == 0 else None
        before = turns[chosen[0] - 1] if chosen[0] > 0 else None
        chains.append(
            _chain(
                history,
                reel,
                int(chosen[0]),
                winding,
                readings,
                before,
                [_entry(c, twin, readings.days, since) for c, twin in inside],
                _endings(history, [counts[i] for i in chosen]),
                start,
                length,
                nodes,
            )
        )
    return chains


def _turns_of(counts: tuple[CountSeen, ...], winding: Winding) -> FloatArray:
    layers = np.clip([c.layers for c in counts], 0, winding.capacities.size)
    return np.minimum(winding.below_turns[layers] + [c.wraps for c in counts], winding.below_turns[-1])


def _twins(cuts: list[CutLogged], since: datetime) -> list[bool]:
    """Whether an entry repeats the length of an earlier one not long before."""
    twins: list[bool] = []
    for i, cut in enumerate(cuts):
        twins.append(
            any(
                abs(cut.length_m - other.length_m) <= 0.005 * cut.length_m + 0.005
                and _days(cut.at, since) - _days(other.at, since) <= 45.0
                for other in cuts[:i]
            )
        )
    return twins


def _entry(cut: CutLogged, twin: bool, days: FloatArray, since: datetime) -> Entry:
    at = _days(cut.at, since)
    recorded = at if cut.recorded_at is None else max(at, _days(cut.recorded_at, since))
    return Entry(
        interval=int(np.searchsorted(days, at, side="right")) - 1,
        at_day=at,
        recorded_day=recorded,
        length_m=max(cut.length_m, 0.0),
        twin=twin,
    )


def _endings(history: ReelHistory, counts: list[CountSeen]) -> tuple[Ending | None, ...]:
    closed = {(flag.from_at, flag.to_at): flag.ending for flag in history.closed_flags}
    return tuple(closed.get((a.at, b.at)) for a, b in pairwise(counts))


def spread_factor(turns: FloatArray, winding: Winding, power: float) -> FloatArray:
    """How much looser a count is than on a half-full drum."""
    half = winding.below_turns[-1] / 2.0
    return np.clip(np.maximum(turns, 1.0) / half, 0.05, 4.0) ** power


def likely_nodes(history: ReelHistory, rates: Rates) -> IntArray:
    """The neighbouring looseness values that differences between neighbouring counts make likeliest."""
    support = np.log(np.array(rates.looseness_shares) + 1e-6) + looseness_support(history, rates.fullness_power)
    share = np.exp(support - support.max())
    share /= share.sum()
    first = int(np.convolve(share, np.ones(NODES), mode="valid").argmax())
    nodes = np.arange(first, first + NODES)
    return nodes[share[nodes] >= LEAST_NODE_SHARE * share.max()]


def looseness_support(history: ReelHistory, power: float) -> FloatArray:
    """A quick look at a reel's looseness: log likelihood of each of LOOSENESS_WRAPS, from neighbouring counts only.

    Neighbouring differences share a count, which is why each of them counts for a little less than one.
    """
    counts = ordered_counts(history)
    winding = winding_of(history.drum)
    turns, days = _turns_of(counts, winding), np.array([_days(c.at, counts[0].at) for c in counts])
    replaced = sorted(_days(at, counts[0].at) for at in history.replaced_at)
    part = np.searchsorted(replaced, days, side="right")
    cut_turns = np.zeros(max(turns.size - 1, 0))
    for cut in history.cuts:
        place = int(np.searchsorted(days, _days(cut.at, counts[0].at), side="right")) - 1
        if 0 <= place < cut_turns.size:
            cut_turns[place] += cut.length_m / winding.metres_per_wrap(turns[place])
    change = np.diff(turns) + cut_turns
    spread = np.sqrt(2.0) * LOOSENESS_WRAPS[:, None] * spread_factor(turns[1:], winding, power)
    found = _reading(change[None, :], np.hypot(spread, np.where(cut_turns > 0, 0.5, 0.28)))
    return cast(FloatArray, 0.7 * np.log(0.9 * found + 0.1 / 60.0)[:, part[1:] == part[:-1]].sum(axis=1))


def _reading(difference: FloatArray, spread: FloatArray) -> FloatArray:
    return cast(FloatArray, ndtr((difference + 0.5) / spread) - ndtr((difference - 0.5) / spread))


def _chain(
    history: ReelHistory,
    reel: int,
    first: int,
    winding: Winding,
    readings: Readings,
    before: float | None,
    entries: list[Entry],
    endings: tuple[Ending | None, ...],
    start_day: float | None,
    start_m: float | None,
    nodes: IntArray,
) -> Chain:
    time, slip, weight, turns = _hypotheses(readings, winding, history.lead_wraps)
    cell_m, cells, offsets = _grid(readings, winding, float(LOOSENESS_WRAPS[nodes[nodes.size // 2]]))
    previous = np.concatenate([[-1.0 if before is None else before], readings.turns[:-1]])
    return Chain(
        reel=reel,
        first=first,
        winding=winding,
        days=readings.days,
        read_turns=readings.turns,
        read_m=readings.metres,
        copied=previous == readings.turns,
        hypothesis_time=time,
        hypothesis_slip=slip,
        hypothesis_weight=weight,
        hypothesis_turns=turns,
        entries=tuple(entries),
        endings=endings,
        start_day=start_day,
        start_m=start_m,
        nodes=nodes,
        cell_m=cell_m,
        cells=cells,
        offsets=offsets,
    )


def _hypotheses(readings: Readings, winding: Winding, lead: int) -> tuple[IntArray, IntArray, FloatArray, FloatArray]:
    """Every turn count from which a reading may have come by a slip: time, slip, weight, turns on the drum."""
    found: list[tuple[IntArray, Slip, float, FloatArray]] = []
    every = np.arange(readings.turns.size)

    def add(slip: Slip, weight: float, turns: FloatArray, usable: NDArray[np.bool_] | None = None) -> None:
        fine = (turns >= 0) & (turns <= winding.below_turns[-1])
        fine = fine if usable is None else fine & usable
        found.append((every[fine], slip, weight, turns[fine]))

    add(Slip.NONE, 1.0, readings.turns)
    for off in (-1, 1):
        add(Slip.ONE_WRAP, 0.5, readings.turns + off)
    # a forgotten correction leaves the count too high, one made twice too low
    for off, weight in ((-1, 0.3), (-lead, 0.15), (-1 - lead, 0.15), (1, 0.25), (lead, 0.15)):
        add(Slip.CORRECTION, weight, readings.turns + off)
    last = winding.capacities.size - 1
    for off, weight in ((-1, 0.33), (1, 0.33), (-2, 0.17), (2, 0.17)):
        layers = readings.layers + off
        inside = (layers >= 0) & (layers <= last)
        add(Slip.SCALE, weight, winding.below_turns[np.clip(layers, 0, last)] + readings.wraps, inside)
    part = np.clip(readings.layers, 0, last)
    for off, weight in ((0, 0.4), (2 * lead, 0.3), (2 * lead + 2, 0.3)):
        mirrored = winding.capacities[part] + 1 - readings.wraps - off
        add(Slip.WRONG_FACE, weight, winding.below_turns[part] + mirrored, mirrored >= 0)
    time = np.concatenate([f[0] for f in found])
    slip = np.concatenate([np.full(f[0].size, SLIPS.index(f[1])) for f in found])
    weight = np.concatenate([np.full(f[0].size, f[2]) for f in found])
    order = np.argsort(time, kind="stable")
    return time[order], slip[order], weight[order], np.concatenate([f[3] for f in found])[order]


def _grid(readings: Readings, winding: Winding, looseness: float) -> tuple[float, int, IntArray]:
    """Cell length, cells of a window, and each count's lowest cell.

    Fine enough for the looseness; wide enough for every truth that the counts close by leave open. Left out: lows that
    two later counts contradict and that no cut would reach, and highs that two earlier ones contradict.
    """
    wrap_m = winding.metres_per_wrap(float(np.median(readings.turns)))
    cell_m = 2.0 ** (np.round(2.0 * np.log2(wrap_m * np.clip(0.8 * looseness, 0.22, 1.2))) / 2.0)
    margin = (6.0 + 5.0 * looseness) * wrap_m
    m = readings.metres
    before = np.concatenate([[m[0]], np.minimum.accumulate(m)[:-1]])
    low_fine = (-_second_lowest_so_far(-m[::-1])[::-1] <= m + margin) | (m > before - LONGEST_UNDONE_M)
    high_fine = _second_lowest_so_far(m) >= m - margin
    low = np.minimum(_nearby_least(np.where(low_fine, m, np.inf)), np.where(low_fine, np.inf, before)) - margin
    high = -_nearby_least(np.where(high_fine, -m, np.inf)) + margin
    widest = float((high - low).max())
    cell_m = max(cell_m, 2.0 ** (np.ceil(2.0 * np.log2(widest / (CELL_COUNTS[-1] - 2))) / 2.0))
    cells = int(CELL_COUNTS[np.searchsorted(CELL_COUNTS, widest / cell_m + 2)])
    return float(cell_m), cells, _offsets(np.floor(low / cell_m), np.ceil(high / cell_m), cells)


def _nearby_least(values: FloatArray) -> FloatArray:
    """The least of the values at most NEIGHBOURS places away: shape (n,)."""
    padded = np.pad(values, NEIGHBOURS, constant_values=np.inf)
    return cast(FloatArray, np.lib.stride_tricks.sliding_window_view(padded, 2 * NEIGHBOURS + 1).min(axis=1))


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


def reading_chances(chain: Chain, turns: FloatArray, at_turns: FloatArray, rates: Rates) -> FloatArray:
    """Probability to read exactly these whole turns, without a slip, if so many are there.

    turns: shape (n,). at_turns: shape (cells,). Returns shape (nodes, n, cells).
    """
    column = np.rint((turns[:, None] - at_turns[None, :]) * 16.0).astype(np.int32)
    column += _HALF_WIDTH
    np.clip(column, 0, 2 * _HALF_WIDTH, out=column)
    factor = spread_factor(turns, chain.winding, rates.fullness_power)
    in_cell = 0.25 * chain.cell_m / chain.winding.metres_per_wrap(float(turns[0]))
    spread = np.hypot(LOOSENESS_WRAPS[chain.nodes][:, None] * factor, in_cell)
    level = np.rint(np.log(spread / _TABLE_SPREADS[0]) * _LEVELS_PER_NODE / NODE_STEP).astype(np.int64)
    start = (np.clip(level, 0, _TABLE_SPREADS.size - 1) * _DIFFERENCES.size).astype(np.int32)
    return cast(FloatArray, _READING_TABLE.ravel().take(start[:, :, None] + column))


def nearby(read_turns: FloatArray, at_turns: FloatArray) -> FloatArray:
    """Probability to read a few wraps off: shape (n, cells)."""
    distance = np.abs(read_turns[:, None] - at_turns[None, :])
    return np.exp(-distance / NEARBY_WRAPS) / (2.0 * NEARBY_WRAPS)
