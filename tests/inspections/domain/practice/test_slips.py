"""Each slip that the drift model knows, made on practice reels: it shows there, is named alike, and is the same slip.

The sheet with the slip is marked by practice/marking.py; the numbers that come of it stand in the middle of a steady
history, of which the drift model is asked what it thinks of that one count.
"""

from dataclasses import replace

import pytest

from inspections.domain.drift import CountSeen, ReelHistory, Slip, assess
from inspections.domain.drift.records import SLIP_WORDS, SLIPS
from inspections.domain.practice.draws import Difficulty
from inspections.domain.practice.marking import PracticeSheet, mark
from inspections.domain.practice.reels import PracticeReel
from inspections.domain.practice.slips import PracticeSlip, Rule
from inspections.domain.practice.stand import StandTrap
from inspections.domain.practice.words import (
    FIELD_NAMES,
    RULE_NAMES,
    SLIP_NAMES,
    STAND_TRAP_NAMES,
    TRAP_NAMES,
    value_in_words,
)
from inspections.domain.reading import Outcome
from reels.domain.winding import length_m
from tests.inspections.domain.counted_reels import TYPE
from tests.inspections.domain.drift.small_reels import DRUM, cut, day
from tests.inspections.domain.practice.test_reels import reels
from tests.reels.domain.test_reel_figures import DRUM as DRAWN

PRACTISED = replace(TYPE, max_layers=DRUM.max_layers)
KINDS = [slip for slip in SLIPS if slip is not Slip.NONE]
# by the numbers alone a wrap off and a correction can't be told apart
ALIKE = {Slip.ONE_WRAP: {Slip.ONE_WRAP, Slip.CORRECTION}, Slip.CORRECTION: {Slip.ONE_WRAP, Slip.CORRECTION}}


def with_slip(reel: PracticeReel, slip: Slip) -> PracticeSheet:
    """A sheet of somebody who makes this slip and everything else right."""
    right, answer = reel.reading, reel.answer
    assert answer.layers is not None
    assert answer.wraps is not None
    assert right.hand_wraps is not None
    assert right.gauge_face is not None
    taken_off = reel.drum.wraps - answer.wraps
    match slip:
        case Slip.ONE_WRAP:
            return _misread(reel, right.hand_wraps + 1, answer.wraps + 1)
        case Slip.NEARBY:
            return _misread(reel, right.hand_wraps + 3, answer.wraps + 3)
        case Slip.WRONG_FACE:
            face = right.gauge_face.other
            sheet = _misread(reel, reel.gauge[face], reel.gauge[face] - taken_off)
            return replace(sheet, reading=replace(sheet.reading, gauge_face=face))
        case Slip.CORRECTION:
            return _set(reel, answer.layers, answer.wraps + 1)
        case Slip.SCALE:
            return _set(reel, answer.layers + 1, answer.wraps)
        case Slip.COPIED:
            return _set(reel, reel.last.layers, reel.last.wraps)
    return _set(reel, 1, 1)


def _misread(reel: PracticeReel, seen: int, wraps: int) -> PracticeSheet:
    reading = replace(reel.reading, hand_wraps=seen, gauge_wraps=seen)
    return PracticeSheet(reading=reading, layers=reel.answer.layers, wraps=wraps, refers=False)


def _set(reel: PracticeReel, layers: int, wraps: int) -> PracticeSheet:
    return PracticeSheet(reading=reel.reading, layers=layers, wraps=wraps, refers=False)


def fit(reel: PracticeReel) -> bool:
    """With room on the layer for every slip, and with each slip giving numbers of its own."""
    answer, middle = reel.answer, (reel.capacity + 1) / 2
    return (
        answer.outcome is Outcome.ACCEPTED and 6 <= reel.drum.layer <= 14 and 5 <= reel.drum.wraps <= reel.capacity - 5
        and abs(reel.drum.wraps - middle) > 3
    )  # fmt: skip


REELS = [reel for reel in reels(Difficulty.PLAIN, PRACTISED, 60) if fit(reel)][:4]


@pytest.mark.parametrize("slip", KINDS)
@pytest.mark.parametrize("reel", REELS, ids=lambda reel: f"seed {reel.seed}")
def test_a_slip_that_the_drift_model_knows_is_marked_as_that_slip(reel, slip):
    named = {miss.slip for miss in mark(reel, with_slip(reel, slip)).missed}
    assert named == {PracticeSlip(slip.value)}
    assert {SLIP_NAMES[each] for each in named if each} == {SLIP_WORDS[slip]}


@pytest.mark.parametrize("slip", [slip for slip in KINDS if slip is not Slip.COPIED])
def test_what_comes_of_it_is_the_same_slip_to_the_drift_model(slip):
    reel = REELS[0]
    sheet, truth = with_slip(reel, slip), (reel.answer.layers, reel.answer.wraps)
    belief = believed([truth] * 4, (sheet.layers, sheet.wraps), [truth] * 4)
    assert belief.likeliest_slip in ALIKE.get(slip, {slip})
    assert (belief.p_slip > 0.5) is (slip not in ALIKE)  # a single wrap is looseness at least as likely


def test_numbers_copied_after_a_cut_are_that_slip_to_the_drift_model():
    reel = next(r for r in REELS if r.last.layers > r.answer.layers)
    last, truth = (reel.last.layers, reel.last.wraps), (reel.answer.layers, reel.answer.wraps)
    sheet = with_slip(reel, Slip.COPIED)
    belief = believed([last] * 4, (sheet.layers, sheet.wraps), [truth] * 4, is_cut=True)
    assert belief.likeliest_slip is Slip.COPIED


def believed(before, count, after, *, is_cut=False):
    """What the drift model thinks of one count between two steady stretches, with the cut before it logged or none."""
    counts = [CountSeen(at=day(30 * i), layers=a, wraps=b) for i, (a, b) in enumerate([*before, count, *after])]
    lost = length_m([before[0][0]], [before[0][1]], DRUM)[0] - length_m([after[0][0]], [after[0][1]], DRUM)[0]
    cuts = (cut(30 * len(before) - 15, float(lost)),) if is_cut else ()
    return assess(ReelHistory(reel="P-1", drum=DRUM, counts=tuple(counts), cuts=cuts)).counts[len(before)]


# In words


def test_codes_are_those_that_results_were_kept_with():
    slips = "one_wrap correction scale wrong_face nearby copied open_side from_paper misread passed_over false_alarm"
    slips += " sides halves limit carry left_out made_up went_on stopped anything"
    assert [each.value for each in PracticeSlip] == slips.split()
    rules = "identity condition layers parity wraps flush crossover lead step_down"
    assert [each.value for each in Rule] == rules.split()


def test_everything_that_a_marking_can_name_has_its_words():
    assert set(SLIP_NAMES) == set(PracticeSlip)
    assert set(RULE_NAMES) == set(Rule)
    assert {trap for reel in reels(Difficulty.TREACHEROUS) for trap in reel.traps} <= set(TRAP_NAMES)
    assert set(STAND_TRAP_NAMES) == set(StandTrap)
    marked = {each.field for each in mark(REELS[0], with_slip(REELS[0], Slip.ANYTHING)).marks}
    assert marked | {"serial", "gauge_serial", "unsound"} == set(FIELD_NAMES)


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("scale_left", None, "cannot be read"),
        ("hand_wraps", None, "nothing"),
        ("hand_wraps", 12, "12"),
        ("unwind", "left_to_right", "left to right"),
        ("crossover", "first", "first half: the forward side of the drum"),
        ("gauge_face", "odd", "odd"),
        ("crossover", 360.0, "on the scale line itself"),
        ("crossover", 75.5, "at 75.5°"),
        ("refers", True, "put it before an authorised person"),
        ("refers", False, "set the machine to these"),
    ],
)
def test_a_value_is_told_as_people_say_it(field, value, words):
    assert value_in_words(field, value, DRAWN) == words
