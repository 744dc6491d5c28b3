"""θ, the parameters of a fleet: how often cable is lost, how long cuts are, how loose reels are wound, how people slip.

Everything here has a meaning that a person can judge; `in_words` says it. The defaults are the prior: broad guesses
(common practice, no published source), which a fleet of a few dozen counts already moves. How much each is worth stands
in `learning`.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from hashlib import sha256
from math import log
from statistics import NormalDist
from typing import cast

import numpy as np

from inspections.domain.drift.fixed import FIXED
from inspections.domain.drift.records import SLIP_WORDS, SLIPS, CountSeen, Slip
from reels.domain.uncertainty import FloatArray

DAYS_PER_YEAR = 365.25

# Edges of the classes of cut lengths, metres: ten to a factor of ten. From less than one wrap, which nobody can see, to
# more than anybody cuts off. Twice as many classes say lengths more finely, and each is learned from half as many cuts.
SIZE_EDGES_M = np.geomspace(0.3, 300.0, 31)

# The looseness grid: spreads σ that the counts of a half-full drum may have, 0.1 to 4.3 wraps. Below, rounding to whole
# wraps hides them; above, a count hardly tells one layer from the next. Neighbours are 26 % apart: half of that, and
# the three that are tried for a reel no longer span what its counts leave open; twice that, and none may be near.
LOOSENESS_GRID_STEP = 0.235
LOOSENESS_GRID_WRAPS = 0.1 * np.exp(LOOSENESS_GRID_STEP * np.arange(17))


def lognormal_shares(median_m: float, log_sd: float) -> FloatArray:
    """Share of a lognormal length in each size class, summing to one."""
    length = NormalDist(log(median_m), log_sd)  # not scipy's: these are defaults, and importing it takes half a second
    shares = np.diff([length.cdf(log(edge_m)) for edge_m in SIZE_EDGES_M])
    return cast(FloatArray, shares / shares.sum())


def _default_sizes() -> tuple[float, ...]:
    """Mostly some metres, as a damaged end is cut off; the wide part keeps any length possible."""
    return tuple((0.7 * lognormal_shares(7.0, 0.8) + 0.3 * lognormal_shares(10.0, 1.4)).tolist())


def _default_looseness() -> tuple[float, ...]:
    shares = np.exp(-0.5 * (np.log(LOOSENESS_GRID_WRAPS / 0.45) / 0.8) ** 2)
    return tuple((shares / shares.sum()).tolist())


def _default_slips() -> tuple[float, ...]:
    share = {
        Slip.ONE_WRAP: 0.005,
        Slip.CORRECTION: 0.003,
        Slip.SCALE: 0.003,
        Slip.WRONG_FACE: 0.002,
        Slip.NEARBY: 0.002,
        Slip.COPIED: 0.0025,
        Slip.ANYTHING: 0.002,
    }
    return tuple(share.get(slip, 1.0 - sum(share.values())) for slip in SLIPS)


@dataclass(frozen=True, slots=True, kw_only=True)
class DriftParameters:
    """θ. Shares are 0 to 1. The names of the fields are stored with what was learned, and stay.

    cuts_per_interval, cuts_per_year: a and b of q = 1 − exp(−a − b Δ), unlogged cuts that go with each interval
    whatever its length, and with time. size_shares: share of unlogged cuts in each class of SIZE_EDGES_M;
    logged_size_shares: of logged ones.
    looseness_shares: share of reels at each of LOOSENESS_GRID_WRAPS. fullness_power: γ, looseness grows as turns to
    this power. slip_shares: π, of counts, in the order of SLIPS. logged_sd_m, logged_sd_share: error of a logged
    length, fixed and in proportion. entry_void, twin_void: share of log entries without a cut, and of second entries
    of equal length. entry_wrong: share with a wrong length. entry_misdated: share dated on the wrong side of a count;
    entry_late: share recorded days after. logged_per_interval: logged cuts in an interval. stretch_share: growth of new
    cable, of its length; stretch_days: time constant of its end. received_sd_share: error of the length at receipt.
    replaced_unlogged: share of intervals in which the cable was replaced and nobody logged it. rule_changed_at: from
    when on counts are rule_changed_wraps higher by a changed rule, RFC 3339, or empty; revisions, revision_wraps: the
    same of counts by these revisions. habits, habit_sites: hands (`hands_of`) and where; habit_wraps, habit_sd_wraps:
    how much higher their counts are, and how well known.
    """

    cuts_per_interval: float = 0.02
    cuts_per_year: float = 0.04
    size_shares: tuple[float, ...] = _default_sizes()
    logged_size_shares: tuple[float, ...] = _default_sizes()
    looseness_shares: tuple[float, ...] = _default_looseness()
    fullness_power: float = 0.7
    slip_shares: tuple[float, ...] = _default_slips()
    logged_sd_m: float = 0.3
    logged_sd_share: float = 0.02
    entry_void: float = 0.01
    twin_void: float = 0.7
    entry_wrong: float = 0.02
    entry_misdated: float = 0.05
    entry_late: float = 0.1
    logged_per_interval: float = 0.1
    stretch_share: float = 0.0
    stretch_days: float = 120.0
    received_sd_share: float = 0.02
    replaced_unlogged: float = 0.0005
    rule_changed_at: str = ""
    rule_changed_wraps: int = 0
    revisions: tuple[str, ...] = ()
    revision_wraps: tuple[int, ...] = ()
    habits: tuple[str, ...] = ()
    habit_sites: tuple[str, ...] = ()
    habit_wraps: tuple[float, ...] = ()
    habit_sd_wraps: tuple[float, ...] = ()

    def taken_off(self, counts: Sequence[CountSeen]) -> FloatArray:
        """By how many wraps each count is higher than by the first rule and without a habit: shape (counts,)."""
        return self.rule_wraps(counts) + self.people_wraps(counts)

    def people_wraps(self, counts: Sequence[CountSeen]) -> FloatArray:
        """By how many wraps each count is higher for who made it, each habit to a half: shape (counts,).

        Habits are whole wraps most often, and what is not known better needs no grid of its own.
        """
        by_hand = {hand: round(2.0 * wraps) / 2.0 for hand, wraps in zip(self.habits, self.habit_wraps, strict=True)}
        if not by_hand:
            return np.zeros(len(counts))
        return np.array([sum(by_hand.get(hand, 0.0) for hand in hands_of(count)) for count in counts])

    def rule_wraps(self, counts: Sequence[CountSeen]) -> FloatArray:
        """By how many wraps each count is higher than by the first rule: shape (counts,)."""
        by_revision = dict(zip(self.revisions, self.revision_wraps, strict=True))
        wraps = np.array([by_revision.get(count.revision or "", 0) for count in counts], dtype=np.float64)
        if self.rule_changed_at:
            changed_at = datetime.fromisoformat(self.rule_changed_at)
            wraps += [self.rule_changed_wraps * (count.at >= changed_at) for count in counts]
        return wraps

    def slip_share(self, slip: Slip) -> float:
        """Share of counts with this slip."""
        return self.slip_shares[SLIPS.index(slip)]

    def log_looseness(self) -> FloatArray:
        """Log prior of each of LOOSENESS_GRID_WRAPS; what no reel has had stays possible, if barely."""
        return np.log(np.array(self.looseness_shares) + 1e-9)

    def p_cut(self, days: FloatArray) -> FloatArray:
        """q, the probability of an unlogged cut in intervals of so many days, before the counts are looked at.

        Held within bounds, so that no counts, however clear, are overruled.
        """
        expected = self.cuts_per_interval + self.cuts_per_year * np.maximum(days, 0.0) / DAYS_PER_YEAR
        return np.clip(-np.expm1(-expected), FIXED.least_p_cut, FIXED.most_p_cut)

    def p_not_on_record(self, days: FloatArray) -> FloatArray:
        """Probability that a cut of an interval of so many days is still to be logged at its later count.

        It is recorded late, exponentially, or dated beyond the count.
        """
        waits = np.maximum(days, 1e-6) / FIXED.late_days
        late = self.entry_late * -np.expm1(-waits) / waits
        return np.minimum(self.logged_per_interval * (late + (1.0 - late) * self.entry_misdated / 2.0), 0.5)

    def sizes_below(self, length_m: FloatArray) -> FloatArray:
        """Probability that an unlogged cut is shorter than each length: shape as given. Log-uniform in each class."""
        return np.asarray(np.interp(np.log(np.maximum(length_m, 1e-9)), np.log(SIZE_EDGES_M), self._sizes_up_to()))

    def logged_density(self, log_lengths: FloatArray) -> FloatArray:
        """Density of the logarithm of a logged cut's true length, by logarithm of metres: shape as given.

        Log-uniform in each class, and beyond all classes as in the last one.
        """
        mixed = (1.0 - FIXED.unusual_logged) * np.array(self.logged_size_shares)
        mixed += FIXED.unusual_logged * np.array(DEFAULT_PARAMETERS.logged_size_shares)
        edges = np.log(SIZE_EDGES_M)
        place = np.clip(np.searchsorted(edges, log_lengths, side="right") - 1, 0, mixed.size - 1)
        return (mixed / np.diff(edges))[place]

    def size_quantile_m(self, share: float) -> float:
        """Length that this share of unlogged cuts stays below, metres."""
        return float(np.exp(np.interp(share, self._sizes_up_to(), np.log(SIZE_EDGES_M))))

    def _sizes_up_to(self) -> FloatArray:
        return np.concatenate([[0.0], np.cumsum(self.size_shares)])


DEFAULT_PARAMETERS = DriftParameters()


@lru_cache(maxsize=4096)
def _hand(site: str, part: str, name: str) -> str:
    return sha256(f"{site}\n{part}\n{name}".encode()).hexdigest()[:16]


def hands_of(count: CountSeen) -> tuple[str, ...]:
    """Who had which part in a count, and where, as digests: what is learned of people is kept under no name."""
    parts = ("counted", count.counted_by), ("verified", count.verified_by)
    return tuple(_hand(count.site, part, name) for part, name in parts if name)


def usual_looseness_wraps(theta: DriftParameters) -> float:
    """The spread of a usual reel's counts on a half-full drum: the geometric mean over the fleet."""
    return float(np.exp(np.dot(theta.looseness_shares, np.log(LOOSENESS_GRID_WRAPS))))


def in_words(theta: DriftParameters) -> tuple[str, ...]:
    """The rates as sentences, the most asked-for first."""
    slips = [f"{SLIP_WORDS[s]}: {_per_cent(theta.slip_share(s))} of counts" for s in SLIPS if s is not Slip.NONE]
    return (
        f"Unlogged cuts of one reel: {theta.cuts_per_interval:.3f} in every interval between two counts, however short,"
        f" and {theta.cuts_per_year:.3f} a year.",
        f"Half of them are longer than {theta.size_quantile_m(0.5):.1f} m, and nine in ten between "
        f"{theta.size_quantile_m(0.05):.1f} and {theta.size_quantile_m(0.95):.1f} m.",
        f"The counts of a usual reel spread by {usual_looseness_wraps(theta):.2f} wraps on a half-full drum.",
        f"Slips: {'; '.join(slips)}.",
        f"Logged lengths are off by about {theta.logged_sd_m:.2f} m and {_per_cent(theta.logged_sd_share)}; "
        f"{_per_cent(theta.entry_wrong)} of entries have a wrong length, {_per_cent(theta.entry_void)} had no cut, and "
        f"{_per_cent(theta.entry_misdated)} are dated on the wrong side of a count.",
        f"New cable grows by {_per_cent(theta.stretch_share)}, most of it within {theta.stretch_days:.0f} days."
        if theta.stretch_share > 0
        else "No growth of new cable is to be seen.",
        *fleet_findings(theta),
    )


def fleet_findings(theta: DriftParameters, sites: Mapping[str, str] | None = None) -> tuple[str, ...]:
    """Changed rules and people's habits, as sentences. sites: whose people are told of, names by code; else all."""
    return (*_rule_changes(theta), *_habits(theta, sites))


def _rule_changes(theta: DriftParameters) -> Iterator[str]:
    if theta.rule_changed_at:
        yield (
            f"From {theta.rule_changed_at[:10]} on, counts of the whole fleet are "
            f"{wraps_apart(theta.rule_changed_wraps)} than before: a rule seems to have changed. It is taken off."
        )
    for revision, wraps in zip(theta.revisions, theta.revision_wraps, strict=True):
        yield f"Counts by {revision} are {wraps_apart(wraps)} than those before it. It is taken off."


def _habits(theta: DriftParameters, sites: Mapping[str, str] | None) -> Iterator[str]:
    """People at one site whose habits are alike are told together, and none by name."""
    alike: dict[tuple[str, float], list[tuple[float, float]]] = {}
    for site, wraps, sd in zip(theta.habit_sites, theta.habit_wraps, theta.habit_sd_wraps, strict=True):
        if sites is None or site in sites:
            name = site if sites is None else sites[site]
            alike.setdefault((name, round(2.0 * wraps) / 2.0), []).append((wraps, sd))
    for (site, _), people in sorted(alike.items()):
        mean = sum(wraps for wraps, _ in people) / len(people)
        low, high = min(w - FIXED.to_95 * sd for w, sd in people), max(w + FIXED.to_95 * sd for w, sd in people)
        number = {1: "one", 2: "two", 3: "three"}.get(len(people), str(len(people)))
        far = "one wrap" if 0.75 <= abs(mean) < 1.25 else f"{abs(mean):.1f} wraps"
        yield (
            f"Counts by {number} of the people{f' at {site}' if site else ''} lie about {far} "
            f"{'above' if mean > 0 else 'below'} the others' ({low:.1f} to {high:.1f}). It is taken off."
        )


def wraps_apart(wraps: int) -> str:
    """ "one wrap lower", "2 wraps higher"."""
    number = "one wrap" if abs(wraps) == 1 else f"{abs(wraps)} wraps"
    return f"{number} {'lower' if wraps < 0 else 'higher'}"


def _per_cent(share: float) -> str:
    return f"{100 * share:.2f} %"
