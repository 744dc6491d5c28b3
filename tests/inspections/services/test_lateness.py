"""What is recorded a day late: times as they were, no impossible order, and what was done since is named."""

import json
from typing import Any

import pytest

from inspections.errors import OutOfOrder
from inspections.services import maintenance, setup
from reels.errors import OutOfTime
from reels.models import Installation
from reels.services.history import Actor
from tests import builders
from tests.builders import NOW, later


@pytest.fixture
def control(cast):
    builders.make_machine()
    return {"serial": "LW-0001", "actor": Actor(cast.control), "at": later(days=1)}


def facts_of_last_act(reel):
    return json.loads(bytes(reel.chain.entries.latest("seq").content))["facts"]


def test_a_whole_day_is_entered_the_next_morning_without_one_false_time(cast, control):
    maintenance.install(machine_serial="RM-7", happened_at=later(hours=1), **control)
    maintenance.remove(reason="to be counted", happened_at=later(hours=6), **control)
    maintenance.place_hold(reason="a bent flange", happened_at=later(hours=7), **control)
    row, hold = Installation.objects.get(), Installation.objects.get().reel.holds.get()
    assert (row.installed_at, row.recorded_at) == (later(hours=1), later(days=1))
    assert (row.removed_at, row.removal_recorded_at) == (later(hours=6), later(days=1))
    assert (hold.placed_at, hold.recorded_at) == (later(hours=7), later(days=1))


@pytest.mark.parametrize("happened_at", [later(days=2), later(days=-4000)])
def test_nothing_happens_before_the_reel_came_or_after_now(cast, control, happened_at):
    for act in (
        lambda: maintenance.install(machine_serial="RM-7", happened_at=happened_at, **control),
        lambda: maintenance.place_hold(reason="?", happened_at=happened_at, **control),
        lambda: builders.sent(cast, happened_at=happened_at, at=later(days=1)),
    ):
        with pytest.raises(OutOfTime):
            act()


def test_a_reel_is_not_removed_before_it_was_installed_nor_before_its_values_were_confirmed(cast, control):
    builders.signed_count(cast)
    builders.confirmed(cast, builders.issued(cast), later(hours=2))
    for hours, why in ((1, "it was installed in machine RM-7 at 2026-03-02 11:00"), (1.5, "it was installed")):
        with pytest.raises(OutOfOrder, match=why):
            maintenance.remove(reason="?", happened_at=later(hours=hours), **control)
    maintenance.remove(reason="worn", happened_at=later(hours=3), **control)


def test_values_that_were_confirmed_after_it_left_make_the_removal_impossible(cast, control):
    builders.signed_count(cast)
    values = builders.issued(cast)
    maintenance.install(machine_serial="RM-7", **{**control, "at": NOW})
    numbers: dict[str, Any] = {"setup_id": values.pk, "layers": 12, "wraps": 10, "at": later(hours=2)}
    setup.return_gauge(setup_id=values.pk, actor=Actor(cast.setter), at=NOW)
    setup.key_read_back(actor=Actor(cast.setter), **numbers)
    setup.confirm(actor=Actor(cast.confirmer), **numbers)
    with pytest.raises(
        OutOfOrder, match=rf"setup values {values.pk} were confirmed in the machine at 2026-03-02 11:00"
    ):
        maintenance.remove(reason="?", happened_at=later(hours=1), **control)


def test_a_reel_that_was_counted_since_was_not_put_into_a_machine_before_that(cast, control):
    count = builders.signed_count(cast, at=later(hours=5))
    with pytest.raises(OutOfOrder, match=f"counted off the machine at 2026-03-02 14:00 UTC, inspection {count.pk}"):
        maintenance.install(machine_serial="RM-7", happened_at=later(hours=4), **control)
    maintenance.install(machine_serial="RM-7", happened_at=later(hours=6), **control)


def test_neither_reel_nor_machine_is_in_two_places_at_a_time(cast, control):
    maintenance.install(machine_serial="RM-7", happened_at=later(hours=1), **control)
    maintenance.remove(reason="worn", happened_at=later(hours=6), **control)
    builders.make_reel("LW-0002")
    builders.make_machine("RM-8")
    for serial, machine in (("LW-0001", "RM-8"), ("LW-0002", "RM-7")):
        why = "reel LW-0001 was in machine RM-7 from 2026-03-02 10:00 UTC until 2026-03-02 15:00 UTC"
        with pytest.raises(OutOfOrder, match=why):
            maintenance.install(machine_serial=machine, happened_at=later(hours=3), **{**control, "serial": serial})
    with pytest.raises(OutOfOrder, match="until 2026-03-02 15:00"):
        builders.sent(cast, happened_at=later(hours=3), at=later(days=1))


def test_an_event_told_late_withdraws_the_values_and_names_what_was_done_since(cast, control):
    counted = builders.signed_count(cast, at=later(days=-3))
    values = builders.confirmed(cast, builders.issued(cast), later(hours=2))
    builders.log_event(cast, "respooled", happened_at=later(days=-2), at=later(days=1))
    values.refresh_from_db()
    since = [f"setup values {values.pk} were issued for RM-7 on 2026-03-02", "it was installed in RM-7 on 2026-03-02"]
    assert values.withdrawn_why == (
        f"re-spooled on 2026-02-28; recorded on 2026-03-03, and since it happened {'; '.join(since)}"
    )
    assert facts_of_last_act(counted.reel)["since"] == since


def test_a_late_event_from_before_the_newest_count_leaves_its_values_and_names_the_count(cast, control):
    counted = builders.signed_count(cast)
    values = builders.issued(cast, at=later(hours=1))
    builders.log_event(cast, "respooled", happened_at=later(days=-1), at=later(days=1))
    values.refresh_from_db()
    assert values.withdrawn_at is None
    assert facts_of_last_act(counted.reel)["since"][0] == f"inspection {counted.pk} was counted on 2026-03-02"
