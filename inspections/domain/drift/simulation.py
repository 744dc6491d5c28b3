"""A fleet like a given one, drawn from the model, so that the truth is known: same drums, dates, log and rates.

Each count sequence is drawn as the package's docstring states it, from θ and a generator that the caller seeds: its
looseness, the cable step by step, and each count through looseness, rounding and slips. What stays as it is: drums,
when counts were made and by whom, replacements, and the log as it is written; what was really cut for it is drawn.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from inspections.domain.drift.batch import growth_m
from inspections.domain.drift.fixed import FIXED
from inspections.domain.drift.geometry import WindingTable, ordered_counts
from inspections.domain.drift.kernels import kernels_for, moves_of
from inspections.domain.drift.log_states import placements
from inspections.domain.drift.looseness import spread_factor
from inspections.domain.drift.parameters import LOOSENESS_GRID_WRAPS, DriftParameters
from inspections.domain.drift.records import SLIPS, CountSeen, ReelHistory, Slip
from inspections.domain.drift.sequence import CountSequence, sequences_of
from reels.domain.uncertainty import FloatArray

LONGEST_CUT_SHARE = 0.3  # of the cable: none takes more at once, or a reel would be empty in a few years
LEAST_CABLE_M = 1.0
Written = tuple[int, int]  # full layers, part-layer wraps


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SimulatedReel:
    """A drawn history and its truth. unlogged_m: of each pair of neighbouring counts, NaN over a replacement.

    looseness: place of the reel's own in LOOSENESS_GRID_WRAPS.
    """

    history: ReelHistory
    unlogged_m: FloatArray
    looseness: int


def simulate(histories: Sequence[ReelHistory], theta: DriftParameters, rng: np.random.Generator) -> list[SimulatedReel]:
    """One fleet like this one. The same generator gives the same fleet."""
    return [_reel(history, theta, rng) for history in histories]


def _reel(history: ReelHistory, theta: DriftParameters, rng: np.random.Generator) -> SimulatedReel:
    shares = np.array(theta.looseness_shares)
    place = int(rng.choice(shares.size, p=shares / shares.sum()))
    counts, unlogged_m = list(ordered_counts(history)), np.full(max(len(history.counts) - 1, 0), np.nan)
    added = theta.taken_off(counts)
    for sequence in sequences_of(history, 0, theta):
        last = sequence.first + sequence.times
        metres, unlogged_m[sequence.first : last - 1] = _cable(sequence, theta, rng)
        draw = _Counting(winding=sequence.winding, lead=history.lead_wraps, theta=theta)
        spread = LOOSENESS_GRID_WRAPS[place] * spread_factor(
            sequence.winding.turns(metres), sequence.winding, theta.fullness_power
        )
        read = sequence.winding.turns(metres) + spread * rng.standard_normal(metres.size)
        for t in range(sequence.first, last):
            before = counts[t - 1] if t else None
            layers, wraps = draw.written(read[t - sequence.first] + added[t], before, rng)
            counts[t] = replace(counts[t], layers=layers, wraps=wraps)
    drawn = replace(history, counts=tuple(counts), closed_flags=())
    return SimulatedReel(history=drawn, unlogged_m=unlogged_m, looseness=place)


def _cable(sequence: CountSequence, theta: DriftParameters, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """Length of cable at each count of a sequence, and what was cut unlogged before each but the first."""
    metres = np.full(sequence.times, max(float(sequence.read_m[0]), LEAST_CABLE_M))
    logged_m, growth = _logged(sequence, theta, rng), growth_m(sequence, theta)
    cut = rng.random(sequence.times - 1) < theta.p_cut(np.diff(sequence.days))
    unlogged_m = np.where(cut, [theta.size_quantile_m(x) for x in rng.random(cut.size)], 0.0)
    for t in range(sequence.times - 1):
        unlogged_m[t] = min(unlogged_m[t], LONGEST_CUT_SHARE * metres[t])
        grown = growth[t] * max(1.0 + FIXED.stretch_sd * rng.standard_normal(), 0.0)
        left = metres[t] - unlogged_m[t] - logged_m[t] + grown
        metres[t + 1] = np.clip(left, LEAST_CABLE_M, sequence.winding.below_m[-1])
    return metres, unlogged_m


def _logged(sequence: CountSequence, theta: DriftParameters, rng: np.random.Generator) -> FloatArray:
    """What was really cut for the log in each interval: as it is written, or by its errors."""
    out = np.zeros(sequence.times + 1)  # the last two take what was cut after the last count, and before the first
    kernels = kernels_for(sequence.cell_m, sequence.cells, theta)
    for move, placement in zip(moves_of(sequence, kernels, theta), placements(sequence, theta), strict=True):
        kernel = move.whole
        cells = int(rng.choice(kernel.size, p=kernel / kernel.sum()))
        length_m = kernels.cell_m * max(cells + rng.random() - 0.5, 0.0) if cells else 0.0
        made_in = placement.first + int(rng.choice(placement.p.size, p=placement.p / placement.p.sum()))
        out[made_in] += length_m
    return out[: sequence.times - 1]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Counting:
    """What people write of what they see. Each slip is that of sequence._hypotheses, the other way round."""

    winding: WindingTable
    lead: int
    theta: DriftParameters

    def written(self, seen: float, before: CountSeen | None, rng: np.random.Generator) -> Written:
        shares = np.array(self.theta.slip_shares)
        slip, turns = SLIPS[int(rng.choice(shares.size, p=shares / shares.sum()))], int(np.floor(seen + 0.5))
        layers, wraps = self._as_count(turns)
        match slip:
            case Slip.SCALE:
                other = layers - _one_of(FIXED.scale_layers, rng)
                return (other, wraps) if 0 <= other < self.winding.capacities.size else (layers, wraps)
            case Slip.WRONG_FACE:
                subtracted = (0, 2 * self.lead, 2 * self.lead + 2)[int(rng.choice(3, p=_shares(FIXED.wrong_face)))]
                return layers, max(int(self.winding.capacities[layers]) + 1 - wraps - subtracted, 0)
            case Slip.COPIED:
                return (before.layers, before.wraps) if before else (layers, wraps)
            case Slip.ANYTHING:
                return self._as_count(int(rng.integers(int(self.winding.below_turns[-1]))))
        return self._as_count(turns - self._wraps_off(slip, rng))

    def _wraps_off(self, slip: Slip, rng: np.random.Generator) -> int:
        match slip:
            case Slip.ONE_WRAP:
                return _one_of(FIXED.one_wrap, rng)
            case Slip.CORRECTION:
                return self._correction(rng)
            case Slip.NEARBY:
                return round(rng.laplace(0.0, FIXED.nearby_wraps))
        return 0

    def _correction(self, rng: np.random.Generator) -> int:
        (down, forgotten), (up, twice) = FIXED.correction_wrap
        (lead_down, lead_forgotten), (lead_up, lead_twice) = FIXED.correction_lead
        ways = (
            (down, forgotten), (lead_down * self.lead, lead_forgotten),
            (down + lead_down * self.lead, FIXED.correction_both), (up, twice), (lead_up * self.lead, lead_twice),
        )  # fmt: skip
        return _one_of(ways, rng)

    def _as_count(self, turns: int) -> Written:
        whole = int(np.clip(turns, 0, self.winding.below_turns[-1] - 1))
        layers = int(np.searchsorted(self.winding.below_turns, whole, side="right")) - 1
        return layers, whole - int(self.winding.below_turns[layers])


def _shares(weights: Sequence[float]) -> FloatArray:
    return np.array(weights) / sum(weights)


def _one_of(ways: Sequence[tuple[int, float]], rng: np.random.Generator) -> int:
    return ways[int(rng.choice(len(ways), p=_shares([weight for _, weight in ways])))][0]
