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
from inspections.domain.drift.fleet import grid_weights
from inspections.domain.drift.looseness import looseness_support
from inspections.domain.drift.parameters import (
    DAYS_PER_YEAR,
    DEFAULT_PARAMETERS,
    LOOSENESS_GRID_WRAPS,
    SIZE_EDGES_M,
    DriftParameters,
    lognormal_shares,
)
from inspections.domain.drift.posteriors import log_entry_posteriors, residuals, slip_posteriors
from inspections.domain.drift.records import SLIPS, ReelHistory
from inspections.domain.drift.sequence import CountSequence, sequences_of
from inspections.domain.drift.smoother import ForwardBackward, forward_backward, interval_posteriors

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
class SufficientStatistics:
    """Expected numbers of everything that the rates are shares of."""

    cuts: list[FloatArray] = field(default_factory=list)
    days: list[FloatArray] = field(default_factory=list)
    sizes: FloatArray = field(default_factory=lambda: np.zeros(SIZE_EDGES_M.size - 1))
    slips: FloatArray = field(default_factory=lambda: np.zeros(len(SLIPS)))
    looseness: FloatArray = field(default_factory=lambda: np.zeros(LOOSENESS_GRID_WRAPS.size))
    misdated: float = 0.0
    misdatable: float = 0.0
    void: float = 0.0
    twin_void: float = 0.0
    wrong: float = 0.0
    entries: float = 0.0
    twins: float = 0.0
    errors: list[tuple[float, float, float]] = field(default_factory=list)
    logged_sizes: FloatArray = field(default_factory=lambda: np.zeros(SIZE_EDGES_M.size - 1))
    residual_weight: FloatArray = field(
        default_factory=lambda: np.zeros((LOOSENESS_GRID_WRAPS.size, FULLNESS.size - 1))
    )
    residual_squares: FloatArray = field(
        default_factory=lambda: np.zeros((LOOSENESS_GRID_WRAPS.size, FULLNESS.size - 1))
    )
    log_evidence: float = 0.0
    counts: int = 0


def learn(histories: Iterable[ReelHistory], prior: DriftParameters = DEFAULT_PARAMETERS) -> DriftParameters:
    """The rates of a fleet.

    histories: any number of reels, none included. prior: where the search starts, and what scant evidence keeps to.
    Returns rates; the same histories give the same rates.
    Source: Dempster, Laird and Rubin (1977).
    """
    some = _spread_evenly(list(histories))
    if not some:
        return prior
    few = some[:: max(1, sum(len(h.counts) for h in some) // EARLY_COUNTS)]
    theta = _em(few, _first_look(some, prior), prior, MOST_ROUNDS)
    theta = theta if len(few) == len(some) else _em(some, theta, prior, MORE_ROUNDS)
    stretched = _stretch(some, theta)
    return theta if stretched == theta else _em(some, stretched, prior, MORE_ROUNDS)


def _em(
    histories: Sequence[ReelHistory], theta: DriftParameters, prior: DriftParameters, rounds: int
) -> DriftParameters:
    """Rounds of expectation and maximisation until nothing is gained; the layout is made again once, early on."""
    best, known = -np.inf, cast(dict[int, FloatArray], {})
    sequences = _sequences(histories, theta)
    for turn in range(rounds):
        if turn == LAYOUT_ROUND:
            sequences, best, known = _sequences(histories, theta), -np.inf, {}
        statistics = e_step(sequences, theta, known)
        theta = m_step(statistics, theta, prior)
        if turn > LAYOUT_ROUND and statistics.log_evidence - best < CLOSE_ENOUGH * (1000.0 + statistics.counts):
            break
        best = statistics.log_evidence
    return theta


def _sequences(histories: Sequence[ReelHistory], theta: DriftParameters) -> list[CountSequence]:
    return [sequence for place, history in enumerate(histories) for sequence in sequences_of(history, place, theta)]


def _stretch(histories: Sequence[ReelHistory], theta: DriftParameters) -> DriftParameters:
    """The growth of new cable that makes the counts likeliest, if it does so clearly; else none."""
    sequences = [c for c in _sequences(histories, theta) if _seen_new(c)]
    best, gained = replace(theta, stretch_share=0.0), STRETCH_MUST_GAIN
    if not sequences:
        return best
    plain = _evidence(sequences, best)
    for share in STRETCH_SHARES:
        tried = replace(theta, stretch_share=share)
        gain = _evidence(sequences, tried) - plain
        if gain < gained:
            break
        best, gained = tried, gain
    return best


def _seen_new(sequence: CountSequence) -> bool:
    return sequence.start_day is not None and float(sequence.days[0]) - sequence.start_day < STRETCH_SEEN


def _evidence(sequences: Sequence[CountSequence], theta: DriftParameters) -> float:
    """Log probability of all counts; each chain's looseness judged by itself."""
    total = 0.0
    prior = np.log(np.array(theta.looseness_shares) + 1e-9)
    for places, batch in batches_of(sequences, theta):
        by_row = forward_backward(batch, smooth=False).log_evidence.sum(axis=0)
        for row, place in enumerate(places):
            total += float(np.logaddexp.reduce(by_row[_rows(batch, row)] + prior[sequences[place].grid_points]))
    return total


def _spread_evenly(histories: list[ReelHistory]) -> list[ReelHistory]:
    total = sum(len(h.counts) for h in histories)
    step = max(1, -(-total // LEARN_COUNTS))
    return [h for h in histories[::step] if h.counts]


def _first_look(histories: Sequence[ReelHistory], prior: DriftParameters) -> DriftParameters:
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
        weights = grid_weights((support + np.log(shares + 1e-9)).T)
        shares = _looseness_shares(weights.sum(axis=1), np.array(prior.looseness_shares))
    return replace(start, looseness_shares=tuple(shares.tolist()))


def e_step(
    sequences: Sequence[CountSequence], theta: DriftParameters, known: dict[int, FloatArray]
) -> SufficientStatistics:
    """One round's expected numbers. known: each chain's log evidence from the round before; replaced by this one's.

    A reel's looseness is judged by all its chains, but a batch sees only some: the others count as last time.
    """
    statistics = SufficientStatistics()
    of_reel: dict[int, FloatArray] = {}
    for place, evidence in known.items():
        of_reel[sequences[place].reel] = of_reel.get(sequences[place].reel, 0.0) + evidence
    for places, batch in batches_of(sequences, theta):
        result = forward_backward(batch)
        weights = []
        for row, place in enumerate(places):
            sequence = sequences[place]
            mine = result.log_evidence[: sequence.times, _rows(batch, row)].sum(axis=0)
            others = of_reel.get(sequence.reel, 0.0) - known.get(place, 0.0)
            total = mine + others + np.log(np.array(theta.looseness_shares)[sequence.grid_points] + 1e-9)
            weights.append(grid_weights(total))
            known[place] = mine
            statistics.log_evidence += float(np.logaddexp.reduce(total - others))
            statistics.looseness[sequence.grid_points] += weights[-1] * (1.0 if sequence.first == 0 else 0.3)
        _add(statistics, result, np.concatenate(weights))
    return statistics


def _rows(batch: Batch, place: int) -> slice:
    grid_points = batch.sequences[0].grid_points.size
    return slice(place * grid_points, (place + 1) * grid_points)


def _add(statistics: SufficientStatistics, result: ForwardBackward, row_weight: FloatArray) -> None:
    batch = result.batch
    reading, slips = interval_posteriors(result), slip_posteriors(result)
    share, squared = residuals(result)
    p_cut = np.zeros(batch.p_cut.shape)
    p_cut[reading.steps, reading.rows] = reading.p_cut
    weighted = row_weight[reading.rows] * reading.p_cut
    statistics.sizes += _by_class(weighted @ reading.sizes, batch)
    for place, sequence in enumerate(batch.sequences):
        mine = _rows(batch, place)
        if sequence.times > 1:
            statistics.cuts.append(p_cut[: sequence.times - 1, mine] @ row_weight[mine])
            statistics.days.append(np.diff(sequence.days))
        _add_residuals(
            statistics, sequence, row_weight[mine], share[: sequence.times, mine], squared[: sequence.times, mine]
        )
        statistics.slips += np.einsum("trs,r->s", slips[: sequence.times, mine], row_weight[mine])
        statistics.counts += sequence.times
    _add_log(statistics, result, row_weight)


def _add_residuals(
    statistics: SufficientStatistics,
    sequence: CountSequence,
    weight: FloatArray,
    share: FloatArray,
    squared: FloatArray,
) -> None:
    fullness = sequence.read_turns / (sequence.winding.below_turns[-1] / 2.0)
    place = np.clip(np.searchsorted(FULLNESS, fullness) - 1, 0, FULLNESS.size - 2)
    for k, grid_point in enumerate(sequence.grid_points):
        np.add.at(statistics.residual_weight[grid_point], place, weight[k] * share[:, k])
        np.add.at(statistics.residual_squares[grid_point], place, weight[k] * share[:, k] * squared[:, k])


def _by_class(cells: FloatArray, batch: Batch) -> FloatArray:
    """Expected cuts by cell shared out to the size classes, in the proportion that each class has of the cell."""
    kernels = batch.kernels
    edges = kernels.cell_m * (np.arange(kernels.cells + 1) - 0.5)
    low = np.maximum(np.log(np.maximum(edges[:-1, None], 1e-9)), np.log(SIZE_EDGES_M[None, :-1]))
    high = np.minimum(np.log(np.maximum(edges[1:, None], 1e-9)), np.log(SIZE_EDGES_M[None, 1:]))
    part = np.maximum(high - low, 0.0) * np.array(batch.theta.size_shares)
    return cast(FloatArray, cells @ (part / (part.sum(axis=1, keepdims=True) + 1e-300)))


def _add_log(statistics: SufficientStatistics, result: ForwardBackward, row_weight: FloatArray) -> None:
    batch, base = result.batch, result.batch.theta.entry_misdated
    for belief in log_entry_posteriors(result):
        move, weight = batch.moves[belief.move], row_weight[belief.row]
        inside = 0 <= move.interval < batch.sequences[move.sequence_of_row].times - 1
        statistics.misdated += weight * (belief.early + belief.late)
        statistics.misdatable += weight * (move.early + move.late) / max(base, 1e-6)
        place = np.clip(np.searchsorted(SIZE_EDGES_M, [e.length_m for e in move.entries]) - 1, 0, SIZE_EDGES_M.size - 2)
        np.add.at(statistics.logged_sizes, place, weight)
        if not inside or (len(move.entries) > 1 and not move.entries[-1].twin):
            continue
        stay = max(1.0 - belief.early - belief.late, 0.0)
        if move.entries[-1].twin:
            statistics.twins += weight * stay
            statistics.twin_void += weight * belief.void
        else:
            statistics.entries += weight * stay
            statistics.void += weight * belief.void
        if len(move.entries) == 1:
            statistics.wrong += weight * belief.wrong
            good = weight * max(stay - belief.void - belief.wrong, 0.0)
            rounding = batch.kernels.cell_m**2 / 6.0
            statistics.errors.append((good, max(belief.error_m2 - rounding, 0.0), move.entries[0].length_m))


def m_step(statistics: SufficientStatistics, theta: DriftParameters, prior: DriftParameters) -> DriftParameters:
    """The parameters that make the expected numbers likeliest, with the prior's counted in."""
    floor, yearly = _cut_rates(statistics, prior)
    slips = statistics.slips + PRIOR_SLIP_COUNTS * np.array(prior.slip_shares)
    sd_m, sd_share = _log_errors(statistics, prior)
    return replace(
        theta,
        cuts_per_interval=floor,
        cuts_per_year=yearly,
        size_shares=_size_shares(statistics.sizes, statistics.logged_sizes, prior),
        fullness_power=_fullness_power(statistics, theta, prior),
        slip_shares=tuple((slips / slips.sum()).tolist()),
        looseness_shares=tuple(_looseness_shares(statistics.looseness, np.array(prior.looseness_shares)).tolist()),
        logged_sd_m=sd_m,
        logged_sd_share=sd_share,
        entry_void=_share(statistics.void, statistics.entries, prior.entry_void, PRIOR_ENTRIES),
        twin_void=_share(statistics.twin_void, statistics.twins, prior.twin_void, 4.0),
        entry_wrong=_share(statistics.wrong, statistics.entries, prior.entry_wrong, PRIOR_ENTRIES),
        entry_misdated=_share(statistics.misdated, statistics.misdatable, prior.entry_misdated, PRIOR_ENTRIES),
    )


def _share(found: float, out_of: float, prior: float, worth: float) -> float:
    return float(np.clip((found + worth * prior) / (out_of + worth), 1e-5, 0.95))


def _cut_rates(statistics: SufficientStatistics, prior: DriftParameters) -> tuple[float, float]:
    """The part of the cut rate that goes by interval and the part that goes by time, by penalised likelihood."""
    if not statistics.cuts:
        return prior.cuts_per_interval, prior.cuts_per_year
    cuts, years = np.concatenate(statistics.cuts), np.maximum(np.concatenate(statistics.days), 0.0) / DAYS_PER_YEAR
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


def _size_shares(found: FloatArray, logged: FloatArray, prior: DriftParameters) -> tuple[float, ...]:
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


def _fullness_power(statistics: SufficientStatistics, theta: DriftParameters, prior: DriftParameters) -> float:
    """The power of fullness under which the counts' squared distances are likeliest."""
    middle = np.sqrt(FULLNESS[:-1] * FULLNESS[1:])
    powers = np.linspace(0.0, 2.0, 41)
    costs = []
    for power in powers:
        variance = (LOOSENESS_GRID_WRAPS[:, None] * middle[None, :] ** power) ** 2 + 1.0 / 12.0
        cost = 0.5 * (statistics.residual_weight * np.log(variance) + statistics.residual_squares / variance).sum()
        costs.append(cost + 0.5 * ((power - prior.fullness_power) / PRIOR_POWER_SD) ** 2)
    aim = float(powers[int(np.argmin(costs))])
    return float(np.clip(theta.fullness_power + 1.5 * (aim - theta.fullness_power), 0.0, 2.0))


def _looseness_shares(found: FloatArray, prior: FloatArray) -> FloatArray:
    """As found, leaning on a lognormal of the same mean and spread, and on the prior.

    Many reels are judged at every other value only, so that what is found is shared with the neighbours first.
    """
    grid_points = np.log(LOOSENESS_GRID_WRAPS)
    found = np.convolve(found, [0.25, 0.5, 0.25], mode="same")
    weights = found + PRIOR_REELS * prior
    mean = float(np.average(grid_points, weights=weights))
    sd = float(np.sqrt(np.average((grid_points - mean) ** 2, weights=weights)))
    smooth = np.exp(-0.5 * ((grid_points - mean) / max(sd, 0.2)) ** 2)
    shares = weights + 6.0 * smooth / smooth.sum()
    return cast(FloatArray, shares / shares.sum())


def _log_errors(statistics: SufficientStatistics, prior: DriftParameters) -> tuple[float, float]:
    """Fixed and proportional error of logged lengths, from the mean squared error by length."""
    guess = [(PRIOR_ENTRIES / 2.0, prior.logged_sd_m**2 + (prior.logged_sd_share * x) ** 2, x) for x in (3.0, 20.0)]
    weight, squared, length = np.array(statistics.errors + guess).T
    log_start = np.log([prior.logged_sd_m, prior.logged_sd_share])

    def cost(logs: FloatArray) -> float:
        variance = np.exp(2 * logs[0]) + np.exp(2 * logs[1]) * length**2
        return float((weight * (np.log(variance) + squared / variance)).sum())

    found = minimize(cost, log_start, method="Nelder-Mead", options={"xatol": 1e-2, "fatol": 1e-3})
    return float(np.clip(np.exp(found.x[0]), 0.02, 5.0)), float(np.clip(np.exp(found.x[1]), 1e-3, 0.3))
