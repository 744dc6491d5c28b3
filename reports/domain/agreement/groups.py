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
from enum import StrEnum
from math import comb
from typing import cast

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from reels.errors import ValueNotTaken
from reports.domain.agreement.estimates import FloatArray, Share

FALSE_DISCOVERY = 0.05
SAME_P = 1e-9  # two p-values that differ by no larger a share are one
MOST_WORK = 50_000_000  # additions up to which rank sums are counted out


class GroupVerdict(StrEnum):
    """How a group compares with the rest."""

    STANDS_OUT = "stands_out"
    LIKE_THE_REST = "like_the_rest"  # as far as these numbers tell
    CANNOT_BE_TOLD = "cannot_be_told"  # no result of this group could have stood out


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
class _Tested:
    key: str
    n: int
    value: float | None
    rest: float | None
    p: float
    least_p: float  # the smallest p that the same numbers, dealt out otherwise, could have given this group


_Test = Callable[[str, Sequence[str]], _Tested]  # a group against all the others among these


# Questions ----------------------------------------------------------------------------------------------------------


def adjusted(p_values: ArrayLike) -> FloatArray:
    """P-values adjusted for the false discovery rate: a rate q discovers those that are q or less.

    p_values: shape (m,), 0 to 1, in any order. Returns shape (m,), in the same order.
    Raises ValueNotTaken for anything else.
    Source: Benjamini & Hochberg (1995), step-up, as adjusted p-values.
    """
    p = np.asarray(p_values, dtype=np.float64)
    if p.ndim != 1 or not ((p >= 0) & (p <= 1)).all():
        raise ValueNotTaken(field="p_values", seen=p.tolist(), allowed="a row of numbers from 0 to 1")
    return cast(FloatArray, stats.false_discovery_control(p))


def shares_that_stand_out(
    groups: Mapping[str, Share], *, false_discovery: float = FALSE_DISCOVERY
) -> tuple[GroupComparison, ...]:
    """Each group's share against that of all the others, in the order given.

    groups: hits of n by key. false_discovery: 0 to 1, both excluded.
    Raises ValueNotTaken for an impossible rate.
    Source: Fisher (1935), two-sided; Benjamini & Hochberg (1995).
    """

    def tested(key: str, among: Sequence[str]) -> _Tested:
        hits, n = sum(groups[each].hits for each in among), sum(groups[each].n for each in among)
        return _share_tested(key, groups[key], hits, n)

    return _stand_out(tested, list(groups), false_discovery)


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

    def tested(key: str, among: Sequence[str]) -> _Tested:
        rest = np.concatenate([*(rows[each] for each in among if each != key), np.empty(0)])
        return _bias_tested(key, rows[key], rest)

    return _stand_out(tested, list(rows), false_discovery)


def _stand_out(tested: _Test, keys: Sequence[str], rate: float) -> tuple[GroupComparison, ...]:
    if not 0 < rate < 1:
        raise ValueNotTaken(field="false_discovery", seen=rate, allowed="between 0 and 1")
    every = [tested(key, keys) for key in keys]
    can_be_told = [t for t in every if t.least_p <= rate]
    by_key = dict(zip((t.key for t in can_be_told), adjusted([t.p for t in can_be_told]), strict=True))
    out = [t for t in can_be_told if by_key[t.key] <= rate]
    drawn = {t.key for t in out if _is_drawn_by_others(t, out, tested, keys, rate)}
    return tuple(_compared(t, by_key.get(t.key), rate, is_drawn=t.key in drawn) for t in every)


def _is_drawn_by_others(
    group: _Tested, out: Sequence[_Tested], tested: _Test, keys: Sequence[str], rate: float
) -> bool:
    """Whether a group differs from the rest only since others in it, whose p is smaller, stand out themselves."""
    stronger = {other.key for other in out if other.p < group.p * (1 - SAME_P)}
    return bool(stronger) and tested(group.key, [key for key in keys if key not in stronger]).p > rate


def _compared(tested: _Tested, adjusted_p: float | None, rate: float, *, is_drawn: bool) -> GroupComparison:
    if adjusted_p is None:
        verdict = GroupVerdict.CANNOT_BE_TOLD
        why = f"With {tested.n} here, and so little that differs, even the most uneven result could be chance."
    elif is_drawn:
        verdict = GroupVerdict.LIKE_THE_REST
        why = "It differs from the rest only because of others in it that stand out more."
    elif adjusted_p <= rate:
        verdict = GroupVerdict.STANDS_OUT
        why = f"Chance alone rarely makes a group differ so far (adjusted p {adjusted_p:.2g}, at most {rate:g} needed)."
    else:
        verdict = GroupVerdict.LIKE_THE_REST
        why = f"Among so many groups, chance makes one differ as far as this (adjusted p {adjusted_p:.2g})."
    return GroupComparison(
        key=tested.key,
        n=tested.n,
        value=tested.value,
        rest=tested.rest,
        p=tested.p,
        adjusted_p=None if adjusted_p is None else float(adjusted_p),
        verdict=verdict,
        why=why,
    )


# Tests --------------------------------------------------------------------------------------------------------------


def _share_tested(key: str, group: Share, hits: int, n: int) -> _Tested:
    others, n_others = hits - group.hits, n - group.n

    def p_with(mine: int) -> float:
        theirs = hits - mine
        return float(stats.fisher_exact([[mine, group.n - mine], [theirs, n_others - theirs]]).pvalue)

    fewest, most = max(0, hits - n_others), min(group.n, hits)
    return _Tested(
        key,
        group.n,
        group.hits / group.n if group.n else None,
        others / n_others if n_others else None,
        min(1.0, p_with(group.hits)),
        min(p_with(fewest), p_with(most)),
    )


def _bias_tested(key: str, mine: FloatArray, rest: FloatArray) -> _Tested:
    p, least_p = (1.0, 1.0) if not (mine.size and rest.size) else rank_sum_p(mine, rest)
    value = float(mine.mean()) if mine.size else None
    return _Tested(key, mine.size, value, float(rest.mean()) if rest.size else None, p, least_p)


def rank_sum_p(mine: FloatArray, rest: FloatArray) -> tuple[float, float]:
    """Two-sided p of the rank-sum test, and the least that the same values, dealt out otherwise, could give.

    mine, rest: shapes (m,) and (r,), each 1 or more. Exact, ties included, unless that takes too long.
    Source: Wilcoxon (1945), midranks.
    """
    # twice the midrank is a whole number
    doubled = np.rint(2 * stats.rankdata(np.concatenate([mine, rest]))).astype(np.int64)
    ranks, ties = np.unique(doubled, return_counts=True)
    if ranks.size == 1:
        return 1.0, 1.0
    mine_is_fewer = mine.size <= rest.size
    m, seen = min(mine.size, rest.size), doubled[: mine.size] if mine_is_fewer else doubled[mine.size :]
    if _work(m, doubled.size, ties) > MOST_WORK:
        return float(stats.mannwhitneyu(mine, rest, method="asymptotic").pvalue), 0.0
    sums, ways = _rank_sums(m, ranks, ties)
    off = np.abs(sums - m * (doubled.size + 1))
    seen_off = abs(int(seen.sum()) - m * (doubled.size + 1))
    return float(min(1.0, ways[off >= seen_off].sum())), float(ways[off == off.max()].sum())


def _work(m: int, n: int, ties: NDArray[np.int64]) -> int:
    return int(m * (2 * m * n) * np.minimum(ties, m).sum())


def _rank_sums(m: int, ranks: NDArray[np.int64], ties: NDArray[np.int64]) -> tuple[NDArray[np.int64], FloatArray]:
    """Every sum that m of the ranks can have, and its probability when they are drawn by chance."""
    most = int(m * ranks[-1])
    ways = np.zeros((m + 1, most + 1))
    ways[0, 0] = 1.0
    for rank, tied in zip(ranks.tolist(), ties.tolist(), strict=True):
        # ways[k, s]: ways to draw k of the ranks so far with sum s
        before = ways.copy()
        for drawn in range(1, min(tied, m) + 1):
            shift = drawn * rank
            if shift <= most:
                ways[drawn:, shift:] += comb(tied, drawn) * before[: m + 1 - drawn, : most + 1 - shift]
    sums = np.flatnonzero(ways[m])
    return cast(NDArray[np.int64], sums), ways[m][sums] / ways[m].sum()
