"""Learning a fleet's rates from its own records: expectation–maximisation with broad priors.

What is learned from: at most LEARN_COUNTS counts, of reels spread evenly over those given, so that a large fleet costs
no more than a middling one. Every rate has a prior worth some tens of counts (the numbers below), so that a fleet of
three reels keeps close to it and a large one forgets it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import cast

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from inspections.domain.drift.batch import Batch, batches_of
from inspections.domain.drift.chain import Chain, chains_of
from inspections.domain.drift.fleet import node_weights
from inspections.domain.drift.looseness import looseness_support
from inspections.domain.drift.parameters import (
    DAYS_PER_YEAR,
    DEFAULT_RATES,
    LOOSENESS_WRAPS,
    SIZE_EDGES_M,
    Rates,
    lognormal_shares,
)
from inspections.domain.drift.posteriors import log_beliefs, misfits, slip_beliefs
from inspections.domain.drift.records import SLIPS, ReelHistory
from inspections.domain.drift.smoother import Run, read_intervals, run

FloatArray = NDArray[np.float64]

LEARN_COUNTS = 6_000
EARLY_COUNTS = 1_500  # that the first rounds go over, to be near the right rates before all are looked at
MOST_ROUNDS = 16
MORE_ROUNDS = 7
LAYOUT_ROUND = 4
CLOSE_ENOUGH = 2e-5  # nats a count gained by a round

FULLNESS = np.geomspace(0.05, 2.05, 25)  # classes of turns over those of a half-full drum
PRIOR_POWER_SD = 0.5
STRETCH_SHARES = (0.001, 0.002, 0.004, 0.008)
STRETCH_SEEN = 365.0  # days from new to the first count within which a stretch might be seen
STRETCH_MUST_GAIN = 3.0  # nats
PRIOR_SLIP_COUNTS = 100.0
PRIOR_CUT_INTERVALS = 30.0
PRIOR_SIZE_CUTS = 4.0
SIZE_LEAN_CUTS = 30.0
LIKE_LOGGED_CUTS = 8.0  # what the guess that unlogged cuts are as long as logged ones is worth
ENOUGH_LOGGED = 10.0
USUAL_SIZE_LOG_SD = 0.6
PRIOR_REELS = 3.0
PRIOR_ENTRIES = 20.0


@dataclass(slots=True, kw_only=True)
class Tally:
    """Expected numbers of everything that the rates are shares of."""

    cuts: list[FloatArray] = field(default_factory=list)
    days: list[FloatArray] = field(default_factory=list)
    sizes: FloatArray = field(default_factory=lambda: np.zeros(SIZE_EDGES_M.size - 1))
    slips: FloatArray = field(default_factory=lambda: np.zeros(len(SLIPS)))
    looseness: FloatArray = field(default_factory=lambda: np.zeros(LOOSENESS_WRAPS.size))
    misdated: float = 0.0
    misdatable: float = 0.0
    void: float = 0.0
    twin_void: float = 0.0
    wrong: float = 0.0
    entries: float = 0.0
    twins: float = 0.0
    errors: list[tuple[float, float, float]] = field(default_factory=list)
    logged_sizes: FloatArray = field(default_factory=lambda: np.zeros(SIZE_EDGES_M.size - 1))
    misfit_weight: FloatArray = field(default_factory=lambda: np.zeros((LOOSENESS_WRAPS.size, FULLNESS.size - 1)))
    misfit_squared: FloatArray = field(default_factory=lambda: np.zeros((LOOSENESS_WRAPS.size, FULLNESS.size - 1)))
    log_evidence: float = 0.0
    counts: int = 0


def learn(histories: Iterable[ReelHistory], prior: Rates = DEFAULT_RATES) -> Rates:
    """The rates of a fleet.

    histories: any number of reels, none included. prior: where the search starts, and what scant evidence keeps to.
    Returns rates; the same histories give the same rates.
    Source: Dempster, Laird and Rubin (1977).
    """
    some = _spread_evenly(list(histories))
    if not some:
        return prior
    few = some[:: max(1, sum(len(h.counts) for h in some) // EARLY_COUNTS)]
    rates = _settle(few, _first_look(some, prior), prior, MOST_ROUNDS)
    rates = rates if len(few) == len(some) else _settle(some, rates, prior, MORE_ROUNDS)
    stretched = _stretch(some, rates)
    return rates if stretched == rates else _settle(some, stretched, prior, MORE_ROUNDS)


def _settle(histories: Sequence[ReelHistory], rates: Rates, prior: Rates, rounds: int) -> Rates:
    """Rounds of expectation and maximisation until nothing is gained; the layout is made again once, early on."""
    best, known = -np.inf, cast(dict[int, FloatArray], {})
    chains = _chains(histories, rates)
    for turn in range(rounds):
        if turn == LAYOUT_ROUND:
            chains, best, known = _chains(histories, rates), -np.inf, {}
        tally = _expect(chains, rates, known)
        rates = _maximise(tally, rates, prior)
        if turn > LAYOUT_ROUND and tally.log_evidence - best < CLOSE_ENOUGH * (1000.0 + tally.counts):
            break
        best = tally.log_evidence
    return rates


def _chains(histories: Sequence[ReelHistory], rates: Rates) -> list[Chain]:
    return [chain for place, history in enumerate(histories) for chain in chains_of(history, place, rates)]


def _stretch(histories: Sequence[ReelHistory], rates: Rates) -> Rates:
    """The growth of new cable that makes the counts likeliest, if it does so clearly; else none."""
    chains = [c for c in _chains(histories, rates) if _seen_new(c)]
    best, gained = replace(rates, stretch_share=0.0), STRETCH_MUST_GAIN
    if not chains:
        return best
    plain = _evidence(chains, best)
    for share in STRETCH_SHARES:
        tried = replace(rates, stretch_share=share)
        gain = _evidence(chains, tried) - plain
        if gain < gained:
            break
        best, gained = tried, gain
    return best


def _seen_new(chain: Chain) -> bool:
    return chain.start_day is not None and float(chain.days[0]) - chain.start_day < STRETCH_SEEN


def _evidence(chains: Sequence[Chain], rates: Rates) -> float:
    """Log probability of all counts; each chain's looseness judged by itself."""
    total = 0.0
    prior = np.log(np.array(rates.looseness_shares) + 1e-9)
    for places, batch in batches_of(chains, rates):
        by_row = run(batch, smooth=False).log_evidence.sum(axis=0)
        for row, place in enumerate(places):
            total += float(np.logaddexp.reduce(by_row[_rows(batch, row)] + prior[chains[place].nodes]))
    return total


def _spread_evenly(histories: list[ReelHistory]) -> list[ReelHistory]:
    total = sum(len(h.counts) for h in histories)
    step = max(1, -(-total // LEARN_COUNTS))
    return [h for h in histories[::step] if h.counts]


def _first_look(histories: Sequence[ReelHistory], prior: Rates) -> Rates:
    """Looseness shares from neighbouring counts alone, so that the first round tries the right values.

    Cuts begin as long as the logged ones: what the counts don't show stays where it began.
    """
    lengths = [cut.length_m for history in histories for cut in history.cuts if cut.length_m > 0]
    logged = np.histogram(np.clip(lengths, *SIZE_EDGES_M[[0, -1]]), SIZE_EDGES_M)[0].astype(np.float64)
    sizes = _smooth_sizes(logged + PRIOR_SIZE_CUTS * np.array(prior.size_shares))
    start = replace(prior, size_shares=tuple((sizes / sizes.sum()).tolist()))
    support = np.array([looseness_support(h, start) for h in histories])
    shares = np.array(prior.looseness_shares)
    for _ in range(30):
        weights = node_weights((support + np.log(shares + 1e-9)).T)
        shares = _looseness_shares(weights.sum(axis=1), np.array(prior.looseness_shares))
    return replace(start, looseness_shares=tuple(shares.tolist()))


def _expect(chains: Sequence[Chain], rates: Rates, known: dict[int, FloatArray]) -> Tally:
    """One round's expected numbers. known: each chain's log evidence from the round before; replaced by this one's.

    A reel's looseness is judged by all its chains, but a batch sees only some: the others count as last time.
    """
    tally = Tally()
    of_reel: dict[int, FloatArray] = {}
    for place, evidence in known.items():
        of_reel[chains[place].reel] = of_reel.get(chains[place].reel, 0.0) + evidence
    for places, batch in batches_of(chains, rates):
        result = run(batch)
        weights = []
        for row, place in enumerate(places):
            chain = chains[place]
            mine = result.log_evidence[: chain.times, _rows(batch, row)].sum(axis=0)
            others = of_reel.get(chain.reel, 0.0) - known.get(place, 0.0)
            total = mine + others + np.log(np.array(rates.looseness_shares)[chain.nodes] + 1e-9)
            weights.append(node_weights(total))
            known[place] = mine
            tally.log_evidence += float(np.logaddexp.reduce(total - others))
            tally.looseness[chain.nodes] += weights[-1] * (1.0 if chain.first == 0 else 0.3)
        _add(tally, result, np.concatenate(weights))
    return tally


def _rows(batch: Batch, place: int) -> slice:
    nodes = batch.chains[0].nodes.size
    return slice(place * nodes, (place + 1) * nodes)


def _add(tally: Tally, result: Run, row_weight: FloatArray) -> None:
    batch = result.batch
    reading, slips = read_intervals(result), slip_beliefs(result)
    share, squared = misfits(result)
    p_cut = np.zeros(batch.p_cut.shape)
    p_cut[reading.steps, reading.rows] = reading.p_cut
    weighted = row_weight[reading.rows] * reading.p_cut
    tally.sizes += _by_class(weighted @ reading.sizes, batch)
    for place, chain in enumerate(batch.chains):
        mine = _rows(batch, place)
        if chain.times > 1:
            tally.cuts.append(p_cut[: chain.times - 1, mine] @ row_weight[mine])
            tally.days.append(np.diff(chain.days))
        _add_misfits(tally, chain, row_weight[mine], share[: chain.times, mine], squared[: chain.times, mine])
        tally.slips += np.einsum("trs,r->s", slips[: chain.times, mine], row_weight[mine])
        tally.counts += chain.times
    _add_log(tally, result, row_weight)


def _add_misfits(tally: Tally, chain: Chain, weight: FloatArray, share: FloatArray, squared: FloatArray) -> None:
    fullness = chain.read_turns / (chain.winding.below_turns[-1] / 2.0)
    place = np.clip(np.searchsorted(FULLNESS, fullness) - 1, 0, FULLNESS.size - 2)
    for k, node in enumerate(chain.nodes):
        np.add.at(tally.misfit_weight[node], place, weight[k] * share[:, k])
        np.add.at(tally.misfit_squared[node], place, weight[k] * share[:, k] * squared[:, k])


def _by_class(cells: FloatArray, batch: Batch) -> FloatArray:
    """Expected cuts by cell shared out to the size classes, in the proportion that each class has of the cell."""
    kernels = batch.kernels
    edges = kernels.cell_m * (np.arange(kernels.cells + 1) - 0.5)
    low = np.maximum(np.log(np.maximum(edges[:-1, None], 1e-9)), np.log(SIZE_EDGES_M[None, :-1]))
    high = np.minimum(np.log(np.maximum(edges[1:, None], 1e-9)), np.log(SIZE_EDGES_M[None, 1:]))
    part = np.maximum(high - low, 0.0) * np.array(batch.rates.size_shares)
    return cast(FloatArray, cells @ (part / (part.sum(axis=1, keepdims=True) + 1e-300)))


def _add_log(tally: Tally, result: Run, row_weight: FloatArray) -> None:
    batch, base = result.batch, result.batch.rates.entry_misdated
    for belief in log_beliefs(result):
        move, weight = batch.moves[belief.move], row_weight[belief.row]
        inside = 0 <= move.interval < batch.chains[move.row_chain].times - 1
        tally.misdated += weight * (belief.early + belief.late)
        tally.misdatable += weight * (move.early + move.late) / max(base, 1e-6)
        place = np.clip(np.searchsorted(SIZE_EDGES_M, [e.length_m for e in move.entries]) - 1, 0, SIZE_EDGES_M.size - 2)
        np.add.at(tally.logged_sizes, place, weight)
        if not inside or (len(move.entries) > 1 and not move.entries[-1].twin):
            continue
        stay = max(1.0 - belief.early - belief.late, 0.0)
        if move.entries[-1].twin:
            tally.twins += weight * stay
            tally.twin_void += weight * belief.void
        else:
            tally.entries += weight * stay
            tally.void += weight * belief.void
        if len(move.entries) == 1:
            tally.wrong += weight * belief.wrong
            good = weight * max(stay - belief.void - belief.wrong, 0.0)
            rounding = batch.kernels.cell_m**2 / 6.0
            tally.errors.append((good, max(belief.error_m2 - rounding, 0.0), move.entries[0].length_m))


def _maximise(tally: Tally, rates: Rates, prior: Rates) -> Rates:
    floor, yearly = _cut_rates(tally, prior)
    slips = tally.slips + PRIOR_SLIP_COUNTS * np.array(prior.slip_shares)
    sd_m, sd_share = _log_errors(tally, prior)
    return replace(
        rates,
        cuts_per_interval=floor,
        cuts_per_year=yearly,
        size_shares=_size_shares(tally.sizes, tally.logged_sizes, prior),
        fullness_power=_fullness_power(tally, rates, prior),
        slip_shares=tuple((slips / slips.sum()).tolist()),
        looseness_shares=tuple(_looseness_shares(tally.looseness, np.array(prior.looseness_shares)).tolist()),
        logged_sd_m=sd_m,
        logged_sd_share=sd_share,
        entry_void=_share(tally.void, tally.entries, prior.entry_void, PRIOR_ENTRIES),
        twin_void=_share(tally.twin_void, tally.twins, prior.twin_void, 4.0),
        entry_wrong=_share(tally.wrong, tally.entries, prior.entry_wrong, PRIOR_ENTRIES),
        entry_misdated=_share(tally.misdated, tally.misdatable, prior.entry_misdated, PRIOR_ENTRIES),
    )


def _share(found: float, out_of: float, prior: float, worth: float) -> float:
    return float(np.clip((found + worth * prior) / (out_of + worth), 1e-5, 0.95))


def _cut_rates(tally: Tally, prior: Rates) -> tuple[float, float]:
    """The part of the cut rate that goes by interval and the part that goes by time, by penalised likelihood."""
    if not tally.cuts:
        return prior.cuts_per_interval, prior.cuts_per_year
    cuts, years = np.concatenate(tally.cuts), np.maximum(np.concatenate(tally.days), 0.0) / DAYS_PER_YEAR
    typical = float(years.mean())
    worth = PRIOR_CUT_INTERVALS

    def cost(log_parts: FloatArray) -> float:
        per_interval, per_typical = np.exp(log_parts)
        expected = per_interval + per_typical * years / max(typical, 1e-6)
        guess = np.array([prior.cuts_per_interval, prior.cuts_per_year * typical]) * worth
        kept = np.sum(np.array([per_interval, per_typical]) * worth - guess * log_parts)
        return float(-(cuts * np.log(-np.expm1(-expected) + 1e-12) - (1.0 - cuts) * expected).sum() + kept)

    start = np.log([prior.cuts_per_interval, max(prior.cuts_per_year * typical, 1e-4)])
    found = minimize(cost, start, method="Nelder-Mead", options={"xatol": 1e-3, "fatol": 1e-4})
    per_interval, per_typical = np.exp(found.x)
    return float(per_interval), float(per_typical / max(typical, 1e-6))


def _size_shares(found: FloatArray, logged: FloatArray, prior: Rates) -> tuple[float, ...]:
    """Classes as found, leaning on a smooth law: a lognormal, the logged cuts and the prior, mixed as found.

    Cuts too short to be seen would else stay at whatever share they were given: only the smooth law speaks of them.
    """
    known = np.array(prior.size_shares)
    like_logged = _smooth_sizes(logged + PRIOR_SIZE_CUTS * known)
    lean = np.array([1.0, 1.0 + LIKE_LOGGED_CUTS * min(1.0, float(logged.sum()) / ENOUGH_LOGGED), 0.2])
    weights = lean / lean.sum()
    own = _lognormal_fit(found + PRIOR_SIZE_CUTS * known)
    for _ in range(30):
        parts = weights[:, None] * np.array([own, like_logged, known])
        parts *= found / (parts.sum(axis=0) + 1e-300)
        weights = (parts.sum(axis=1) + lean) / (found.sum() + lean.sum())
        own = _lognormal_fit(parts[0] + 0.5 * known)
    shares = found + SIZE_LEAN_CUTS * (weights @ np.array([own, like_logged, known]))
    return tuple((shares / shares.sum()).tolist())


def _lognormal_fit(weights: FloatArray) -> FloatArray:
    """The lognormal of these moments, its spread held near a usual one while there is little to go by."""
    middle = np.log(np.sqrt(SIZE_EDGES_M[:-1] * SIZE_EDGES_M[1:]))
    mean = float(np.average(middle, weights=weights))
    squares = float((weights * (middle - mean) ** 2).sum()) + 4.0 * USUAL_SIZE_LOG_SD**2
    return lognormal_shares(float(np.exp(mean)), max(float(np.sqrt(squares / (weights.sum() + 4.0))), 0.15))


def _smooth_sizes(weights: FloatArray) -> FloatArray:
    """The classes made smooth: shared with their neighbours, and a lognormal; less of both the more cuts there are."""
    total = float(weights.sum())
    spread = np.convolve(weights, [0.06, 0.25, 0.38, 0.25, 0.06], mode="same")
    raw = total / (total + 150.0)
    own = min(total / (total + 60.0), 0.95)
    shares = raw * weights / total + (1.0 - raw) * spread / spread.sum()
    return cast(FloatArray, own * shares + (1.0 - own) * _lognormal_fit(weights))


def _fullness_power(tally: Tally, rates: Rates, prior: Rates) -> float:
    """The power of fullness under which the counts' squared distances are likeliest."""
    middle = np.sqrt(FULLNESS[:-1] * FULLNESS[1:])
    powers = np.linspace(0.0, 2.0, 41)
    costs = []
    for power in powers:
        variance = (LOOSENESS_WRAPS[:, None] * middle[None, :] ** power) ** 2 + 1.0 / 12.0
        cost = 0.5 * (tally.misfit_weight * np.log(variance) + tally.misfit_squared / variance).sum()
        costs.append(cost + 0.5 * ((power - prior.fullness_power) / PRIOR_POWER_SD) ** 2)
    aim = float(powers[int(np.argmin(costs))])
    return float(np.clip(rates.fullness_power + 1.5 * (aim - rates.fullness_power), 0.0, 2.0))


def _looseness_shares(found: FloatArray, prior: FloatArray) -> FloatArray:
    """As found, leaning on a lognormal of the same mean and spread, and on the prior.

    Many reels are judged at every other value only, so that what is found is shared with the neighbours first.
    """
    nodes = np.log(LOOSENESS_WRAPS)
    found = np.convolve(found, [0.25, 0.5, 0.25], mode="same")
    weights = found + PRIOR_REELS * prior
    mean = float(np.average(nodes, weights=weights))
    sd = float(np.sqrt(np.average((nodes - mean) ** 2, weights=weights)))
    smooth = np.exp(-0.5 * ((nodes - mean) / max(sd, 0.2)) ** 2)
    shares = weights + 6.0 * smooth / smooth.sum()
    return cast(FloatArray, shares / shares.sum())


def _log_errors(tally: Tally, prior: Rates) -> tuple[float, float]:
    """Fixed and proportional error of logged lengths, from the mean squared error by length."""
    guess = [(PRIOR_ENTRIES / 2.0, prior.logged_sd_m**2 + (prior.logged_sd_share * x) ** 2, x) for x in (3.0, 20.0)]
    weight, squared, length = np.array(tally.errors + guess).T
    log_start = np.log([prior.logged_sd_m, prior.logged_sd_share])

    def cost(logs: FloatArray) -> float:
        variance = np.exp(2 * logs[0]) + np.exp(2 * logs[1]) * length**2
        return float((weight * (np.log(variance) + squared / variance)).sum())

    found = minimize(cost, log_start, method="Nelder-Mead", options={"xatol": 1e-2, "fatol": 1e-3})
    return float(np.clip(np.exp(found.x[0]), 0.02, 5.0)), float(np.clip(np.exp(found.x[1]), 1e-3, 0.3))
