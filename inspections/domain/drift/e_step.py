"""The e-step: the expected numbers of everything that the parameters are shares of, given all counts and θ so far."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import cast

import numpy as np
import scipy

from inspections.domain.drift.batch import Batch, batches_of
from inspections.domain.drift.fixed import FIXED
from inspections.domain.drift.hidden_markov import TINY
from inspections.domain.drift.parameters import LOOSENESS_GRID_WRAPS, SIZE_EDGES_M, DriftParameters
from inspections.domain.drift.posteriors import log_entry_posteriors, residuals, slip_posteriors
from inspections.domain.drift.records import SLIPS
from inspections.domain.drift.sequence import CountSequence
from inspections.domain.drift.smoother import ForwardBackward, cut_posteriors, forward_backward
from reels.domain.uncertainty import FloatArray

# Edges of classes of fullness, turns over those of a half-full drum, in which residuals are summed: 17 % apart, finer
# than a power that is searched to a twentieth can show.
FULLNESS = np.geomspace(0.05, 2.05, 25)


def _sizes() -> FloatArray:
    return np.zeros(SIZE_EDGES_M.size - 1)


def _by_looseness_and_fullness() -> FloatArray:
    return np.zeros((LOOSENESS_GRID_WRAPS.size, FULLNESS.size - 1))


@dataclass(slots=True, kw_only=True)
class SufficientStatistics:
    """Expected numbers; what the m-step needs to know of the counts.

    cuts, days: by interval, unlogged cuts and how long it was. sizes, logged_sizes: unlogged cuts and log entries by
    class of SIZE_EDGES_M. slips: counts by SLIPS. looseness: reels by LOOSENESS_GRID_WRAPS. Of log entries: misdated of
    logged, late of recorded (of which it is known when), void and wrong of entries, twin_void of twins; errors: weight,
    mean squared error in m² and length in m of each. residual_weight, residual_squares: counts without a slip and the
    sum of their squared residuals, wraps², by looseness and class of FULLNESS. log_evidence: log p(counts | θ), nats.
    """

    cuts: list[FloatArray] = field(default_factory=list)
    days: list[FloatArray] = field(default_factory=list)
    sizes: FloatArray = field(default_factory=_sizes)
    logged_sizes: FloatArray = field(default_factory=_sizes)
    slips: FloatArray = field(default_factory=lambda: np.zeros(len(SLIPS)))
    looseness: FloatArray = field(default_factory=lambda: np.zeros(LOOSENESS_GRID_WRAPS.size))
    misdated: float = 0.0
    logged: float = 0.0
    recorded: float = 0.0
    late: float = 0.0
    void: float = 0.0
    twin_void: float = 0.0
    wrong: float = 0.0
    entries: float = 0.0
    twins: float = 0.0
    errors: list[tuple[float, float, float]] = field(default_factory=list)
    residual_weight: FloatArray = field(default_factory=_by_looseness_and_fullness)
    residual_squares: FloatArray = field(default_factory=_by_looseness_and_fullness)
    replaced: float = 0.0
    intervals: float = 0.0
    log_evidence: float = 0.0
    counts: int = 0


def e_step(
    sequences: Sequence[CountSequence], theta: DriftParameters, known: dict[int, FloatArray]
) -> SufficientStatistics:
    """One round's expected numbers.

    known: each sequence's log evidence by looseness, by its place, from the round before; replaced by this one's. A
    reel's looseness is judged by all its sequences, but a batch sees only some: the others count as last time.
    """
    statistics = SufficientStatistics()
    of_reel: dict[int, FloatArray] = {}
    for place, evidence in known.items():
        of_reel[sequences[place].reel] = of_reel.get(sequences[place].reel, 0.0) + evidence
    for places, batch in batches_of(sequences, theta):
        passes = forward_backward(batch)
        weights = []
        for row, place in enumerate(places):
            sequence = sequences[place]
            own = passes.log_evidence[: sequence.times, batch.rows(row)].sum(axis=0)
            others = of_reel.get(sequence.reel, 0.0) - known.get(place, 0.0)
            log_posterior = own + others + theta.log_looseness()[sequence.grid_points]
            weights.append(scipy.special.softmax(log_posterior))
            known[place] = own
            statistics.log_evidence += float(np.logaddexp.reduce(log_posterior - others))
            share = 1.0 if sequence.first == 0 else FIXED.later_sequence
            statistics.looseness[sequence.grid_points] += weights[-1] * share
        _add(statistics, passes, np.concatenate(weights))
    return statistics


def _add(statistics: SufficientStatistics, passes: ForwardBackward, row_weight: FloatArray) -> None:
    """Add a batch's numbers. row_weight: p(σ | all counts) of each row, shape (rows,)."""
    batch = passes.batch
    cuts, slips = cut_posteriors(passes), slip_posteriors(passes)
    no_slip, squared = residuals(passes)
    p_cut = np.zeros(batch.p_cut.shape)
    p_cut[cuts.steps, cuts.rows] = cuts.p_cut
    statistics.replaced += float(row_weight[cuts.rows] @ cuts.p_replaced)
    statistics.intervals += float(row_weight[cuts.rows].sum())
    statistics.sizes += _by_class((row_weight[cuts.rows] * cuts.p_cut) @ cuts.sizes, batch)
    for place, sequence in enumerate(batch.sequences):
        rows, times = batch.rows(place), sequence.times
        if times > 1:
            statistics.cuts.append(p_cut[: times - 1, rows] @ row_weight[rows])
            statistics.days.append(np.diff(sequence.days))
        _add_residuals(statistics, sequence, row_weight[rows], no_slip[:times, rows], squared[:times, rows])
        statistics.slips += np.einsum("trs,r->s", slips[:times, rows], row_weight[rows])
        statistics.counts += times
    _add_log(statistics, passes, row_weight)


def _add_residuals(
    statistics: SufficientStatistics,
    sequence: CountSequence,
    weight: FloatArray,
    no_slip: FloatArray,
    squared: FloatArray,
) -> None:
    fullness = sequence.read_turns / (sequence.winding.below_turns[-1] / 2.0)
    place = np.clip(np.searchsorted(FULLNESS, fullness) - 1, 0, FULLNESS.size - 2)
    for k, grid_point in enumerate(sequence.grid_points):
        np.add.at(statistics.residual_weight[grid_point], place, weight[k] * no_slip[:, k])
        np.add.at(statistics.residual_squares[grid_point], place, weight[k] * no_slip[:, k] * squared[:, k])


def _by_class(cells: FloatArray, batch: Batch) -> FloatArray:
    """Expected cuts by cell shared out to the size classes, in the proportion that each class has of the cell."""
    log_edges, log_classes = np.log(np.maximum(batch.kernels.edges_m(), 1e-9)), np.log(SIZE_EDGES_M)
    low = np.maximum(log_edges[:-1, None], log_classes[None, :-1])
    high = np.minimum(log_edges[1:, None], log_classes[None, 1:])
    part = np.maximum(high - low, 0.0) * np.array(batch.theta.size_shares)
    return cast(FloatArray, cells @ (part / (part.sum(axis=1, keepdims=True) + TINY)))


def _add_log(statistics: SufficientStatistics, passes: ForwardBackward, row_weight: FloatArray) -> None:
    batch = passes.batch
    for each in log_entry_posteriors(passes):
        in_batch, weight = batch.log.entries[each.entry], row_weight[each.row]
        entry = in_batch.move.entry
        statistics.misdated += weight * (each.early + each.late)
        statistics.logged += weight
        if entry.recording_known:
            statistics.recorded += weight
            statistics.late += weight * (entry.recorded_day - entry.at_day > FIXED.late_from_days)
        place = np.clip(np.searchsorted(SIZE_EDGES_M, entry.length_m) - 1, 0, SIZE_EDGES_M.size - 2)
        statistics.logged_sizes[place] += weight * max(1.0 - each.wrong - each.void, 0.0)
        if not 0 <= in_batch.placement.home < batch.sequences[in_batch.sequence].times - 1:
            continue
        stay = max(1.0 - each.early - each.late, 0.0)
        if entry.twin:
            statistics.twins += weight * stay
            statistics.twin_void += weight * each.void
        else:
            statistics.entries += weight * stay
            statistics.void += weight * each.void
        statistics.wrong += weight * each.wrong
        good = weight * max(stay - each.void - each.wrong, 0.0)
        # two lengths shared between the cells on either side have so much error of the cells' own
        rounding = batch.kernels.cell_m**2 / 6.0
        statistics.errors.append((good, max(each.error_m2 - rounding, 0.0), entry.length_m))
