"""Whole reels and fleets: sequences run in batches, looseness averaged over, posteriors put together reel by reel."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import cast

import numpy as np
import scipy

from inspections.domain.drift.batch import Batch, batches_of, growth_m
from inspections.domain.drift.fixed import FIXED
from inspections.domain.drift.geometry import days_between, ordered_counts, turns_of_counts, winding_table
from inspections.domain.drift.hidden_markov import TINY
from inspections.domain.drift.looseness import spread_factor
from inspections.domain.drift.parameters import DEFAULT_PARAMETERS, LOOSENESS_GRID_WRAPS, DriftParameters
from inspections.domain.drift.posteriors import log_entry_posteriors, ordinary_posteriors, slip_posteriors
from inspections.domain.drift.records import (
    LOG_FAULTS,
    OWN_FAULTS,
    SLIPS,
    CountPosterior,
    IntervalPosterior,
    LogFault,
    ReelAssessment,
    ReelHistory,
    Slip,
)
from inspections.domain.drift.sequence import CountSequence, sequences_of
from inspections.domain.drift.smoother import ForwardBackward, cut_posteriors, forward_backward
from reels.domain.uncertainty import FloatArray

ROUNDING_VARIANCE = 1.0 / 12.0  # wraps², of a number that is rounded to a whole one
REELS_AT_ONCE = 256  # histories held in memory; more of them fill batches better
QUANTILES = (0.05, 0.5, 0.95)  # of a cut's length: the 90 % interval about the median


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SequencePosteriors:
    """Posteriors given each looseness tried: log_evidence, slips, turns by count; the others by interval.

    Shapes (grid points, times), (grid points, times, slips), (grid points, times); (grid points, intervals), and of
    sizes with cells, of log_faults with LOG_FAULTS.
    """

    sequence: CountSequence
    log_evidence: FloatArray
    slips: FloatArray
    turns: FloatArray
    p_cut: FloatArray
    p_replaced: FloatArray
    newest: FloatArray
    sizes: FloatArray
    ordinary: FloatArray
    log_faults: FloatArray


def sequence_posteriors(sequences: Sequence[CountSequence], theta: DriftParameters) -> list[SequencePosteriors]:
    """Run all sequences; the answers are in the order of the sequences."""
    answers: list[SequencePosteriors | None] = [None] * len(sequences)
    for places, batch in batches_of(sequences, theta):
        for place, posteriors in zip(places, _batch_posteriors(batch), strict=True):
            answers[place] = posteriors
    return cast(list[SequencePosteriors], answers)


def _batch_posteriors(batch: Batch) -> Iterator[SequencePosteriors]:
    passes = forward_backward(batch)
    cuts, slips, smoothed = cut_posteriors(passes), slip_posteriors(passes), passes.smoothed()
    times, rows, cells = smoothed.shape
    p_cut, p_replaced, ordinary = np.zeros((3, max(times - 1, 1), rows))
    sizes = np.zeros((max(times - 1, 1), rows, cells))
    p_cut[cuts.steps, cuts.rows] = cuts.p_cut
    p_replaced[cuts.steps, cuts.rows] = cuts.p_replaced
    ordinary[cuts.steps, cuts.rows] = ordinary_posteriors(passes, cuts)
    sizes[cuts.steps, cuts.rows] = cuts.sizes
    faults = _log_faults(passes)
    median = (np.cumsum(smoothed, axis=2) < 0.5 * smoothed.sum(axis=2, keepdims=True)).sum(axis=2)
    for place, sequence in enumerate(batch.sequences):
        rows_of, counts, intervals = batch.rows(place), sequence.times, sequence.times - 1
        median_cell = sequence.offsets + np.minimum(median[:counts, rows_of], cells - 1).T
        yield SequencePosteriors(
            sequence=sequence,
            log_evidence=passes.log_evidence[:counts, rows_of].T,
            slips=np.moveaxis(slips[:counts, rows_of], 0, 1),
            turns=sequence.winding.turns(sequence.cell_m * median_cell),
            p_cut=p_cut[:intervals, rows_of].T,
            p_replaced=p_replaced[:intervals, rows_of].T,
            newest=passes.p_when_counted[:intervals, rows_of].T,
            sizes=np.moveaxis(sizes[:intervals, rows_of], 0, 1),
            ordinary=ordinary[:intervals, rows_of].T,
            log_faults=np.moveaxis(faults[:intervals, rows_of], 0, 1),
        )


def _log_faults(passes: ForwardBackward) -> FloatArray:
    """Probability of each of LOG_FAULTS in each interval: shape (times - 1, rows, faults)."""
    batch = passes.batch
    # by interval + 1: what is logged before the first count, or after the last, falls on the first and the last place
    in_order = np.ones((passes.predicted.shape[0] + 2, batch.lengths.size, len(LOG_FAULTS)))
    for entry in log_entry_posteriors(passes):
        home, row = batch.log.entries[entry.entry].placement.home, entry.row
        in_order[home + 1, row, : len(OWN_FAULTS)] *= 1.0 - np.array([entry.early, entry.late, entry.void, entry.wrong])
        for interval, p in entry.elsewhere:
            fault = LogFault.FROM_BEFORE if interval > home else LogFault.FROM_AFTER
            in_order[interval + 1, row, LOG_FAULTS.index(fault)] *= 1.0 - p
    out = np.clip(1.0 - in_order, 0.0, 1.0)
    return out[1:]


# What was known when a count was made ---------------------------------------------------------------------------------


def newest_as_known(sequences: Sequence[CountSequence], theta: DriftParameters) -> dict[tuple[int, int], FloatArray]:
    """Probability when counted, for counts at which an earlier cut had not been recorded yet, by looseness tried.

    The pass over the whole sequence has the cut in its log already: these counts are run again without it.
    Keys: place of the sequence in `sequences`, number of the count in it.
    """
    asked = [(place, t) for place, sequence in enumerate(sequences) for t in _unknown_then(sequence)]
    pieces = [as_known_at(sequences[place], t) for place, t in asked]
    answers: dict[tuple[int, int], FloatArray] = {}
    for places, batch in batches_of(pieces, theta):
        newest = forward_backward(batch, smooth=False).p_when_counted
        for row, place in enumerate(places):
            answers[asked[place]] = newest[pieces[place].times - 2, batch.rows(row)]
    return answers


def _unknown_then(sequence: CountSequence) -> list[int]:
    """Counts at which a cut made before them was recorded only later."""
    counts: set[int] = set()
    for entry in sequence.entries:
        after = range(max(entry.interval + 1, 1), min(entry.interval + 1 + FIXED.late_counts, sequence.times))
        counts.update(t for t in after if sequence.days[t] < entry.recorded_day)
    return sorted(counts)


def as_known_at(sequence: CountSequence, last: int) -> CountSequence:
    """The counts up to `last`, and some before the first gap in the log, with the entries recorded by then."""
    today = sequence.days[last]
    unknown = [e.interval for e in sequence.entries if e.interval < last and e.recorded_day > today]
    first = max(0, max(min(unknown, default=last), last - FIXED.late_counts) - FIXED.late_counts)
    kept = slice(first, last + 1)
    hypotheses = (sequence.hypothesis_time >= first) & (sequence.hypothesis_time <= last)
    entries = tuple(
        replace(e, interval=e.interval - first)
        for e in sequence.entries
        if first - 1 <= e.interval < last and e.recorded_day <= today
    )
    return replace(
        sequence,
        days=sequence.days[kept],
        rule_wraps=sequence.rule_wraps[kept],
        read_turns=sequence.read_turns[kept],
        read_m=sequence.read_m[kept],
        copied=sequence.copied[kept],
        hypothesis_time=sequence.hypothesis_time[hypotheses] - first,
        hypothesis_slip=sequence.hypothesis_slip[hypotheses],
        hypothesis_weight=sequence.hypothesis_weight[hypotheses],
        hypothesis_turns=sequence.hypothesis_turns[hypotheses],
        offsets=sequence.offsets[kept],
        entries=entries,
        endings=sequence.endings[first:last],
        start_m=sequence.start_m if first == 0 else None,
    )


# Reel by reel ---------------------------------------------------------------------------------------------------------


def assess(history: ReelHistory, theta: DriftParameters = DEFAULT_PARAMETERS) -> ReelAssessment:
    """What is believed of one reel.

    history: any number of counts. theta: learned from its fleet.
    Returns one posterior a count and one a pair of neighbouring counts, in order of time.
    """
    return next(assess_fleet([history], theta))


def assess_fleet(histories: Iterable[ReelHistory], theta: DriftParameters) -> Iterator[ReelAssessment]:
    """Assess reel after reel in bounded memory, in the order given; see `assess`.

    It keeps one core busy: for two, hand half of the reels to each of two processes.
    """
    source = iter(histories)
    while reels := list(islice(source, REELS_AT_ONCE)):
        by_reel = [sequences_of(history, place, theta) for place, history in enumerate(reels)]
        flat = [sequence for sequences in by_reel for sequence in sequences]
        posteriors = sequence_posteriors(flat, theta)
        for (place, t), newest in newest_as_known(flat, theta).items():
            posteriors[place].newest[:, t - 1] = newest
        answers = iter(posteriors)
        for history, sequences in zip(reels, by_reel, strict=True):
            yield _assessment(history, [next(answers) for _ in sequences], theta)


def _assessment(history: ReelHistory, posteriors: list[SequencePosteriors], theta: DriftParameters) -> ReelAssessment:
    """Everything averaged over the looseness, by p(σ | all counts of the reel) ∝ p(σ) Π p(counts of a sequence | σ)."""
    if not posteriors:
        return ReelAssessment(reel=history.reel, counts=(), intervals=(), looseness_wraps=float("nan"))
    grid_points = posteriors[0].sequence.grid_points
    log_prior = theta.log_looseness()[grid_points]
    weights = scipy.special.softmax(log_prior + sum(p.log_evidence.sum(axis=1) for p in posteriors))
    looseness_wraps = float(np.exp(np.dot(weights, np.log(LOOSENESS_GRID_WRAPS[grid_points]))))
    counts: list[CountPosterior] = []
    intervals: list[IntervalPosterior] = []
    earlier = log_prior  # of the looseness, from the sequences before
    for each in posteriors:
        if counts:
            intervals.append(_over_replacement(history, each.sequence.first, theta))
        counts.extend(_count_posteriors(history, each, weights))
        intervals.extend(_interval_posteriors(history, each, weights, earlier, theta, looseness_wraps))
        earlier = earlier + each.log_evidence.sum(axis=1)
    return ReelAssessment(
        reel=history.reel,
        counts=tuple(counts),
        intervals=tuple(intervals),
        looseness_wraps=looseness_wraps,
    )


def _count_posteriors(
    history: ReelHistory, posteriors: SequencePosteriors, weights: FloatArray
) -> Iterator[CountPosterior]:
    first, times = posteriors.sequence.first, posteriors.sequence.times
    counts = ordered_counts(history)[first : first + times]
    slips = np.einsum("n,nts->ts", weights, posteriors.slips)
    likeliest = (1 + slips[:, 1:].argmax(axis=1)).tolist()
    slipped = np.clip(slips[:, 1:].sum(axis=1), 0.0, 1.0).tolist()
    turns, winding = weights @ posteriors.turns, posteriors.sequence.winding
    off_m = posteriors.sequence.read_m - winding.metres(turns)
    for count, kind, p_slip, at_turns, kinds, off in zip(
        counts, likeliest, slipped, turns.tolist(), slips.tolist(), off_m.tolist(), strict=True
    ):
        yield CountPosterior(
            at=count.at,
            layers=count.layers,
            wraps=count.wraps,
            p_slip=p_slip,
            likeliest_slip=SLIPS[kind] if p_slip > FIXED.least_slip else Slip.NONE,
            turns=at_turns,
            slips=tuple(kinds),
            off_m=off,
        )


def _interval_posteriors(
    history: ReelHistory,
    posteriors: SequencePosteriors,
    weights: FloatArray,
    earlier: FloatArray,
    theta: DriftParameters,
    looseness_wraps: float,
) -> Iterator[IntervalPosterior]:
    sequence = posteriors.sequence
    counts = ordered_counts(history)[sequence.first : sequence.first + sequence.times]
    weighted = weights[:, None] * posteriors.p_cut
    p_cut = np.minimum(weighted.sum(axis=0), 1.0)
    sizes = np.einsum("nt,ntc->tc", weighted / (p_cut + TINY), posteriors.sizes)
    # When a count was made, the looseness was judged by the counts up to it and by no later one.
    weights_then = scipy.special.softmax(earlier[:, None] + np.cumsum(posteriors.log_evidence, axis=1)[:, 1:], axis=0)
    newest = np.minimum((weights_then * posteriors.newest).sum(axis=0), 1.0)
    lengths = quantiles_m(sizes, sequence.cell_m).tolist()
    faults = np.minimum(np.einsum("n,ntf->tf", weights, posteriors.log_faults), 1.0)  # weights may add up to 1 + 1e-16
    doubt = np.minimum(faults[:, : len(OWN_FAULTS)].sum(axis=1), 1.0)
    ordinary = np.minimum(weights @ posteriors.ordinary, 1.0)
    p_replaced = np.minimum(weights @ posteriors.p_replaced, 1.0)
    change = np.diff(sequence.winding.metres(sequence.read_turns + sequence.rule_wraps)).tolist()
    people_wraps = theta.people_wraps(counts)
    people = np.diff(people_wraps).tolist()
    rule = np.diff(sequence.rule_wraps - people_wraps).astype(int).tolist()
    logged, drop, usual = _expected(sequence, theta, looseness_wraps)
    for t in range(sequence.times - 1):
        low, middle, high = lengths[t]
        yield IntervalPosterior(
            from_at=counts[t].at,
            to_at=counts[t + 1].at,
            observed_change_m=change[t],
            logged_cut_m=float(logged[t]),
            p_unlogged_cut=float(p_cut[t]),
            p_when_counted=float(newest[t]),
            cut_m=middle,
            cut_low_m=low,
            cut_high_m=high,
            log_doubt=float(doubt[t]),
            p_replaced=float(p_replaced[t]),
            ending=sequence.endings[t],
            rule_wraps=rule[t],
            people_wraps=people[t],
            log_faults=tuple(faults[t].tolist()),
            p_ordinary=float(ordinary[t]),
            drop_m=float(drop[t]),
            usual_m=float(usual[t]),
        )


def _expected(
    sequence: CountSequence, theta: DriftParameters, looseness_wraps: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Of each interval the metres logged, by how many the later count is lower than expected, and the usual spread."""
    logged, variance = np.zeros((2, sequence.times + 1))  # the last place takes what is logged before the first count
    for entry in sequence.entries:
        logged[entry.interval] += entry.length_m
        variance[entry.interval] += theta.logged_sd_m**2 + (theta.logged_sd_share * entry.length_m) ** 2
    growth = growth_m(sequence, theta)
    factor = spread_factor(sequence.read_turns, sequence.winding, theta.fullness_power)
    upper = np.clip(sequence.read_turns + 0.5, 1.0, sequence.winding.below_turns[-1])
    wrap_m = sequence.winding.metres(upper) - sequence.winding.metres(upper - 1.0)
    of_count = ((looseness_wraps * factor) ** 2 + ROUNDING_VARIANCE) * wrap_m**2
    of_interval = of_count[:-1] + of_count[1:] + variance[: sequence.times - 1] + (FIXED.stretch_sd * growth) ** 2
    drop = growth - np.diff(sequence.read_m) - logged[: sequence.times - 1]
    return logged, drop, np.sqrt(of_interval)


def quantiles_m(sizes: FloatArray, cell_m: float) -> FloatArray:
    """Lengths below which each of QUANTILES of each row's probability lies, metres: shape (rows, 3).

    A cell's probability is spread evenly over the cell.
    """
    rows, cells = np.arange(sizes.shape[0]), sizes.shape[1]
    summed = np.cumsum(sizes, axis=1)
    out = np.zeros((rows.size, 3))
    for column, share in enumerate(QUANTILES):
        cell = np.minimum((summed < share).sum(axis=1), cells - 1)
        here = sizes[rows, cell]
        below = summed[rows, cell] - here
        out[:, column] = cell_m * np.maximum(cell - 0.5 + (share - below) / (here + TINY), 0.0)
    return out


def _over_replacement(history: ReelHistory, first: int, theta: DriftParameters) -> IntervalPosterior:
    """The pair of counts with a replacement between them: only the time on the new cable can hold a cut of it."""
    pair = before, after = ordered_counts(history)[first - 1 : first + 1]
    replaced = max(at for at in history.replaced_at if at <= after.at)
    days = days_between(after.at, before.at)
    share = days_between(after.at, replaced) / max(days, 1e-9)
    p = float(theta.p_cut(np.array([days]))[0]) * share
    low, middle, high = (theta.size_quantile_m(x) for x in QUANTILES)
    winding = winding_table(history.drum)
    change_m = np.diff(winding.metres(turns_of_counts(pair, winding)))
    return IntervalPosterior(
        from_at=before.at,
        to_at=after.at,
        observed_change_m=float(change_m[0]),
        logged_cut_m=sum(c.length_m for c in history.cuts if before.at < c.at <= after.at),
        p_unlogged_cut=p,
        p_when_counted=p,
        cut_m=middle,
        cut_low_m=low,
        cut_high_m=high,
        replaced=True,
    )
