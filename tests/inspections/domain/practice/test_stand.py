"""What is on the stand before a practice reel is read, and how what was entered of it is marked."""

from collections import Counter
from dataclasses import replace

import pytest
from scipy.stats import binomtest

from inspections.domain.findings import ReelPart
from inspections.domain.practice.draws import Difficulty
from inspections.domain.practice.marking import PracticeSheet, mark
from inspections.domain.practice.reels import Trap
from inspections.domain.practice.slips import PracticeSlip, Rule
from inspections.domain.practice.stand import SOUND, StandTrap, parts_in_words, practice_stand
from inspections.domain.reading import KeyedReading
from reels.domain.words import Side
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


@pytest.mark.parametrize(
    ("difficulty", "seed", "serials", "trap", "seen"),
    [
        (Difficulty.TRICKY, 0, ("PR-4549", "PR-4549", "PG-76", "PG-76"), None, {}),
        (Difficulty.TRICKY, 1, ("PR-7375", "PR-7375", "PG-80", "PG-79"), StandTrap.ANOTHER_GAUGE, {}),
        (Difficulty.TRICKY, 3, ("PR-3299", "PR-3299", "PG-39", "PG-39"), StandTrap.TO_STOP,
         {ReelPart.DRUM: "one flange cracked from its rim inward"}),
        (Difficulty.TRICKY, 5, ("PR-3393", "PR-3393", "PG-70", "PG-70"), StandTrap.TO_WATCH,
         {ReelPart.CABLE: "armour rubbed bright along a metre of the outermost wrap, no wire broken"}),
        (Difficulty.TRICKY, 21, ("PR-5159", "PR-3159", "PG-75", "PG-75"), StandTrap.ANOTHER_REEL, {}),
        (Difficulty.PLAIN, 21, ("PR-3159", "PR-3159", "PG-75", "PG-75"), None, {}),
    ],
)  # fmt: skip
def test_the_stand_of_a_printed_seed_stays_as_it_was_printed(difficulty, seed, serials, trap, seen):
    stand = practice_stand(difficulty, seed, heaped=None, worn=None)
    assert (stand.ordered, stand.plate, stand.listed_gauge, stand.gauge) == serials
    assert (stand.trap, stand.seen) == (trap, {**SOUND, **seen})
    assert (stand.unsound, stand.either) == (frozenset(seen), frozenset())


@pytest.mark.parametrize("difficulty", [Difficulty.USUAL, Difficulty.TRICKY])
def test_one_stand_in_four_has_something_on_it_and_of_a_usual_reel_only_what_is_watched(difficulty):
    traps = Counter(practice_stand(difficulty, seed, heaped=None, worn=None).trap for seed in range(2000))
    assert binomtest(2000 - traps[None], 2000, 1 / 4).pvalue > 0.001
    assert set(traps) == {None, *((StandTrap.TO_WATCH,) if difficulty is Difficulty.USUAL else StandTrap)}


@pytest.mark.parametrize(
    ("layers", "words"),
    [(1, "heaped at the left flange, 1 layer too high"), (2, "heaped at the left flange, 2 layers too high")],
)
def test_a_heaped_winding_and_a_worn_scale_are_told_where_they_are(layers, words):
    stand = practice_stand(Difficulty.PLAIN, 0, heaped=(Side.LEFT, layers), worn=Side.RIGHT)
    worn = {ReelPart.SCALES: "firm on both flanges, the right one too worn to be read"}
    assert stand.seen == {**SOUND, ReelPart.WINDING: words, **worn}
    assert (stand.unsound, stand.either) == (frozenset({ReelPart.WINDING}), frozenset({ReelPart.SCALES}))


def test_parts_are_named_in_the_order_of_the_bench():
    assert parts_in_words(frozenset({ReelPart.DRUM, ReelPart.CABLE})) == "cable, drum and flanges"
    assert parts_in_words(frozenset()) == ""
