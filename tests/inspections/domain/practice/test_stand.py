"""What is on the stand before a practice reel is read, and how what was entered of it is marked."""

from dataclasses import replace

import pytest

from inspections.domain.findings import ReelPart
from inspections.domain.practice.draws import Difficulty
from inspections.domain.practice.marking import PracticeSheet, mark
from inspections.domain.practice.reels import Trap
from inspections.domain.practice.slips import PracticeSlip, Rule
from inspections.domain.practice.stand import SOUND, StandTrap
from inspections.domain.reading import KeyedReading
from tests.inspections.domain.practice.test_marking import careful, first_reel, found, with_trap
from tests.inspections.domain.practice.test_reels import reels

AS_ORDERED = first_reel()


def on_stand(trap):
    return first_reel(Difficulty.TRICKY, where=lambda reel: reel.stand.trap is trap and not reel.traps & {Trap.UNEVEN})


def of_stand(reel, **changes):
    of_careful = careful(reel).stand
    assert of_careful is not None
    return careful(reel, stand=replace(of_careful, **changes))


@pytest.mark.parametrize(
    ("trap", "rule"),
    [
        (StandTrap.ANOTHER_REEL, Rule.IDENTITY),
        (StandTrap.ANOTHER_GAUGE, Rule.IDENTITY),
        (StandTrap.TO_STOP, Rule.CONDITION),
    ],
)
def test_what_stops_a_count_on_the_stand_is_put_before_somebody_and_nothing_after_it_is_asked(trap, rule):
    reel = on_stand(trap)
    stopped = PracticeSheet(reading=KeyedReading(), stand=careful(reel).stand, refers=True)
    assert found(reel, stopped) == {}
    assert found(reel, careful(reel, refers=False))["refers"] == (rule, PracticeSlip.WENT_ON)


def test_what_is_to_be_watched_is_recorded_and_the_count_goes_on():
    reel = on_stand(StandTrap.TO_WATCH)
    assert (reel.stand.stops, len(reel.stand.unsound)) == (False, 1)
    assert found(reel, of_stand(reel, unsound=frozenset())) == {"unsound": (Rule.CONDITION, PracticeSlip.PASSED_OVER)}
    assert mark(reel, careful(reel)).is_right


@pytest.mark.parametrize(
    ("trap", "field", "told"),
    [(StandTrap.ANOTHER_REEL, "serial", "ordered"), (StandTrap.ANOTHER_GAUGE, "gauge_serial", "listed_gauge")],
)
def test_a_serial_copied_from_paper_is_told_from_one_misread(trap, field, told):
    reel = on_stand(trap)
    copied, misread_ = (of_stand(reel, **{field: serial}) for serial in (getattr(reel.stand, told), "PR-X"))
    assert found(reel, copied)[field] == (Rule.IDENTITY, PracticeSlip.FROM_PAPER)
    assert found(reel, misread_)[field] == (Rule.IDENTITY, PracticeSlip.MISREAD)


def test_case_and_separators_of_a_serial_are_nobodys_slip():
    written = AS_ORDERED.stand.plate.replace("-", " ").lower()
    assert mark(AS_ORDERED, of_stand(AS_ORDERED, serial=written)).is_right


def test_a_sound_part_called_not_sound_is_a_false_alarm():
    alarmed = of_stand(AS_ORDERED, unsound=frozenset({ReelPart.DRUM}))
    assert found(AS_ORDERED, alarmed) == {"unsound": (Rule.CONDITION, PracticeSlip.FALSE_ALARM)}


def test_uneven_winding_may_be_stopped_before_the_scales_and_a_worn_scale_recorded_or_not():
    uneven = with_trap(Trap.UNEVEN)
    assert mark(uneven, PracticeSheet(reading=KeyedReading(), stand=careful(uneven).stand, refers=True)).is_right
    worn = with_trap(Trap.WORN_SCALE)
    for unsound in (worn.stand.unsound, worn.stand.unsound | {ReelPart.SCALES}):
        assert mark(worn, of_stand(worn, unsound=unsound)).is_right


def test_a_plain_reel_is_as_ordered_and_sound_and_about_one_in_four_others_is_not():
    plain = [reel.stand for reel in reels(Difficulty.PLAIN)]
    assert {(stand.plate == stand.ordered, stand.gauge == stand.listed_gauge, stand.trap) for stand in plain} == {
        (True, True, None)
    }
    assert all(stand.seen == SOUND for stand in plain)
    tricky = [reel.stand.trap for reel in reels(Difficulty.TRICKY, n=400)]
    assert {trap for trap in tricky if trap} == set(StandTrap)
    assert 70 < sum(trap is not None for trap in tricky) < 130  # 100 are expected, 8.7 is their standard deviation
    assert {reel.stand.trap for reel in reels(Difficulty.USUAL)} == {None, StandTrap.TO_WATCH}


def test_another_reel_differs_by_one_character():
    stand = on_stand(StandTrap.ANOTHER_REEL).stand
    assert sum(a != b for a, b in zip(stand.plate, stand.ordered, strict=True)) == 1
