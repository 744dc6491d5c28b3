"""A changed rule: from some moment on, or by some revision, all counts are a whole number of wraps higher or lower.

Nothing happened to the cable then, yet every reel's next count is off the same way, which a model of single reels takes
for as many cuts. Every pair of neighbouring counts that a change lies between speaks for or against it:

    w_i(δ) = log p(y_i+1 − y_i | a change by δ wraps in between) − log p(y_i+1 − y_i | none)

with p as in the quick look at looseness (looseness.difference_likelihoods). Of revisions it is known which counts they
are about; of a moment that nobody named, all moments of counts are tried, and that which gains most is taken, if it
gains enough over what is gained at any moment (where cable is lost little by little every pair drops a little). Reels
that are wound loosely show it less in single pairs: there the evidence of all counts, by the whole inference, decides
(learning).

What is found is part of θ, is said once, as a finding about the fleet (in_words), and is taken off every count.
"""

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
import scipy

from inspections.domain.drift.fixed import FIXED
from inspections.domain.drift.geometry import ordered_counts
from inspections.domain.drift.looseness import difference_likelihoods
from inspections.domain.drift.parameters import DriftParameters
from inspections.domain.drift.records import ReelHistory
from reels.domain.uncertainty import FloatArray

SHIFTS = (-3, -2, -1, 1, 2, 3)  # wraps


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Pair:
    """Two neighbouring counts: when they were made, by which revisions, and w(δ) of each of SHIFTS."""

    from_at: datetime
    to_at: datetime
    revisions: tuple[str, str]
    gains: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleChange:
    """The likeliest moment of a change: from when on, by how many wraps; nats gained, and needed to be believed."""

    at: str
    wraps: int
    gained: float
    needed: float

    def added_to(self, theta: DriftParameters) -> DriftParameters:
        """θ with this change."""
        return replace(theta, rule_changed_at=self.at, rule_changed_wraps=self.wraps)


NO_CHANGE = RuleChange(at="", wraps=0, gained=0.0, needed=np.inf)


def likeliest_rule_change(histories: Sequence[ReelHistory], theta: DriftParameters) -> RuleChange:
    """Of all moments and shifts the one that gains most by the quick look; θ has none yet, but of revisions.

    Time: as a quick look at looseness for each shift.
    """
    pairs = list(_pairs(histories, theta))
    if len(pairs) < FIXED.rule_least_pairs:
        return NO_CHANGE
    moments = sorted({pair.to_at for pair in pairs})
    place = {at: number for number, at in enumerate(moments)}
    gains, between = np.zeros((2, len(moments) + 1, len(SHIFTS)))
    # a change at moment m lies in a pair if its earlier count is before m and its later one is not
    for pair in pairs:
        first, last = bisect_right(moments, pair.from_at), place[pair.to_at] + 1
        gains[first] += pair.gains
        gains[last] -= pair.gains
        between[first] += 1.0
        between[last] -= 1.0
    usual = np.maximum(np.mean([pair.gains for pair in pairs], axis=0), 0.0)
    between = np.cumsum(between, axis=0)
    over_usual = np.where(between >= FIXED.rule_least_pairs, np.cumsum(gains, axis=0) - between * usual, -np.inf)
    moment, shift = np.unravel_index(int(over_usual.argmax()), over_usual.shape)
    return RuleChange(
        at=moments[min(int(moment), len(moments) - 1)].isoformat(),
        wraps=SHIFTS[shift],
        gained=float(over_usual[moment, shift]),
        needed=FIXED.rule_must_gain + float(np.log(len(moments) * len(SHIFTS))),
    )


def with_revisions(histories: Sequence[ReelHistory], theta: DriftParameters) -> DriftParameters:
    """θ with the shift of each revision against the one used first, one after the other in order of first use."""
    theta = replace(theta, revisions=(), revision_wraps=(), rule_changed_at="", rule_changed_wraps=0)
    counts = sorted((count for history in histories for count in history.counts if count.revision), key=lambda c: c.at)
    for revision in list(dict.fromkeys(count.revision or "" for count in counts))[1:]:
        ends = [(pair.gains, pair.revisions) for pair in _pairs(histories, theta) if revision in pair.revisions]
        # an earlier count that is lower by δ makes the difference higher by δ
        gains = [w if after == revision else w[::-1] for w, (before, after) in ends if before != after and before]
        total = np.sum(gains, axis=0) if len(gains) >= FIXED.revision_least_pairs else np.zeros(len(SHIFTS))
        if total.max() >= FIXED.revision_must_gain + np.log(len(SHIFTS)):
            wraps = SHIFTS[int(total.argmax())]
            theta = replace(
                theta, revisions=(*theta.revisions, revision), revision_wraps=(*theta.revision_wraps, wraps)
            )
    return theta


def _pairs(histories: Iterable[ReelHistory], theta: DriftParameters) -> Iterator[_Pair]:
    log_shares = theta.log_looseness()
    for history in histories:
        counts = ordered_counts(history)
        likely, comparable = difference_likelihoods(history, theta)
        weights = scipy.special.softmax(log_shares + np.log(likely)[:, comparable].sum(axis=1))
        none = np.log(weights @ likely)
        shifted = np.log(weights @ difference_likelihoods(history, theta, np.array(SHIFTS))[0]) - none
        for t in np.flatnonzero(comparable):
            a, b = counts[t], counts[t + 1]
            revisions = a.revision or "", b.revision or ""
            yield _Pair(from_at=a.at, to_at=b.at, revisions=revisions, gains=shifted[:, t])
