"""How well first readings agree, in figures: overall, at each hold point, and by what the pairs have in common."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from inspections.domain import keying
from inspections.domain.keying import HOLD_POINTS, FirstReading
from inspections.domain.reading import Half, OpenSide
from inspections.domain.words import Point
from reports.domain.agreement import estimates
from reports.domain.agreement.groups import GroupComparison, biases_that_stand_out, shares_that_stand_out
from reports.domain.agreement.kappa import Kappa, kappa, table_of
from reports.domain.agreement.pairs import (
    Comparison,
    Grouping,
    ReadingPair,
    category_at,
    grouped,
    keyed_by_both,
    pairs_of,
)

CATEGORIES = {
    Point.OPEN_SIDE: tuple(OpenSide), Point.GAUGE: ("odd", "even"), Point.CROSSOVER: (Half.FIRST, Half.SECOND),
}  # fmt: skip
PEOPLE = (Grouping.TECHNICIAN, Grouping.VERIFIER)


@dataclass(frozen=True, slots=True, kw_only=True)
class PointAgreement:
    """How often technician and verifier keyed the same at a hold point; kappa where words are keyed there."""

    point: Point
    share: estimates.Share
    kappa: Kappa | None


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupRow:
    """One group's pairs by themselves, and how they compare with all the others: by share equal, and by bias."""

    key: str
    name: str
    share: estimates.Share
    differences: estimates.Differences
    by_share: GroupComparison
    by_bias: GroupComparison

    @property
    def stands_out(self) -> bool:
        """Whether either test says so."""
        return self.by_share.stands_out or self.by_bias.stands_out


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Groups of one kind in order of their names. unnamed: how many people are left out, and of them stand out."""

    grouping: Grouping
    rows: tuple[GroupRow, ...]
    unnamed: int = 0
    unnamed_standing_out: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """All figures of one comparison. repeatability: None where two methods are compared."""

    comparison: Comparison
    pairs: tuple[ReadingPair, ...]
    differences: estimates.Differences
    share: estimates.Share
    repeatability: estimates.Repeatability | None
    points: tuple[PointAgreement, ...]
    tables: tuple[Table, ...]


def agreement_of(readings: Collection[FirstReading], comparison: Comparison) -> Agreement:
    """The figures of these first readings, people under their ids."""
    pairs = pairs_of(readings, comparison)
    first, second = _rows(pairs)
    return Agreement(
        comparison=comparison,
        pairs=tuple(pairs),
        differences=estimates.differences(first, second),
        share=estimates.exact_agreement(first, second),
        repeatability=None if comparison is Comparison.METHODS else estimates.repeatability(first, second),
        points=tuple(_point_row(readings, point) for point in HOLD_POINTS if point is not Point.SERIAL),
        tables=tuple(
            _table(pairs, each) for each in Grouping
            if not (each is Grouping.VERIFIER and comparison is Comparison.METHODS)
        ),
    )  # fmt: skip


def _rows(pairs: Sequence[ReadingPair]) -> tuple[list[int], list[int]]:
    return [each.first for each in pairs], [each.second for each in pairs]


def _point_row(readings: Collection[FirstReading], point: Point) -> PointAgreement:
    both = keyed_by_both(readings, point)
    agreed = sum(keying.agree(point, one, other) for one, other in both)
    beyond_chance = None
    if point in CATEGORIES:
        first, second = ([category_at(point, values[role]) for values in both] for role in (0, 1))
        also = (Half.UNCLEAR,) if Half.UNCLEAR in {*first, *second} else ()
        beyond_chance = kappa(table_of(first, second, (*CATEGORIES[point], *also)))
    return PointAgreement(point=point, share=estimates.share(agreed, len(both)), kappa=beyond_chance)


def _table(pairs: Sequence[ReadingPair], grouping: Grouping) -> Table:
    groups = grouped(pairs, grouping)
    shares = {key: estimates.exact_agreement(*_rows(members)) for key, members in groups.items()}
    by_share = shares_that_stand_out(shares)
    by_bias = biases_that_stand_out({key: [each.difference for each in members] for key, members in groups.items()})
    rows = [
        GroupRow(key=key, name=key, share=shares[key], differences=estimates.differences(*_rows(groups[key])),
                 by_share=share_test, by_bias=bias_test)
        for key, share_test, bias_test in zip(groups, by_share, by_bias, strict=True)
    ]  # fmt: skip
    return Table(grouping=grouping, rows=tuple(rows))


def named(table: Table, names: Mapping[str, str], may_see: Callable[[str], bool] = lambda key: True) -> Table:
    """The table under names, in their order, without the rows that may not be seen.

    names: by key, where a key is not a name already. The order is that of the names, whatever the figures: it ranks
    nobody.
    """
    shown = [row for row in table.rows if may_see(row.key)]
    hidden = [row for row in table.rows if not may_see(row.key)]
    rows = [replace(row, name=names.get(row.key, row.key)) for row in shown]
    return Table(
        grouping=table.grouping,
        rows=tuple(sorted(rows, key=lambda row: row.name)),
        unnamed=len(hidden),
        unnamed_standing_out=sum(row.stands_out for row in hidden),
    )
