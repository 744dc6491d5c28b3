"""The life of a cable and of a reel: its uses, hours and age, against the limits that its type may set.

Another cable begins the cable's life anew; the reel's own goes on. A soft limit warns, a hard one ends the life. Uses
and hours reach a limit when that is recorded; age is never recorded, and reaches one by time.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from enum import StrEnum
from typing import Any

from reels.domain.words import counted


class LifePart(StrEnum):
    """What has a life of its own."""

    CABLE = "cable"
    REEL = "reel"


class LifeMeasure(StrEnum):
    """By what it is spent; days are those since it came."""

    USES = "uses"
    HOURS = "hours"
    DAYS = "days"


class LifeLimit(StrEnum):
    """Which limit was reached."""

    SOFT = "soft"
    HARD = "hard"


LIVES = tuple(f"{part}_{measure}" for part in LifePart for measure in LifeMeasure)
LIMIT_NAMES = tuple(f"{life}_{limit}" for life in LIVES for limit in LifeLimit)  # columns of a type


NAMES = {LifeMeasure.USES: "Uses", LifeMeasure.HOURS: "Hours", LifeMeasure.DAYS: "Age"}


def life_name(part: LifePart, measure: LifeMeasure) -> str:
    """As in “Age of the cable”."""
    return f"{NAMES[measure]} of the {part}"


def limits_in_words(soft: int | None, hard: int | None, measure: str = "") -> str:
    """As in “warned from 90, at most 100 uses”."""
    both = (soft and f"warned from {soft}", hard and f"at most {hard}")
    return f"{', '.join(each for each in both if each)} {measure}".rstrip()


def limits_of_type(values: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Each life that a type limits, by its name, and what the limits are. values: by LIMIT_NAMES."""
    of_each = [
        (part, measure, *(values[f"{part}_{measure}_{limit}"] for limit in LifeLimit))
        for part in LifePart
        for measure in LifeMeasure
    ]
    return [
        (life_name(part, measure), limits_in_words(soft, hard, measure))
        for part, measure, soft, hard in of_each
        if soft or hard
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """Uses that were recorded together."""

    happened_at: datetime
    recorded_at: datetime
    uses: int
    hours: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class Spent:
    """What is spent of one limited life. soft, hard: the limits; soft_at, hard_at: when each is or will be reached."""

    part: LifePart
    measure: LifeMeasure
    spent: Decimal
    soft: int | None
    hard: int | None
    soft_at: datetime | None
    hard_at: datetime | None

    def reached(self, at: datetime) -> LifeLimit | None:
        """The limit that it has reached by then, the hard one before the soft one."""
        if self.hard_at and self.hard_at <= at:
            return LifeLimit.HARD
        return LifeLimit.SOFT if self.soft_at and self.soft_at <= at else None

    @property
    def in_words(self) -> str:
        """As in “100 uses; warned from 90, at most 100”."""
        number = f"{self.spent.normalize():f}"
        amount = counted(int(self.spent), self.measure[:-1]) if number.isdigit() else f"{number} {self.measure}"
        return f"{amount}; {limits_in_words(self.soft, self.hard)}"


def life_of(
    came: Mapping[LifePart, datetime], uses: Iterable[Use], limits: Mapping[str, Any], at: datetime
) -> list[Spent]:
    """What is spent by then of each life that the type limits. came: when each part did; limits: by LIMIT_NAMES."""
    in_order = sorted(uses, key=lambda use: use.recorded_at)  # a limit is reached when records say so
    return [
        _spent(part, measure, since, [use for use in in_order if since <= use.happened_at <= at], limits, at)
        for part, since in came.items()
        for measure in LifeMeasure
        if any(limits[f"{part}_{measure}_{limit}"] for limit in LifeLimit)
    ]


def _spent(part: LifePart, measure: LifeMeasure, since: datetime, uses: list[Use], limits: Mapping[str, Any],
           at: datetime) -> Spent:  # fmt: skip
    soft, hard = (limits[f"{part}_{measure}_{limit}"] for limit in LifeLimit)
    if measure is LifeMeasure.DAYS:
        spent = Decimal(max((at - since).days, 0))
        soft_at, hard_at = (since + timedelta(days=limit) if limit else None for limit in (soft, hard))
    else:
        sums = list(_running(uses, measure))
        spent = sums[-1][1] if sums else Decimal(0)
        soft_at, hard_at = (
            next((when for when, total in sums if limit and total >= limit), None) for limit in (soft, hard)
        )
    return Spent(part=part, measure=measure, spent=spent, soft=soft, hard=hard, soft_at=soft_at, hard_at=hard_at)


def _running(uses: Iterable[Use], measure: LifeMeasure) -> Iterator[tuple[datetime, Decimal]]:
    total = Decimal(0)
    for use in uses:
        total += use.uses if measure is LifeMeasure.USES else use.hours
        yield use.recorded_at, total
