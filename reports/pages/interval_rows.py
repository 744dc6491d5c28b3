"""Intervals between counts, and flags on them, in words: for the pages of drift and for its documents."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from urllib.parse import urlencode

from django.urls import reverse

from inspections.models import DriftFlag
from reels.domain.words import LengthUnit
from reels.models import Site
from reels.pages.figures import drawn
from reels.pages.formats import NOTHING, Badge, day_words, length
from reports.domain.drift_figure import small_figure
from reports.domain.drift_rows import DriftRow, moment
from reports.domain.recount_words import percent
from reports.models import AssessedInterval
from reports.pdf.facts import DriftLine

FLAGGED = Badge(word="Flagged", icon="referred", tone="stop")
OPEN = Badge(word="Under review", icon="half", tone="doing")
CLOSED = Badge(word="Closed", icon="checked", tone="good")
WORTH_A_LOOK = 0.05  # below, what a loss would be like says nothing, and nobody is asked to look into it


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval(DriftLine):
    """The line of a document, with what its page says besides. assign: where somebody is asked to look.

    flag: the open one, by which somebody looks already.

    site: as in `interval_of`. bar: its probability, of 100. figure: how the counts went around it, in a fleet's list.
    """

    cut: str
    assign: str
    flag: DriftFlag | None = None
    site: Site | None = None
    bar: str
    figure: str = ""

    @property
    def badge(self) -> Badge | None:
        return FLAGGED if self.is_flagged else None


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagRow:
    row: DriftFlag
    badge: Badge
    is_closed: bool


def interval_of(
    row: DriftRow | AssessedInterval, serial: str, unit: str, flagged_from: float, site: Site | None = None
) -> Interval:
    """A row of the drift report in words. unit: that of its lengths; flagged_from: the least probability flagged.

    site: whose days it is told by, if they are not the page's.
    """
    is_flagged = row.p_unlogged_cut >= flagged_from
    is_worth_it = is_flagged or row.p_unlogged_cut >= WORTH_A_LOOK
    ends = urlencode({"from": moment(row.from_at), "to": moment(row.to_at)})
    return Interval(
        reel=serial,
        from_at=row.from_at,
        to_at=row.to_at,
        p=percent(row.p_unlogged_cut),
        p_then=percent(row.p_when_counted),
        change=_signed(row.observed_change_m, unit),
        logged=length(row.logged_cut_m, unit) if row.logged_cut_m else "none",
        bar=f"{100 * row.p_unlogged_cut:.1f}",
        cut=_cut(row, unit) if is_worth_it else NOTHING,
        is_flagged=is_flagged,
        explanation=row.explanation_ft if unit == LengthUnit.FEET else row.explanation,
        site=site,
        assign=f"{reverse('flag-assign', args=[serial])}?{ends}" if is_worth_it else "",
    )


def with_figures(intervals: Sequence[Interval], rows: Mapping[str, Sequence[DriftRow]]) -> list[Interval]:
    """The same, each with its small figure. rows: of their reels, in order of time, by serial."""
    return [replace(each, figure=_figure(number, each, rows[each.reel])) for number, each in enumerate(intervals)]


def _figure(number: int, interval: Interval, rows: Sequence[DriftRow]) -> str:
    place = [(row.from_at, row.to_at) for row in rows].index((interval.from_at, interval.to_at))
    moved = f"The count moved by {interval.change}; logged cuts: {interval.logged}."
    is_worth_it = interval.cut != NOTHING
    loss = f" A loss, if there was one: {interval.cut}." if is_worth_it else ""
    between = " to ".join(day_words(at, interval.site) for at in (interval.from_at, interval.to_at))
    words = (f"{interval.reel}, counts around {between}", moved + loss)
    return drawn(small_figure(rows, place, words, with_loss=is_worth_it), f"course-{number}")


def with_flags(intervals: Iterable[Interval], flags: Iterable[DriftFlag]) -> list[Interval]:
    """The intervals, each with its open flag, if it has one. flags: with their reels and whom they are assigned to."""
    by_interval = {(each.reel.serial, each.from_at, each.to_at): each for each in flags if each.closed_at is None}
    return [replace(each, flag=by_interval.get((each.reel, each.from_at, each.to_at))) for each in intervals]


def _cut(row: DriftRow | AssessedInterval, unit: str) -> str:
    cut, low, high = (length(each, unit, places=1) for each in (row.cut_m, row.cut_low_m, row.cut_high_m))
    return f"{cut}, between {low} and {high}"


def _signed(metres: float, unit: str) -> str:
    words = length(abs(metres), unit, places=1)
    sign = "+" if metres > 0 else "−"
    return words if words.startswith("0 ") else sign + words


def flag_row(row: DriftFlag, as_of: datetime | None = None) -> FlagRow:
    """A flag as it stands, or as it stood at a moment."""
    is_closed = row.closed_at is not None and (as_of is None or row.closed_at <= as_of)
    return FlagRow(row=row, badge=CLOSED if is_closed else OPEN, is_closed=is_closed)
