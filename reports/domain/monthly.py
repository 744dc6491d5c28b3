"""The monthly report: a period of days at some sites, and what is added up of the records of it.

Whoever answers for a site reads it: how the reels stand, what was done, what was found, what was lost and what comes
up. Everything here is a number of records, but for three sums: days of a hold within the period, metres cut, and metres
that the drift report infers.
"""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from math import hypot

from inspections.domain.drift.records import Ending
from inspections.domain.words import ReelStatus

DAY = timedelta(days=1)
FIRST, LAST = date(1970, 1, 1), date(2199, 12, 31)  # days of no other time are asked for


@dataclass(frozen=True, slots=True)
class Period:
    """Whole days, the last one too; since <= until."""

    since: date
    until: date

    @property
    def days(self) -> int:
        """How many."""
        return (self.until - self.since).days + 1

    @property
    def is_month(self) -> bool:
        """Whether it is one whole month."""
        return self == month_of(self.since)

    @property
    def next(self) -> "Period":
        """The month after a month; after anything else as many days."""
        begin = self.until + DAY
        return month_of(begin) if self.is_month else Period(begin, begin + DAY * (self.days - 1))

    @property
    def in_words(self) -> str:
        """October 2026; 5 October 2026 to 12 January 2027; 5 October 2026."""
        if self.is_month:
            return f"{self.since:%B %Y}"
        first, last = (f"{day.day} {day:%B %Y}" for day in (self.since, self.until))
        return first if first == last else f"{first} to {last}"


def month_of(day: date) -> Period:
    """The month in which a day lies."""
    first = day.replace(day=1)
    return Period(first, (first + 31 * DAY).replace(day=1) - DAY)


def period_asked_for(since: date | None, until: date | None, today: date) -> Period:
    """From one day to another, since <= until.

    With one of them: from it to the end of its month, or from the first of its month to it. With none: the last whole
    month before today.
    """
    if since is None and until is None:
        return month_of(today.replace(day=1) - DAY)
    begin = since or (until or today).replace(day=1)
    return Period(begin, until or month_of(begin).until)


# What is added up -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class StandingAt:
    """How many reels stand where at a moment, and of how many of these a count is due."""

    at: datetime
    reels: Mapping[ReelStatus, int]
    due: int

    @property
    def total(self) -> int:
        """All of them."""
        return sum(self.reels.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class CountsMade:
    """Counts that were done in the period, and what is true of them today.

    signed: standing; from_paper: of those; brought_in: of older records; rereads: readings that had to be read again;
    reread: counts with one or more. referred, released_to_read, released_as_proposed: referrals in the period, and how
    those of them ended.
    """

    signed: int
    from_paper: int
    brought_in: int
    voided: int
    cancelled: int
    rereads: int
    reread: int
    referred: int
    released_to_read: int
    released_as_proposed: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ValuesMoved:
    """Setup values by what became of them in the period."""

    issued: int
    confirmed: int
    withdrawn: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingsOfKind:
    """Findings of one kind: recorded in the period, closed in it, and open at its end, whenever they were recorded."""

    part: str
    kind: str
    severity: str
    recorded: int
    closed: int
    still_open: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagsEnded:
    """Drift flags: raised in the period, closed in it by ending, and under review at its end."""

    raised: int
    closed: Mapping[Ending, int]
    still_open: int


@dataclass(frozen=True, slots=True, kw_only=True)
class InferredLoss:
    """A flagged interval whose later count lies in the period; metres, given that there was a cut (90 % interval)."""

    reel: str
    from_at: datetime
    to_at: datetime
    cut_m: float
    low_m: float
    high_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CableLost:
    """Metres that were logged as cut, by cuts; cables that were replaced; and what the drift report infers besides.

    inferred: None where the fleet was never assessed. assessed_at: when it was last.
    """

    cuts: int
    cut_m: Decimal
    replaced: int
    inferred: tuple[InferredLoss, ...] | None
    assessed_at: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """A hold that lay in the period, on a reel or a machine. days: in the period; until: None while it goes on."""

    what: str
    since: datetime
    until: datetime | None
    days: float
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Ends:
    """An authorisation that ends. reel_type, site: None for every one. is_early: somebody ended it."""

    person: str
    act: str
    reel_type: str | None
    site: str | None
    at: datetime
    is_early: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthlyFigures:
    """All that is added up, alike for everybody who may see the same sites. holds: the longest in the period first."""

    at_end: StandingAt
    now: StandingAt
    counts: CountsMade
    values: ValuesMoved
    findings: tuple[FindingsOfKind, ...]
    flags: FlagsEnded
    lost: CableLost
    holds: tuple[Held, ...]


# The sums -------------------------------------------------------------------------------------------------------------


def days_within(since: datetime, until: datetime | None, begin: datetime, end: datetime) -> float:
    """Days of 24 hours that a stretch has in a period, from begin up to end; 0 where they do not meet.

    until: None while it goes on.
    """
    return max((min(until or end, end) - max(since, begin)) / DAY, 0.0)


def together(losses: Iterable[InferredLoss]) -> tuple[float, float, float]:
    """Metres of several inferred losses, and a 90 % interval of their sum: value, low, high.

    Each loss errs by itself, so that what lies below and above the values is added in squares. Neighbouring intervals
    of one reel err together somewhat; their sum is then surer than is said here, for what one has less the other has
    more.
    """
    value = below = above = 0.0
    for each in losses:
        value += each.cut_m
        below, above = hypot(below, each.cut_m - each.low_m), hypot(above, each.high_m - each.cut_m)
    return value, value - below, value + above


_Kind = tuple[str, str, str]  # part, kind and severity


def findings_by_kind(
    recorded: Mapping[_Kind, int], closed: Mapping[_Kind, int], still_open: Mapping[_Kind, int]
) -> tuple[FindingsOfKind, ...]:
    """One line for each kind that is in any of them: stops first, then by part and kind."""
    numbers = [Counter(each) for each in (recorded, closed, still_open)]
    kinds = sorted(set().union(*numbers), key=lambda kind: (kind[2] != "stop", kind))
    return tuple(
        FindingsOfKind(
            part=kind[0], kind=kind[1], severity=kind[2], recorded=numbers[0][kind], closed=numbers[1][kind],
            still_open=numbers[2][kind],
        )
        for kind in kinds
    )  # fmt: skip
