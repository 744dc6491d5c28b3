"""A reel as of a moment that is past, by what had happened and by what had been recorded by then."""

from datetime import timedelta
from typing import Any

import pytest

from inspections.domain.words import ReelStatus
from inspections.errors import OutOfOrder
from inspections.queries.status_at import AsOf, reel_then
from inspections.services import maintenance
from reels.errors import OutOfTime
from reels.models import Reel, ReelType
from reels.services import register
from reels.services.history import Actor
from tests import builders
from tests.builders import NOW, Cast, later

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast():
    cast = Cast.as_needed()
    builders.make_reel()
    builders.make_machine()
    return cast


def then(moment, at=None):
    both = reel_then(Reel.objects.select_related("type", "site").get(), moment, at or later(days=30))
    return both[AsOf.HAPPENED], both[AsOf.RECORDED]


def installed(stood):
    return [(each.machine, each.installed_at, each.removed_at) for each in stood.installations]


def test_an_installation_that_is_told_the_next_morning_had_happened_and_was_not_recorded(cast):
    noon, morning = later(hours=4), later(days=1)
    maintenance.install(serial="LW-0001", machine_serial="RM-7", happened_at=noon, actor=Actor(cast.control),
                        at=morning)  # fmt: skip
    happened, recorded = then(noon)
    assert (happened.status, happened.machine) == (ReelStatus.WITHOUT_VALUES, "RM-7")
    assert installed(happened) == [("RM-7", noon, None)]
    assert (recorded.status, recorded.machine, recorded.installations) == (ReelStatus.AWAITING_COUNT, None, [])
    happened, recorded = then(morning)
    assert happened == recorded


def test_a_removal_that_is_told_late_is_hidden_from_what_was_recorded_before(cast):
    maintenance.install(serial="LW-0001", machine_serial="RM-7", actor=Actor(cast.control), at=NOW)
    maintenance.remove(serial="LW-0001", reason="to be counted", happened_at=later(hours=2), cable_went_out=False,
                       actor=Actor(cast.control), at=later(days=1))  # fmt: skip
    happened, recorded = then(later(hours=3))
    assert (installed(happened), installed(recorded)) == (
        [("RM-7", NOW, later(hours=2))], [("RM-7", NOW, None)]
    )  # fmt: skip
    assert (happened.machine, recorded.machine) == (None, "RM-7")
    assert (happened.installations[0].removed_by, recorded.installations[0].removed_by) == (cast.control, None)


def test_a_hold_is_told_by_when_it_was_placed_and_by_when_that_was_recorded(cast):
    maintenance.place_hold(serial="LW-0001", reason="rust", happened_at=later(hours=1), actor=Actor(cast.control),
                           at=later(days=1))  # fmt: skip
    maintenance.end_hold(serial="LW-0001", reason="cleaned", actor=Actor(cast.control), at=later(days=2))
    happened, recorded = then(later(hours=2))
    assert (happened.status, happened.hold.reason, happened.hold.end_reason) == (ReelStatus.HELD, "rust", "")
    assert (recorded.status, recorded.holds) == (ReelStatus.AWAITING_COUNT, [])
    for stood in then(later(days=2)):
        assert (stood.hold, [each.end_reason for each in stood.holds]) == (None, ["cleaned"])


def test_a_hold_whose_end_is_told_late_was_over_and_that_was_not_recorded(cast):
    maintenance.place_hold(serial="LW-0001", reason="rust", actor=Actor(cast.control), at=NOW)
    end: dict[str, Any] = {"serial": "LW-0001", "reason": "cleaned", "actor": Actor(cast.control), "at": later(days=1)}
    with pytest.raises(OutOfOrder, match="the reel is held since 2026-03-02 09:00"):
        maintenance.end_hold(happened_at=later(hours=-1), **end)
    maintenance.end_hold(happened_at=later(hours=4), **end)
    happened, recorded = then(later(hours=5))
    assert (happened.status, happened.hold, happened.holds[0].ended_at) == (
        ReelStatus.AWAITING_COUNT, None, later(hours=4)
    )  # fmt: skip
    assert (recorded.status, recorded.hold.reason) == (ReelStatus.HELD, "rust")


def test_an_event_that_is_told_late_ends_the_count_only_for_what_had_happened(cast):
    inspection = builders.signed_count(cast)
    builders.log_event(cast, "respooled", happened_at=later(hours=2), at=later(days=1))
    happened, recorded = then(later(hours=3))
    assert (happened.status, happened.currency.ended_at) == (ReelStatus.AWAITING_COUNT, later(hours=2))
    assert happened.currency.why == "on 2026-03-02 this was recorded: re-spooled"
    assert (recorded.status, recorded.currency.is_current) == (ReelStatus.COUNTED, True)
    assert happened.count == recorded.count == inspection


def test_an_event_that_was_taken_back_ended_the_count_for_what_had_been_recorded(cast):
    builders.signed_count(cast)
    event = builders.log_event(cast, "respooled", at=later(hours=1))
    maintenance.reverse_reel_event(serial="LW-0001", event_id=event.pk, remark="another reel",
                                   actor=Actor(cast.control), at=later(days=1))  # fmt: skip
    happened, recorded = then(later(hours=2))
    assert (happened.currency.is_current, recorded.currency.is_current) == (True, False)


def test_a_count_lapses_by_the_days_of_its_type(cast):
    register.change(ReelType.objects.get(), count_days=5, **builders.by_administrator())
    inspection = builders.signed_count(cast)
    for stood in then(later(days=4)):
        assert (stood.currency.is_current, stood.currency.until) == (True, inspection.done_at + timedelta(days=5))
    for stood in then(later(days=6)):
        assert stood.currency.why == "it was counted more than 5 days ago"


def test_values_in_force_are_those_of_the_moment(cast):
    builders.signed_count(cast)
    values = builders.confirmed(cast, builders.issued(cast))
    maintenance.remove(serial="LW-0001", reason="to be counted", actor=Actor(cast.control), at=later(days=1))
    for stood in then(later(hours=1)):
        assert (stood.status, stood.values) == (ReelStatus.VALUES_CONFIRMED, values)
    for stood in then(later(days=1)):
        assert (stood.status, stood.values) == (ReelStatus.AWAITING_COUNT, None)


def test_before_its_history_began_nothing_was_recorded_and_a_moment_to_come_is_refused(cast):
    first = Reel.objects.get().chain.entries.earliest("seq").at
    happened, recorded = then(first - timedelta(seconds=1))
    assert (happened.status, recorded) == (ReelStatus.AWAITING_COUNT, None)
    with pytest.raises(OutOfTime, match="as_of was"):
        then(later(days=1), at=NOW)
    with pytest.raises(OutOfTime, match="from 2024-03-01"):
        then(NOW - timedelta(days=2000))


def test_it_costs_the_same_however_much_happened(cast, count_queries):
    def look():
        then(later(days=20))

    builders.signed_count(cast)
    few = count_queries(look)
    for day in range(1, 4):
        builders.log_event(cast, "respooled", at=later(days=day))
        builders.signed_count(cast, at=later(days=day, hours=1))
    assert count_queries(look) == few
