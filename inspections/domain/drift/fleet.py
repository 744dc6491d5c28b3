"""Whole reels and fleets: chains run in batches, looseness values weighed, beliefs put together reel by reel."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import cast

import numpy as np
from numpy.typing import NDArray

from inspections.domain.drift.batch import Batch, batches_of
from inspections.domain.drift.geometry import ordered_counts, turns_of_counts, winding_table
from inspections.domain.drift.parameters import LOOSENESS_GRID_WRAPS, DriftParameters
from inspections.domain.drift.posteriors import log_entry_posteriors, slip_posteriors
from inspections.domain.drift.records import (
    SLIPS,
    CountPosterior,
    IntervalPosterior,
    ReelAssessment,
    ReelHistory,
    Slip,
)
from inspections.domain.drift.sequence import CountSequence, sequences_of
from inspections.domain.drift.smoother import forward_backward, interval_posteriors

FloatArray = NDArray[np.float64]

REELS_AT_ONCE = 256
LATE_COUNTS = 12  # counts that a cut recorded late is followed over, and that are taken in before it


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SequencePosteriors:
    """Beliefs for each looseness value: log_evidence, slips, turns by count; p_cut, newest, sizes by interval.

    Shapes (nodes, times), (nodes, times, slips), (nodes, times); (nodes, intervals), the same, and with cells.
    log_doubt: (nodes, intervals).
    """

    sequence: CountSequence
    log_evidence: FloatArray
    slips: FloatArray
    turns: FloatArray
    p_cut: FloatArray
    newest: FloatArray
    sizes: FloatArray
    log_doubt: FloatArray


def sequence_posteriors(sequences: Sequence[CountSequence], theta: DriftParameters) -> list[SequencePosteriors]:
    """Run all chains; the answers are in the order of the chains."""
    answers: list[SequencePosteriors | None] = [None] * len(sequences)
    for places, batch in batches_of(sequences, theta):
        for place, posteriors in zip(places, _batch_posteriors(batch), strict=True):
            answers[place] = posteriors
    return cast(list[SequencePosteriors], answers)


def _batch_posteriors(batch: Batch) -> list[SequencePosteriors]:
    result = forward_backward(batch)
    reading, slips = interval_posteriors(result), slip_posteriors(result)
    smoothed = (result.filtered * result.backward).sum(axis=2)
    times, rows, cells = smoothed.shape
    p_cut = np.zeros((max(times - 1, 1), rows))
    sizes = np.zeros((max(times - 1, 1), rows, cells))
    doubt = np.zeros((max(times - 1, 1), rows))
    p_cut[reading.steps, reading.rows] = reading.p_cut
    sizes[reading.steps, reading.rows] = reading.sizes
    for belief in log_entry_posteriors(result):
        interval = batch.moves[belief.move].interval
        if 0 <= interval < batch.lengths[belief.row] - 1:
            doubt[interval, belief.row] = min(belief.early + belief.late + belief.void + belief.wrong, 1.0)
    middle = (np.cumsum(smoothed, axis=2) < 0.5 * smoothed.sum(axis=2, keepdims=True)).sum(axis=2)
    grid_points = batch.sequences[0].grid_points.size
    found = []
    for place, sequence in enumerate(batch.sequences):
        mine, counts, gaps = slice(place * grid_points, (place + 1) * grid_points), sequence.times, sequence.times - 1
        found.append(
            SequencePosteriors(
                sequence=sequence,
                log_evidence=result.log_evidence[:counts, mine].T,
                slips=np.moveaxis(slips[:counts, mine], 0, 1),
                turns=sequence.winding.turns(
                    sequence.cell_m * (sequence.offsets + np.minimum(middle[:counts, mine], cells - 1).T)
                ),
                p_cut=p_cut[:gaps, mine].T,
                newest=result.p_when_counted[:gaps, mine].T,
                sizes=np.moveaxis(sizes[:gaps, mine], 0, 1),
                log_doubt=doubt[:gaps, mine].T,
            )
        )
    return found


def newest_as_known(sequences: Sequence[CountSequence], theta: DriftParameters) -> dict[tuple[int, int], FloatArray]:
    """Probability when counted, for counts at which an earlier cut had not been recorded yet, by looseness value.

    Keys: place of the chain in `chains`, number of the count in it.
    """
    asked = [(place, t) for place, sequence in enumerate(sequences) for t in _unknown_then(sequence)]
    pieces = [as_known_at(sequences[place], t) for place, t in asked]
    found: dict[tuple[int, int], FloatArray] = {}
    for places, batch in batches_of(pieces, theta):
        for place, p in zip(places, _last_newest(batch), strict=True):
            found[asked[place]] = p
    return found


def _unknown_then(sequence: CountSequence) -> list[int]:
    """Counts at which a cut made before them was recorded only later."""
    found: set[int] = set()
    for entry in sequence.entries:
        after = range(max(entry.interval + 1, 1), min(entry.interval + 1 + LATE_COUNTS, sequence.times))
        found.update(t for t in after if sequence.days[t] < entry.recorded_day)
    return sorted(found)


def as_known_at(sequence: CountSequence, last: int) -> CountSequence:
    """The counts up to `last`, and some before the first gap in the log, with the entries recorded by then."""
    unknown = [e.interval for e in sequence.entries if e.interval < last and e.recorded_day > sequence.days[last]]
    first = max(0, max(min(unknown, default=last), last - LATE_COUNTS) - LATE_COUNTS)
    kept = slice(first, last + 1)
    mine = (sequence.hypothesis_time >= first) & (sequence.hypothesis_time <= last)
    entries = tuple(
        replace(e, interval=e.interval - first)
        for e in sequence.entries
        if first - 1 <= e.interval < last and e.recorded_day <= sequence.days[last]
    )
    return replace(
        sequence,
        days=sequence.days[kept],
        read_turns=sequence.read_turns[kept],
        read_m=sequence.read_m[kept],
        copied=sequence.copied[kept],
        hypothesis_time=sequence.hypothesis_time[mine] - first,
        hypothesis_slip=sequence.hypothesis_slip[mine],
        hypothesis_weight=sequence.hypothesis_weight[mine],
        hypothesis_turns=sequence.hypothesis_turns[mine],
        offsets=sequence.offsets[kept],
        entries=entries,
        endings=sequence.endings[first:last],
        start_m=sequence.start_m if first == 0 else None,
    )


def _last_newest(batch: Batch) -> list[FloatArray]:
    newest = forward_backward(batch, smooth=False).p_when_counted
    grid_points = batch.sequences[0].grid_points.size
    return [
        newest[sequence.times - 2, place * grid_points : (place + 1) * grid_points]
        for place, sequence in enumerate(batch.sequences)
    ]


def grid_weights(log_support: FloatArray) -> FloatArray:
    """Probabilities from log values along the first axis."""
    weights = np.exp(log_support - log_support.max(axis=0))
    return cast(FloatArray, weights / weights.sum(axis=0))


def reel_support(posteriors: Sequence[SequencePosteriors], theta: DriftParameters) -> FloatArray:
    """Log support of each looseness value from all of a reel's chains and the fleet."""
    grid_points = posteriors[0].sequence.grid_points
    prior = np.log(np.array(theta.looseness_shares)[grid_points] + 1e-9)
    return cast(FloatArray, prior + sum(b.log_evidence.sum(axis=1) for b in posteriors))


def assess_fleet(histories: Iterable[ReelHistory], theta: DriftParameters) -> Iterator[ReelAssessment]:
    """Assess reel after reel in bounded memory, in the order given; see drift.assess.

    It keeps one core busy: for two, hand half of the reels to each of two processes.
    """
    source = iter(histories)
    while some := list(islice(source, REELS_AT_ONCE)):
        sequences = [sequences_of(history, place, theta) for place, history in enumerate(some)]
        flat = [sequence for mine in sequences for sequence in mine]
        posteriors = sequence_posteriors(flat, theta)
        for (place, t), newest in newest_as_known(flat, theta).items():
            posteriors[place].newest[:, t - 1] = newest
        answers = iter(posteriors)
        for history, mine in zip(some, sequences, strict=True):
            yield _assessment(history, [next(answers) for _ in mine], theta)


def _assessment(history: ReelHistory, posteriors: list[SequencePosteriors], theta: DriftParameters) -> ReelAssessment:
    if not posteriors:
        return ReelAssessment(reel=history.reel, counts=(), intervals=(), looseness_wraps=float("nan"))
    weights = grid_weights(reel_support(posteriors, theta))
    counts: list[CountPosterior] = []
    intervals: list[IntervalPosterior] = []
    earlier = np.log(np.array(theta.looseness_shares)[posteriors[0].sequence.grid_points] + 1e-9)
    for belief in posteriors:
        if counts:
            intervals.append(_over_replacement(history, belief.sequence.first, theta))
        counts.extend(_count_posteriors(history, belief, weights))
        intervals.extend(_interval_posteriors(history, belief, weights, earlier))
        earlier = earlier + belief.log_evidence.sum(axis=1)
    looseness = float(np.exp(np.dot(weights, np.log(LOOSENESS_GRID_WRAPS[posteriors[0].sequence.grid_points]))))
    return ReelAssessment(
        reel=history.reel,
        counts=tuple(counts),
        intervals=tuple(intervals),
        looseness_wraps=looseness,
        log_evidence=float(reel_support(posteriors, theta).max()),
    )


def _count_posteriors(
    history: ReelHistory, belief: SequencePosteriors, weights: FloatArray
) -> Iterator[CountPosterior]:
    counts = ordered_counts(history)[belief.sequence.first : belief.sequence.first + belief.sequence.times]
    slips = np.einsum("n,nts->ts", weights, belief.slips)
    turns = (weights @ belief.turns).tolist()
    likeliest = (1 + slips[:, 1:].argmax(axis=1)).tolist()
    slipped = np.clip(slips[:, 1:].sum(axis=1), 0.0, 1.0).tolist()
    for count, kind, p_slip, true in zip(counts, likeliest, slipped, turns, strict=True):
        yield CountPosterior(
            at=count.at,
            layers=count.layers,
            wraps=count.wraps,
            p_slip=p_slip,
            likeliest_slip=SLIPS[kind] if p_slip > 0.01 else Slip.NONE,
            turns=true,
        )


def _interval_posteriors(
    history: ReelHistory, belief: SequencePosteriors, weights: FloatArray, earlier: FloatArray
) -> Iterator[IntervalPosterior]:
    sequence = belief.sequence
    counts = ordered_counts(history)[sequence.first : sequence.first + sequence.times]
    weighted = weights[:, None] * belief.p_cut
    p_cut = np.minimum(weighted.sum(axis=0), 1.0)
    sizes = np.einsum("nt,ntc->tc", weighted / (p_cut + 1e-300), belief.sizes)
    then = grid_weights(earlier[:, None] + np.cumsum(belief.log_evidence, axis=1)[:, 1:])
    newest = np.minimum((then * belief.newest).sum(axis=0), 1.0)
    lengths = quantiles_m(sizes, sequence.cell_m).tolist()
    doubt = weights @ belief.log_doubt
    change = np.diff(sequence.read_m).tolist()
    logged = np.zeros(sequence.times + 1)
    for entry in sequence.entries:
        logged[entry.interval] += entry.length_m
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
            ending=sequence.endings[t],
        )


def quantiles_m(sizes: FloatArray, cell_m: float) -> FloatArray:
    """Lengths below which 5, 50 and 95 % of each row's probability lies, metres: shape (rows, 3)."""
    rows, cells = sizes.shape
    summed = np.cumsum(sizes, axis=1)
    out = np.zeros((rows, 3))
    for column, share in enumerate((0.05, 0.5, 0.95)):
        place = np.minimum((summed < share).sum(axis=1), cells - 1)
        here = sizes[np.arange(rows), place]
        below = summed[np.arange(rows), place] - here
        out[:, column] = cell_m * np.maximum(place - 0.5 + (share - below) / (here + 1e-300), 0.0)
    return np.maximum(out, 0.0)


def _over_replacement(history: ReelHistory, first: int, theta: DriftParameters) -> IntervalPosterior:
    """The pair of counts with a replacement between them: only the time on the new cable can hold a cut of it."""
    counts = ordered_counts(history)
    before, after = counts[first - 1], counts[first]
    replaced = max(at for at in history.replaced_at if at <= after.at)
    days = (after.at - before.at).total_seconds() / 86400.0
    share = (after.at - replaced).total_seconds() / 86400.0 / max(days, 1e-9)
    p = float(theta.p_cut(np.array([days]))[0]) * share
    low, middle, high = (theta.size_quantile_m(x) for x in (0.05, 0.5, 0.95))
    winding = _winding_change_m(history, first)
    logged = sum(c.length_m for c in history.cuts if before.at < c.at <= after.at)
    return IntervalPosterior(
        from_at=before.at,
        to_at=after.at,
        observed_change_m=winding,
        logged_cut_m=logged,
        p_unlogged_cut=p,
        p_when_counted=p,
        cut_m=middle,
        cut_low_m=low,
        cut_high_m=high,
        replaced=True,
    )


def _winding_change_m(history: ReelHistory, later: int) -> float:
    winding = winding_table(history.drum)
    a, b = winding.metres(turns_of_counts(ordered_counts(history)[later - 1 : later + 1], winding))
    return float(b - a)
