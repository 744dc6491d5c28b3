"""Which of many groups (gauges, sites, reel types, months) differs from the rest, without crying wolf.

Each group is tested against all the others together. The more groups, the more of them look odd by chance alone, so
the p-values are adjusted to hold the false discovery rate: of the groups that are said to stand out, on average no
more than that share do so by chance.

- Shares (pairs that do not agree, counts that slip): Fisher's exact test.
- Differences (bias): Wilcoxon's rank-sum test with ties, exact where it can be counted out, else normal with ties
  corrected. Differences of whole wraps are mostly 0 with a few large slips, which a t test would take badly.

A group so small that its test cannot come below the rate whatever it had shown is set aside before the adjustment;
that looks only at how many and which values there are, not at who has them, so it favours nobody. People are compared
only under keys that name nobody, and come back in the order given: nothing here ranks them. A group that differs from
the rest only because another one in the rest stands out more is not said to stand out: one worn gauge must not make all
the sound ones look odd. That only takes back what the adjustment had found.
Source: Fisher (1935); Wilcoxon (1945); Benjamini & Hochberg (1995); setting aside: Tarone (1990).
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum, auto
from math import comb
from typing import cast

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from reels.domain.uncertainty import FloatArray
from reels.errors import ValueNotTaken
from reports.domain.agreement.estimates import Share

FALSE_DISCOVERY = 0.05
SAME_P = 1e-9  # two p-values that differ by no larger a share are one
MOST_WORK = 50_000_000  # additions up to which rank sums are counted out, a fraction of a second


class GroupVerdict(Enum):
    """How a group compares with the rest."""

    STANDS_OUT = auto()
    LIKE_THE_REST = auto()  # as far as these numbers tell
    CANNOT_BE_TOLD = auto()  # no result of this group could have stood out


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupComparison:
    """One group against all the others.

    value, rest: share, or mean difference, of the group and of the others; None where there are none. p: of its own
    test; adjusted_p: None when it was set aside.
    """

    key: str
    n: int
    value: float | None
    rest: float | None
    p: float
    adjusted_p: float | None
    verdict: GroupVerdict
    why: str

    @property
    def stands_out(self) -> bool:
        """Whether its test says so, after adjustment."""
        return self.verdict is GroupVerdict.STANDS_OUT


@dataclass(frozen=True, slots=True)
class _TestResult:
    key: str
    n: int
    value: float | None
    rest: float | None
    p: float
    least_p: float  # the smallest p that the same numbers, dealt out otherwise, could have given this group


_Test = Callable[[str, Sequence[str]], _TestResult]  # a group against all the others among these


def adjusted(p_values: ArrayLike) -> FloatArray:
    """P-values adjusted for the false discovery rate: a rate q discovers those that are q or less.

    p_values: shape (m,), 0 to 1, in any order. Returns shape (m,), in the same order.
    Raises ValueNotTaken for anything else.
    Source: Benjamini & Hochberg (1995), step-up, as adjusted p-values.
    """
    p = np.asarray(p_values, dtype=np.float64)
    if p.ndim != 1 or not ((p >= 0) & (p <= 1)).all():
        raise ValueNotTaken(field="p_values", seen=p.tolist(), allowed="a row of numbers from 0 to 1")
    return cast(FloatArray, scipy.stats.false_discovery_control(p))


def shares_that_stand_out(
    groups: Mapping[str, Share], *, false_discovery: float = FALSE_DISCOVERY
) -> tuple[GroupComparison, ...]:
    """Each group's share against that of all the others, in the order given.

    groups: hits of n by key. false_discovery: 0 to 1, both excluded.
    Raises ValueNotTaken for an impossible rate.
    Source: Fisher (1935), two-sided; Benjamini & Hochberg (1995).
    """

    def test(key: str, among: Sequence[str]) -> _TestResult:
        hits, n = sum(groups[each].hits for each in among), sum(groups[each].n for each in among)
        return _share_test(key, groups[key], hits, n)

    return _stand_out(test, list(groups), false_discovery)


def biases_that_stand_out(
    groups: Mapping[str, ArrayLike], *, false_discovery: float = FALSE_DISCOVERY
) -> tuple[GroupComparison, ...]:
    """Each group's differences against those of all the others, in the order given.

    groups: differences by key, shape (n,) each, finite, as from `paired_differences`. false_discovery: 0 to 1, both
    excluded.
    Raises ValueNotTaken for a difference that is not finite, or an impossible rate.
    Source: Wilcoxon (1945), two-sided, midranks; Benjamini & Hochberg (1995).
    """
    rows = {key: np.asarray(row, dtype=np.float64) for key, row in groups.items()}
    for key, row in rows.items():
        if row.ndim != 1 or not np.isfinite(row).all():
            raise ValueNotTaken(field=key, seen=row.tolist(), allowed="a row of finite numbers")

    def test(key: str, among: Sequence[str]) -> _TestResult:
        rest = np.concatenate([*(rows[each] for each in among if each != key), np.empty(0)])
        return _bias_test(key, rows[key], rest)

    return _stand_out(test, list(rows), false_discovery)


def _stand_out(test: _Test, keys: Sequence[str], rate: float) -> tuple[GroupComparison, ...]:
    if not 0 < rate < 1:
        raise ValueNotTaken(field="false_discovery", seen=rate, allowed="between 0 and 1")
    results = [test(key, keys) for key in keys]
    testable = [result for result in results if result.least_p <= rate]
    by_key = dict(zip((result.key for result in testable), adjusted([result.p for result in testable]), strict=True))
    discovered = [result for result in testable if by_key[result.key] <= rate]
    explained = {result.key for result in discovered if _is_explained_by_stronger(result, discovered, test, keys, rate)}
    return tuple(_compared(each, by_key.get(each.key), rate, is_explained=each.key in explained) for each in results)


def _is_explained_by_stronger(
    group: _TestResult, discovered: Sequence[_TestResult], test: _Test, keys: Sequence[str], rate: float
) -> bool:
    """Whether a group differs from the rest only since others in it, whose p is smaller, stand out themselves."""
    # Two groups alone have the same p, which rounding must not set in an order: then neither explains the other.
    stronger = {other.key for other in discovered if other.p < group.p * (1 - SAME_P)}
    return bool(stronger) and test(group.key, [key for key in keys if key not in stronger]).p > rate


def _compared(result: _TestResult, adjusted_p: float | None, rate: float, *, is_explained: bool) -> GroupComparison:
    verdict = GroupVerdict.LIKE_THE_REST
    if adjusted_p is None:
        verdict = GroupVerdict.CANNOT_BE_TOLD
        why = f"With {result.n} here, and so little that differs, even the most uneven result could be chance."
    elif is_explained:
        why = "It differs from the rest only because of others in it that stand out more."
    elif adjusted_p <= rate:
        verdict = GroupVerdict.STANDS_OUT
        why = f"Chance alone rarely makes a group differ so far (adjusted p {adjusted_p:.2g}, at most {rate:g} needed)."
    else:
        why = f"Among so many groups, chance makes one differ as far as this (adjusted p {adjusted_p:.2g})."
    return GroupComparison(
        key=result.key, n=result.n, value=result.value, rest=result.rest, p=result.p,
        adjusted_p=None if adjusted_p is None else float(adjusted_p), verdict=verdict, why=why,
    )  # fmt: skip


def _share_test(key: str, group: Share, hits: int, n: int) -> _TestResult:
    hits_elsewhere, n_elsewhere = hits - group.hits, n - group.n

    def p_with(hits_here: int) -> float:
        elsewhere = hits - hits_here
        table = [[hits_here, group.n - hits_here], [elsewhere, n_elsewhere - elsewhere]]
        return float(scipy.stats.fisher_exact(table).pvalue)

    # With both margins of the table held, p is smallest at one end of what the group's hits could have been.
    fewest, most = max(0, hits - n_elsewhere), min(group.n, hits)
    least_p = min(p_with(fewest), p_with(most))
    value = group.hits / group.n if group.n else None
    rest = hits_elsewhere / n_elsewhere if n_elsewhere else None
    return _TestResult(key, group.n, value, rest, min(1.0, p_with(group.hits)), least_p)


def _bias_test(key: str, group: FloatArray, rest: FloatArray) -> _TestResult:
    p, least_p = rank_sum_p(group, rest) if group.size and rest.size else (1.0, 1.0)
    value, others = (float(row.mean()) if row.size else None for row in (group, rest))
    return _TestResult(key, group.size, value, others, p, least_p)


def rank_sum_p(group: FloatArray, rest: FloatArray) -> tuple[float, float]:
    """Two-sided p of the rank-sum test, and the least that the same values, dealt out otherwise, could give.

    group, rest: shapes (m,) and (r,), each 1 or more. Exact, ties included, unless that takes too long.
    Source: Wilcoxon (1945), midranks.
    """
    # twice the midrank is a whole number, so that sums are counted and compared without rounding
    doubled = np.rint(2 * scipy.stats.rankdata(np.concatenate([group, rest]))).astype(np.int64)
    ranks, ties = np.unique(doubled, return_counts=True)
    if ranks.size == 1:
        return 1.0, 1.0
    # the sums of the smaller part are fewer, and tell the same, since all ranks have one sum
    m, smaller = min((group.size, doubled[: group.size]), (rest.size, doubled[group.size :]), key=lambda part: part[0])
    if m * (2 * m * doubled.size) * int(np.minimum(ties, m).sum()) > MOST_WORK:
        return float(scipy.stats.mannwhitneyu(group, rest, method="asymptotic").pvalue), 0.0
    sums, chances = _rank_sums(m, ranks, ties)
    off = np.abs(sums - m * (doubled.size + 1))  # twice the distance from the expected sum, m (n + 1) / 2
    seen_off = abs(int(smaller.sum()) - m * (doubled.size + 1))
    return float(min(1.0, chances[off >= seen_off].sum())), float(chances[off == off.max()].sum())


def _rank_sums(m: int, ranks: NDArray[np.int64], ties: NDArray[np.int64]) -> tuple[NDArray[np.int64], FloatArray]:
    """Every sum that m of the ranks can have, and its chance when they are drawn blindly.

    scipy's exact test takes no ties; here ranks that are tied are taken together, so many of them at a time.
    """
    most = int(m * ranks[-1])
    ways = np.zeros((m + 1, most + 1))  # ways[k, s]: to draw k of the ranks so far with sum s
    ways[0, 0] = 1.0
    for rank, tied in zip(ranks.tolist(), ties.tolist(), strict=True):
        before = ways.copy()
        for drawn in range(1, min(tied, m) + 1):
            shift = drawn * rank
            if shift <= most:
                ways[drawn:, shift:] += comb(tied, drawn) * before[: m + 1 - drawn, : most + 1 - shift]
    sums = np.flatnonzero(ways[m])
    return cast(NDArray[np.int64], sums), ways[m][sums] / ways[m].sum()
