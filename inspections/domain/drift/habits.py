"""Habits: counts by some people lie some wraps, most often a whole one, above or below those by others.

A count by somebody with a habit is off the same way every time, on every reel, which a model of single reels takes for
cuts and slips. Every pair of neighbouring counts of a reel by different people speaks of the difference of their habits
(h, in wraps), as in the quick look at looseness:

    L_i(δ) = log p(y_i+1 − y_i | the later count is higher by δ)        δ_i = h(counted) + h(verified), later − earlier
    h ~ Σ_k w_k N(k, τ²),  k = −2 … 2: a habit is a whole wrap more or less, seldom there; τ and w learned from all h

and each h is set to its posterior mean, the others given, in turn (mean field; empirical Bayes of τ and w). What has
more to be said for it than FIXED.habit_must_gain is part of θ and is taken off every count, to half a wrap.

Only differences can be known, so that most people are taken to count as they should. A drop may be a cut but a rise is
none: so a habit is told, and taken off, only where somebody's counts follow others' and are followed by others', some
times each and on some reels; else nothing tells it from what happened to the cable, or from a changed rule.

Source: Jordan et al. (1999), mean field; Efron and Morris (1973), shrinkage with a learned spread.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import scipy
import scipy.sparse.csgraph
from numpy.typing import NDArray

from inspections.domain.drift.fixed import FIXED
from inspections.domain.drift.geometry import ordered_counts
from inspections.domain.drift.hidden_markov import IntArray
from inspections.domain.drift.looseness import difference_likelihoods
from inspections.domain.drift.parameters import DriftParameters, hands_of
from inspections.domain.drift.records import CountSeen, ReelHistory
from reels.domain.uncertainty import FloatArray

STEP = 0.25  # wraps; finer ones change nothing, for habits are shrunken to whole wraps
SHIFTS = np.arange(-5.0, 5.0 + STEP, STEP)  # δ at which L is worked out
GRID = np.arange(-2.5, 2.5 + STEP, STEP)  # of h
WHOLE = np.arange(-2, 3)  # k


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Pairs:
    """Neighbouring counts by different hands. sites: by hand, in order of hands.

    signs: +1 where a hand had part in the later count, −1 in the earlier, shape (pairs, hands). reel: shape (pairs,).
    log_likely: L_i at each of SHIFTS, shape (pairs, shifts).
    """

    hands: tuple[str, ...]
    sites: tuple[str, ...]
    signs: NDArray[np.int8]
    reel: IntArray
    log_likely: FloatArray

    def likely_at(self, rows: IntArray, shift: FloatArray) -> FloatArray:
        """L of these pairs at shifts of shape (rows, any), between two of SHIFTS by a straight line."""
        place = np.clip((shift - SHIFTS[0]) / STEP, 0.0, SHIFTS.size - 1.001)
        lower = place.astype(np.int64)
        part, known = place - lower, self.log_likely[rows]
        here, there = (np.take_along_axis(known, at, axis=1) for at in (lower, lower + 1))
        return np.asarray(here + part * (there - here))


def with_habits(histories: Sequence[ReelHistory], theta: DriftParameters) -> DriftParameters:
    """θ with the habits that the counts show. Time: some quick looks at looseness, if people are known; else none."""
    theta = replace(theta, habits=(), habit_sites=(), habit_wraps=(), habit_sd_wraps=())
    pairs = _pairs(histories, theta)
    if pairs is None:
        return theta
    wraps, sd_wraps = _settled(pairs, np.flatnonzero(_is_crossed(pairs)))
    plain = np.flatnonzero(wraps)
    return replace(
        theta,
        habits=tuple(pairs.hands[k] for k in plain),
        habit_sites=tuple(pairs.sites[k] for k in plain),
        habit_wraps=tuple(wraps[plain].tolist()),
        habit_sd_wraps=tuple(sd_wraps[plain].tolist()),
    )


def _pairs(histories: Sequence[ReelHistory], theta: DriftParameters) -> _Pairs | None:
    place: dict[str, int] = {}
    sites: list[str] = []
    rows: list[tuple[int, list[tuple[int, int]], FloatArray]] = []
    for reel, history in enumerate(histories):
        for changed, log_likely in _by_other_hands(history, theta):
            for hand, _ in changed:
                if hand not in place:
                    place[hand] = len(place)
                    sites.append(history.counts[0].site)
            rows.append((reel, [(place[hand], sign) for hand, sign in changed], log_likely))
    if not rows:
        return None
    signs = np.zeros((len(rows), len(place)), dtype=np.int8)
    for row, (_, changed_places, _) in enumerate(rows):
        for hand_place, sign in changed_places:
            signs[row, hand_place] = sign
    return _Pairs(hands=tuple(place), sites=tuple(sites), signs=signs, reel=np.array([reel for reel, *_ in rows]),
                  log_likely=np.array([log_likely for *_, log_likely in rows]))  # fmt: skip


def _by_other_hands(history: ReelHistory, theta: DriftParameters) -> Iterator[tuple[list[tuple[str, int]], FloatArray]]:
    """Of each pair of counts by different hands: the hands with their signs, and L at each of SHIFTS."""
    counts = ordered_counts(history)
    changed = [_changed(a, b) for a, b in pairwise(counts)]
    if not any(changed):
        return
    likely, comparable = difference_likelihoods(history, theta)
    weights = scipy.special.softmax(theta.log_looseness() + np.log(likely)[:, comparable].sum(axis=1))
    tried = np.flatnonzero(weights > FIXED.least_grid_share)
    shifted = np.log(weights[tried] @ difference_likelihoods(history, theta, SHIFTS, tried)[0])
    for t in np.flatnonzero(comparable):
        if changed[t]:
            yield changed[t], shifted[:, t]


def _changed(before: CountSeen, after: CountSeen) -> list[tuple[str, int]]:
    """The hands that only one of two counts was made by; none where those of either aren't known."""
    earlier, later = hands_of(before), hands_of(after)
    if not earlier or not later:
        return []
    return [(hand, 1) for hand in later if hand not in earlier] + [(hand, -1) for hand in earlier if hand not in later]


def _is_crossed(pairs: _Pairs) -> NDArray[np.bool_]:
    """Of which hands it can be told from the cable: see above."""
    both_ways = np.minimum((pairs.signs > 0).sum(axis=0), (pairs.signs < 0).sum(axis=0))
    reels = np.array([np.unique(pairs.reel[pairs.signs[:, hand] != 0]).size for hand in range(len(pairs.hands))])
    return np.asarray((both_ways >= FIXED.habit_least_pairs) & (reels >= FIXED.habit_least_reels))


def _settled(pairs: _Pairs, crossed: IntArray) -> tuple[FloatArray, FloatArray]:
    """Posterior mean and standard deviation of each hand's habit, zero where too little speaks for one."""
    wraps, sd_wraps = np.zeros((2, len(pairs.hands)))
    log_prior = -0.5 * GRID**2  # broad to begin with: one whole wrap is too far from the next for single steps
    for number in range(2 * FIXED.habit_rounds):
        gains = _swept(pairs, crossed, log_prior, wraps, sd_wraps)
        if number + 1 >= FIXED.habit_rounds:
            _centre(pairs, crossed, wraps, sd_wraps)
            log_prior = _learned_prior(wraps[crossed], sd_wraps[crossed])
    plain = crossed[gains >= FIXED.habit_must_gain]
    wraps[np.setdiff1d(np.arange(wraps.size), plain)] = 0.0
    for _ in range(FIXED.habit_rounds):
        _swept(pairs, plain, log_prior, wraps, sd_wraps)
    wraps[np.abs(wraps) < FIXED.least_habit_wraps] = 0.0
    return wraps, sd_wraps


def _swept(
    pairs: _Pairs, hands: IntArray, log_prior: FloatArray, wraps: FloatArray, sd_wraps: FloatArray
) -> FloatArray:
    """Each of the hands given all others, in turn, written into wraps and sd_wraps; nats that each gains over none."""
    gains = np.zeros(hands.size)
    shift = pairs.signs @ wraps
    for number, hand in enumerate(hands):
        rows = np.flatnonzero(pairs.signs[:, hand])
        sign = pairs.signs[rows, hand].astype(np.float64)
        others = shift[rows] - sign * wraps[hand]
        likely = pairs.likely_at(rows, others[:, None] + sign[:, None] * GRID[None, :]).sum(axis=0)
        posterior = FIXED.quick_weight * likely + log_prior - scipy.special.logsumexp(log_prior)
        shares = scipy.special.softmax(posterior)
        mean = float(shares @ GRID)
        gains[number] = scipy.special.logsumexp(posterior) - FIXED.quick_weight * likely[GRID.size // 2]
        shift[rows] = others + sign * mean
        wraps[hand], sd_wraps[hand] = (
            mean,
            np.sqrt(shares @ (GRID - mean) ** 2 + STEP**2 / 12.0),
        )  # a grid hides so much
    return gains


def _centre(pairs: _Pairs, hands: IntArray, wraps: FloatArray, sd_wraps: FloatArray) -> None:
    """Only differences are known, of hands that are joined by pairs: so the likeliest level of all is chosen."""
    joined = scipy.sparse.csr_matrix((pairs.signs[:, hands] != 0).astype(np.int64))
    _, parts = scipy.sparse.csgraph.connected_components(joined.T @ joined, directed=False)
    levels = np.arange(-1.5, 1.55, 0.05)
    for part in np.unique(parts):
        some = hands[parts == part]
        spread = np.hypot(FIXED.habit_sd_wraps, sd_wraps[some])[:, None]
        likely = _log_prior(wraps[some][:, None] + levels, spread, np.array(FIXED.habit_shares))
        wraps[some] += levels[int(likely.sum(axis=0).argmax())]


def _log_prior(wraps: FloatArray, spread: FloatArray | float, shares: FloatArray) -> FloatArray:
    """log Σ_k w_k N(h; k, spread²), shares: w."""
    z = (wraps[..., None] - WHOLE) / np.asarray(spread)[..., None]
    return np.asarray(np.log((shares * np.exp(-0.5 * z * z)).sum(axis=-1) + 1e-12))


def _learned_prior(wraps: FloatArray, sd_wraps: FloatArray) -> FloatArray:
    """Log prior of h on GRID, from the habits as they are known: each by τ about the nearest of WHOLE."""
    near = np.clip(np.rint(wraps), WHOLE[0], WHOLE[-1])
    people = (near[:, None] == WHOLE).sum(axis=0) + FIXED.prior_people * np.array(FIXED.habit_shares)
    squares = float(((wraps - near) ** 2 + sd_wraps**2).sum()) + FIXED.prior_people * FIXED.habit_sd_wraps**2
    spread = float(np.sqrt(squares / (wraps.size + FIXED.prior_people)))
    return _log_prior(GRID, spread, people / people.sum())
