"""How loosely a reel is wound: what spread of its counts is likely, before the inference proper."""

from typing import cast

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from inspections.domain.drift_geometry import Winding, days_between, ordered_counts, turns_of_counts, winding_of
from inspections.domain.drift_rates import LOOSENESS_WRAPS, Rates
from inspections.domain.drift_records import ReelHistory

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

NODES = 3  # looseness values tried for a reel: the likeliest one and its neighbours
LEAST_NODE_SHARE = 1e-4  # looseness values less likely than this, next to the likeliest, aren't tried


def spread_factor(turns: FloatArray, winding: Winding, power: float) -> FloatArray:
    """How much looser a count is than on a half-full drum."""
    half = winding.below_turns[-1] / 2.0
    return cast(FloatArray, np.clip(np.maximum(turns, 1.0) / half, 0.05, 4.0) ** power)


def likely_nodes(history: ReelHistory, rates: Rates) -> IntArray:
    """The neighbouring looseness values that differences between neighbouring counts make likeliest."""
    support = np.log(np.array(rates.looseness_shares) + 1e-6) + looseness_support(history, rates.fullness_power)
    share = np.exp(support - support.max())
    share /= share.sum()
    first = int(np.convolve(share, np.ones(NODES), mode="valid").argmax())
    nodes = np.arange(first, first + NODES)
    return cast(IntArray, nodes[share[nodes] >= LEAST_NODE_SHARE * share.max()])


def looseness_support(history: ReelHistory, power: float) -> FloatArray:
    """A quick look at a reel's looseness: log likelihood of each of LOOSENESS_WRAPS, from neighbouring counts only.

    Neighbouring differences share a count, which is why each of them counts for a little less than one.
    """
    counts = ordered_counts(history)
    winding = winding_of(history.drum)
    turns, days = turns_of_counts(counts, winding), np.array([days_between(c.at, counts[0].at) for c in counts])
    replaced = sorted(days_between(at, counts[0].at) for at in history.replaced_at)
    part = np.searchsorted(replaced, days, side="right")
    cut_turns = np.zeros(max(turns.size - 1, 0))
    for cut in history.cuts:
        place = int(np.searchsorted(days, days_between(cut.at, counts[0].at), side="right")) - 1
        if 0 <= place < cut_turns.size:
            cut_turns[place] += cut.length_m / winding.metres_per_wrap(turns[place])
    change = np.diff(turns) + cut_turns
    spread = np.sqrt(2.0) * LOOSENESS_WRAPS[:, None] * spread_factor(turns[1:], winding, power)
    found = _reading(change[None, :], np.hypot(spread, np.where(cut_turns > 0, 0.5, 0.28)))
    return cast(FloatArray, 0.7 * np.log(0.9 * found + 0.1 / 60.0)[:, part[1:] == part[:-1]].sum(axis=1))


def _reading(difference: FloatArray, spread: FloatArray) -> FloatArray:
    return cast(FloatArray, ndtr((difference + 0.5) / spread) - ndtr((difference - 0.5) / spread))
