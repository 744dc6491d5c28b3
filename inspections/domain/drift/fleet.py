"""Whole reels and fleets: chains run in batches, looseness values weighed, beliefs put together reel by reel."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import cast

import numpy as np
from numpy.typing import NDArray

from inspections.domain.drift.batch import Batch, batches_of
from inspections.domain.drift.chain import Chain, chains_of
from inspections.domain.drift.geometry import ordered_counts, turns_of_counts, winding_of
from inspections.domain.drift.parameters import LOOSENESS_WRAPS, Rates
from inspections.domain.drift.posteriors import log_beliefs, slip_beliefs
from inspections.domain.drift.records import (
    SLIPS,
    CountBelief,
    IntervalBelief,
    ReelAssessment,
    ReelHistory,
    Slip,
)
from inspections.domain.drift.smoother import read_intervals, run

FloatArray = NDArray[np.float64]

REELS_AT_ONCE = 256
LATE_COUNTS = 12  # counts that a cut recorded late is followed over, and that are taken in before it


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChainBeliefs:
    """Beliefs for each looseness value: log_evidence, slips, turns by count; p_cut, newest, sizes by interval.

    Shapes (nodes, times), (nodes, times, slips), (nodes, times); (nodes, intervals), the same, and with cells.
    log_doubt: (nodes, intervals).
    """

    chain: Chain
    log_evidence: FloatArray
    slips: FloatArray
    turns: FloatArray
    p_cut: FloatArray
    newest: FloatArray
    sizes: FloatArray
    log_doubt: FloatArray


def chain_beliefs(chains: Sequence[Chain], rates: Rates) -> list[ChainBeliefs]:
    """Run all chains; the answers are in the order of the chains."""
    answers: list[ChainBeliefs | None] = [None] * len(chains)
    for places, batch in batches_of(chains, rates):
        for place, beliefs in zip(places, _batch_beliefs(batch), strict=True):
            answers[place] = beliefs
    return cast(list[ChainBeliefs], answers)


def _batch_beliefs(batch: Batch) -> list[ChainBeliefs]:
    result = run(batch)
    reading, slips = read_intervals(result), slip_beliefs(result)
    believed = (result.after * result.messages).sum(axis=2)
    times, rows, cells = believed.shape
    p_cut = np.zeros((max(times - 1, 1), rows))
    sizes = np.zeros((max(times - 1, 1), rows, cells))
    doubt = np.zeros((max(times - 1, 1), rows))
    p_cut[reading.steps, reading.rows] = reading.p_cut
    sizes[reading.steps, reading.rows] = reading.sizes
    for belief in log_beliefs(result):
        interval = batch.moves[belief.move].interval
        if 0 <= interval < batch.lengths[belief.row] - 1:
            doubt[interval, belief.row] = min(belief.early + belief.late + belief.void + belief.wrong, 1.0)
    middle = (np.cumsum(believed, axis=2) < 0.5 * believed.sum(axis=2, keepdims=True)).sum(axis=2)
    nodes = batch.chains[0].nodes.size
    found = []
    for place, chain in enumerate(batch.chains):
        mine, counts, gaps = slice(place * nodes, (place + 1) * nodes), chain.times, chain.times - 1
        found.append(
            ChainBeliefs(
                chain=chain,
                log_evidence=result.log_evidence[:counts, mine].T,
                slips=np.moveaxis(slips[:counts, mine], 0, 1),
                turns=chain.winding.turns(
                    chain.cell_m * (chain.offsets + np.minimum(middle[:counts, mine], cells - 1).T)
                ),
                p_cut=p_cut[:gaps, mine].T,
                newest=result.p_when_counted[:gaps, mine].T,
                sizes=np.moveaxis(sizes[:gaps, mine], 0, 1),
                log_doubt=doubt[:gaps, mine].T,
            )
        )
    return found


def newest_as_known(chains: Sequence[Chain], rates: Rates) -> dict[tuple[int, int], FloatArray]:
    """Probability when counted, for counts at which an earlier cut had not been recorded yet, by looseness value.

    Keys: place of the chain in `chains`, number of the count in it.
    """
    asked = [(place, t) for place, chain in enumerate(chains) for t in _unknown_then(chain)]
    pieces = [as_known_at(chains[place], t) for place, t in asked]
    found: dict[tuple[int, int], FloatArray] = {}
    for places, batch in batches_of(pieces, rates):
        for place, p in zip(places, _last_newest(batch), strict=True):
            found[asked[place]] = p
    return found


def _unknown_then(chain: Chain) -> list[int]:
    """Counts at which a cut made before them was recorded only later."""
    found: set[int] = set()
    for entry in chain.entries:
        after = range(max(entry.interval + 1, 1), min(entry.interval + 1 + LATE_COUNTS, chain.times))
        found.update(t for t in after if chain.days[t] < entry.recorded_day)
    return sorted(found)


def as_known_at(chain: Chain, last: int) -> Chain:
    """The counts up to `last`, and some before the first gap in the log, with the entries recorded by then."""
    unknown = [e.interval for e in chain.entries if e.interval < last and e.recorded_day > chain.days[last]]
    first = max(0, max(min(unknown, default=last), last - LATE_COUNTS) - LATE_COUNTS)
    kept = slice(first, last + 1)
    mine = (chain.hypothesis_time >= first) & (chain.hypothesis_time <= last)
    entries = tuple(
        replace(e, interval=e.interval - first)
        for e in chain.entries
        if first - 1 <= e.interval < last and e.recorded_day <= chain.days[last]
    )
    return replace(
        chain,
        days=chain.days[kept],
        read_turns=chain.read_turns[kept],
        read_m=chain.read_m[kept],
        copied=chain.copied[kept],
        hypothesis_time=chain.hypothesis_time[mine] - first,
        hypothesis_slip=chain.hypothesis_slip[mine],
        hypothesis_weight=chain.hypothesis_weight[mine],
        hypothesis_turns=chain.hypothesis_turns[mine],
        offsets=chain.offsets[kept],
        entries=entries,
        endings=chain.endings[first:last],
        start_m=chain.start_m if first == 0 else None,
    )


def _last_newest(batch: Batch) -> list[FloatArray]:
    newest = run(batch, smooth=False).p_when_counted
    nodes = batch.chains[0].nodes.size
    return [newest[chain.times - 2, place * nodes : (place + 1) * nodes] for place, chain in enumerate(batch.chains)]


def node_weights(log_support: FloatArray) -> FloatArray:
    """Probabilities from log values along the first axis."""
    weights = np.exp(log_support - log_support.max(axis=0))
    return cast(FloatArray, weights / weights.sum(axis=0))


def reel_support(beliefs: Sequence[ChainBeliefs], rates: Rates) -> FloatArray:
    """Log support of each looseness value from all of a reel's chains and the fleet."""
    nodes = beliefs[0].chain.nodes
    prior = np.log(np.array(rates.looseness_shares)[nodes] + 1e-9)
    return cast(FloatArray, prior + sum(b.log_evidence.sum(axis=1) for b in beliefs))


def assess_fleet(histories: Iterable[ReelHistory], rates: Rates) -> Iterator[ReelAssessment]:
    """Assess reel after reel in bounded memory, in the order given; see drift.assess.

    It keeps one core busy: for two, hand half of the reels to each of two processes.
    """
    source = iter(histories)
    while some := list(islice(source, REELS_AT_ONCE)):
        chains = [chains_of(history, place, rates) for place, history in enumerate(some)]
        flat = [chain for mine in chains for chain in mine]
        beliefs = chain_beliefs(flat, rates)
        for (place, t), newest in newest_as_known(flat, rates).items():
            beliefs[place].newest[:, t - 1] = newest
        answers = iter(beliefs)
        for history, mine in zip(some, chains, strict=True):
            yield _assessment(history, [next(answers) for _ in mine], rates)


def _assessment(history: ReelHistory, beliefs: list[ChainBeliefs], rates: Rates) -> ReelAssessment:
    if not beliefs:
        return ReelAssessment(reel=history.reel, counts=(), intervals=(), looseness_wraps=float("nan"))
    weights = node_weights(reel_support(beliefs, rates))
    counts: list[CountBelief] = []
    intervals: list[IntervalBelief] = []
    earlier = np.log(np.array(rates.looseness_shares)[beliefs[0].chain.nodes] + 1e-9)
    for belief in beliefs:
        if counts:
            intervals.append(_over_replacement(history, belief.chain.first, rates))
        counts.extend(_count_beliefs(history, belief, weights))
        intervals.extend(_interval_beliefs(history, belief, weights, earlier))
        earlier = earlier + belief.log_evidence.sum(axis=1)
    looseness = float(np.exp(np.dot(weights, np.log(LOOSENESS_WRAPS[beliefs[0].chain.nodes]))))
    return ReelAssessment(
        reel=history.reel,
        counts=tuple(counts),
        intervals=tuple(intervals),
        looseness_wraps=looseness,
        log_evidence=float(reel_support(beliefs, rates).max()),
    )


def _count_beliefs(history: ReelHistory, belief: ChainBeliefs, weights: FloatArray) -> Iterator[CountBelief]:
    counts = ordered_counts(history)[belief.chain.first : belief.chain.first + belief.chain.times]
    slips = np.einsum("n,nts->ts", weights, belief.slips)
    turns = (weights @ belief.turns).tolist()
    likeliest = (1 + slips[:, 1:].argmax(axis=1)).tolist()
    slipped = np.clip(slips[:, 1:].sum(axis=1), 0.0, 1.0).tolist()
    for count, kind, p_slip, true in zip(counts, likeliest, slipped, turns, strict=True):
        yield CountBelief(
            at=count.at,
            layers=count.layers,
            wraps=count.wraps,
            p_slip=p_slip,
            likeliest_slip=SLIPS[kind] if p_slip > 0.01 else Slip.NONE,
            turns=true,
        )


def _interval_beliefs(
    history: ReelHistory, belief: ChainBeliefs, weights: FloatArray, earlier: FloatArray
) -> Iterator[IntervalBelief]:
    chain = belief.chain
    counts = ordered_counts(history)[chain.first : chain.first + chain.times]
    weighted = weights[:, None] * belief.p_cut
    p_cut = np.minimum(weighted.sum(axis=0), 1.0)
    sizes = np.einsum("nt,ntc->tc", weighted / (p_cut + 1e-300), belief.sizes)
    then = node_weights(earlier[:, None] + np.cumsum(belief.log_evidence, axis=1)[:, 1:])
    newest = np.minimum((then * belief.newest).sum(axis=0), 1.0)
    lengths = quantiles_m(sizes, chain.cell_m).tolist()
    doubt = weights @ belief.log_doubt
    change = np.diff(chain.read_m).tolist()
    logged = np.zeros(chain.times + 1)
    for entry in chain.entries:
        logged[entry.interval] += entry.length_m
    for t in range(chain.times - 1):
        low, middle, high = lengths[t]
        yield IntervalBelief(
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
            ending=chain.endings[t],
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


def _over_replacement(history: ReelHistory, first: int, rates: Rates) -> IntervalBelief:
    """The pair of counts with a replacement between them: only the time on the new cable can hold a cut of it."""
    counts = ordered_counts(history)
    before, after = counts[first - 1], counts[first]
    replaced = max(at for at in history.replaced_at if at <= after.at)
    days = (after.at - before.at).total_seconds() / 86400.0
    share = (after.at - replaced).total_seconds() / 86400.0 / max(days, 1e-9)
    p = float(rates.p_cut(np.array([days]))[0]) * share
    low, middle, high = (rates.size_quantile_m(x) for x in (0.05, 0.5, 0.95))
    winding = _winding_change_m(history, first)
    logged = sum(c.length_m for c in history.cuts if before.at < c.at <= after.at)
    return IntervalBelief(
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
    winding = winding_of(history.drum)
    a, b = winding.metres(turns_of_counts(ordered_counts(history)[later - 1 : later + 1], winding))
    return float(b - a)
