"""What maintenance control records of a reel: who may, what is refused, and what the history says of it."""

import json
from datetime import date
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from inspections.domain.words import Act
from inspections.errors import NotAuthorised
from inspections.services import maintenance, setup
from reels.errors import (
    AlreadyReversed,
    AlreadyThere,
    CutTooLong,
    IssuedForAnother,
    MachineOccupied,
    MachineTakesOthers,
    NotFound,
    OtherSite,
    OutOfTime,
    ReelHeld,
    ReelInstalled,
    ReelNotHeld,
    ReelNotInstalled,
    ReelRetired,
    ValueNotTaken,
)
from reels.models import CableEvent, Hold, Installation, Reel
from reels.services import register
from reels.services.history import Actor
from reels.services.reels import CableEventFacts
from tests import builders
from tests.builders import NOW, authorise, by_administrator, later


@pytest.fixture
def control(cast):
    return {"serial": "LW-0001", "actor": Actor(cast.control), "at": NOW}


def log(control, **facts):
    return maintenance.log_cable_event(facts=CableEventFacts(**{"kind": "cut", "happened_at": NOW, **facts}), **control)


def last_entry():
    entry = Reel.objects.get(serial="LW-0001").chain.entries.latest("seq")
    return json.loads(bytes(entry.content))


# Cable --------------------------------------------------------------------------------------------------------------


def test_a_cut_keeps_when_it_happened_when_it_was_recorded_and_by_whom(cast, control):
    event = log(control, length_removed_m=Decimal("12.5"), happened_at=later(days=-3), document="CL-9", remark="frayed")
    assert (event.happened_at, event.recorded_at, event.recorded_by) == (later(days=-3), NOW, cast.control)
    [change] = last_entry()["changes"]
    assert (change["table"], change["before"], change["after"]["length_removed_m"]) == (
        "reels_cableevent", None, "12.500",
    )  # fmt: skip


@pytest.mark.parametrize("length", [None, Decimal(0), Decimal(-1)])
def test_a_cut_has_a_length(control, length):
    with pytest.raises(ValueNotTaken, match="more than 0 m"):
        log(control, length_removed_m=length)


def test_the_database_takes_no_cut_without_a_length(cast):
    fields = {"reel": Reel.objects.get(), "happened_at": NOW, "recorded_at": NOW, "recorded_by": cast.control}
    for wrong in ({"kind": "cut"}, {"kind": "reversal"}):
        with pytest.raises(IntegrityError), transaction.atomic():
            CableEvent.objects.create(**fields, **wrong)


def test_nobody_cuts_more_than_there_is(control):
    log(control, length_removed_m=Decimal(400), happened_at=later(days=-1))
    with pytest.raises(CutTooLong, match=r"reel LW-0001 can have at most 20.000 m"):
        log(control, length_removed_m=Decimal(20), happened_at=NOW)
    log(control, kind="replaced", length_fitted_m=Decimal(500))
    log(control, length_removed_m=Decimal(300))


@pytest.mark.parametrize("happened_at", [later(seconds=1), later(days=-5000)])
def test_a_cut_happened_after_the_reel_came_and_before_now(control, happened_at):
    with pytest.raises(OutOfTime):
        log(control, length_removed_m=Decimal(1), happened_at=happened_at)


def test_who_counts_logs_a_cut_at_the_bench_and_no_replacement(cast, control):
    control["actor"] = Actor(cast.technician)
    assert log(control, length_removed_m=Decimal(1)).recorded_by == cast.technician
    with pytest.raises(NotAuthorised, match="to maintain"):
        log(control, kind="replaced")


def test_a_script_logs_cuts_under_its_own_name(cast, control):
    control["actor"] = Actor(cast.control, via="token cuts")
    log(control, length_removed_m=Decimal(1))
    assert last_entry()["actor"]["via"] == "token cuts"


def test_a_wrong_entry_is_reversed_by_a_counter_entry_once_and_both_stay(cast, control):
    event = log(control, length_removed_m=Decimal(1))
    counter = maintenance.reverse_cable_event(event_id=event.pk, remark="doubled", **control)
    assert (counter.reverses, counter.kind, counter.remark) == (event, "reversal", "doubled")
    for again in (event, counter):
        with pytest.raises(AlreadyReversed):
            maintenance.reverse_cable_event(event_id=again.pk, remark="?", **control)
    assert CableEvent.objects.count() == 2


def test_an_entry_of_another_reel_is_not_reversed_through_this_one(cast, control):
    event = log(control, length_removed_m=Decimal(1))
    builders.make_reel("LW-0002")
    with pytest.raises(NotFound):
        maintenance.reverse_cable_event(event_id=event.pk, remark="?", **{**control, "serial": "LW-0002"})


# In and out of machines ---------------------------------------------------------------------------------------------


def test_a_reel_is_in_one_machine_and_a_machine_holds_one_reel(cast, control):
    for serial in ("RM-7", "RM-8"):
        builders.make_machine(serial)
    first = maintenance.install(machine_serial="RM-7", **control)
    with pytest.raises(ReelInstalled, match="in machine RM-7; take it off"):
        maintenance.install(machine_serial="RM-8", **control)
    other = builders.make_reel("LW-0002")
    with pytest.raises(MachineOccupied, match="RM-7 holds reel LW-0001"):
        maintenance.install(machine_serial="RM-7", **{**control, "serial": "LW-0002"})
    for changes in ({"reel": other}, {"machine": builders.make_machine("RM-8")}):
        fields = {"reel": first.reel, "machine": first.machine, **changes}
        with pytest.raises(IntegrityError), transaction.atomic():
            Installation.objects.create(installed_at=NOW, installed_by=cast.control, **fields)
    removed = maintenance.remove(reason="to be counted", **{**control, "at": later(days=1)})
    assert (removed.removed_at, removed.removed_by) == (later(days=1), cast.control)
    assert (removed.removal_reason, removed.cable_went_out) == ("to be counted", None)
    with pytest.raises(ReelNotInstalled):
        maintenance.remove(reason="to be counted", **control)


def test_a_reel_goes_into_a_machine_of_its_own_site(cast, control):
    aldermere = builders.make_site("aldermere", "Aldermere")
    builders.make_machine("RM-9", site=aldermere)
    with pytest.raises(NotFound):
        maintenance.install(machine_serial="RM-9", **control)
    register.post_person(person=cast.control, site=None, valid_from=later(days=-1), **by_administrator())
    with pytest.raises(OtherSite):
        maintenance.install(machine_serial="RM-9", **control)


def test_another_machine_than_issued_for_is_asked_about_and_then_withdraws_the_values(cast, control):
    builders.signed_count(cast)
    values = builders.issued(cast)
    builders.make_machine("RM-8")
    with pytest.raises(IssuedForAnother, match="12 layers, 10 wraps are in force for reel LW-0001 in machine RM-7"):
        maintenance.install(machine_serial="RM-8", answers=["another_question"], **control)
    maintenance.install(machine_serial="RM-8", answers=["issued_for_another"], **control)
    values.refresh_from_db()
    assert values.withdrawn_why == "the reel was installed in machine RM-8 instead"


def test_a_machine_takes_the_reels_that_it_names_and_no_others(cast, control):
    machine = builders.make_machine()
    other = builders.make_reel("LW-0002", type=builders.make_type("w31"))
    with pytest.raises(MachineTakesOthers, match="RM-7 takes reels of type w28; reel LW-0002 is of type w31"):
        maintenance.install(machine_serial="RM-7", **{**control, "serial": other.serial})
    builders.signed_count(cast, other.serial)
    register.change(machine, types=["w28"], **by_administrator())  # its gauge was made for the other type
    with pytest.raises(MachineTakesOthers, match="RM-7 takes reels of type w28; reel LW-0002"):
        setup.issue(serial=other.serial, machine_serial="RM-7", actor=Actor(cast.control), at=NOW)
    register.change(machine, types=[], **by_administrator())
    with pytest.raises(MachineTakesOthers, match="RM-7 takes no reel type yet; reel LW-0001"):
        maintenance.install(machine_serial="RM-7", **control)


@pytest.mark.parametrize("is_installed", [True, False])
def test_a_machine_goes_on_taking_the_type_of_what_is_in_it_or_issued_for_it(cast, control, is_installed):
    machine = builders.make_machine()
    if is_installed:
        maintenance.install(machine_serial="RM-7", **control)
    else:
        builders.signed_count(cast)
        builders.issued(cast)
    with pytest.raises(ValueNotTaken, match="types was none; allowed: w28 among them: reel LW-0001 is in"):
        register.change(machine, types=[], **by_administrator())
    machine.refresh_from_db()
    assert machine.types == ["w28"]


def test_an_installed_reel_is_neither_moved_nor_retired(cast, control):
    builders.make_machine()
    maintenance.install(machine_serial="RM-7", **control)
    with pytest.raises(ReelInstalled):
        builders.sent(cast)
    with pytest.raises(ReelInstalled):
        maintenance.retire(reason="worn", **control)


# Held, moved, retired -----------------------------------------------------------------------------------------------


def test_a_held_reel_is_not_installed_until_it_is_let_go(cast, control):
    builders.make_machine()
    hold = maintenance.place_hold(reason="rust", **control)
    with pytest.raises(ReelHeld, match="held since 2026-03-02: rust"):
        maintenance.place_hold(reason="more rust", **control)
    with pytest.raises(ReelHeld):
        maintenance.install(machine_serial="RM-7", **control)
    with pytest.raises(IntegrityError), transaction.atomic():
        Hold.objects.create(reel=hold.reel, placed_at=NOW, placed_by=cast.control, reason="again")
    ended = maintenance.end_hold(reason="cleaned", **control)
    assert (ended.ended_by, ended.end_reason) == (cast.control, "cleaned")
    with pytest.raises(ReelNotHeld):
        maintenance.end_hold(reason="?", **control)
    assert maintenance.install(machine_serial="RM-7", **control).removed_at is None


@pytest.mark.parametrize(("who", "may_place", "may_end"), [
    ("verifier", True, False), ("releaser", False, True), ("technician", False, False), ("colleague", False, False),
])  # fmt: skip
def test_who_verifies_may_hold_a_reel_and_who_releases_may_let_it_go(cast, control, who, may_place, may_end):
    mine = {**control, "actor": Actor(getattr(cast, who))}
    place_if(may_place, mine, control)
    if may_end:
        assert maintenance.end_hold(reason="fine", **mine).ended_by == mine["actor"].person
    else:
        with pytest.raises(NotAuthorised):
            maintenance.end_hold(reason="fine", **mine)


def place_if(may_place, mine, control):
    if may_place:
        maintenance.place_hold(reason="rust", **mine)
        return
    with pytest.raises(NotAuthorised):
        maintenance.place_hold(reason="rust", **mine)
    maintenance.place_hold(reason="rust", **control)


def test_nothing_more_is_recorded_for_a_retired_reel_and_all_that_was_stays(cast, control):
    log(control, length_removed_m=Decimal(1))
    maintenance.retire(reason="worn", **control)
    builders.make_machine()
    for act in (
        lambda: log(control, length_removed_m=Decimal(1)),
        lambda: maintenance.place_hold(reason="?", **control),
        lambda: maintenance.retire(reason="?", **control),
        lambda: maintenance.install(machine_serial="RM-7", **control),
    ):
        with pytest.raises(ReelRetired, match="retired on 2026-03-02"):
            act()
    reel = Reel.objects.get()
    assert (reel.retired_reason, reel.cable_events.count()) == ("worn", 1)


# Received -----------------------------------------------------------------------------------------------------------


def receive(cast, serial="LW-0009", site="kettle-point", received_on=date(2026, 3, 2), actor=None):
    return maintenance.receive_reel(
        serial=serial, type_code="w28", site_code=site, received_on=received_on, cable_length_m=None,
        actor=actor or Actor(cast.control), at=NOW,
    )  # fmt: skip


def test_a_reel_is_received_once_and_its_history_begins(cast):
    reel = receive(cast)
    assert [entry.act for entry in reel.chain.entries.all()] == ["reel_received"]
    with pytest.raises(AlreadyThere, match="LW-0009"):
        receive(cast)


def test_a_reel_is_received_by_who_maintains_its_type_at_that_site(cast):
    builders.make_site("aldermere", "Aldermere")
    with pytest.raises(NotFound):
        receive(cast, site="aldermere")
    with pytest.raises(NotAuthorised):
        receive(cast, actor=Actor(cast.technician))
    authorise(cast.technician, Act.MAINTAIN, reel_type=builders.make_type("w40"))
    with pytest.raises(NotAuthorised, match="reels of type w28"):
        receive(cast, actor=Actor(cast.technician))
    with pytest.raises(OutOfTime):
        receive(cast, received_on=date(2026, 3, 3))
