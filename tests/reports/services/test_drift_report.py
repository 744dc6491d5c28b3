from dataclasses import asdict
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest

from inspections.domain import drift
from inspections.domain.drift import Ending
from inspections.domain.words import Act
from inspections.models import LearnedRates, ReelStatusRow
from inspections.queries.histories import histories_of, parameters_of
from inspections.services.flags import FlaggedInterval, assign_flag, close_flag
from reels.models import Reel, Site
from reels.services import register
from reels.services.history import Actor
from reports.models import AssessedInterval, Assessment
from reports.services import assessments
from reports.services.drift_report import flagged_interval, report_as_of, report_of, rows_of_reel
from reports.services.verification import check_records
from tests import builders
from tests.builders import NOW
from tests.inspections.services.intake.test_records import COUNTS_HEADER, EVENTS_HEADER, bring_in
from tests.reports.fleet import BEGIN, COUNTS_A_REEL, LOST_AFTER, REEL_COUNT, bring_in_fleet

pytestmark = pytest.mark.django_db

EVERY = REEL_COUNT * (COUNTS_A_REEL - 1)
ALL = Reel.objects.all()


@pytest.fixture
def fleet():
    bring_in_fleet()
    return assessments.bring_up_to_date(at=NOW)


def flagged(report):
    return [row for row in report.rows if row.p_unlogged_cut >= report.flag_at]


def test_every_pair_of_neighbouring_counts_has_a_row_and_the_loss_is_first_and_flagged(fleet):
    report = report_of(ALL)
    rows = list(report.rows)
    assert len(rows) == EVERY
    assert [row.p_unlogged_cut for row in rows] == sorted((row.p_unlogged_cut for row in rows), reverse=True)
    first = rows[0]
    assert (first.reel, first.from_at < LOST_AFTER < first.to_at) == ("LW-0001", True)
    assert [row for row in rows if row.p_unlogged_cut >= report.flag_at] == [first]
    assert first.cut_low_m < first.cut_m < first.cut_high_m
    assert "no cut is logged" in first.explanation


def test_what_is_kept_is_what_the_inference_says(fleet):
    [history] = histories_of([Reel.objects.get(serial="LW-0001")])
    intervals = drift.assess(history, parameters_of(fleet)).intervals
    rows = list(rows_of_reel(Reel.objects.get(serial="LW-0001")))
    assert [row.p_unlogged_cut for row in rows] == pytest.approx([each.p_unlogged_cut for each in intervals], abs=1e-9)
    assert [row.cut_m for row in rows] == pytest.approx([each.cut_m for each in intervals], abs=1e-9)


def test_a_reel_is_assessed_again_when_its_history_moves_and_no_other_is(fleet):
    before = dict(Assessment.objects.values_list("reel__serial", "made_at"))
    bring_in({"counts.csv": COUNTS_HEADER + "LW-0002,2025-06-01T10:00:00Z,12,12,,,\n"})
    assert [reel.serial for reel in assessments.moved(ALL, fleet)] == ["LW-0002"]
    assessments.bring_up_to_date(at=NOW + timedelta(days=1))
    after = dict(Assessment.objects.values_list("reel__serial", "made_at"))
    assert [serial for serial in after if after[serial] != before[serial]] == ["LW-0002"]
    assert AssessedInterval.objects.count() == EVERY + 1
    assert not assessments.moved(ALL, fleet).exists()


def test_every_reel_of_a_type_is_assessed_again_when_the_type_changes(fleet):
    w28 = Reel.objects.get(serial="LW-0002").type
    before = [row.observed_change_m for row in rows_of_reel(Reel.objects.get(serial="LW-0001"))]
    register.change(w28, odd_face_mark="one notch", **builders.by_administrator())
    assert not assessments.moved(ALL, fleet).exists()  # the inference takes nothing from a colour
    register.change(w28, layer_rise_mm=Decimal("9.2"), **builders.by_administrator())
    assert assessments.moved(ALL, fleet).count() == REEL_COUNT
    assessments.bring_up_to_date(at=NOW + timedelta(days=1))
    after = [row.observed_change_m for row in rows_of_reel(Reel.objects.get(serial="LW-0001"))]
    assert min(after) < min(before)  # a higher rise, longer wraps, and so a longer loss
    assert not assessments.moved(ALL, fleet).exists()


def test_rates_are_learned_again_when_the_fleet_has_grown_and_then_every_reel_is_assessed(fleet):
    assert assessments.bring_up_to_date(at=NOW) == fleet
    many = "".join(f"LW-0003,2025-06-{day:02}T10:00:00Z,12,12,,,\n" for day in range(1, 6))
    bring_in({"counts.csv": COUNTS_HEADER + many})
    newest = assessments.bring_up_to_date(at=NOW + timedelta(days=1))
    assert newest.rows_known == fleet.rows_known + 5
    assert set(Assessment.objects.values_list("rates", flat=True)) == {newest.pk}
    assert LearnedRates.objects.count() == 2


def test_rates_come_back_from_the_records_as_they_were_learned(fleet):
    learned = drift.learn(assessments.learning_sample())
    assert parameters_of(fleet) == learned
    assert asdict(parameters_of(None)) == asdict(drift.DEFAULT_PARAMETERS)


def test_a_large_fleet_is_learned_from_a_sample_of_it(fleet, monkeypatch):
    monkeypatch.setattr("reports.services.assessments.LEARN_COUNTS", 2 * COUNTS_A_REEL)
    assert [history.reel for history in assessments.learning_sample()] == ["LW-0001", "LW-0004"]


@pytest.mark.parametrize("ending", [Ending.CONFIRMED_LOSS, Ending.UNEXPLAINED])
def test_a_reel_waits_for_nobody_once_the_flag_of_its_interval_is_closed_though_the_report_still_flags_it(
    fleet, ending
):
    lost = flagged(report_of(ALL))[0]
    control = Actor(builders.make_person("mona", Act.MAINTAIN))
    interval = flagged_interval(Reel.objects.get(serial="LW-0001"), lost.from_at, lost.to_at)
    flag = assign_flag(serial="LW-0001", interval=interval, to=control.person, actor=control, at=NOW)
    assessments.bring_up_to_date(at=NOW)
    assert ReelStatusRow.objects.get(serial="LW-0001").is_flagged
    close_flag(flag_id=flag.pk, ending=ending, reason="four metres are gone", actor=control, at=NOW)
    assessments.bring_up_to_date(at=NOW)
    assert not ReelStatusRow.objects.get(serial="LW-0001").is_flagged
    assert [row.reel for row in flagged(report_of(ALL))] == ["LW-0001"]
    assert check_records().broken is None


def test_a_part_of_the_fleet_is_flagged_as_the_whole_of_it_is(fleet):
    elsewhere = Reel.objects.filter(site=Site.objects.get(code="aldermere"))
    report = report_of(elsewhere)
    assert report.flag_at == report_of(ALL).flag_at
    assert {row.reel for row in report.rows} == {"LW-0004", "LW-0005"}
    assert [row.reel for row in report_of(ALL, least_p=0.5).rows] == ["LW-0001"]


def test_as_of_a_day_only_what_was_recorded_by_then_is_used(fleet):
    before = report_as_of(ALL, LOST_AFTER)
    assert len(rows := list(before.rows)) == REEL_COUNT * 7
    assert max(row.to_at for row in rows) < LOST_AFTER
    assert all(row.p_unlogged_cut < before.flag_at for row in rows)
    after = report_as_of(ALL, BEGIN + timedelta(days=300))
    assert [row.reel for row in after.rows if row.p_unlogged_cut >= 0.5] == ["LW-0001"]


def test_as_of_today_the_report_says_what_the_kept_one_says(fleet):
    today, kept = list(report_as_of(ALL, NOW).rows), list(report_of(ALL).rows)
    assert [row.p_unlogged_cut for row in today] == pytest.approx([row.p_unlogged_cut for row in kept], abs=1e-9)
    # Of equal probabilities the kept ones come in the order of their index.
    today, kept = (sorted(rows, key=lambda row: (row.reel, row.from_at)) for rows in (today, kept))
    assert [(row.reel, row.from_at) for row in today] == [(row.reel, row.from_at) for row in kept]
    assert [row.p_unlogged_cut for row in today] == pytest.approx([row.p_unlogged_cut for row in kept], abs=1e-9)
    assert {row.reel for row in report_as_of(Reel.objects.filter(serial="LW-0005"), NOW).rows} == {"LW-0005"}


def test_a_cut_that_is_logged_late_explains_the_loss_from_the_day_it_was_recorded(fleet):
    lost = flagged(report_of(ALL))[0]
    log = f"LW-0001,{LOST_AFTER.isoformat()},cut,{lost.cut_m:.1f},2025-06-01T10:00:00Z,\n"
    bring_in({"cable_events.csv": EVENTS_HEADER + log})
    assessments.bring_up_to_date(at=NOW)
    assert flagged(report_of(ALL)) == []
    assert len(flagged(report_as_of(ALL, datetime(2025, 5, 1, tzinfo=UTC)))) == 1


def test_the_ending_of_a_flag_moves_the_reel_and_its_probability(fleet):
    lost = flagged(report_of(ALL))[0]
    control = builders.make_person("mona", Act.MAINTAIN, site=Site.objects.get(code="kettle-point"))
    interval = FlaggedInterval(
        from_at=lost.from_at, to_at=lost.to_at, p_unlogged_cut=lost.p_unlogged_cut, explanation=lost.explanation
    )
    by: dict[str, Any] = {"actor": Actor(control), "at": NOW}
    flag = assign_flag(serial="LW-0001", interval=interval, to=control, **by)
    close_flag(flag_id=flag.pk, ending=Ending.MISCOUNT, reason="the eighth count was of another reel", **by)
    assessments.bring_up_to_date(at=NOW)
    again = next(row for row in rows_of_reel(Reel.objects.get(serial="LW-0001")) if row.from_at == lost.from_at)
    assert again.p_unlogged_cut < lost.p_unlogged_cut
    assert "closed as a miscount" in again.explanation


def test_the_report_takes_two_queries_whatever_the_size_of_the_fleet(fleet, count_queries):
    few, many = Reel.objects.filter(serial="LW-0001"), ALL
    assert [count_queries(lambda reels=reels: list(report_of(reels).rows)) for reels in (few, many)] == [2, 2]


def test_an_empty_fleet_has_an_empty_report(db):
    assessments.bring_up_to_date(at=NOW)
    assert list(report_of(ALL).rows) == list(report_as_of(ALL, NOW).rows) == []
