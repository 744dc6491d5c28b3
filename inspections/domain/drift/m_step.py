"""The m-step: the parameters that make the expected numbers likeliest, each with a prior of its own worth.

A prior's worth is how many counts, intervals, entries, cuts or reels it stands for (Parameters).
"""

from dataclasses import replace
from typing import cast

import numpy as np
import scipy

from inspections.domain.drift.e_step import FULLNESS, SufficientStatistics
from inspections.domain.drift.fixed import FIXED
from inspections.domain.drift.hidden_markov import TINY
from inspections.domain.drift.parameters import (
    DAYS_PER_YEAR,
    LOOSENESS_GRID_WRAPS,
    SIZE_EDGES_M,
    DriftParameters,
    lognormal_shares,
)
from reels.domain.uncertainty import FloatArray


def m_step(statistics: SufficientStatistics, theta: DriftParameters, prior: DriftParameters) -> DriftParameters:
    """The next θ. Shares are posterior means: (found + worth of the prior x prior) over all."""
    per_interval, per_year = _cut_rates(statistics, prior)
    slips = statistics.slips + FIXED.prior_slip_counts * np.array(prior.slip_shares)
    sd_m, sd_share = _log_errors(statistics, prior)
    return replace(
        theta,
        cuts_per_interval=per_interval,
        cuts_per_year=per_year,
        size_shares=_size_shares(statistics.sizes, statistics.logged_sizes, prior),
        logged_size_shares=_logged_size_shares(statistics.logged_sizes, prior),
        fullness_power=_fullness_power(statistics, theta, prior),
        slip_shares=_normalised(slips),
        looseness_shares=_normalised(smooth_looseness(statistics.looseness, prior)),
        logged_sd_m=sd_m,
        logged_sd_share=sd_share,
        entry_void=_share(statistics.void, statistics.entries, prior.entry_void, FIXED.prior_entries),
        twin_void=_share(statistics.twin_void, statistics.twins, prior.twin_void, FIXED.prior_twins),
        entry_wrong=_share(statistics.wrong, statistics.entries, prior.entry_wrong, FIXED.prior_entries),
        entry_misdated=_share(statistics.misdated, statistics.logged, prior.entry_misdated, FIXED.prior_entries),
        entry_late=_share(statistics.late, statistics.recorded, prior.entry_late, FIXED.prior_entries),
        logged_per_interval=_share(
            statistics.logged,
            float(sum(days.size for days in statistics.days)),
            prior.logged_per_interval,
            FIXED.prior_cut_intervals,
        ),
        replaced_unlogged=_share(
            statistics.replaced, statistics.intervals, prior.replaced_unlogged, FIXED.prior_replaced_intervals
        ),
    )


def _normalised(weights: FloatArray) -> tuple[float, ...]:
    return tuple((weights / weights.sum()).tolist())


def _share(part: float, whole: float, prior: float, worth: float) -> float:
    return float(np.clip((part + worth * prior) / (whole + worth), 1e-5, 0.95))


def _cut_rates(statistics: SufficientStatistics, prior: DriftParameters) -> tuple[float, float]:
    """a and b of q = 1 − exp(−a − b Δ), by penalised likelihood: expected cuts are Bernoulli of q, prior ones Poisson.

    Worked out for the logarithms of a and of b times the mean interval, which keeps both positive and of one size.
    """
    if not statistics.cuts:
        return prior.cuts_per_interval, prior.cuts_per_year
    cuts = np.concatenate(statistics.cuts)
    years = np.maximum(np.concatenate(statistics.days), 0.0) / DAYS_PER_YEAR
    typical = float(years.mean())
    guess = np.array([prior.cuts_per_interval, prior.cuts_per_year * typical]) * FIXED.prior_cut_intervals

    def cost(log_parts: FloatArray) -> float:
        per_interval, per_typical = np.exp(log_parts)
        expected = per_interval + per_typical * years / max(typical, 1e-6)
        penalty = np.sum(np.array([per_interval, per_typical]) * FIXED.prior_cut_intervals - guess * log_parts)
        return float(-(cuts * np.log(-np.expm1(-expected) + 1e-12) - (1.0 - cuts) * expected).sum() + penalty)

    start = np.log([prior.cuts_per_interval, max(prior.cuts_per_year * typical, 1e-4)])
    least = scipy.optimize.minimize(cost, start, method="Nelder-Mead", options={"xatol": 1e-3, "fatol": 1e-4})
    per_interval, per_typical = np.exp(least.x)
    return float(per_interval), float(per_typical / max(typical, 1e-6))


def _size_shares(expected: FloatArray, logged: FloatArray, prior: DriftParameters) -> tuple[float, ...]:
    """Classes as found, leaning on a smooth law: a lognormal, the logged cuts and the prior, mixed by EM as found."""
    known = np.array(prior.size_shares)
    like_logged = _smooth_sizes(logged + FIXED.prior_size_cuts * known)
    lean = np.array(
        [1.0, 1.0 + FIXED.like_logged_cuts * min(1.0, float(logged.sum()) / FIXED.enough_logged), FIXED.prior_lean]
    )
    weights = lean / lean.sum()
    own = _lognormal_fit(expected + FIXED.prior_size_cuts * known)
    for _ in range(FIXED.mixture_rounds):
        parts = weights[:, None] * np.array([own, like_logged, known])
        parts *= expected / (parts.sum(axis=0) + TINY)
        weights = (parts.sum(axis=1) + lean) / (expected.sum() + lean.sum())
        own = _lognormal_fit(parts[0] + 0.5 * known)
    return _normalised(expected + FIXED.size_lean_cuts * (weights @ np.array([own, like_logged, known])))


def starting_sizes(lengths_m: list[float], prior: DriftParameters) -> tuple[float, ...]:
    """size_shares to begin with: cuts as long as the logged ones. What the counts don't show stays where it began."""
    logged = np.histogram(np.clip(lengths_m, *SIZE_EDGES_M[[0, -1]]), SIZE_EDGES_M)[0].astype(np.float64)
    return _logged_size_shares(logged, prior)


def _logged_size_shares(logged: FloatArray, prior: DriftParameters) -> tuple[float, ...]:
    return _normalised(_smooth_sizes(logged + FIXED.prior_size_cuts * np.array(prior.size_shares)))


def _lognormal_fit(weights: FloatArray) -> FloatArray:
    """The lognormal of these moments, its spread held near a usual one while there is little to go by."""
    middle = np.log(np.sqrt(SIZE_EDGES_M[:-1] * SIZE_EDGES_M[1:]))
    mean = float(np.average(middle, weights=weights))
    squares = float((weights * (middle - mean) ** 2).sum()) + FIXED.usual_size_cuts * FIXED.usual_size_log_sd**2
    log_sd = float(np.sqrt(squares / (weights.sum() + FIXED.usual_size_cuts)))
    return lognormal_shares(float(np.exp(mean)), max(log_sd, FIXED.least_size_log_sd))


def _smooth_sizes(weights: FloatArray) -> FloatArray:
    """The classes made smooth: shared with their neighbours, and a lognormal; less of both the more cuts there are."""
    total = float(weights.sum())
    spread = np.convolve(weights, [0.06, 0.25, 0.38, 0.25, 0.06], mode="same")
    raw = total / (total + FIXED.as_found_cuts)
    own = min(total / (total + FIXED.no_lognormal_cuts), 0.95)
    shares = raw * weights / total + (1.0 - raw) * spread / spread.sum()
    return cast(FloatArray, own * shares + (1.0 - own) * _lognormal_fit(weights))


def _fullness_power(statistics: SufficientStatistics, theta: DriftParameters, prior: DriftParameters) -> float:
    """γ: the power of fullness under which the residuals are likeliest, as normals of variance (σ f^γ)² + 1/12."""
    middle = np.sqrt(FULLNESS[:-1] * FULLNESS[1:])
    powers = np.linspace(0.0, 2.0, 41)  # to a twentieth: γ is known no better
    costs = []
    for power in powers:
        variance = (LOOSENESS_GRID_WRAPS[:, None] * middle[None, :] ** power) ** 2 + 1.0 / 12.0
        cost = 0.5 * (statistics.residual_weight * np.log(variance) + statistics.residual_squares / variance).sum()
        costs.append(cost + 0.5 * ((power - prior.fullness_power) / FIXED.prior_power_sd) ** 2)
    aim = float(powers[int(np.argmin(costs))])
    return float(np.clip(theta.fullness_power + FIXED.overshoot * (aim - theta.fullness_power), 0.0, 2.0))


def smooth_looseness(reels: FloatArray, prior: DriftParameters) -> FloatArray:
    """Reels by looseness, as found, leaning on a lognormal of the same mean and spread, and on the prior.

    Many reels are judged at every other value only, so that what is found is shared with the neighbours first.
    """
    log_grid = np.log(LOOSENESS_GRID_WRAPS)
    weights = np.convolve(reels, [0.25, 0.5, 0.25], mode="same") + FIXED.prior_reels * np.array(prior.looseness_shares)
    mean = float(np.average(log_grid, weights=weights))
    sd = float(np.sqrt(np.average((log_grid - mean) ** 2, weights=weights)))
    smooth = np.exp(-0.5 * ((log_grid - mean) / max(sd, FIXED.least_looseness_log_sd)) ** 2)
    return cast(FloatArray, weights + FIXED.looseness_lean_reels * smooth / smooth.sum())


def _log_errors(statistics: SufficientStatistics, prior: DriftParameters) -> tuple[float, float]:
    """Fixed and proportional error of logged lengths, from the mean squared error by length."""
    # the prior: half its entries short, half of them long
    guess = [
        (FIXED.prior_entries / 2.0, prior.logged_sd_m**2 + (prior.logged_sd_share * m) ** 2, m) for m in (3.0, 20.0)
    ]
    weight, squared, length = np.array(statistics.errors + guess).T
    log_start = np.log([prior.logged_sd_m, prior.logged_sd_share])

    def cost(logs: FloatArray) -> float:
        variance = np.exp(2 * logs[0]) + np.exp(2 * logs[1]) * length**2
        return float((weight * (np.log(variance) + squared / variance)).sum())

    least = scipy.optimize.minimize(cost, log_start, method="Nelder-Mead", options={"xatol": 1e-2, "fatol": 1e-3})
    return float(np.clip(np.exp(least.x[0]), 0.02, 5.0)), float(np.clip(np.exp(least.x[1]), 1e-3, 0.3))
