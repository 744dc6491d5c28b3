"""A hard limit of a life holds the reel: in the act that reaches it, or when the worker looks; a soft one warns."""

from decimal import Decimal
from io import BytesIO
from typing import Any

import pytest

from inspections.domain.findings import Remedy
from inspections.models import ReelStatusRow
from inspections.queries.life import life_on
from inspections.services import findings, life, maintenance, setup
from inspections.services.intake.records import import_records
from reels.errors import AlreadyReversed, LifeOver, ReelHeld, ValueNotTaken
from reels.models import Hold, Reel, ReelEvent, ReelType, TaskRun
from reels.services import register, tasks
from reels.services.history import Actor
from reels.services.reels import CableEventFacts
from tests import builders
from tests.builders import NOW, by_administrator, later
from tests.worker import work_off


@pytest.fixture
def on_the_day(time_machine):
    """The worker's clock says the day of these tests."""
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def counted(cast):
    return builders.signed_count(cast)


def limit(**fields):
    register.change(ReelType.objects.get(code="w28"), **fields, **by_administrator())


def replaced(cast, at):
    facts = CableEventFacts(kind="replaced", happened_at=at, length_fitted_m=Decimal(400))
    return maintenance.log_cable_event(serial="LW-0001", facts=facts, actor=Actor(cast.control), at=at)


def holds():
    return list(Hold.objects.filter(ended_at=None).values_list("reason", flat=True))


OVER = "a hard limit of its type is reached: cable: 3 uses; at most 3"


def test_the_use_that_reaches_a_hard_limit_holds_the_reel_and_withdraws_its_values(cast, counted):
    limit(cable_uses_hard=3)
    values = builders.issued(cast)
    builders.log_event(cast, "used", at=later(hours=1), uses=2)
    assert holds() == []
    builders.log_event(cast, "used", at=later(hours=2))
    assert holds() == [OVER]
    values.refresh_from_db()
    assert values.withdrawn_why == f"the reel is held: {OVER}"
    assert Hold.objects.get().placed_by == cast.control
    with pytest.raises(ReelHeld):
        builders.issued(cast, at=later(hours=3))


def test_a_hold_by_a_hard_limit_ends_only_with_another_cable(cast, counted):
    limit(cable_uses_hard=3)
    builders.log_event(cast, "used", at=later(hours=1), uses=3)
    by: dict[str, Any] = {"serial": "LW-0001", "actor": Actor(cast.control)}
    with pytest.raises(LifeOver, match="LW-0001 has reached a hard limit of its type: cable: 3 uses; at most 3"):
        maintenance.end_hold(reason="it looks well", at=later(hours=2), **by)
    entry = replaced(cast, later(hours=3))
    maintenance.end_hold(reason="another cable", at=later(hours=4), **by)
    assert holds() == []
    maintenance.reverse_cable_event(event_id=entry.pk, remark="of another reel", at=later(hours=5), **by)
    assert holds() == [OVER]


def test_the_life_of_the_reel_goes_on_when_its_cable_is_replaced(cast, counted):
    limit(reel_uses_hard=3)
    builders.log_event(cast, "used", at=later(hours=1), uses=2)
    replaced(cast, later(hours=2))
    builders.log_event(cast, "used", at=later(hours=3))
    assert holds() == ["a hard limit of its type is reached: reel: 3 uses; at most 3"]


def test_a_stop_finding_that_is_closed_leaves_the_reel_held_while_its_life_is_over(cast, counted):
    limit(cable_uses_hard=3)
    finding = builders.record_finding(cast.technician, at=later(hours=1), severity="stop")
    builders.log_event(cast, "used", at=later(hours=2), uses=3)
    findings.close_finding(finding_id=finding.pk, remedy=Remedy.SOUND, reason="it is well",
                           actor=Actor(cast.releaser), at=later(hours=3))  # fmt: skip
    assert holds() == [OVER]


def test_by_age_nothing_is_issued_or_installed_any_more(cast, counted):
    age = (NOW.date() - counted.reel.received_on).days
    limit(reel_days_hard=age + 3)
    values = builders.issued(cast, at=later(days=1))
    after, control = later(days=3), Actor(cast.control)
    with pytest.raises(LifeOver, match=f"reel: {age + 3} days; at most {age + 3}"):
        maintenance.install(serial="LW-0001", machine_serial="RM-7", actor=control, at=after)
    setup.withdraw(setup_id=values.pk, reason="another machine", actor=control, at=after)
    with pytest.raises(LifeOver):
        builders.issued(cast, at=after)


def test_nothing_is_confirmed_in_a_machine_once_the_life_of_its_cable_is_over(cast, counted):
    limit(cable_days_hard=(NOW.date() - counted.reel.received_on).days + 3)
    values = builders.issued(cast)
    maintenance.install(serial="LW-0001", machine_serial="RM-7", actor=Actor(cast.control), at=NOW)
    setup.return_gauge(setup_id=values.pk, actor=Actor(cast.setter), at=NOW)
    about = {"setup_id": values.pk, "layers": 12, "wraps": 10}
    setup.key_read_back(actor=Actor(cast.setter), at=NOW, **about)
    with pytest.raises(LifeOver):
        setup.confirm(actor=Actor(cast.confirmer), at=later(days=3), **about)
    assert setup.confirm(actor=Actor(cast.confirmer), at=later(days=2), **about).matches


@pytest.mark.usefixtures("on_the_day")
def test_the_nightly_run_holds_what_is_over_by_age_once_and_in_nobodys_name(cast, counted):
    values = builders.issued(cast)
    limit(cable_days_hard=(NOW.date() - counted.reel.received_on).days)
    retired = builders.make_reel("LW-0002").serial
    maintenance.retire(serial=retired, reason="a cracked drum", actor=Actor(cast.control), at=NOW)
    TaskRun.objects.all().delete()
    life.put_look()
    work_off()
    assert holds() == [f"a hard limit of its type is reached: {words(counted.reel)}"]
    entry = counted.reel.chain.entries.last()
    values.refresh_from_db()
    assert (entry.act, entry.actor, values.withdrawn_by) == ("held", None, None)
    run = tasks.newest("lives")
    assert run
    assert run.result.return_value == {"held": 1, "in_words": ["1 reel held, of which a life is over."]}
    length = counted.reel.chain.entries.count()
    life.put_look()
    work_off()
    assert counted.reel.chain.entries.count() == length


def words(reel):
    [spent] = life_on(reel, NOW)
    return f"{spent.part}: {spent.in_words}"


@pytest.mark.usefixtures("on_the_day")
def test_a_type_that_is_given_another_limit_has_the_worker_look(cast, counted, django_capture_on_commit_callbacks):
    builders.log_event(cast, "used", uses=3)
    with django_capture_on_commit_callbacks(execute=True):
        limit(cable_uses_hard=3)
    work_off()
    assert holds() == [OVER]


def test_uses_that_are_brought_in_from_older_records_hold_the_reel_in_the_same_act(cast, counted):
    limit(cable_uses_hard=3)
    rows = "reel,happened_at,kind,recorded_at,document,uses\nLW-0001,2026-02-01T08:00:00Z,used,,WO-1,3\n"
    import_records(files={"events.csv": lambda: BytesIO(rows.encode())}, actor=Actor(builders.administrator()), at=NOW,
                   is_dry_run=False)  # fmt: skip
    assert holds() == [OVER]


def test_a_soft_limit_below_its_hard_one_is_all_that_a_type_takes():
    builders.make_type()
    with pytest.raises(ValueNotTaken, match="cable_uses_soft less than cable_uses_hard"):
        limit(cable_uses_soft=3, cable_uses_hard=3)
    limit(cable_uses_soft=2, cable_uses_hard=3)
    with pytest.raises(ValueNotTaken, match="reel_hours_hard was 0"):
        limit(reel_hours_hard=0)


def test_when_limits_are_reached_stands_in_the_status_row_and_follows_the_type(cast, counted):
    limit(cable_uses_soft=2, reel_uses_hard=5)
    builders.log_event(cast, "used", at=later(hours=1), uses=2)
    row = ReelStatusRow.objects.get()
    assert (row.soft_limit_at, row.hard_limit_at) == (later(hours=1), None)
    limit(reel_uses_hard=2, cable_uses_soft=None)
    row.refresh_from_db()
    assert (row.soft_limit_at, row.hard_limit_at) == (None, later(hours=1))


# Taken back -----------------------------------------------------------------------------------------------------------


def test_an_event_that_is_taken_back_counts_no_more_and_both_entries_stay(cast, counted):
    limit(cable_uses_hard=3, count_uses=3)
    event = builders.log_event(cast, "used", at=later(hours=1), uses=3)
    assert ReelStatusRow.objects.get().count_ended_why.startswith("it had 3 uses")
    by: dict[str, Any] = {"serial": "LW-0001", "actor": Actor(cast.control), "at": later(hours=2)}
    counter = maintenance.reverse_reel_event(event_id=event.pk, remark="another reel", **by)
    assert (counter.kind, counter.reverses, counter.words) == ("reversal", event, "another reel")
    assert ReelEvent.objects.count() == 2
    row = ReelStatusRow.objects.get()
    assert (row.count_ended_at, row.count_ended_why, row.hard_limit_at, row.status) == (None, "", None, "held")
    maintenance.end_hold(reason="the uses were another reel's", **by)
    assert builders.issued(cast, at=later(hours=3)).inspection == counted
    for each in (event, counter):
        with pytest.raises(AlreadyReversed):
            maintenance.reverse_reel_event(event_id=each.pk, remark="again", **by)


def test_a_respooling_that_is_taken_back_makes_its_count_current_again_but_issues_nothing(cast, counted):
    values = builders.issued(cast)
    event = builders.log_event(cast, "respooled", at=later(hours=1))
    maintenance.reverse_reel_event(
        serial="LW-0001", event_id=event.pk, remark="another reel", actor=Actor(cast.control), at=later(hours=2)
    )
    values.refresh_from_db()
    assert (values.withdrawn_at, ReelStatusRow.objects.get().status) == (later(hours=1), "counted")
    assert Reel.objects.get().events.count() == 2
