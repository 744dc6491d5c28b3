"""How well two methods, two people or two readings of the same thing agree, and how far to trust what few pairs say.

Pairs (a_i, b_i) are readings of one thing each, d_i = a_i − b_i, n of them, with mean d̄ and standard deviation s.

- Bias is d̄. Most differences lie between the limits of agreement d̄ ± m·s; m, the multiplier, is always said (1.96
  covers 95 % of a normal distribution; 2 is what was printed first).
- Standard errors: s/√n of the bias, s·√((1 + m²/2)/n) of a limit, which is s·√(3/n) at m = 2; intervals by t of
  n − 1 degrees of freedom. A limit's exact interval comes from the noncentral t distribution of a normal quantile.
- The same person or method twice: within-reading standard deviation s_w = √(Σd²/2n), repeatability m·√2·s_w.
- The share of pairs that agree exactly says more about whole wraps than a normal distribution can.

Kappa is in kappa.py; which of many groups differs from the rest, in groups.py.
Source: Bland & Altman (1986, 1999); exact limits: normal tolerance factors; Wilson (1927); Clopper & Pearson (1934).
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

import numpy as np
import scipy
from numpy.typing import ArrayLike

from reels.domain.uncertainty import FloatArray
from reels.errors import ValueNotTaken

MULTIPLIER = 1.96
CONFIDENCE = 0.95
LIMIT_KNOWN_WITHIN_SD = (0.5, 1.0)  # enough up to the first, small up to the second, else too few
SHARE_KNOWN_WITHIN = (0.1, 0.25)


class Sample(StrEnum):
    """How far a figure may be trusted, by the width of its own 95 % interval, whatever confidence was asked for."""

    ENOUGH = "enough"  # it may be read as it stands
    SMALL = "small"  # read the interval, not the figure
    TOO_FEW = "too_few"  # nothing may be concluded


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A figure with its confidence interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Differences:
    """Two readings of each of n things compared, the first less the second, in the unit of the readings.

    bias, sd, lower, upper: None with fewer than two pairs. lower and upper are the limits of agreement at multiplier.
    why: in one sentence, what the verdict rests on.
    """

    n: int
    sample: Sample
    why: str
    multiplier: float
    bias: Estimate | None = None
    sd: float | None = None
    lower: Estimate | None = None
    upper: Estimate | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeatability:
    """How far two readings by the same means lie apart; coefficient: the difference that 95 % stay under (at 1.96)."""

    n: int
    sample: Sample
    why: str
    multiplier: float
    within_sd: float | None = None
    coefficient: Estimate | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """How many of n; wilson is the interval to show, exact one that never covers too little. None when n is 0."""

    hits: int
    n: int
    sample: Sample
    why: str
    confidence: float = CONFIDENCE
    wilson: Estimate | None = None

    @property
    def exact(self) -> Estimate | None:
        """Clopper and Pearson's interval."""
        return _proportion(self.hits, self.n, self.confidence, "exact") if self.n else None


# Differences --------------------------------------------------------------------------------------------------------


def differences(
    first: ArrayLike,
    second: ArrayLike,
    *,
    multiplier: float = MULTIPLIER,
    confidence: float = CONFIDENCE,
    exact_limits: bool = False,
) -> Differences:
    """Bias and limits of agreement of first less second.

    first, second: shape (n,), finite, readings of the same things in the same order. multiplier: above 0.
    exact_limits: intervals of the limits from the noncentral t, wider outward, instead of the printed approximation.
    Raises ValueNotTaken for readings that are no pairs, or an impossible multiplier or confidence.
    Source: Bland & Altman (1986); exact intervals: noncentral t of a normal quantile.
    """
    d = paired_differences(first, second)
    _refuse_outside(multiplier, confidence)
    sample, why = trust_in_spread(d.size)
    if d.size < 2:
        return Differences(n=d.size, sample=sample, why=why, multiplier=multiplier)
    mean, sd = float(d.mean()), float(d.std(ddof=1))
    if np.ptp(d) == 0:
        mean, sd = float(d[0]), 0.0
        why += " All differences are the same; that so few show no spread does not prove that there is none."
    limit = _exact_limit if exact_limits else _approximate_limit
    return Differences(
        n=d.size,
        sample=sample,
        why=why,
        multiplier=multiplier,
        bias=_approximate_limit(mean, sd, d.size, 0.0, confidence),
        sd=sd,
        lower=limit(mean, sd, d.size, -multiplier, confidence),
        upper=limit(mean, sd, d.size, multiplier, confidence),
    )


def repeatability(
    first: ArrayLike, second: ArrayLike, *, multiplier: float = MULTIPLIER, confidence: float = CONFIDENCE
) -> Repeatability:
    """Repeatability of one means, from two readings of each thing between which nothing has changed.

    first, second: shape (n,), finite. The mean difference is taken to be zero: nothing was learnt in between.
    Raises ValueNotTaken as `differences` does.
    Source: Bland & Altman (1986), repeatability; interval by chi-squared of n degrees of freedom.
    """
    d = paired_differences(first, second)
    _refuse_outside(multiplier, confidence)
    sample, why = trust_in_spread(d.size)
    if d.size == 0:
        return Repeatability(n=0, sample=sample, why=why, multiplier=multiplier)
    n, root_mean_square = d.size, float(np.sqrt(np.mean(d**2)))
    value = multiplier * root_mean_square
    tail = (1 - confidence) / 2
    coefficient = Estimate(
        value=value,
        low=value * float(np.sqrt(n / scipy.stats.chi2.isf(tail, n))),
        high=value * float(np.sqrt(n / scipy.stats.chi2.ppf(tail, n))),
    )
    within_sd = root_mean_square / float(np.sqrt(2))
    return Repeatability(
        n=n, sample=sample, why=why, multiplier=multiplier, within_sd=within_sd, coefficient=coefficient
    )


def paired_differences(first: ArrayLike, second: ArrayLike) -> FloatArray:
    """First less second, shape (n,).

    Raises ValueNotTaken if they are not two equally long rows of finite numbers.
    """
    a, b = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    if a.ndim != 1 or a.shape != b.shape:
        raise ValueNotTaken(field="second", seen=f"shape {b.shape}", allowed=f"a row as long as the first, {a.shape}")
    for field, row in (("first", a), ("second", b)):
        if not np.isfinite(row).all():
            raise ValueNotTaken(field=field, seen=row[~np.isfinite(row)][0], allowed="finite numbers")
    return a - b


def trust_in_spread(n: int) -> tuple[Sample, str]:
    """Verdict on limits or spread from n pairs, and in a sentence how closely a limit is known.

    Enough from 49 pairs (within half a standard deviation), too few under 15 (not even within one).
    Source: our own bounds on Bland & Altman's half-width t·√(3/n).
    """
    if n < 2:
        return Sample.TOO_FEW, f"There {'is 1 pair' if n == 1 else 'are no pairs'}; a spread needs at least 2."
    half_width = float(scipy.stats.t.isf((1 - CONFIDENCE) / 2, n - 1) * np.sqrt(3 / n))
    verdict = _by_width(half_width, LIMIT_KNOWN_WITHIN_SD)
    return verdict, f"From {n} pairs each limit is known to within {half_width:.1f} standard deviations."


def _approximate_limit(mean: float, sd: float, n: int, m: float, confidence: float) -> Estimate:
    """The point mean + m·sd with Bland and Altman's interval; the bias is m = 0."""
    value = mean + m * sd
    half_width = float(scipy.stats.t.isf((1 - confidence) / 2, n - 1)) * sd * float(np.sqrt((1 + m * m / 2) / n))
    return Estimate(value=value, low=value - half_width, high=value + half_width)


def _exact_limit(mean: float, sd: float, n: int, m: float, confidence: float) -> Estimate:
    """The same point with the interval that covers μ + m·σ of a normal distribution exactly."""
    tail, root_n = (1 - confidence) / 2, float(np.sqrt(n))
    # (mean − (μ + mσ))·√n / sd is −(noncentral t of n − 1 degrees of freedom and noncentrality m√n)
    low, high = (float(scipy.stats.nct.ppf(p, n - 1, abs(m) * root_n)) / root_n for p in (tail, 1 - tail))
    if m < 0:
        low, high = -high, -low
    return Estimate(value=mean + m * sd, low=mean + low * sd, high=mean + high * sd)


# Shares -------------------------------------------------------------------------------------------------------------


def exact_agreement(first: ArrayLike, second: ArrayLike, *, confidence: float = CONFIDENCE) -> Share:
    """Share of pairs that are equal.

    first, second: shape (n,), finite. Raises ValueNotTaken as `differences` does.
    Source: Wilson (1927); Clopper & Pearson (1934).
    """
    d = paired_differences(first, second)
    return share(int(np.count_nonzero(d == 0)), d.size, confidence=confidence)


def share(hits: int, n: int, *, confidence: float = CONFIDENCE) -> Share:
    """Hits of n with Wilson's and Clopper and Pearson's interval.

    Enough when the 95 % interval reaches no more than 10 percentage points from the share, too few past 25.
    Raises ValueNotTaken unless 0 <= hits <= n, or for an impossible confidence.
    Source: Wilson (1927); Clopper & Pearson (1934); the verdict's bounds are our own.
    """
    if not 0 <= hits <= n:
        raise ValueNotTaken(field="hits", seen=hits, allowed=f"0 to {n}")
    _refuse_outside(MULTIPLIER, confidence)
    if n == 0:
        return Share(hits=0, n=0, sample=Sample.TOO_FEW, why="There is nothing to take a share of.")
    usual = _proportion(hits, n, CONFIDENCE, "wilson")
    reach = max(usual.high - usual.value, usual.value - usual.low)
    return Share(
        hits=hits,
        n=n,
        sample=_by_width(reach, SHARE_KNOWN_WITHIN),
        why=f"From {n} the share is known to within {100 * reach:.0f} percentage points.",
        confidence=confidence,
        wilson=usual if confidence == CONFIDENCE else _proportion(hits, n, confidence, "wilson"),
    )


def _proportion(hits: int, n: int, confidence: float, method: Literal["wilson", "exact"]) -> Estimate:
    interval = scipy.stats.binomtest(hits, n).proportion_ci(confidence, method)
    return Estimate(value=hits / n, low=float(interval.low), high=float(interval.high))


def _by_width(half_width: float, bounds: tuple[float, float]) -> Sample:
    enough, small = bounds
    if half_width <= enough:
        return Sample.ENOUGH
    return Sample.SMALL if half_width <= small else Sample.TOO_FEW


def _refuse_outside(multiplier: float, confidence: float) -> None:
    if not 0 < multiplier < np.inf:
        raise ValueNotTaken(field="multiplier", seen=multiplier, allowed="above 0")
    if not 0 < confidence < 1:
        raise ValueNotTaken(field="confidence", seen=confidence, allowed="between 0 and 1")
