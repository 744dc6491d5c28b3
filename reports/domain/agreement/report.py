"""How well first readings agree, in figures: overall, at each hold point, and by what the pairs have in common."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from inspections.domain import keying
from inspections.domain.first_reading import FirstReading
from inspections.domain.keying import HOLD_POINTS
from inspections.domain.words import Point
from reports.domain.agreement.estimates import (
    Differences,
    Repeatability,
    Share,
    differences,
    exact_agreement,
    repeatability,
    share,
)
from reports.domain.agreement.groups import (
    GroupStanding,
    Standing,
    biases_that_stand_out,
    shares_that_stand_out,
)
from reports.domain.agreement.kappa import Kappa, kappa, table_of
from reports.domain.agreement.pairs import (
    Comparison,
    Grouping,
    Pair,
    both_saw,
    category_at,
    grouped,
    pairs_of,
)

CATEGORIES = {Point.GAUGE: ("odd", "even"), Point.CROSSOVER: ("aft", "forward")}
ON_THE_LINE = "line"
PEOPLE = (Grouping.TECHNICIAN, Grouping.VERIFIER)


@dataclass(frozen=True, slots=True, kw_only=True)
class PointRow:
    """How often technician and verifier keyed the same at a hold point; kappa where words are keyed there."""

    point: Point
    share: Share
    kappa: Kappa | None


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupRow:
    """One group's pairs by themselves, and how they stand beside all the others: how often equal, and which way off."""

    key: str
    name: str
    share: Share
    differences: Differences
    often: GroupStanding
    off: GroupStanding

    @property
    def stands_out(self) -> bool:
        """Whether either test says so."""
        return Standing.STANDS_OUT in (self.often.standing, self.off.standing)


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
    pairs: tuple[Pair, ...]
    differences: Differences
    share: Share
    repeatability: Repeatability | None
    points: tuple[PointRow, ...]
    tables: tuple[Table, ...]


def agreement_of(readings: Collection[FirstReading], comparison: Comparison) -> Agreement:
    """The figures of these first readings, people under their ids."""
    pairs = pairs_of(readings, comparison)
    first, second = _rows(pairs)
    return Agreement(
        comparison=comparison,
        pairs=tuple(pairs),
        differences=differences(first, second),
        share=exact_agreement(first, second),
        repeatability=None if comparison is Comparison.METHODS else repeatability(first, second),
        points=tuple(_point_row(readings, point) for point in HOLD_POINTS),
        tables=tuple(
            _table(pairs, each) for each in Grouping
            if not (each is Grouping.VERIFIER and comparison is Comparison.METHODS)
        ),
    )  # fmt: skip


def _rows(pairs: Sequence[Pair]) -> tuple[list[int], list[int]]:
    return [each.first for each in pairs], [each.second for each in pairs]


def _point_row(readings: Collection[FirstReading], point: Point) -> PointRow:
    seen = both_saw(readings, point)
    agreed = sum(keying.agree(point, one, other) for one, other in seen)
    judged = None
    if point in CATEGORIES:
        words = [[category_at(point, value) for value in row] for row in zip(*seen, strict=True)] or [[], []]
        also = (ON_THE_LINE,) if ON_THE_LINE in {*words[0], *words[1]} else ()
        judged = kappa(table_of(words[0], words[1], (*CATEGORIES[point], *also)))
    return PointRow(point=point, share=share(agreed, len(seen)), kappa=judged)


def _table(pairs: Sequence[Pair], grouping: Grouping) -> Table:
    groups = grouped(pairs, grouping)
    shares = {key: exact_agreement(*_rows(mine)) for key, mine in groups.items()}
    often = shares_that_stand_out(shares)
    off = biases_that_stand_out({key: [each.difference for each in mine] for key, mine in groups.items()})
    rows = [
        GroupRow(key=key, name=key, share=shares[key], differences=differences(*_rows(groups[key])), often=one,
                 off=other)
        for key, one, other in zip(groups, often, off, strict=True)
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
