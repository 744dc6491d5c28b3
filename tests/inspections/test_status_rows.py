"""The status row of each reel: kept by its own acts and no other's, rebuilt, and checked."""

import pytest
from django.core.management import call_command
from django.db import connection, transaction
from django.db.models import Q
from django.test.utils import CaptureQueriesContext

from inspections.domain.words import Point, ReelStatus
from inspections.models import FindingNumber, ReelNumber, ReelStatusRow
from inspections.queries.findings import counts_by_kind
from inspections.queries.status import SINCE, numbers_by_status
from inspections.services import maintenance, status_rows
from reels.models import ReelType
from reels.services import register, tasks
from reels.services.history import Actor, ActRecorder
from reports.services.verification import check_records
from tests import builders, stories
from tests.builders import Cast, later
from tests.inspections.services.finding_steps import close
from tests.pages_fleet import make_fleet
from tests.worker import work_off

pytestmark = pytest.mark.django_db


def test_every_status_has_its_place_and_says_since_when():
    assert set(SINCE) == set(ReelStatus)


def test_a_fleet_in_which_every_status_occurs_is_kept_as_its_records_give_it():
    make_fleet()
    assert set(ReelStatusRow.objects.values_list("status", flat=True)) == set(ReelStatus)
    assert check_records().broken is None


def test_an_act_writes_the_status_row_of_its_own_reel_and_no_other():
    cast = Cast.as_needed()
    for serial in ("LW-0001", "LW-0002"):
        builders.make_reel(serial)
    ReelStatusRow.objects.update(hold_why="as it was")
    maintenance.place_hold(serial="LW-0002", reason="A flange is bent.", actor=Actor(cast.control), at=later(hours=1))
    assert dict(ReelStatusRow.objects.values_list("serial", "hold_why")) == {
        "LW-0001": "as it was", "LW-0002": "A flange is bent.",
    }  # fmt: skip


def test_an_act_of_no_reel_keeps_no_row_and_keeping_one_costs_as_much_after_many_counts(count_queries):
    cast = Cast.as_needed()
    reel = builders.make_reel()
    act = ActRecorder(chain=reel.chain, act_name="none", actor=Actor(cast.control), at=later(hours=1))
    builders.signed_count(cast, at=later(hours=1))
    once = count_queries(lambda: status_rows.keep_status(act))
    builders.signed_count(cast, at=later(hours=2))
    assert count_queries(lambda: status_rows.keep_status(act)) == once
    with CaptureQueriesContext(connection) as queries:
        builders.make_site("stane-field", "Stane Field")
    assert [query["sql"] for query in queries if "INSERT" in query["sql"] and "reports_standing" in query["sql"]] == []


def test_what_moves_no_reel_makes_its_history_longer_in_its_row_and_asks_nothing_more(count_queries):
    cast = Cast.as_needed()
    builders.make_reel()
    inspection = builders.open_count(cast)
    stories.key(cast, inspection, Point.SERIAL)
    row = ReelStatusRow.objects.get()
    assert row.head == row.reel.chain.head
    assert list(status_rows.status_faults()) == []
    act = ActRecorder(chain=row.reel.chain, act_name="none", actor=Actor(cast.control), at=later(hours=1))
    assert count_queries(lambda: status_rows.keep_status(act)) == 1


def test_counts_of_a_type_that_are_good_for_fewer_uses_now_lapse_at_once():
    cast = Cast.as_needed()
    builders.make_reel()
    builders.signed_count(cast)
    builders.log_event(cast, "used", at=later(hours=1), uses=3)
    assert ReelStatusRow.objects.get().status == ReelStatus.COUNTED
    register.change(ReelType.objects.get(), count_uses=3, **builders.by_administrator())
    assert ReelStatusRow.objects.get().status == ReelStatus.AWAITING_COUNT
    assert list(status_rows.status_faults()) == []


def test_an_act_that_is_undone_leaves_the_row_as_it_was():
    cast = Cast.as_needed()
    builders.make_reel()
    before = transaction.savepoint()
    maintenance.place_hold(serial="LW-0001", reason="bent", actor=Actor(cast.control), at=later(hours=1))
    assert ReelStatusRow.objects.get().status == ReelStatus.HELD
    transaction.savepoint_rollback(before)
    assert ReelStatusRow.objects.get().status == ReelStatus.AWAITING_COUNT


def test_the_rebuild_stores_what_is_not_so_and_says_how_many(monkeypatch, capsys):
    monkeypatch.setattr(status_rows, "AT_ONCE", 2)
    for number in range(5):
        builders.make_reel(f"LW-{number:04}")
    kept = [*ReelStatusRow.objects.order_by("reel").values_list("reel", "status", "head")]
    ReelStatusRow.objects.filter(serial="LW-0001").delete()
    ReelStatusRow.objects.filter(serial="LW-0003").update(status=ReelStatus.HELD)
    call_command("rebuild_status")
    assert capsys.readouterr().out == "5 reels, 2 status rows stored anew.\n"
    assert [*ReelStatusRow.objects.order_by("reel").values_list("reel", "status", "head")] == kept


def test_the_check_of_all_records_finds_a_row_that_says_otherwise_or_is_gone():
    reel = builders.make_reel()
    builders.make_reel("LW-0002")
    ReelStatusRow.objects.filter(reel=reel).update(status=ReelStatus.COUNTED)
    assert str(check_records().broken) == (
        "reel LW-0001: its status row says status 'counted'; its records say 'awaiting_count'; "
        "manage.py rebuild_status works it out again"
    )
    ReelStatusRow.objects.filter(reel=reel).delete()
    assert "reel LW-0001: it has no status row" in str(check_records().broken)


def test_acts_add_to_the_numbers_and_the_worker_folds_them(monkeypatch, django_capture_on_commit_callbacks):
    monkeypatch.setattr(status_rows, "FOLD_EVERY", 1)
    cast = Cast.as_needed()
    for number in range(4):
        builders.make_reel(f"LW-{number:04}")
    with django_capture_on_commit_callbacks(execute=True):
        hold_and_let_go(cast, "LW-0001")
    maintenance.place_hold(serial="LW-0002", reason="bent", actor=Actor(cast.control), at=later(hours=3))
    before = numbers_by_status(Q())
    added = ReelNumber.objects.count()
    work_off()
    assert numbers_by_status(Q()) == before == {ReelStatus.AWAITING_COUNT: 3, ReelStatus.HELD: 1}
    assert ReelNumber.objects.count() == 4 < added  # by type and by week, of two statuses
    assert check_records().broken is None


def hold_and_let_go(cast: Cast, serial: str) -> None:
    maintenance.place_hold(serial=serial, reason="bent", actor=Actor(cast.control), at=later(hours=1))
    maintenance.end_hold(serial=serial, reason="straight", actor=Actor(cast.control), at=later(hours=2))


def test_many_acts_of_one_transaction_keep_a_row_once_as_the_records_give_it():
    cast = Cast()
    builders.make_reel("LW-0001")
    first = ReelStatusRow.objects.get(reel__serial="LW-0001").head
    with status_rows.kept_once():
        hold_and_let_go(cast, "LW-0001")
        assert ReelStatusRow.objects.get(reel__serial="LW-0001").head == first
    assert ReelStatusRow.objects.get(reel__serial="LW-0001").head != first
    assert list(status_rows.status_faults()) == []


def test_an_act_is_done_also_where_the_queue_is_full(monkeypatch, django_capture_on_commit_callbacks):
    monkeypatch.setattr(status_rows, "FOLD_EVERY", 1)
    monkeypatch.setattr(tasks, "MOST_LIVE", 0)
    with django_capture_on_commit_callbacks(execute=True):
        builders.make_reel()
    assert numbers_by_status(Q()) == {ReelStatus.AWAITING_COUNT: 1}


def test_numbers_that_are_not_those_of_the_rows_are_found_and_put_right():
    reel = builders.make_reel()
    ReelNumber.objects.filter(week=None).update(reels=3)
    assert str(check_records().broken) == (
        "numbers of reels: the kept numbers of reels need -2 awaiting_count at Kettle Point; "
        "manage.py rebuild_status works it out again"
    )
    call_command("rebuild_status")
    assert numbers_by_status(Q()) == {ReelStatus.AWAITING_COUNT: 1}
    ReelNumber.objects.all().delete()
    call_command("rebuild_status")
    assert numbers_by_status(Q(), type__code=reel.type.code) == {ReelStatus.AWAITING_COUNT: 1}
    assert check_records().broken is None


def counted_kinds(**at):
    rows = counts_by_kind(FindingNumber.objects.filter(**at))
    return [(each["reel_type"], each["kind"], *(each[name] for name in FindingNumber.sum_columns)) for each in rows]


def test_findings_are_counted_by_kind_and_go_with_their_reel_to_another_site():
    cast = Cast.as_needed()
    for serial in ("LW-0001", "LW-0002"):
        builders.make_reel(serial)
    first = builders.record_finding(cast.technician)
    builders.record_finding(cast.technician)
    builders.record_finding(cast.technician, serial="LW-0002", severity="watch")
    assert counted_kinds() == [("w28", "kink", 2, 3, 3, 2)]
    close(cast.releaser, first)
    assert counted_kinds() == [("w28", "kink", 2, 3, 2, 1)]
    builders.sent(cast, "LW-0002", at=later(hours=1))
    assert counted_kinds() == [("w28", "kink", 2, 3, 2, 1)]  # of those on their way, the sender's still
    builders.received(cast, "LW-0002", at=later(hours=2))
    assert counted_kinds(site__code="kettle-point") == [("w28", "kink", 1, 2, 1, 1)]
    assert counted_kinds(site__code="aldermere") == [("w28", "kink", 1, 1, 1, 0)]
    with transaction.atomic():
        status_rows.fold()
    assert FindingNumber.objects.count() == 2  # one of each site
    FindingNumber.objects.filter(site__code="aldermere").update(open=7)
    assert "numbers of findings: the kept numbers of findings need" in str(check_records().broken)
    call_command("rebuild_status")
    assert counted_kinds(site__code="aldermere") == [("w28", "kink", 1, 1, 1, 0)]
    assert check_records().broken is None
