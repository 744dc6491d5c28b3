"""The monthly report of a small site, against figures that were counted by hand in tests/reports/a_month.py."""

import json
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from inspections.domain.drift import Ending
from inspections.domain.words import Act, ReelStatus
from inspections.services import maintenance
from reels.errors import NotYet
from reels.models import Person, Reel, Site
from reels.services import feed, register
from reels.services.history import Actor
from reports.domain.monthly import (
    CountsMade,
    Ends,
    FindingsOfKind,
    FlagsEnded,
    Held,
    Period,
    ValuesMoved,
    month_of,
)
from reports.domain.monthly_kept import figures_from, plain_of
from reports.models import AssessedInterval, FleetAssessment
from reports.services import assessments, monthly
from reports.services.drift_report import report_of
from reports.services.monthly import monthly_report
from tests import builders
from tests.builders import NOW
from tests.reports.a_month import february, work_a_month
from tests.reports.fleet import BEGIN, LOST_AFTER, bring_in_fleet
from tests.reports.services.test_drift_report import flagged
from tests.stories import void
from tests.worker import work_off

pytestmark = pytest.mark.django_db
FEBRUARY = month_of(date(2026, 2, 1))


def report(person, period=FEBRUARY, at=NOW, site="kettle-point"):
    return monthly_report(period, [Site.objects.get(code=site)], person, at)


def stood(standing):
    return {status: number for status, number in standing.reels.items() if number}


@pytest.fixture
def cast():
    return work_a_month()


def test_everything_of_a_month(cast):
    figures = report(cast.control).figures
    assert stood(figures.at_end) == {
        ReelStatus.WITHOUT_VALUES: 1, ReelStatus.HELD: 1, ReelStatus.AWAITING_COUNT: 1
    }  # fmt: skip
    assert stood(figures.now) == {
        ReelStatus.WITHOUT_VALUES: 1, ReelStatus.COUNTED: 1, ReelStatus.AWAITING_COUNT: 1
    }  # fmt: skip
    assert (figures.at_end.due, figures.now.due) == (1, 1)  # LW-0003, which was never counted
    assert figures.counts == CountsMade(
        signed=2, from_paper=0, brought_in=0, voided=0, cancelled=1, rereads=1, reread=1, referred=1,
        released_to_read=1, released_as_proposed=0,
    )  # fmt: skip
    assert figures.values == ValuesMoved(issued=1, confirmed=1, withdrawn=1)
    assert figures.findings == (
        FindingsOfKind(part="cable", kind="kink", severity="watch", recorded=2, closed=1, still_open=1),
    )
    assert figures.flags == FlagsEnded(
        raised=2, closed={**dict.fromkeys(Ending, 0), Ending.MISCOUNT: 1}, still_open=1
    )  # fmt: skip
    assert (figures.lost.cuts, figures.lost.cut_m, figures.lost.replaced) == (1, Decimal("12.5"), 0)
    assert (figures.lost.inferred, figures.lost.assessed_at) == (None, None)
    assert figures.holds == (
        Held(what="LW-0002", since=february(19, 0), until=datetime(2026, 3, 1, 9, tzinfo=UTC), days=10,
             reason="a bent flange"),
        Held(what="LW-0003", since=datetime(2026, 1, 20, 9, tzinfo=UTC), until=february(3, 12), days=2.5, reason="wet"),
    )  # fmt: skip


def test_a_month_before_anything_happened_tells_of_nothing_but_the_reels(cast):
    figures = report(cast.control, month_of(date(2025, 6, 1))).figures
    assert stood(figures.at_end) == {ReelStatus.AWAITING_COUNT: 3}
    assert figures.at_end.due == 3
    assert {getattr(figures.counts, name) for name in figures.counts.__slots__} == {0}
    assert (figures.findings, figures.holds, figures.lost.cuts) == ((), (), 0)


def test_a_hold_that_goes_on_is_counted_up_to_now_where_the_period_is_not_over(cast):
    maintenance.place_hold(serial="LW-0003", reason="wet", actor=Actor(cast.control), at=NOW - timedelta(days=1))
    [held] = report(cast.control, month_of(date(2026, 3, 1))).figures.holds[:1]
    assert (held.what, held.days, held.until) == ("LW-0003", 1.0, None)


def test_what_is_voided_later_is_no_count_of_its_month_and_stood_there_all_the_same(cast):
    """It was signed then: where the reel stood follows from that."""
    counted = Reel.objects.get(serial="LW-0001").inspections.get()
    void(cast, counted, NOW)
    figures = report(cast.control, Period(date(2026, 2, 1), date(2026, 2, 3))).figures
    assert (figures.counts.signed, figures.counts.voided) == (0, 1)
    assert stood(figures.at_end)[ReelStatus.COUNTED] == 1


def test_days_are_those_of_the_clocks_at_the_site(cast):
    site = Site.objects.get(code="kettle-point")
    register.change(site, time_zone="Pacific/Auckland", **builders.by_administrator())  # 13 hours ahead in January
    builders.log_cut(cast, "LW-0003", "2", datetime(2026, 1, 31, 12, tzinfo=UTC), NOW)
    assert report(cast.control).figures.lost.cuts == 2
    assert report(cast.control, month_of(date(2026, 1, 1))).figures.lost.cuts == 0


def test_another_site_is_left_out(cast):
    builders.make_reel("LW-0009", site=Site.objects.get(code="aldermere"))
    figures = report(cast.stranger, site="aldermere").figures
    assert stood(figures.at_end) == {ReelStatus.AWAITING_COUNT: 1}
    assert (figures.counts.signed, figures.lost.cuts, figures.holds, figures.findings) == (0, 0, (), ())
    both = monthly_report(FEBRUARY, list(Site.objects.all()), cast.control, NOW).figures
    assert (both.at_end.total, both.lost.cuts) == (4, 1)


def test_authorisations_that_end_are_told_to_who_answers_for_the_site_and_to_their_own(cast):
    hugo = Ends(person="Hugo Wick", act="count", reel_type=None, site="Kettle Point",
                at=datetime(2026, 3, 10, tzinfo=UTC), is_early=False)  # fmt: skip
    for person in (cast.control, cast.verifier, cast.releaser):
        assert report(person).ends == [hugo], person
    assert report(cast.technician).ends == []
    assert report(Person.objects.get(username="hugo")).ends == [hugo]


def test_no_authorisation_is_told_for_which_another_goes_on(cast):
    hugo = Person.objects.get(username="hugo")
    site = Site.objects.get(code="kettle-point")
    builders.authorise(hugo, Act.COUNT, site=site, valid_from=february(1))
    assert report(cast.control).ends == []


def test_inferred_losses_are_the_flagged_intervals_that_end_in_the_period():
    bring_in_fleet()
    assessments.bring_up_to_date(at=NOW)
    cast = builders.Cast()
    [row] = flagged(report_of(Reel.objects.all()))
    assert row.from_at <= LOST_AFTER <= row.to_at
    period = Period(row.to_at.date(), row.to_at.date())
    [found] = report(cast.control, period).figures.lost.inferred
    assert (found.reel, found.to_at, found.cut_m) == (row.reel, row.to_at, row.cut_m)
    assert found.low_m < found.cut_m < found.high_m
    before = Period(BEGIN.date(), row.to_at.date() - timedelta(days=1))
    assert report(cast.control, before).figures.lost.inferred == ()
    assert report(cast.control, before).figures.counts.brought_in > 0
    assert (AssessedInterval.objects.count() > 1, FleetAssessment.objects.count()) == (True, 1)


def test_it_costs_as_many_queries_for_many_reels_as_for_few(cast, count_queries):
    few = count_queries(lambda: report(cast.control))
    for number in range(10, 30):
        builders.make_reel(f"LW-{number:04}")
        builders.log_event(cast, "respooled", f"LW-{number:04}", february(20), february(20))
    assert count_queries(lambda: report(cast.control)) == few


# Large ones


@pytest.fixture
def large(cast, monkeypatch):
    """As if three reels were too many for a request."""
    monkeypatch.setattr(monthly, "MOST_REELS", 2)
    return cast


def test_a_large_one_is_there_once_the_worker_has_it_and_says_the_same(large, monkeypatch):
    with pytest.raises(NotYet):
        report(large.control)
    work_off()
    kept = report(large.control)
    assert kept.run is None
    monkeypatch.setattr(monthly, "MOST_REELS", 2000)
    at_once = report(large.control, at=kept.made_at).figures
    assert kept.figures == at_once


def test_so_is_a_long_one(cast, monkeypatch):
    monkeypatch.setattr(monthly, "MOST_REEL_DAYS", 3 * 28)
    assert report(cast.control).run is None
    with pytest.raises(NotYet):
        report(cast.control, Period(date(2026, 2, 1), date(2026, 3, 1)))


def test_it_is_worked_out_again_once_more_is_recorded_and_not_at_every_look(large):
    with pytest.raises(NotYet):
        report(large.control)
    work_off()
    made_at = report(large.control).made_at
    assert report(large.control, at=made_at + timedelta(days=1)).run is None
    builders.log_cut(large, "LW-0003", "2", february(20), NOW)
    feed.number_waiting()
    assert report(large.control, at=made_at + timedelta(minutes=50)).run is None
    stale = report(large.control, at=made_at + timedelta(minutes=70))
    assert (stale.run is None, stale.figures.lost.cuts, stale.made_at) == (False, 1, made_at)
    work_off()
    assert report(large.control, at=made_at + timedelta(minutes=80)).figures.lost.cuts == 2


def test_what_is_kept_comes_back_as_it_was(cast):
    bring_in_fleet()
    assessments.bring_up_to_date(at=NOW)
    whole = report(cast.control, Period(date(2024, 1, 1), date(2026, 3, 31))).figures
    assert whole.lost.inferred
    assert figures_from(json.loads(json.dumps(plain_of(whole)))) == whole
