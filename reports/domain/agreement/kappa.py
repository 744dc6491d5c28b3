"""Cohen's kappa: agreement of two people on categories beyond what chance alone would give, plain and weighted.

With shares p_ij of things that the first person puts into i and the second into j, and weights w_ij of agreement
(1 on the diagonal), P_o = Σ w p_ij, P_e = Σ w p_i· p_·j, and κ = (P_o − P_e)/(1 − P_e). Two standard errors, which
differ: under no agreement but chance (for a test against 0), and at the kappa that was seen (for an interval).

Weights are given as disagreements v_ij, 0 on the diagonal, in any unit: w = 1 − v/max v.
Written out here because scipy has no kappa, and the library that has both standard errors would bring pandas along.
Source: Cohen (1960, 1968); standard errors: Fleiss, Cohen & Everitt (1969).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from reels.domain.uncertainty import FloatArray
from reels.errors import ValueNotTaken
from reports.domain.agreement.estimates import CONFIDENCE, Estimate, Sample

KAPPA_KNOWN_WITHIN = 0.2  # enough up to here


@dataclass(frozen=True, slots=True, kw_only=True)
class Kappa:
    """Agreement beyond chance; 1 is complete, 0 is chance.

    observed, expected: weighted shares of agreement. kappa, se_null, se and z are None when everything fell into one
    category, so that chance alone gives complete agreement. se: at the kappa seen; se_null, z: under chance alone.
    """

    n: int
    sample: Sample
    why: str
    observed: float | None = None
    expected: float | None = None
    kappa: Estimate | None = None
    se_null: float | None = None
    se: float | None = None
    z: float | None = None


def table_of(first: Sequence[str], second: Sequence[str], categories: Sequence[str]) -> NDArray[np.int64]:
    """How often the first person said i and the second j, shape (k, k), in the order of the categories.

    Raises ValueNotTaken if the rows are not equally long, or a word is none of the categories.
    """
    if len(first) != len(second):
        raise ValueNotTaken(field="second", seen=f"{len(second)} words", allowed=f"{len(first)}, as many as the first")
    place = {category: i for i, category in enumerate(categories)}
    table = np.zeros((len(categories), len(categories)), dtype=np.int64)
    for pair in zip(first, second, strict=True):
        for field, word in zip(("first", "second"), pair, strict=True):
            if word not in place:
                raise ValueNotTaken(field=field, seen=word, allowed=", ".join(categories))
        table[place[pair[0]], place[pair[1]]] += 1
    return table


def nominal(k: int) -> FloatArray:
    """Disagreements of k categories in no order: any two differ equally. Plain kappa."""
    return 1.0 - np.eye(k)


def linear(k: int) -> FloatArray:
    """Disagreements of k ordered categories: by how many steps they differ."""
    i = np.arange(k, dtype=np.float64)
    return np.abs(i[:, None] - i[None, :])


def quadratic(k: int) -> FloatArray:
    """Disagreements of k ordered categories: by the square of the steps."""
    return linear(k) ** 2


def kappa(table: ArrayLike, disagreement: ArrayLike | None = None, *, confidence: float = CONFIDENCE) -> Kappa:
    """Kappa of a table of counts with both standard errors.

    table: shape (k, k), k 2 or more, how often the first person said i and the second j. disagreement: shape (k, k), 0
    on the diagonal, none below 0, not all 0; None: `nominal`, plain kappa.
    Raises ValueNotTaken for a table or weights of another form.
    Source: Cohen (1960, 1968); Fleiss, Cohen & Everitt (1969).
    """
    counts = np.asarray(table, dtype=np.float64)
    _refuse_other_tables(counts)
    k, n = counts.shape[0], int(counts.sum())
    v = nominal(k) if disagreement is None else np.asarray(disagreement, dtype=np.float64)
    _refuse_other_weights(v, k)
    if n == 0:
        return Kappa(n=0, sample=Sample.TOO_FEW, why="Nothing was judged.")
    p, w = counts / n, 1.0 - v / v.max()
    by_first, by_second = p.sum(axis=1), p.sum(axis=0)
    observed = float((w * p).sum())
    expected = float(by_first @ w @ by_second)
    if np.isclose(expected, 1.0, rtol=0, atol=1e-12):
        why = "Everything fell into one category: chance alone would agree as well, and kappa says nothing."
        return Kappa(n=n, sample=Sample.TOO_FEW, why=why, observed=observed, expected=expected)
    value = (observed - expected) / (1 - expected)
    se_null, se = _standard_errors(p, w, n)
    sample, why = _trust(n, k, max(se_null, se), confidence)
    half_width = float(scipy.stats.norm.isf((1 - confidence) / 2)) * se
    return Kappa(
        n=n,
        sample=sample,
        why=why,
        observed=observed,
        expected=expected,
        # κ is never above 1, which a normal interval does not know
        kappa=Estimate(value=value, low=value - half_width, high=min(1.0, value + half_width)),
        se_null=se_null,
        se=se,
        z=value / se_null if se_null > 0 else None,
    )


def _standard_errors(p: FloatArray, w: FloatArray, n: int) -> tuple[float, float]:
    """Under chance alone, and at the kappa seen."""
    by_first, by_second = p.sum(axis=1), p.sum(axis=0)
    chance = np.outer(by_first, by_second)
    observed, expected = float((w * p).sum()), float((w * chance).sum())
    # mean weight of what each person said, over what the other one says by chance
    mean_w = (w @ by_second)[:, None] + (by_first @ w)[None, :]
    under_null = float((chance * (w - mean_w) ** 2).sum()) - expected**2
    at_seen = float((p * (w * (1 - expected) - mean_w * (1 - observed)) ** 2).sum())
    at_seen -= (observed * expected - 2 * expected + observed) ** 2
    # both are variances; rounding may take one of 0 below it
    se_null = np.sqrt(max(under_null, 0.0) / n) / (1 - expected)
    se = np.sqrt(max(at_seen, 0.0) / n) / (1 - expected) ** 2
    return float(se_null), float(se)


def _trust(n: int, k: int, se: float, confidence: float) -> tuple[Sample, str]:
    """Verdict on a kappa; se is the larger of the two, since complete agreement alone makes one of them 0."""
    half_width = float(scipy.stats.norm.isf((1 - confidence) / 2)) * se
    least = 2 * k * k
    if n < least:
        return Sample.TOO_FEW, f"{n} judged; {k} categories need at least {least} for the standard errors to hold."
    verdict = Sample.ENOUGH if half_width <= KAPPA_KNOWN_WITHIN else Sample.SMALL
    return verdict, f"From {n} kappa is known to within {half_width:.2f}."


def _refuse_other_tables(counts: FloatArray) -> None:
    if counts.ndim != 2 or counts.shape[0] != counts.shape[1] or counts.shape[0] < 2:
        raise ValueNotTaken(field="table", seen=f"shape {counts.shape}", allowed="square, 2 categories or more")
    if not (np.isfinite(counts).all() and (counts >= 0).all() and (counts == np.floor(counts)).all()):
        raise ValueNotTaken(field="table", seen=counts.tolist(), allowed="whole numbers, 0 or more")


def _refuse_other_weights(v: FloatArray, k: int) -> None:
    if v.shape != (k, k):
        raise ValueNotTaken(field="disagreement", seen=f"shape {v.shape}", allowed=f"{(k, k)}, as the table")
    if not np.isfinite(v).all() or (v < 0).any() or np.diag(v).any() or not v.any():
        raise ValueNotTaken(field="disagreement", seen=v.tolist(), allowed="0 on the diagonal, none below 0, not all 0")
