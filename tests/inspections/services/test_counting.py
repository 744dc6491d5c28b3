"""A count from its preparation to a result: what opens it, in which order it is keyed, and what is refused."""

from dataclasses import replace
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from inspections.domain.words import Act, InspectionState, Point, Role
from inspections.errors import (
    AlreadyKeyed,
    CountAlreadyOpen,
    ImpossibleReading,
    NotAuthorised,
    NotPrepared,
    NotYourPoint,
    OtherRole,
    PointNotOpen,
    ReelOnMachine,
    WrongState,
)
from inspections.models import Inspection, Keying, Participant
from inspections.services import counting, maintenance, opening
from inspections.services.counting import OnePersonsValues
from reels.errors import NotFound, OutOfTime, ReelRetired
from reels.models import HistoryEntry
from reels.services.history import Actor
from tests import builders, stories
from tests.builders import GOOD, NOW, PREPARATION, authorise, later


def open_by(person, **changes: Any) -> Inspection:
    return opening.open_inspection(
        serial="LW-0001", preparation=replace(PREPARATION, **changes), actor=Actor(person), at=NOW
    )


def entries() -> int:
    return HistoryEntry.objects.count()


# Opening ------------------------------------------------------------------------------------------------------------


def test_a_count_keeps_its_preparation_and_the_rule_parameters_of_that_day(cast):
    inspection = builders.open_count(cast)
    inspection.reel.type.lead_wraps = 3
    inspection.reel.type.save()
    kept = Inspection.objects.get()
    assert (kept.state, kept.opened_by, kept.done_at, kept.recorded_at) == ("open", cast.technician, NOW, NOW)
    assert (kept.work_order, kept.publication, kept.publication_revision) == ("WO-1001", "LWS 12-3", "C")
    assert (kept.wrap_gauge, kept.from_paper, kept.parameters["lead_wraps"]) == ("WG-0001", False, 1)
    assert stories.key_all(cast, kept).wraps == 10
    inspection.reel.type.lead_wraps = 1
    inspection.reel.type.save()


@pytest.mark.parametrize(
    ("change", "missing"),
    [
        ({"cautions_confirmed": False}, "confirm the cautions"),
        ({"turned_as_installed": False}, "turn the reel as installed"),
        ({"marks_found": False}, "find the anchor side and the forward mark"),
        ({"work_order": " "}, "name the work order"),
        ({"publication": ""}, "name the publication"),
        ({"publication_revision": ""}, "name the publication's revision"),
    ],
)
def test_a_count_is_not_opened_before_everything_is_prepared(cast, change, missing):
    assert cast.technician.is_active  # made before the entries are counted
    before = entries()
    with pytest.raises(NotPrepared, match=missing):
        builders.open_count(cast, **change)
    assert (Inspection.objects.count(), entries()) == (0, before)


def test_everything_that_is_missing_is_said_together(cast):
    with pytest.raises(NotPrepared, match="confirm the cautions; name the work order"):
        builders.open_count(cast, cautions_confirmed=False, work_order="")


@pytest.mark.parametrize("who", ["verifier", "colleague", "releaser", "setter"])
def test_only_who_is_authorised_to_count_opens_one(cast, who):
    with pytest.raises(NotAuthorised, match="holds no authorisation to count for reels of type w28 at Kettle Point"):
        open_by(getattr(cast, who))


def test_to_a_stranger_the_reel_is_not_there(cast):
    with pytest.raises(NotFound):
        open_by(cast.stranger)


def test_a_reel_on_a_machine_is_not_counted(cast):
    builders.make_machine()
    maintenance.install(serial="LW-0001", machine_serial="RM-7", actor=Actor(cast.control), at=later(days=-1))
    with pytest.raises(ReelOnMachine, match="was in machine RM-7"):
        builders.open_count(cast)


def test_a_retired_reel_is_not_counted(cast):
    maintenance.retire(serial="LW-0001", reason="cracked drum", actor=Actor(cast.control), at=NOW)
    with pytest.raises(ReelRetired):
        builders.open_count(cast)


def test_one_count_at_a_time(cast):
    first = builders.open_count(cast)
    with pytest.raises(CountAlreadyOpen, match=f"Inspection {first.pk} of reel LW-0001 is still open"):
        builders.open_count(cast)
    with pytest.raises(IntegrityError), transaction.atomic():
        Inspection.objects.create(
            reel=first.reel, parameters={}, opened_by=cast.technician, recorded_at=NOW, done_at=NOW
        )


# The order of the job -----------------------------------------------------------------------------------------------


def test_a_count_is_keyed_point_by_point_to_its_result(cast):
    inspection = builders.open_count(cast)
    inspection = stories.key_all(cast, inspection)
    assert (inspection.state, inspection.layers, inspection.wraps) == (InspectionState.AWAITING_SIGN_OFF, 12, 10)
    assert inspection.parity == "even"
    assert Keying.objects.count() == 15
    [reading] = inspection.readings.all()
    working: Any = reading.working
    assert (reading.outcome, working["layers"], reading.ended_at) == ("accepted", 12, NOW)


@pytest.mark.parametrize(
    ("point", "agreed"),
    [
        (Point.OPEN_SIDE, []),
        (Point.SCALE_LEFT, [Point.SERIAL]),
        (Point.HAND_COUNT, [Point.SERIAL, Point.OPEN_SIDE, Point.SCALE_LEFT, Point.UNWIND]),
        (Point.GAUGE, [Point.SERIAL, Point.OPEN_SIDE, Point.SCALE_LEFT, Point.SCALE_RIGHT, Point.UNWIND]),
        (
            Point.CROSSOVER,
            [Point.SERIAL, Point.OPEN_SIDE, Point.SCALE_LEFT, Point.SCALE_RIGHT, Point.UNWIND, Point.HAND_COUNT],
        ),
    ],
)
@pytest.mark.parametrize("role", list(Role))
def test_a_step_opens_when_both_agree_on_the_one_before(cast, point, agreed, role):
    inspection = builders.open_count(cast)
    stories.key_both(cast, inspection, *agreed)
    with pytest.raises(PointNotOpen, match="comes later"):
        stories.key(cast, inspection, point, role)
    assert not Keying.objects.filter(point=point).exists()


def test_one_persons_value_opens_nothing(cast):
    inspection = stories.at_the_scales(cast)
    stories.key_both(cast, inspection, Point.SCALE_LEFT, Point.UNWIND)
    stories.key(cast, inspection, Point.SCALE_RIGHT)
    with pytest.raises(PointNotOpen, match="The hand count comes later: both people must first agree on the right"):
        stories.key(cast, inspection, Point.HAND_COUNT)


@pytest.mark.parametrize("role", list(Role))
def test_nobody_keys_a_point_twice_in_one_attempt(cast, role):
    inspection = stories.at_the_scales(cast)
    stories.key(cast, inspection, Point.SCALE_LEFT, role)
    with pytest.raises(AlreadyKeyed):
        stories.key(cast, inspection, Point.SCALE_LEFT, role, scale_left=1)
    row = Keying.objects.get(point=Point.SCALE_LEFT)
    with pytest.raises(IntegrityError), transaction.atomic():
        Keying.objects.bulk_create([copy_of(row)])


def copy_of(row):
    row.pk = None
    return row


def test_what_both_agree_on_is_not_keyed_again(cast):
    inspection = stories.at_the_scales(cast)
    stories.key_both(cast, inspection, Point.SCALE_LEFT)
    with pytest.raises(AlreadyKeyed):
        stories.key(cast, inspection, Point.SCALE_LEFT)


def test_the_verifier_keys_the_hold_points_alone(cast):
    inspection = stories.at_the_scales(cast)
    with pytest.raises(NotYourPoint):
        stories.key(cast, inspection, Point.UNWIND, Role.VERIFIER)


def test_a_value_that_nobody_can_have_read_is_refused_and_keeps_nothing(cast):
    inspection = stories.at_the_scales(cast)
    before = entries()
    with pytest.raises(ImpossibleReading, match="scale_left was -1; allowed: a whole number from 0 to 999"):
        stories.key(cast, inspection, Point.SCALE_LEFT, scale_left=-1)
    assert (Keying.objects.filter(point=Point.SCALE_LEFT).count(), entries()) == (0, before)


# Who keys -----------------------------------------------------------------------------------------------------------


def test_nobody_has_both_roles_however_many_authorisations_they_hold(cast):
    for person in (cast.technician, cast.verifier):
        authorise(person, Act.COUNT)
        authorise(person, Act.VERIFY)
    inspection = stories.at_the_scales(cast)
    stories.key(cast, inspection, Point.SCALE_LEFT, Role.VERIFIER)
    for person, role in ((cast.technician, Role.VERIFIER), (cast.verifier, Role.TECHNICIAN)):
        with pytest.raises(OtherRole, match="nobody has two roles"):
            counting.key(inspection_id=inspection.pk, point=Point.SCALE_RIGHT, role=role,
                         fields={"scale_right": 12}, actor=Actor(person), at=NOW)  # fmt: skip
    with pytest.raises(IntegrityError), transaction.atomic():
        Participant.objects.create(inspection=inspection, person=cast.technician, role=Role.VERIFIER, joined_at=NOW)


@pytest.mark.parametrize(("role", "who"), [(Role.TECHNICIAN, "verifier"), (Role.VERIFIER, "colleague")])
def test_only_who_is_authorised_for_a_role_keys_in_it(cast, role, who):
    inspection = builders.open_count(cast)
    with pytest.raises(NotAuthorised):
        counting.key(inspection_id=inspection.pk, point=Point.SERIAL, role=role, fields={"serial": "LW-0001"},
                     actor=Actor(getattr(cast, who)), at=NOW)  # fmt: skip
    assert Participant.objects.count() == 1


def test_another_shift_takes_over_and_each_value_keeps_who_keyed_it(cast):
    relief = builders.make_person("theo", Act.COUNT, full_name="Theo Vane")
    inspection = stories.at_the_scales(cast)
    stories.key_both(cast, inspection, Point.SCALE_LEFT, Point.SCALE_RIGHT, Point.UNWIND)
    cast.technician, first = relief, cast.technician
    inspection = stories.key_both(cast, inspection, Point.HAND_COUNT, Point.GAUGE, Point.CROSSOVER, at=later(hours=9))
    assert inspection.state == InspectionState.AWAITING_SIGN_OFF
    by = dict(Keying.objects.filter(role=Role.TECHNICIAN).values_list("point", "participant__person__username"))
    assert (by["scale_left"], by["crossover"]) == (first.username, "theo")
    assert builders.sign_both(cast, inspection, later(hours=10)).state == InspectionState.SIGNED


# Whole readings from a file or a script -----------------------------------------------------------------------------


def test_a_whole_reading_at_once_gives_the_same_result(cast):
    inspection = builders.read(cast, builders.open_count(cast))
    assert (inspection.layers, inspection.wraps, inspection.parity) == (12, 10, "even")
    assert set(Keying.objects.values_list("keyed_by__username", flat=True)) == {"tess"}


def test_a_script_may_give_degrees_and_two_people_agree_on_the_half(cast):
    half = {name: value for name, value in GOOD.items() if name != "crossover_half"}
    inspection = record(cast, builders.open_count(cast), {**half, "crossover_deg": 75.5}, {**half, "crossover_deg": 80})
    assert inspection.wraps == 10
    assert [row.value for row in Keying.objects.filter(point=Point.CROSSOVER)] == [{"deg": "75.5"}, {"deg": "80"}]


def record(cast, inspection, technicians, verifiers, actor=None):
    technicians, verifiers = ({"serial": "LW-0001", **each} for each in (technicians, verifiers))
    return counting.record_reading(
        inspection_id=inspection.pk, technician=OnePersonsValues(person=cast.technician, values=technicians),
        verifier=OnePersonsValues(person=cast.verifier, values=verifiers),
        actor=Actor(actor or cast.control, via="token bench"), at=NOW,
    )  # fmt: skip


def test_a_whole_reading_names_two_people_who_are_authorised(cast):
    inspection = builders.open_count(cast)
    cast.verifier = cast.colleague
    with pytest.raises(NotAuthorised, match="Noel Grant holds no authorisation to verify"):
        record(cast, inspection, GOOD, GOOD)
    cast.verifier = cast.technician
    authorise(cast.technician, Act.VERIFY)
    with pytest.raises(OtherRole):
        record(cast, inspection, GOOD, GOOD)
    assert Keying.objects.count() == 0


def test_a_whole_reading_does_not_mix_with_one_that_is_keyed_point_by_point(cast):
    inspection = stories.at_the_scales(cast)
    stories.key(cast, inspection, Point.SCALE_LEFT)
    with pytest.raises(WrongState, match="being keyed point by point"):
        record(cast, inspection, GOOD, GOOD)


def test_a_whole_reading_with_one_bad_value_keeps_nothing(cast):
    inspection = builders.open_count(cast)
    with pytest.raises(ImpossibleReading, match="hand_wraps"):
        record(cast, inspection, GOOD, {**GOOD, "hand_wraps": "twelve"})
    assert (Keying.objects.count(), Participant.objects.count()) == (0, 1)


# From paper ---------------------------------------------------------------------------------------------------------


def test_a_count_from_paper_keeps_when_it_was_done_and_when_it_was_recorded(cast):
    inspection = builders.sign_both(cast, builders.read(cast, builders.open_count(cast, done_at=later(days=-3))))
    assert (inspection.done_at, inspection.recorded_at, inspection.from_paper) == (later(days=-3), NOW, True)


@pytest.mark.parametrize("done_at", [later(seconds=1), later(days=-5000)])
def test_a_count_from_paper_was_done_after_the_reel_came_and_before_now(cast, done_at):
    with pytest.raises(OutOfTime):
        builders.open_count(cast, done_at=done_at)


def test_a_count_from_paper_is_refused_for_a_time_when_the_reel_was_on_a_machine(cast):
    builders.make_machine()
    control: dict[str, Any] = {"serial": "LW-0001", "actor": Actor(cast.control)}
    maintenance.install(machine_serial="RM-7", at=later(days=-5), **control)
    maintenance.remove(at=later(days=-2), reason="to be counted", **control)
    with pytest.raises(ReelOnMachine):
        builders.open_count(cast, done_at=later(days=-3))
    assert builders.open_count(cast, done_at=later(days=-1)).from_paper
