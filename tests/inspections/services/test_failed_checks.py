"""A machine check that failed holds the reel and withdraws its values, in the same act."""

from decimal import Decimal
from typing import Any

import pytest

from inspections.domain.machine_reading import MachineShows
from inspections.errors import NotAuthorised
from inspections.models import MachineCheck
from inspections.services import machine_checks, maintenance, setup
from reels.errors import MachineHeld, MachineNotHeld, NotFound, ValueNotTaken
from reels.models import Hold, Machine, MachineHold, Reel
from reels.services import register
from reels.services.history import Actor, record_act
from tests import builders
from tests.builders import NOW, by_administrator, later


@pytest.fixture
def counted(cast):
    return builders.signed_count(cast)


def failed(person, values, kind="functional", remark="stopped 20 m early") -> MachineCheck:
    about: dict[str, Any] = {"setup_id": values.pk, "kind": kind, "remark": remark, "at": NOW}
    return machine_checks.record_check(passed=False, actor=Actor(person), **about)


@pytest.mark.parametrize(
    ("kind", "words"), [("functional", "functional check"), ("first_use", "reading after first use")]
)
def test_a_check_that_failed_holds_the_reel_and_ends_its_values_in_the_same_act(cast, counted, kind, words):
    values = builders.confirmed(cast, builders.issued(cast))
    failed(cast.setter, values, kind)
    values.refresh_from_db()
    assert values.withdrawn_why == f"the reel is held: the {words} failed: stopped 20 m early"
    hold = Hold.objects.get(reel=values.reel, ended_at=None)
    assert (hold.reason, hold.placed_by) == (f"the {words} failed: stopped 20 m early", cast.setter)
    assert values.reel.chain.entries.latest("seq").act == "machine_checked"


def test_a_check_that_failed_says_what_the_machine_did(cast, counted):
    values = builders.confirmed(cast, builders.issued(cast))
    with pytest.raises(ValueNotTaken, match="what the machine did"):
        failed(cast.setter, values, remark=" ")
    assert not MachineCheck.objects.exists()


# The machine --------------------------------------------------------------------------------------------------------


def held_machine(cast) -> Machine:
    values = builders.confirmed(cast, builders.issued(cast))
    failed(cast.setter, values)
    return values.machine


def let_go(person, machine="RM-7"):
    return maintenance.end_machine_hold(
        machine_serial=machine, reason="new brake", actor=Actor(person), at=later(days=1)
    )


def test_the_machine_is_held_with_the_reel_and_takes_nothing_until_it_is_let_go(cast, counted):
    machine = held_machine(cast)
    hold = MachineHold.objects.get()
    assert (hold.machine, hold.reason) == (machine, "the functional check failed: stopped 20 m early (reel LW-0001)")
    builders.make_reel("LW-0002")
    builders.signed_count(cast, "LW-0002")
    with pytest.raises(MachineHeld, match="RM-7 is held since 2026-03-02: the functional check failed"):
        builders.issued(cast, "LW-0002")
    control: dict[str, Any] = {"serial": "LW-0001", "actor": Actor(cast.control), "at": NOW}
    maintenance.end_hold(reason="it was the machine", **control)
    builders.removed(cast)
    with pytest.raises(MachineHeld):
        maintenance.install(machine_serial="RM-7", **{**control, "serial": "LW-0002"})
    ended = let_go(cast.releaser)
    assert (ended.ended_by, ended.end_reason) == (cast.releaser, "new brake")
    assert builders.issued(cast, "LW-0002", at=later(days=2)).machine == machine


def test_values_that_wait_in_a_machine_that_is_held_are_not_confirmed(cast, counted):
    values = builders.issued(cast)
    maintenance.install(serial="LW-0001", machine_serial="RM-7", actor=Actor(cast.control), at=NOW)
    setup.return_gauge(setup_id=values.pk, actor=Actor(cast.setter), at=NOW)
    setup.key_read_back(setup_id=values.pk, layers=12, wraps=10, actor=Actor(cast.setter), at=NOW)
    reel = Reel.objects.get()  # with its chain as it is by now
    with record_act(reel.chain, "machine_held", Actor(cast.setter), NOW) as act:
        setup.hold_machine(act, values.machine, reel, "it slips")
    with pytest.raises(MachineHeld):
        setup.confirm(setup_id=values.pk, layers=12, wraps=10, actor=Actor(cast.confirmer), at=NOW)


def test_who_releases_or_maintains_lets_a_machine_go_and_its_history_tells_it(cast, counted):
    machine = held_machine(cast)
    with pytest.raises(NotAuthorised):
        let_go(cast.setter)
    with pytest.raises(NotFound):
        let_go(cast.stranger)
    let_go(cast.control)
    assert counted.reel.chain.entries.latest("seq").act == "machine_hold_ended"
    with pytest.raises(MachineNotHeld, match="RM-7 is not held"):
        let_go(cast.control, machine.serial)


# Readings -----------------------------------------------------------------------------------------------------------


def read(cast, values, kind="first_use", **shown) -> MachineCheck:
    about: dict[str, Any] = {"setup_id": values.pk, "kind": kind, "remark": "", "at": later(hours=1)}
    return machine_checks.record_check(passed=True, shown=MachineShows(**shown), actor=Actor(cast.setter), **about)


@pytest.mark.parametrize(("shown", "passes"), [
    ({"layers": 12, "wraps": 10}, True), ({"layers": 12, "wraps": 11}, True), ({"layers": 12, "wraps": 12}, False),
    ({"layers": 14, "wraps": 10}, False), ({"layers": 99, "wraps": 1}, False), ({"length_m": Decimal(400)}, False),
])  # fmt: skip
def test_a_reading_after_first_use_is_held_against_the_setup_values(cast, counted, shown, passes):
    values = builders.confirmed(cast, builders.issued(cast))
    check = read(cast, values, **shown)
    values.refresh_from_db()
    assert check.passed is passes
    assert (values.withdrawn_at is None, not MachineHold.objects.exists()) == (passes, passes)
    assert (check.expected_layers, check.expected_wraps) == (12, Decimal(10))
    if not passes:
        assert values.withdrawn_why.startswith("the reel is held: the reading after first use failed: it shows ")


def test_with_cable_out_what_is_left_is_expected(cast, counted):
    values = builders.confirmed(cast, builders.issued(cast))
    whole = read(cast, values, layers=12, wraps=10).expected_length_m
    assert whole is not None
    out = read(cast, values, length_m=whole - 50, length_out_m=Decimal(50))
    assert (out.passed, out.expected_length_m) == (True, whole - 50)
    with pytest.raises(ValueNotTaken, match=rf"length_out_m was 9999; allowed: at most {whole:.1f} m"):
        read(cast, values, length_m=Decimal(1), length_out_m=Decimal(9999))
    assert read(cast, values, length_m=whole, length_out_m=Decimal(50)).passed is False


def test_the_limit_is_the_types(cast, counted):
    register.change(counted.reel.type, reading_limit_wraps=Decimal(3), **by_administrator())
    values = builders.confirmed(cast, builders.issued(cast))
    assert read(cast, values, layers=12, wraps=13).passed
    assert not read(cast, values, layers=12, wraps=14).passed


@pytest.mark.parametrize("shown", [
    {}, {"layers": 12}, {"wraps": 10}, {"layers": 12, "wraps": 10, "length_m": Decimal(3)},
    {"length_out_m": Decimal(3)},
])  # fmt: skip
def test_what_is_no_reading_is_refused(cast, counted, shown):
    values = builders.confirmed(cast, builders.issued(cast))
    with pytest.raises(ValueNotTaken, match=r"layers was .*; allowed: .*layers and wraps"):
        read(cast, values, **shown)
    assert not MachineCheck.objects.exists()


def remove(cast, **shown):
    control: dict[str, Any] = {"serial": "LW-0001", "actor": Actor(cast.control), "at": later(days=1)}
    return maintenance.remove(reason="worn", shown=MachineShows(**shown), **control)


def test_a_reading_at_removal_that_is_far_off_holds_reel_and_machine_and_the_reel_is_off(cast, counted):
    builders.confirmed(cast, builders.issued(cast))
    assert remove(cast, layers=9, wraps=3).removed_at == later(days=1)
    assert MachineCheck.objects.get().kind == "removal"
    assert Hold.objects.get().reason.startswith(
        "the reading at removal failed: it shows 9 layers, 3 wraps, stowed; exp"
    )
    assert MachineHold.objects.get().machine.serial == "RM-7"


def test_a_reading_at_removal_needs_confirmed_values_to_be_held_against(cast, counted):
    builders.issued(cast)
    maintenance.install(serial="LW-0001", machine_serial="RM-7", actor=Actor(cast.control), at=NOW)
    with pytest.raises(ValueNotTaken, match="no confirmed values are in force"):
        remove(cast, layers=12, wraps=10)
