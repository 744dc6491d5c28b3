"""Marking: a careful sheet is right, each kind of slip is found and named, and anything else is told as such."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.domain.drift.records import Slip
from inspections.domain.practice.draws import Difficulty
from inspections.domain.practice.marking import FieldMark, PracticeSheet, _carried, mark
from inspections.domain.practice.reels import PracticeReel, Trap, practice_reel
from inspections.domain.practice.slips import WHY, PracticeSlip, Rule
from inspections.domain.practice.stand import StandSheet
from inspections.domain.reading import Half, KeyedReading, OpenSide, Unwind
from reels.domain.words import Parity, Side
from tests.inspections.domain.counted_reels import BY_SIDE, ON_HOLD, TYPE, at
from tests.inspections.domain.practice.test_reels import ANY_TYPE, DIFFICULTIES, SEEDS

STAND_FIELDS = ["serial", "gauge_serial", "unsound"]
READING_FIELDS = [
    "scale_left", "scale_right", "open_side", "unwind", "hand_wraps", "gauge_face", "gauge_wraps", "crossover",
]  # fmt: skip


def careful(reel: PracticeReel, **changes) -> PracticeSheet:
    answer = reel.answer
    sheet = PracticeSheet(
        reading=reel.reading, layers=answer.layers, wraps=answer.wraps, refers=reel.has_to_refer,
        stand=StandSheet(serial=reel.stand.plate, gauge_serial=reel.stand.gauge, unsound=reel.stand.unsound),
    )  # fmt: skip
    return replace(sheet, **changes)


def misread(reel: PracticeReel, **fields) -> PracticeSheet:
    return PracticeSheet(reading=replace(reel.reading, **fields))


def worked(reel, layers, wraps):
    return careful(reel, layers=layers, wraps=wraps, refers=False)


def found(reel: PracticeReel, sheet: PracticeSheet) -> dict[str, tuple[Rule, PracticeSlip | None]]:
    return {miss.field: (miss.rule, miss.slip) for miss in mark(reel, sheet).missed}


def first_reel(difficulty=Difficulty.PLAIN, parameters=TYPE, where=lambda reel: True):
    return next(r for r in (practice_reel(parameters, difficulty, seed) for seed in range(500)) if where(r))


def with_trap(trap, parameters=TYPE):
    difficulty = Difficulty.USUAL if trap is Trap.WORN_SCALE else Difficulty.TRICKY
    return first_reel(difficulty, parameters, lambda reel: reel.traps == {trap} and not reel.stand.stops)


IN_ARC = first_reel(where=lambda reel: reel.reading.crossover_half is Half.FIRST and reel.drum.layer > 3)
FORWARD = first_reel(where=lambda reel: reel.reading.crossover_half is Half.SECOND and reel.drum.layer > 3)
SCALES = ("scale_left", "scale_right")
OTHER_FACE = IN_ARC.capacity + 1 - IN_ARC.drum.wraps


# Right sheets


@given(ANY_TYPE, DIFFICULTIES, SEEDS)
def test_what_a_careful_person_enters_is_right(parameters, difficulty, seed):
    reel = practice_reel(parameters, difficulty, seed)
    marking = mark(reel, careful(reel))
    assert (marking.is_right, marking.missed) == (True, ())
    if reel.stand.stops:  # a scale that can't be read is as blank as one that was not come to
        return
    assert [m.field for m in marking.marks][:12] == [*STAND_FIELDS, *READING_FIELDS, "refers"]


@given(ANY_TYPE, DIFFICULTIES, SEEDS)
def test_the_crossover_measured_is_as_right_as_its_half(parameters, difficulty, seed):
    reel = practice_reel(parameters, difficulty, seed)
    measured = replace(reel.reading, crossover_half=None, crossover_deg=reel.drum.crossover_deg)
    assert mark(reel, careful(reel, reading=measured)).is_right


def test_who_only_reads_is_marked_on_the_reading_only():
    marking = mark(IN_ARC, PracticeSheet(reading=IN_ARC.reading))
    assert [m.field for m in marking.marks] == READING_FIELDS
    assert marking.is_right


def test_a_scale_that_need_not_be_read_may_be_left_out():
    closed = f"scale_{IN_ARC.reading.open_side}".replace("left", "x").replace("right", "left").replace("x", "right")
    assert mark(IN_ARC, misread(IN_ARC, **{closed: None})).is_right


def test_who_stops_at_uneven_scales_may_leave_the_rest_blank():
    reel = with_trap(Trap.UNEVEN)
    scales = KeyedReading(scale_left=reel.reading.scale_left, scale_right=reel.reading.scale_right)
    assert mark(reel, PracticeSheet(reading=scales, refers=True)).is_right
    assert found(reel, PracticeSheet(reading=scales))["hand_wraps"] == (Rule.WRAPS, PracticeSlip.LEFT_OUT)


def test_a_held_count_may_come_with_what_it_proposes():
    reel = with_trap(Trap.FLUSH, parameters=ON_HOLD)
    proposed = reel.answer.proposed
    assert mark(reel, careful(reel, layers=proposed.layers, wraps=proposed.wraps)).is_right


# Slips of reading


@pytest.mark.parametrize("off", [-2, -1, 1, 2])
def test_a_scale_off_by_one_or_two_is_misread(off):
    field = f"scale_{IN_ARC.reading.open_side}"
    sheet = misread(IN_ARC, **{field: getattr(IN_ARC.reading, field) + off})
    assert found(IN_ARC, sheet) == {field: (Rule.LAYERS, PracticeSlip.SCALE)}


@pytest.mark.parametrize(
    ("fields", "slips"),
    [
        ({"scale_left": IN_ARC.reading.scale_left + 3}, {"scale_left": (Rule.LAYERS, PracticeSlip.ANYTHING)}),
        ({"scale_left": 99}, {"scale_left": (Rule.LAYERS, PracticeSlip.ANYTHING)}),
        (dict.fromkeys(SCALES), dict.fromkeys(SCALES, (Rule.LAYERS, PracticeSlip.LEFT_OUT))),
        ({"open_side": OpenSide.NONE}, {"open_side": (Rule.PARITY, PracticeSlip.OPEN_SIDE)}),
        ({"hand_wraps": IN_ARC.drum.wraps + 1}, {"hand_wraps": (Rule.WRAPS, PracticeSlip.ONE_WRAP)}),
        ({"hand_wraps": IN_ARC.drum.wraps - 3}, {"hand_wraps": (Rule.WRAPS, PracticeSlip.NEARBY)}),
        ({"hand_wraps": OTHER_FACE}, {"hand_wraps": (Rule.WRAPS, PracticeSlip.WRONG_FACE)}),
        ({"hand_wraps": IN_ARC.last.wraps}, {"hand_wraps": (Rule.WRAPS, PracticeSlip.COPIED)}),
        ({"hand_wraps": 99}, {"hand_wraps": (Rule.WRAPS, PracticeSlip.ANYTHING)}),
        ({"hand_wraps": None}, {"hand_wraps": (Rule.WRAPS, PracticeSlip.LEFT_OUT)}),
        ({"gauge_wraps": IN_ARC.drum.wraps - 1}, {"gauge_wraps": (Rule.WRAPS, PracticeSlip.ONE_WRAP)}),
        ({"gauge_wraps": OTHER_FACE}, {"gauge_wraps": (Rule.WRAPS, PracticeSlip.WRONG_FACE)}),
        ({"crossover_half": Half.SECOND}, {"crossover": (Rule.CROSSOVER, PracticeSlip.HALVES)}),
        ({"crossover_half": None}, {"crossover": (Rule.CROSSOVER, PracticeSlip.LEFT_OUT)}),
    ],
)  # fmt: skip
def test_each_slip_of_reading_is_named_with_its_rule(fields, slips):
    assert found(IN_ARC, misread(IN_ARC, **fields)) == slips


def test_the_open_side_and_the_unwind_direction_confused_are_told():
    confused = {
        "open_side": OpenSide(Side(IN_ARC.reading.open_side).other),
        "unwind": next(way for way in Unwind if way is not IN_ARC.reading.unwind),
    }
    assert found(IN_ARC, misread(IN_ARC, **confused)) == dict.fromkeys(confused, (Rule.PARITY, PracticeSlip.OPEN_SIDE))


def test_left_and_right_exchanged_throughout_is_one_slip():
    exchanged = {
        "scale_left": IN_ARC.reading.scale_right,
        "scale_right": IN_ARC.reading.scale_left,
        "open_side": OpenSide(Side(IN_ARC.reading.open_side).other),
        "unwind": next(way for way in Unwind if way is not IN_ARC.reading.unwind),
    }
    assert {slip for _, slip in found(IN_ARC, misread(IN_ARC, **exchanged)).values()} == {PracticeSlip.SIDES}


def test_the_wrong_face_and_what_it_reads_are_one_slip():
    face = IN_ARC.reading.gauge_face.other
    sheet = misread(IN_ARC, gauge_face=face, gauge_wraps=IN_ARC.gauge[face])
    assert found(IN_ARC, sheet) == dict.fromkeys(("gauge_face", "gauge_wraps"), (Rule.WRAPS, PracticeSlip.WRONG_FACE))


def test_where_the_faces_look_alike_a_wrap_off_is_the_face_on_the_gauge_and_the_count_by_hand():
    reel = first_reel(Difficulty.USUAL, where=lambda r: abs(r.gauge[Parity.ODD] - r.gauge[Parity.EVEN]) == 1)
    other = reel.gauge[reel.reading.gauge_face.other]
    assert found(reel, misread(reel, gauge_wraps=other)) == {"gauge_wraps": (Rule.WRAPS, PracticeSlip.WRONG_FACE)}
    assert found(reel, misread(reel, hand_wraps=other)) == {"hand_wraps": (Rule.WRAPS, PracticeSlip.ONE_WRAP)}


def test_a_number_on_a_scale_that_nobody_can_read_is_made_up_even_if_true():
    reel = with_trap(Trap.WORN_SCALE)
    field = f"scale_{reel.drum.worn_side}"
    assert found(reel, misread(reel, **{field: reel.levels[reel.drum.worn_side]})) == {
        field: (Rule.LAYERS, PracticeSlip.MADE_UP)
    }


def test_the_open_sides_scale_may_not_be_left_out_even_when_the_reel_is_referred():
    reel = with_trap(Trap.ON_LIMIT)
    field = f"scale_{reel.reading.open_side}"
    assert found(reel, misread(reel, **{field: None})) == {field: (Rule.LAYERS, PracticeSlip.LEFT_OUT)}


@pytest.mark.parametrize(
    ("true_deg", "entered", "slip"),
    [
        (90.0, 97.0, None),
        (90.0, 100.0, None),
        (90.0, 101.0, PracticeSlip.ANYTHING),
        (200.0, 260.0, PracticeSlip.ANYTHING),
        (90.0, 120.0, PracticeSlip.ANYTHING),
        (90.0, 270.0, PracticeSlip.HALVES),  # seen from the wrong side
        (176.0, 183.0, PracticeSlip.HALVES),
        (5.0, 0.0, PracticeSlip.LIMIT),
        (360.0, 0.0, None),
        (360.0, 4.0, PracticeSlip.LIMIT),
        (360.0, 356.0, PracticeSlip.LIMIT),
    ],
)
def test_degrees_are_right_when_close_and_on_the_right_side_of_the_limits(true_deg, entered, slip):
    reel = replace(IN_ARC, drum=replace(IN_ARC.drum, crossover_deg=true_deg), reading=at(true_deg, IN_ARC.reading))
    sheet = PracticeSheet(reading=at(entered, IN_ARC.reading))
    assert found(reel, sheet).get("crossover") == (None if slip is None else (Rule.CROSSOVER, slip))


def test_a_half_keyed_where_none_can_be_told_or_where_it_is_not_enough_is_a_miss():
    on_limit = with_trap(Trap.ON_LIMIT)
    keyed = replace(on_limit.reading, crossover_deg=None, crossover_half=Half.SECOND)
    assert found(on_limit, PracticeSheet(reading=keyed)) == {"crossover": (Rule.CROSSOVER, PracticeSlip.LIMIT)}
    divided = first_reel(parameters=replace(TYPE, arc_to_deg=120), where=lambda r: r.drum.crossover_deg < 180)
    keyed = replace(divided.reading, crossover_deg=None, crossover_half=Half.FIRST)
    assert found(divided, PracticeSheet(reading=keyed)) == {"crossover": (Rule.CROSSOVER, PracticeSlip.LEFT_OUT)}


def test_degrees_just_past_where_the_arc_ends_are_a_miss_at_the_limit():
    past = replace(TYPE, arc_to_deg=120)
    reel = replace(
        IN_ARC, parameters=past, drum=replace(IN_ARC.drum, crossover_deg=115.0), reading=at(115.0, IN_ARC.reading)
    )
    sheet = PracticeSheet(reading=at(122.0, IN_ARC.reading))
    assert found(reel, sheet) == {"crossover": (Rule.CROSSOVER, PracticeSlip.LIMIT)}


def test_the_fields_of_a_flush_reel_stand_under_its_own_rule():
    reel = first_reel(Difficulty.TRICKY, BY_SIDE, lambda r: Trap.FLUSH in r.traps)
    rules = {m.rule for m in mark(reel, careful(reel)).marks if m.field not in ("refers", "crossover", *STAND_FIELDS)}
    assert rules == {Rule.FLUSH}


# Slips of working


LAYERS, WRAPS = IN_ARC.answer.layers, IN_ARC.answer.wraps


@pytest.mark.parametrize(
    ("reel", "layers", "wraps", "slip"),
    [
        (IN_ARC, LAYERS, IN_ARC.drum.wraps - 1, (Rule.CROSSOVER, PracticeSlip.CORRECTION)),  # one correction forgotten
        (IN_ARC, LAYERS, IN_ARC.drum.wraps, (Rule.CROSSOVER, PracticeSlip.CORRECTION)),  # both
        (IN_ARC, LAYERS, WRAPS - 1, (Rule.CROSSOVER, PracticeSlip.CORRECTION)),  # one made twice
        (FORWARD, FORWARD.answer.layers, FORWARD.drum.wraps, (Rule.LEAD, PracticeSlip.CORRECTION)),
        (IN_ARC, LAYERS + 1, WRAPS, (Rule.LAYERS, PracticeSlip.SCALE)),  # the part layer counted as a full one
        (IN_ARC, LAYERS - 2, WRAPS, (Rule.LAYERS, PracticeSlip.SCALE)),
        (IN_ARC, LAYERS, OTHER_FACE - 2, (Rule.WRAPS, PracticeSlip.WRONG_FACE)),
        (IN_ARC, IN_ARC.last.layers, IN_ARC.last.wraps, (Rule.WRAPS, PracticeSlip.COPIED)),
        (IN_ARC, LAYERS, WRAPS + 3, (Rule.LEAD, PracticeSlip.NEARBY)),
        (IN_ARC, LAYERS - 1, WRAPS + IN_ARC.parameters.capacity(LAYERS), (Rule.STEP_DOWN, PracticeSlip.CARRY)),
        (IN_ARC, 1, 1, (Rule.LEAD, PracticeSlip.ANYTHING)),
    ],
)  # fmt: skip
def test_each_slip_of_working_is_named_with_its_rule(reel, layers, wraps, slip):
    assert set(found(reel, worked(reel, layers, wraps)).values()) == {slip}


def test_where_a_correction_explains_no_single_wrap_one_wrap_off_is_told():
    no_lead = replace(TYPE, lead_wraps=0)
    reel = first_reel(parameters=no_lead, where=lambda r: r.reading.crossover_half is Half.SECOND)
    answer = reel.answer
    assert found(reel, worked(reel, answer.layers, answer.wraps + 1)) == {"wraps": (Rule.LEAD, PracticeSlip.ONE_WRAP)}


def test_a_step_down_not_made_is_told():
    reel = with_trap(Trap.STEPS_DOWN)
    full = reel.drum.layer - 1
    assert reel.answer.layers == full - 1
    for wraps in (0, 1, reel.answer.wraps):
        assert set(found(reel, worked(reel, full, wraps)).values()) <= {
            (Rule.STEP_DOWN, PracticeSlip.CARRY),
            (Rule.CROSSOVER, PracticeSlip.CORRECTION),  # a wrap fewer taken off gives 0, too
        }
    assert found(reel, worked(reel, full, reel.answer.wraps)) == {"layers": (Rule.STEP_DOWN, PracticeSlip.CARRY)}


def test_a_correction_made_twice_is_told_across_the_layer_below():
    reel = with_trap(Trap.STEPS_DOWN)
    twice = worked(reel, reel.answer.layers, reel.answer.wraps - 1)
    assert found(reel, twice) == {"wraps": (Rule.CROSSOVER, PracticeSlip.CORRECTION)}


def test_what_each_slip_at_a_step_down_would_have_given_is_told():
    reel = with_trap(Trap.STEPS_DOWN)
    full, layers, wraps = reel.drum.layer - 1, reel.answer.layers, reel.answer.wraps
    right, neighbour = reel.parameters.capacity(layers + 1), reel.parameters.capacity(full + 1)
    assert (layers, right - neighbour) == (full - 1, 1 if right > neighbour else -1)  # two kinds of layer in turn
    for mistaken in ((full, wraps), (layers, wraps - right + neighbour)):
        assert (Rule.STEP_DOWN, PracticeSlip.CARRY) in found(reel, worked(reel, *mistaken)).values(), mistaken


def test_a_part_layer_that_comes_out_full_is_a_full_layer_and_less_than_nothing_comes_off_the_one_below():
    capacity = TYPE.capacity(3)
    assert [_carried(TYPE, 2, capacity + off) for off in (-1, 0, 1)] == [(2, capacity - 1), (3, 0), (3, 1)]
    assert [_carried(TYPE, 2, wraps) for wraps in (1, 0, -1)] == [(2, 1), (2, 0), (1, TYPE.capacity(2) - 1)]
    assert _carried(TYPE, 0, -1) == (0, -1)  # nothing is below the first layer


def test_a_wrong_count_of_a_reading_left_blank_is_explained_by_the_working():
    blank = replace(IN_ARC.reading, hand_wraps=None)
    sheet = careful(IN_ARC, reading=blank, wraps=IN_ARC.drum.wraps)
    assert found(IN_ARC, sheet)["wraps"] == (Rule.CROSSOVER, PracticeSlip.CORRECTION)


def test_right_working_of_a_wrong_reading_is_explained_by_the_reading():
    counted = IN_ARC.drum.wraps + 1
    sheet = careful(IN_ARC, reading=replace(IN_ARC.reading, hand_wraps=counted, gauge_wraps=counted), wraps=WRAPS + 1)
    assert set(found(IN_ARC, sheet).values()) == {(Rule.WRAPS, PracticeSlip.ONE_WRAP)}


@pytest.mark.parametrize(
    ("trap", "rule"),
    [
        (Trap.UNEVEN, Rule.LAYERS),
        (Trap.ON_LIMIT, Rule.CROSSOVER),
        (Trap.FLUSH, Rule.FLUSH),
        (Trap.STEPS_DOWN, Rule.STEP_DOWN),
    ],
)
def test_going_on_with_what_has_to_be_referred_is_told(trap, rule):
    reel = with_trap(trap, parameters=ON_HOLD)
    assert found(reel, careful(reel, refers=False))["refers"] == (rule, PracticeSlip.WENT_ON)


def test_stopping_for_nothing_is_told_and_the_numbers_are_not_asked_for():
    sheet = careful(IN_ARC, layers=None, wraps=None, refers=True)
    assert found(IN_ARC, sheet) == {"refers": (Rule.CROSSOVER, PracticeSlip.STOPPED)}


def test_numbers_entered_with_a_referral_are_marked_as_well():
    reel = with_trap(Trap.FLUSH, parameters=ON_HOLD)
    proposed = reel.answer.proposed
    sheet = careful(reel, layers=proposed.layers, wraps=proposed.wraps - 3)
    assert found(reel, sheet) == {"wraps": (Rule.FLUSH, PracticeSlip.NEARBY)}


def test_half_of_what_is_proposed_is_left_out_whichever_half_it_is():
    reel = with_trap(Trap.FLUSH, parameters=ON_HOLD)
    proposed = reel.answer.proposed
    only_layers = careful(reel, layers=proposed.layers, wraps=None)
    only_wraps = careful(reel, layers=None, wraps=proposed.wraps)
    assert found(reel, only_layers) == {"wraps": (Rule.FLUSH, PracticeSlip.LEFT_OUT)}
    assert found(reel, only_wraps) == {"layers": (Rule.FLUSH, PracticeSlip.LEFT_OUT)}


def test_half_an_answer_is_left_out():
    assert found(IN_ARC, careful(IN_ARC, wraps=None)) == {"wraps": (Rule.LEAD, PracticeSlip.LEFT_OUT)}


# What every mark promises


def test_every_slip_that_the_drift_model_knows_is_practised():
    assert {slip.value for slip in Slip} - {"none"} <= {slip.value for slip in PracticeSlip}


def test_every_slip_has_one_sentence_on_why_it_matters():
    assert set(WHY) == set(PracticeSlip)
    assert all(why.endswith(".") and why.count(". ") == 0 for why in WHY.values())


def test_a_mark_says_what_was_entered_what_is_right_and_why_it_matters():
    (miss,) = mark(IN_ARC, misread(IN_ARC, hand_wraps=IN_ARC.drum.wraps + 1)).missed
    assert miss == FieldMark(
        field="hand_wraps", rule=Rule.WRAPS, entered=IN_ARC.drum.wraps + 1, right=IN_ARC.drum.wraps,
        slip=PracticeSlip.ONE_WRAP, why=WHY[PracticeSlip.ONE_WRAP],
    )  # fmt: skip


ANY_ENTRY = st.builds(
    PracticeSheet,
    reading=st.builds(
        KeyedReading,
        scale_left=st.none() | st.integers(0, 14), scale_right=st.none() | st.integers(0, 14),
        open_side=st.none() | st.sampled_from(OpenSide), unwind=st.none() | st.sampled_from(Unwind),
        hand_wraps=st.none() | st.integers(-1, 50), gauge_face=st.none() | st.sampled_from(Parity),
        gauge_wraps=st.none() | st.integers(-1, 50),
        crossover_deg=st.none() | st.sampled_from([0, 10, 90, 180, 270, 360]),
    ),
    layers=st.none() | st.integers(-1, 14), wraps=st.none() | st.integers(-1, 50), refers=st.none() | st.booleans(),
)  # fmt: skip


@given(ANY_TYPE, DIFFICULTIES, SEEDS, ANY_ENTRY)
def test_whatever_is_entered_each_wrong_field_gets_a_slip_and_no_right_one_does(parameters, difficulty, seed, sheet):
    reel = practice_reel(parameters, difficulty, seed)
    for m in mark(reel, sheet).marks:
        assert (m.why is None) is m.is_right
        if m.field not in ("crossover", "scale_left", "scale_right"):
            assert m.is_right is (m.entered == m.right), m
