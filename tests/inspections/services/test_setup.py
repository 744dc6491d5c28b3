"""Setup values: issued from a signed count, set, read back by two people, and one at a time."""

from typing import Any

import pytest
from django.db import IntegrityError, transaction

from inspections.domain.words import Act
from inspections.errors import CountLapsed, NotAuthorised, NotInForce, NotIssuable, SamePerson, StepMissing
from inspections.models import MachineCheck, ReadBack, SetupValues
from inspections.services import machine_checks, maintenance, setup
from reels.errors import NotFound, OnlyInPerson, ReelHeld, ReelRetired
from reels.models import Reel
from reels.services import register
from reels.services.history import Actor
from reels.services.reels import CableEventFacts
from tests import builders, stories
from tests.builders import NOW, authorise, later


@pytest.fixture
def counted(cast):
    return builders.signed_count(cast)


@pytest.fixture
def values(cast, counted):
    """Issued, and the reel is in the machine."""
    values = builders.issued(cast)
    install(cast)
    return values


def install(cast, serial="LW-0001", machine="RM-7"):
    maintenance.install(serial=serial, machine_serial=machine, actor=Actor(cast.control), at=NOW)


def return_gauge(cast, values):
    return setup.return_gauge(setup_id=values.pk, actor=Actor(cast.setter), at=NOW)


def read_back(person, values, layers=12, wraps=10, via="session", at=NOW) -> ReadBack:
    actor = Actor(person, via=via)
    return setup.key_read_back(setup_id=values.pk, layers=layers, wraps=wraps, actor=actor, at=at)


def confirm(person, values, layers=12, wraps=10, via="session", at=NOW) -> ReadBack:
    return setup.confirm(setup_id=values.pk, layers=layers, wraps=wraps, actor=Actor(person, via=via), at=at)


def check(person, values, via="session") -> MachineCheck:
    actor = Actor(person, via=via)
    return machine_checks.record_check(
        setup_id=values.pk, kind="functional", passed=True, remark="", actor=actor, at=NOW
    )


# Issued -------------------------------------------------------------------------------------------------------------


def test_the_two_numbers_come_from_the_latest_signed_count(cast, counted):
    later_count = builders.signed_count(cast, at=later(days=1), hand_wraps=9, gauge_wraps=9)
    values = builders.issued(cast, at=later(days=2))
    assert (values.layers, values.wraps, values.parity) == (12, 7, "even")
    assert (values.inspection, values.issued_by, values.issued_at) == (later_count, cast.control, later(days=2))


def test_a_late_entry_from_paper_does_not_outrank_a_newer_count(cast, counted):
    paper = builders.open_count(cast, at=later(hours=1), done_at=later(days=-9))
    builders.sign_both(cast, builders.read(cast, paper, hand_wraps=20, gauge_wraps=20), later(hours=2))
    assert builders.issued(cast, at=later(hours=3)).inspection == counted


def test_without_a_signed_count_nothing_is_issued(cast):
    builders.read(cast, builders.open_count(cast))
    with pytest.raises(NotIssuable, match="Reel LW-0001 has no signed inspection"):
        builders.issued(cast)


def test_an_imported_count_is_never_a_source(cast, counted):
    reel = counted.reel
    stories.import_count(reel, at=later(days=300), layers=9, wraps=9)
    assert (builders.issued(cast, at=later(days=301)).layers) == 12
    other = builders.make_reel("LW-0002")
    stories.import_count(other)
    with pytest.raises(NotIssuable, match="an imported count is never a source"):
        builders.issued(cast, "LW-0002", "RM-8")


@pytest.mark.parametrize("minutes", [0, 1])
def test_a_cut_at_or_after_the_count_asks_for_a_new_count(cast, counted, minutes):
    builders.log_cut(cast, happened_at=later(minutes=minutes), at=later(hours=1))
    with pytest.raises(CountLapsed, match=r"on 2026-03-02 an entry says: cut\. Count the reel again"):
        builders.issued(cast, at=later(hours=2))


def test_a_cut_before_the_count_or_one_that_was_taken_back_does_not_matter(cast, counted):
    builders.log_cut(cast, happened_at=later(minutes=-1), at=later(hours=1))
    doubled = builders.log_cut(cast, happened_at=later(minutes=30), at=later(hours=1))
    maintenance.reverse_cable_event(serial="LW-0001", event_id=doubled.pk, remark="doubled", actor=Actor(cast.control),
                                    at=later(hours=2))  # fmt: skip
    assert builders.issued(cast, at=later(hours=3)).inspection == counted


def test_a_count_that_is_under_way_is_waited_for(cast, counted):
    live = builders.open_count(cast, at=later(hours=1))
    with pytest.raises(NotIssuable, match=f"Inspection {live.pk} of reel LW-0001 is under way"):
        builders.issued(cast, at=later(hours=2))


def test_values_are_for_a_machine_at_the_reels_site_and_for_the_one_that_holds_it(cast, counted):
    aldermere = builders.make_site("aldermere", "Aldermere")
    builders.make_machine("RM-9", site=aldermere)
    with pytest.raises(NotFound):
        builders.issued(cast, machine="RM-9")
    register.post_person(person=cast.control, site=aldermere, valid_from=later(days=-1), **builders.by_administrator())
    with pytest.raises(NotIssuable, match="is at Kettle Point, machine RM-9 at Aldermere"):
        builders.issued(cast, machine="RM-9")
    builders.make_machine("RM-7")
    install(cast)
    with pytest.raises(NotIssuable, match="is in machine RM-7, not in RM-8"):
        builders.issued(cast, machine="RM-8")


def test_a_held_or_retired_reel_gets_no_values(cast, counted):
    control: dict[str, Any] = {"serial": "LW-0001", "actor": Actor(cast.control), "at": NOW}
    maintenance.place_hold(reason="rust", **control)
    with pytest.raises(ReelHeld):
        builders.issued(cast)
    maintenance.end_hold(reason="cleaned", **control)
    maintenance.retire(reason="worn", **control)
    with pytest.raises(ReelRetired):
        builders.issued(cast)


@pytest.mark.parametrize("who", ["technician", "verifier", "setter", "confirmer", "colleague"])
def test_only_maintenance_control_issues(cast, counted, who):
    cast.control = getattr(cast, who)
    with pytest.raises(NotAuthorised, match="to issue"):
        builders.issued(cast)


def test_one_at_a_time_for_a_reel(cast, counted):
    first = builders.issued(cast)
    with pytest.raises(NotIssuable, match="Values are in force already"):
        builders.issued(cast, machine="RM-8")
    with pytest.raises(IntegrityError), transaction.atomic():
        copy(first, machine=builders.make_machine("RM-8"))


def test_one_at_a_time_for_a_machine(cast, counted):
    first = builders.issued(cast)
    other = builders.make_reel("LW-0002")
    builders.signed_count(cast, "LW-0002")
    with pytest.raises(NotIssuable, match="reel LW-0002 or machine RM-7; withdraw them first"):
        builders.issued(cast, "LW-0002", "RM-7")
    with pytest.raises(IntegrityError), transaction.atomic():
        copy(first, reel=other)
    setup.withdraw(setup_id=first.pk, reason="not needed", actor=Actor(cast.control), at=NOW)
    assert builders.issued(cast, "LW-0002", "RM-7").reel == other


def copy(values: SetupValues, **changes: Any) -> None:
    row = SetupValues.objects.get(pk=values.pk)
    row.pk = None
    for name, value in changes.items():
        setattr(row, name, value)
    row.save(force_insert=True)


# Set, read back, confirmed ------------------------------------------------------------------------------------------


def test_each_step_waits_for_the_one_before(cast, counted):
    values = builders.issued(cast)
    with pytest.raises(StepMissing, match="install reel LW-0001 in machine RM-7"):
        return_gauge(cast, values)
    with pytest.raises(StepMissing, match="install reel LW-0001 in machine RM-7"):
        read_back(cast.setter, values)
    install(cast)
    with pytest.raises(StepMissing, match="put the wrap gauge back in its place"):
        read_back(cast.setter, values)
    with pytest.raises(StepMissing, match="the setter sets the numbers"):
        confirm(cast.confirmer, values)
    return_gauge(cast, values)
    with pytest.raises(StepMissing, match="the setter sets the numbers"):
        confirm(cast.confirmer, values)
    assert read_back(cast.setter, values).matches
    with pytest.raises(StepMissing, match="a second person confirms"):
        check(cast.setter, values)
    assert confirm(cast.confirmer, values).matches
    assert check(cast.setter, values).passed
    values.refresh_from_db()
    assert (values.gauge_returned_by, values.set_by, values.confirmed_by) == (cast.setter, cast.setter, cast.confirmer)
    assert ReadBack.objects.count() == 2


@pytest.mark.parametrize(("layers", "wraps"), [(12, 11), (11, 10), (10, 12)])
def test_a_read_back_that_differs_is_kept_and_sets_nothing(cast, values, layers, wraps):
    return_gauge(cast, values)
    seen = read_back(cast.setter, values, layers, wraps)
    assert not seen.matches
    values.refresh_from_db()
    assert (values.set_at, values.confirmed_at) == (None, None)
    assert list(ReadBack.objects.values_list("role", "layers", "wraps", "matches")) == [
        ("setter", layers, wraps, False)
    ]
    with pytest.raises(StepMissing):
        confirm(cast.confirmer, values)


def test_a_confirmation_that_differs_is_kept_and_both_read_again(cast, values):
    return_gauge(cast, values)
    read_back(cast.setter, values)
    assert not confirm(cast.confirmer, values, wraps=11).matches
    values.refresh_from_db()
    assert (values.set_by, values.set_at, values.confirmed_at) == (None, None, None)
    with pytest.raises(StepMissing, match="the setter sets the numbers"):
        confirm(cast.confirmer, values)
    read_back(cast.setter, values)
    confirm(cast.confirmer, values)
    assert list(ReadBack.objects.values_list("role", "wraps")) == [
        ("setter", 10), ("confirmer", 11), ("setter", 10), ("confirmer", 10),
    ]  # fmt: skip


def test_a_second_look_of_the_setter_that_differs_takes_the_first_back(cast, values):
    return_gauge(cast, values)
    read_back(cast.setter, values)
    read_back(cast.setter, values, wraps=11)
    values.refresh_from_db()
    assert values.set_at is None


def test_who_set_the_values_does_not_confirm_them(cast, values):
    authorise(cast.setter, Act.CONFIRM)
    return_gauge(cast, values)
    read_back(cast.setter, values)
    with pytest.raises(SamePerson, match="Seth Bryce has already set these values"):
        confirm(cast.setter, values)
    for confirmer in (cast.setter, None):
        with pytest.raises(IntegrityError), transaction.atomic():
            SetupValues.objects.filter(pk=values.pk).update(
                set_by=confirmer, confirmed_by=cast.setter, confirmed_at=NOW
            )
    assert confirm(cast.confirmer, values).matches


def test_confirmed_values_are_not_read_back_again(cast, values):
    return_gauge(cast, values)
    read_back(cast.setter, values)
    confirm(cast.confirmer, values)
    with pytest.raises(StepMissing, match="confirmed already"):
        read_back(cast.setter, values)
    with pytest.raises(StepMissing, match="confirmed already"):
        confirm(cast.confirmer, values)


def test_each_step_has_its_own_authorisation(cast, values):
    with pytest.raises(NotAuthorised):
        setup.return_gauge(setup_id=values.pk, actor=Actor(cast.control), at=NOW)
    return_gauge(cast, values)
    for person in (cast.confirmer, cast.control, cast.technician):
        with pytest.raises(NotAuthorised, match="to set"):
            read_back(person, values)
    read_back(cast.setter, values)
    for person in (cast.control, cast.verifier):
        with pytest.raises(NotAuthorised, match="to confirm"):
            confirm(person, values)
    confirm(cast.confirmer, values)
    with pytest.raises(NotAuthorised):
        check(cast.technician, values)
    with pytest.raises(NotAuthorised):
        setup.withdraw(setup_id=values.pk, reason="?", actor=Actor(cast.setter), at=NOW)


@pytest.mark.parametrize("via", ["token bench", "command x"])
def test_a_script_does_none_of_it(cast, values, via):
    script = {"setup_id": values.pk, "at": NOW, "actor": Actor(cast.setter, via=via)}
    for act in (
        lambda: setup.issue(serial="LW-0001", machine_serial="RM-7", actor=Actor(cast.control, via=via), at=NOW),
        lambda: setup.return_gauge(**script),
        lambda: setup.key_read_back(layers=12, wraps=10, **script),
        lambda: setup.confirm(layers=12, wraps=10, **script),
        lambda: machine_checks.record_check(kind="functional", passed=True, remark="", **script),
        lambda: setup.withdraw(reason="?", **script),
    ):
        with pytest.raises(OnlyInPerson):
            act()


# Withdrawn ----------------------------------------------------------------------------------------------------------


def cut(cast, values):
    builders.log_cut(cast, at=later(days=1))


def replace_cable(cast, values):
    maintenance.log_cable_event(
        serial="LW-0001", actor=Actor(cast.control), at=later(days=1),
        facts=CableEventFacts(kind="replaced", happened_at=later(days=1)),
    )  # fmt: skip


def remove(cast, values):
    builders.removed(cast, at=later(days=1))


def hold(cast, values):
    maintenance.place_hold(serial="LW-0001", reason="rust", actor=Actor(cast.control), at=later(days=1))


def void(cast, values):
    stories.void(cast, values.inspection, at=later(days=1))


def by_hand(cast, values):
    setup.withdraw(setup_id=values.pk, reason="the wrong machine", actor=Actor(cast.control), at=later(days=1))


CAUSES = [
    (cut, "mona", "cut on 2026-03-03"),
    (replace_cable, "mona", "cable replaced on 2026-03-03"),
    (remove, "mona", "the reel was removed from machine RM-7: to be counted"),
    (hold, "mona", "the reel is held: rust"),
    (void, "rhea", "the inspection they came from was voided: the wrong reel"),
    (by_hand, "mona", "the wrong machine"),
]


@pytest.mark.parametrize(("cause", "by", "why"), CAUSES)
@pytest.mark.parametrize("are_confirmed", [False, True])
def test_each_cause_withdraws_the_values_at_once_and_says_why(cast, values, cause, by, why, are_confirmed):
    if are_confirmed:
        return_gauge(cast, values)
        read_back(cast.setter, values)
        confirm(cast.confirmer, values)
    cause(cast, values)
    values.refresh_from_db()
    assert (values.withdrawn_at, values.withdrawn_by.username, values.withdrawn_why) == (later(days=1), by, why)
    for act in (
        lambda: return_gauge(cast, values),
        lambda: by_hand(cast, values),
        lambda: read_back(cast.setter, values),
        lambda: confirm(cast.confirmer, values),
    ):
        with pytest.raises(NotInForce, match=f"were withdrawn on 2026-03-03: {why}"):
            act()


def test_the_withdrawal_is_told_in_the_entry_of_its_cause(cast, values):
    cut(cast, values)
    entry = Reel.objects.get().chain.entries.latest("seq")
    assert entry.act == "cable_cut"
    assert b"withdrawn_why" in bytes(entry.content)


def test_moving_or_retiring_a_reel_withdraws_what_was_issued_for_it(cast, counted):
    values = builders.issued(cast)
    builders.sent(cast)
    values.refresh_from_db()
    assert values.withdrawn_why == "the reel was sent to Aldermere"
    builders.make_reel("LW-0002")
    builders.signed_count(cast, "LW-0002")
    other = builders.issued(cast, "LW-0002")
    maintenance.retire(serial="LW-0002", reason="worn", actor=Actor(cast.control), at=NOW)
    other.refresh_from_db()
    assert other.withdrawn_why == "the reel was retired: worn"


def test_a_newer_count_withdraws_the_values_and_an_older_one_from_paper_does_not(cast, counted):
    values = builders.issued(cast)
    paper = builders.open_count(cast, at=later(hours=1), done_at=later(days=-9))
    builders.sign_both(cast, builders.read(cast, paper), later(hours=1))
    values.refresh_from_db()
    assert values.withdrawn_at is None
    newer = builders.signed_count(cast, at=later(hours=2))
    values.refresh_from_db()
    assert values.withdrawn_why == f"the reel was counted again (inspection {newer.pk})"


def test_voiding_another_count_leaves_the_values_in_force(cast, counted):
    newer = builders.signed_count(cast, at=later(hours=1))
    values = builders.issued(cast, at=later(hours=2))
    stories.void(cast, counted, at=later(hours=3))
    values.refresh_from_db()
    assert (values.inspection, values.withdrawn_at) == (newer, None)


def test_a_stranger_does_not_see_the_values(cast, values):
    with pytest.raises(NotFound):
        read_back(cast.stranger, values)
