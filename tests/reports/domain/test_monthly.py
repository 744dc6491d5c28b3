"""The monthly report's periods and sums, by figures that were worked out by hand."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.domain.drift.records import Ending
from inspections.domain.words import ReelStatus
from reports.domain.monthly import (
    CableLost,
    CountsMade,
    Ends,
    FindingsOfKind,
    FlagsEnded,
    Held,
    InferredLoss,
    MonthlyFigures,
    Period,
    StandingAt,
    ValuesMoved,
    days_within,
    findings_by_kind,
    month_of,
    period_asked_for,
    together,
)
from reports.domain.monthly_rows import FigureRow, figure_rows

BEGIN, END = datetime(2026, 2, 1, tzinfo=UTC), datetime(2026, 3, 1, tzinfo=UTC)


def day(number: int, hour: int = 0) -> datetime:
    return BEGIN + timedelta(days=number - 1, hours=hour)


def lost(cut_m: float, low_m: float, high_m: float) -> InferredLoss:
    return InferredLoss(reel="LW-0001", from_at=day(1), to_at=day(15), cut_m=cut_m, low_m=low_m, high_m=high_m)


# Periods


@pytest.mark.parametrize(
    ("since", "until", "expected"),
    [
        (None, None, (date(2026, 2, 1), date(2026, 2, 28))),
        (date(2026, 1, 20), None, (date(2026, 1, 20), date(2026, 1, 31))),
        (None, date(2026, 1, 20), (date(2026, 1, 1), date(2026, 1, 20))),
        (date(2025, 11, 5), date(2026, 1, 20), (date(2025, 11, 5), date(2026, 1, 20))),
    ],
)
def test_what_is_not_said_of_a_period_is_its_month(since, until, expected):
    assert period_asked_for(since, until, date(2026, 3, 31)) == Period(*expected)


def test_the_last_whole_month_before_january_is_december():
    assert period_asked_for(None, None, date(2026, 1, 1)) == Period(date(2025, 12, 1), date(2025, 12, 31))


def test_the_month_after_a_month_and_as_many_days_after_anything_else():
    assert month_of(date(2026, 1, 9)).next == month_of(date(2026, 2, 1))
    assert Period(date(2026, 1, 1), date(2026, 1, 10)).next == Period(date(2026, 1, 11), date(2026, 1, 20))
    assert Period(date(2026, 1, 1), date(2026, 3, 31)).next == Period(date(2026, 4, 1), date(2026, 6, 29))


def test_a_period_in_words():
    assert month_of(date(2026, 2, 9)).in_words == "February 2026"
    assert Period(date(2026, 2, 9), date(2026, 2, 9)).in_words == "9 February 2026"
    assert Period(date(2025, 12, 31), date(2026, 2, 28)).in_words == "31 December 2025 to 28 February 2026"


@given(st.dates(date(1970, 1, 1), date(2199, 12, 31)))
def test_every_day_lies_in_a_month_that_ends_where_the_next_begins(any_day):
    month = month_of(any_day)
    assert month.since <= any_day <= month.until
    assert (month.since.day, month.next.since - month.until) == (1, timedelta(days=1))
    assert month.is_month
    assert 28 <= month.days <= 31


# Sums


@pytest.mark.parametrize(
    ("since", "until", "expected"),
    [
        (day(3), day(5, 12), 2.5),  # within
        (day(-10), day(2), 1.0),  # began before
        (day(27), day(60), 2.0),  # ended after: 27 and 28 February
        (day(27), None, 2.0),  # goes on
        (day(-10), None, 28.0),  # all of it
        (day(-10), day(1), 0.0),  # ended as it begins
        (day(29), None, 0.0),  # begins as it ends
        (day(40), day(41), 0.0),
    ],
)
def test_days_of_a_hold_within_february(since, until, expected):
    assert days_within(since, until, BEGIN, END) == expected


@given(
    st.datetimes(datetime(2026, 1, 1), datetime(2026, 5, 1)),  # noqa: DTZ001  # made aware below
    st.floats(0, 90),
    st.floats(0, 28),
)
def test_the_days_of_two_halves_of_a_period_are_those_of_the_whole(since, length, cut):
    since = since.replace(tzinfo=UTC)
    until, middle = since + timedelta(days=length), BEGIN + timedelta(days=cut)
    parts = days_within(since, until, BEGIN, middle) + days_within(since, until, middle, END)
    assert parts == pytest.approx(days_within(since, until, BEGIN, END))


def test_metres_of_several_losses_are_added_and_what_they_err_by_in_squares():
    # 3 and 4 below: 5; 8 and 6 above: 10.
    assert together([lost(20, 17, 28), lost(10, 6, 16)]) == (30, 25, 40)
    assert together([lost(20, 17, 28)]) == (20, 17, 28)
    assert together([]) == (0, 0, 0)


@given(st.lists(st.tuples(st.floats(0, 50), st.floats(0, 1), st.floats(0, 50)), max_size=9))
def test_what_is_lost_together_is_never_less_than_nothing(losses):
    value, low, high = together(lost(cut, cut * share, cut + more) for cut, share, more in losses)
    assert -1e-9 <= low <= value + 1e-9
    assert value <= high


def test_each_kind_of_finding_has_one_line_stops_first():
    kink, worn, bent = ("cable", "kink", "stop"), ("cable", "worn", "watch"), ("drum", "bent flange", "stop")
    lines = findings_by_kind({kink: 2, worn: 1}, {kink: 1}, {bent: 3, kink: 1})
    assert lines == (
        FindingsOfKind(part="cable", kind="kink", severity="stop", recorded=2, closed=1, still_open=1),
        FindingsOfKind(part="drum", kind="bent flange", severity="stop", recorded=0, closed=0, still_open=3),
        FindingsOfKind(part="cable", kind="worn", severity="watch", recorded=1, closed=0, still_open=0),
    )


# As a file


def figures(**changes) -> MonthlyFigures:
    none = dict.fromkeys(ReelStatus, 0)
    plain = {
        "at_end": StandingAt(at=END, reels={**none, ReelStatus.HELD: 1, ReelStatus.COUNTED: 4}, due=2),
        "now": StandingAt(at=day(33), reels={**none, ReelStatus.COUNTED: 5}, due=1),
        "counts": CountsMade(signed=6, from_paper=1, brought_in=2, voided=0, cancelled=1, rereads=3, reread=2,
                             referred=1, released_to_read=1, released_as_proposed=0),
        "values": ValuesMoved(issued=5, confirmed=4, withdrawn=3),
        "findings": findings_by_kind({("cable", "kink", "stop"): 1}, {}, {("cable", "kink", "stop"): 1}),
        "flags": FlagsEnded(raised=2, closed={**dict.fromkeys(Ending, 0), Ending.MISCOUNT: 1}, still_open=1),
        "lost": CableLost(cuts=2, cut_m=Decimal("12.500"), replaced=0, inferred=(lost(20, 17, 28),),
                          assessed_at=day(33)),
        "holds": (Held(what="LW-0001", since=day(20), until=None, days=9.0, reason="=1+1"),),
    }  # fmt: skip
    return MonthlyFigures(**{**plain, **changes})


def test_the_file_has_every_figure_once():
    ends = [Ends(person="Vic Amberley", act="verify", reel_type=None, site="Kettle Point", at=day(10), is_early=True)]
    rows = list(figure_rows(figures(), ends))
    assert len({row[:2] for row in rows}) == len(rows) == 2 * (len(ReelStatus) + 1) + 10 + 3 + 3 + 6 + 5 + 1 + 1
    by_name = {row[:2]: row for row in rows}
    assert by_name["reels_at_end", "counted"].value == "4"
    assert by_name["reels_now", "count_due"] == FigureRow(
        "reels_now", "count_due", "1", unit="reels", to_at="2026-03-05T00:00:00Z"
    )
    assert by_name["cable", "inferred"][2:6] == ("20.0", "17.0", "28.0", "metres")
    assert by_name["holds", "LW-0001"][2:] == ("9.00", "", "", "days", "2026-02-20T00:00:00Z", "", "=1+1")
    assert by_name["authorisations_that_end", "Vic Amberley"].words == (
        "verify / every type / Kettle Point / ended early"
    )


def test_what_was_not_assessed_is_said_and_is_no_nought():
    unknown = CableLost(cuts=0, cut_m=Decimal(0), replaced=0, inferred=None, assessed_at=None)
    [row] = [row for row in figure_rows(figures(lost=unknown), []) if row.name == "inferred"]
    assert (row.value, row.words) == ("", "not assessed")
