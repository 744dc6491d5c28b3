"""Marking a practice sheet: each field right or wrong, the rule it belongs to, and the slip that explains it.

A trainee enters what they see and, if they wish, what they make of it: setup values, or that they would stop and put
the reel before an authorised person. A wrong number is compared with what each kind of slip would have given; the
first that fits, in the order here, is named. That is an explanation, not proof: two slips may give one number.
Source: common practice, no published source; the kinds of slip are our own.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from inspections.domain.counting import Count, Unusual, Working, work_out
from inspections.domain.findings import ReelPart
from inspections.domain.keying import same_serial
from inspections.domain.practice.reels import PracticeReel
from inspections.domain.practice.slips import WHY, PracticeSlip, Rule
from inspections.domain.practice.stand import StandSheet, StandTrap, parts_in_words
from inspections.domain.reading import FULL_TURN_DEG, Half, KeyedReading, RuleParameters
from inspections.domain.reading_rules import not_keyed, takes_a_wrap_off
from reels.domain.words import Side

MEASURED_WITHIN_DEG = 10.0
NEARBY_WRAPS = 3
MISREAD_LAYERS = 2

Value = str | int | float | bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticeSheet:
    """What a trainee entered.

    layers, wraps, refers: what they make of it; all None when only the reading is practised. refers: whether they
    would stop and put the reel before an authorised person. stand: of what is found before; None when that is not
    practised.
    """

    reading: KeyedReading
    stand: StandSheet | None = None
    layers: int | None = None
    wraps: int | None = None
    refers: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldMark:
    """One field of a sheet; slip and why are None when it is right.

    field: of the reading (`crossover` for half or degrees), or layers, wraps, refers. right: what a careful person
    enters; a scale that need not be read may also be left out.
    """

    field: str
    rule: Rule
    entered: Value
    right: Value
    slip: PracticeSlip | None = None
    why: str | None = None

    @property
    def is_right(self) -> bool:
        """Whether nothing is wrong with it."""
        return self.slip is None


@dataclass(frozen=True, slots=True, kw_only=True)
class Marking:
    """A sheet marked, in the order of the bench."""

    marks: tuple[FieldMark, ...]

    @property
    def is_right(self) -> bool:
        """Whether every field is right."""
        return all(mark.is_right for mark in self.marks)

    @property
    def missed(self) -> tuple[FieldMark, ...]:
        """The fields that are wrong."""
        return tuple(mark for mark in self.marks if not mark.is_right)


def mark(reel: PracticeReel, sheet: PracticeSheet) -> Marking:
    """Every field of a sheet marked against the reel.

    A trainee who stops a reel that has to be stopped may leave blank what comes after: everything, when it is the stand
    that stops it or the winding was recorded there as not sound; else what is past the scales of uneven winding.
    Source: common practice, no published source; the explanations are our own.
    """
    marks = [*_stand_marks(reel, sheet.stand), *_reading_marks(reel, sheet)]
    if (sheet.layers, sheet.wraps, sheet.refers) != (None, None, None):
        marks += _result_marks(reel, sheet, next((mark for mark in marks if not mark.is_right), None))
    return Marking(marks=tuple(marks))


def _marked(field: str, rule: Rule, entered: Value, right: Value, slip: PracticeSlip | None) -> FieldMark:
    return FieldMark(field=field, rule=rule, entered=entered, right=right, slip=slip, why=WHY[slip] if slip else None)


# The stand ----------------------------------------------------------------------------------------------------------


def _stand_marks(reel: PracticeReel, sheet: StandSheet | None) -> Iterator[FieldMark]:
    if sheet is None:
        return
    stand = reel.stand
    for field, entered, right, elsewhere in (
        ("serial", sheet.serial, stand.plate, stand.ordered),
        ("gauge_serial", sheet.gauge_serial, stand.gauge, stand.listed_gauge),
    ):
        slip = None
        if not same_serial(entered, right):
            slip = PracticeSlip.FROM_PAPER if same_serial(entered, elsewhere) else PracticeSlip.MISREAD
        yield _marked(field, Rule.IDENTITY, entered, right, slip)
    missing, more = stand.unsound - sheet.unsound, sheet.unsound - stand.unsound - stand.either
    slip = PracticeSlip.PASSED_OVER if missing else PracticeSlip.FALSE_ALARM if more else None
    yield _marked("unsound", Rule.CONDITION, parts_in_words(sheet.unsound), parts_in_words(stand.unsound), slip)


def _stops_at_the_stand(reel: PracticeReel, sheet: PracticeSheet) -> bool:
    """Whether the trainee stopped a reel for what was found before any reading."""
    saw_heap = sheet.stand is not None and ReelPart.WINDING in sheet.stand.unsound & reel.stand.unsound
    return bool(sheet.refers) and (reel.stand.stops or saw_heap)


# The reading --------------------------------------------------------------------------------------------------------

RULES = {
    "scale_left": Rule.LAYERS,
    "scale_right": Rule.LAYERS,
    "open_side": Rule.PARITY,
    "unwind": Rule.PARITY,
    "hand_wraps": Rule.WRAPS,
    "gauge_face": Rule.WRAPS,
    "gauge_wraps": Rule.WRAPS,
}
SCALES = {"scale_left": Side.LEFT, "scale_right": Side.RIGHT}


def _reading_marks(reel: PracticeReel, sheet: PracticeSheet) -> Iterator[FieldMark]:
    stops_at_stand = _stops_at_the_stand(reel, sheet)
    stops_at_scales = stops_at_stand or (bool(sheet.refers) and reel.drum.heaped_side is not None)
    is_flush = reel.drum.wraps == reel.capacity
    for field, rule in RULES.items():
        entered, right = getattr(sheet.reading, field), getattr(reel.reading, field)
        if stops_at_scales and entered is None and (stops_at_stand or field not in SCALES):
            continue
        slip = _reading_slip(reel, sheet.reading, field)
        yield _marked(field, Rule.FLUSH if is_flush else rule, entered, right, slip)
    entered = sheet.reading.crossover
    if not (stops_at_scales and entered is None):
        slip = _crossover_slip(reel, sheet.reading)
        yield _marked("crossover", Rule.CROSSOVER, entered, reel.reading.crossover, slip)


def _reading_slip(reel: PracticeReel, reading: KeyedReading, field: str) -> PracticeSlip | None:
    entered, right = getattr(reading, field), getattr(reel.reading, field)
    if field in SCALES:
        return _scale_slip(reel, reading, field)
    if entered == right:
        return None
    if entered is None:
        return PracticeSlip.LEFT_OUT
    if field in ("open_side", "unwind"):
        return PracticeSlip.SIDES if _sides_exchanged(reel, reading) else PracticeSlip.OPEN_SIDE
    return PracticeSlip.WRONG_FACE if field == "gauge_face" else _wraps_slip(reel, reading, field)


def _scale_slip(reel: PracticeReel, reading: KeyedReading, field: str) -> PracticeSlip | None:
    entered, right = getattr(reading, field), getattr(reel.reading, field)
    if entered is None:
        return None if right is None or _may_leave_out(reel, reading) else PracticeSlip.LEFT_OUT
    if right is None:
        return PracticeSlip.MADE_UP
    if entered == right:
        return None
    if _sides_exchanged(reel, reading):
        return PracticeSlip.SIDES
    return PracticeSlip.SCALE if abs(entered - right) <= MISREAD_LAYERS else PracticeSlip.ANYTHING


def _may_leave_out(reel: PracticeReel, reading: KeyedReading) -> bool:
    """Whether the scales that were left out change nothing."""
    blanks = {field: None for field in SCALES if getattr(reading, field) is None}
    without = work_out(reel.parameters, replace(reel.reading, **blanks))
    return _outcome(without) == _outcome(reel.answer)


def _outcome(working: Working) -> tuple[tuple[str, ...], Count | None, int | None, int | None]:
    codes = tuple(problem.code for problem in working.problems)
    return codes, working.proposed, working.layers, working.wraps


def _sides_exchanged(reel: PracticeReel, reading: KeyedReading) -> bool:
    levels = reel.levels
    seen = (reading.scale_left, reading.scale_right)
    return levels[Side.LEFT] != levels[Side.RIGHT] and seen == (levels[Side.RIGHT], levels[Side.LEFT])


def _wraps_slip(reel: PracticeReel, reading: KeyedReading, field: str) -> PracticeSlip:
    """Hand counts go astray by a wrap before they go by the other flange; the gauge the other way round."""
    entered = getattr(reading, field)
    off, other_face = abs(entered - reel.drum.wraps), reel.capacity + 1 - reel.drum.wraps
    fits = {
        PracticeSlip.ONE_WRAP: off == 1,
        PracticeSlip.WRONG_FACE: entered == other_face,
        PracticeSlip.COPIED: entered == reel.last.wraps,
        PracticeSlip.NEARBY: off <= NEARBY_WRAPS,
    }
    if field == "gauge_wraps" and fits[PracticeSlip.WRONG_FACE]:
        return PracticeSlip.WRONG_FACE
    return next((slip for slip, it_fits in fits.items() if it_fits), PracticeSlip.ANYTHING)


# The crossover ------------------------------------------------------------------------------------------------------


def _crossover_slip(reel: PracticeReel, reading: KeyedReading) -> PracticeSlip | None:
    true_deg, deg, half = reel.drum.crossover_deg, reading.crossover_deg, reading.crossover_half
    if deg is None and half is None:
        return PracticeSlip.LEFT_OUT
    should_come_off = takes_a_wrap_off(reel.parameters, true_deg)
    if deg is None:
        return _half_slip(reel, half)
    comes_off = takes_a_wrap_off(reel.parameters, deg)
    is_close = min(abs(deg - true_deg), FULL_TURN_DEG - abs(deg - true_deg)) <= MEASURED_WITHIN_DEG
    same_half = reel.parameters.half_at(deg) is reel.parameters.half_at(true_deg)
    if is_close and comes_off is should_come_off and (should_come_off is None or same_half):
        return None
    if None in (comes_off, should_come_off) or (is_close and same_half):
        return PracticeSlip.LIMIT
    return PracticeSlip.ANYTHING if same_half else PracticeSlip.HALVES


def _half_slip(reel: PracticeReel, half: Half | None) -> PracticeSlip | None:
    right = reel.parameters.half_at(reel.drum.crossover_deg)
    if half is not right:
        return PracticeSlip.LIMIT if Half.UNCLEAR in (half, right) else PracticeSlip.HALVES
    # where the arc is no half turn, the crossover has to be measured
    return None if reel.reading.crossover_half is not None else PracticeSlip.LEFT_OUT


# What is made of it -------------------------------------------------------------------------------------------------


def _result_marks(reel: PracticeReel, sheet: PracticeSheet, first_missed: FieldMark | None) -> Iterator[FieldMark]:
    has_to_refer = reel.has_to_refer
    refers = bool(sheet.refers)
    slip = None
    if refers is not has_to_refer:
        slip = PracticeSlip.WENT_ON if has_to_refer else PracticeSlip.STOPPED
    yield _marked("refers", _rule_of_stopping(reel), refers, has_to_refer, slip)
    right = _right_count(reel)
    keyed_any = sheet.layers is not None or sheet.wraps is not None
    if right is None or (refers and not keyed_any):
        return
    rule, explained = _count_explained(reel, sheet, right, first_missed)
    for field, is_now, should_be in (("layers", sheet.layers, right[0]), ("wraps", sheet.wraps, right[1])):
        slip = None if is_now == should_be else PracticeSlip.LEFT_OUT if is_now is None else explained
        yield _marked(field, rule, is_now, should_be, slip)


def _right_count(reel: PracticeReel) -> tuple[int, int] | None:
    """The setup values, accepted or proposed; None if the reel can't be worked out."""
    answer = reel.answer
    if answer.proposed is not None:
        return answer.proposed.layers, answer.proposed.wraps
    return None if answer.layers is None or answer.wraps is None else (answer.layers, answer.wraps)


def _rule_of_stopping(reel: PracticeReel) -> Rule:
    """The rule that says whether to stop on this reel."""
    if reel.stand.stops:
        return Rule.CONDITION if reel.stand.trap is StandTrap.TO_STOP else Rule.IDENTITY
    if reel.drum.heaped_side is not None:
        return Rule.LAYERS
    return _rule_of_unusual(reel, Rule.CROSSOVER)


def _rule_of_unusual(reel: PracticeReel, usual: Rule) -> Rule:
    unusual = {Unusual.STEPPED_DOWN: Rule.STEP_DOWN, Unusual.FLUSH: Rule.FLUSH}
    return usual if reel.answer.unusual is None else unusual[reel.answer.unusual]


def _count_explained(
    reel: PracticeReel, sheet: PracticeSheet, right: tuple[int, int], first_missed: FieldMark | None
) -> tuple[Rule, PracticeSlip]:
    """The rule that the setup values stand under, and the slip if they are wrong."""
    usual_rule = _rule_of_unusual(reel, Rule.LEAD)
    if sheet.layers is None or sheet.wraps is None or (sheet.layers, sheet.wraps) == right:
        return usual_rule, PracticeSlip.ANYTHING
    entered = (sheet.layers, sheet.wraps)
    if first_missed is not None and first_missed.slip and _follows_from(reel, sheet.reading, entered):
        return first_missed.rule, first_missed.slip
    for (layers, wraps), rule, slip in _mistaken_counts(reel, right):
        if entered == (layers, wraps):
            return rule, slip
    off = _turns(reel.parameters, entered) - _turns(reel.parameters, right)
    if off == 0:
        return _rule_of_unusual(reel, Rule.STEP_DOWN), PracticeSlip.CARRY
    if abs(off) == 1:
        return usual_rule, PracticeSlip.ONE_WRAP
    return usual_rule, PracticeSlip.NEARBY if abs(off) <= NEARBY_WRAPS else PracticeSlip.ANYTHING


def _follows_from(reel: PracticeReel, reading: KeyedReading, entered: tuple[int, int]) -> bool:
    """Whether the setup values are what the trainee's own reading gives."""
    if not_keyed(reading):
        return False
    own = work_out(reel.parameters, reading)
    proposed = (own.proposed.layers, own.proposed.wraps) if own.proposed else (own.layers, own.wraps)
    return proposed == entered


def _mistaken_counts(
    reel: PracticeReel, right: tuple[int, int]
) -> Iterator[tuple[tuple[int, int], Rule, PracticeSlip]]:
    """What each slip in the working would have given, the likelier first."""
    parameters, drum, lead = reel.parameters, reel.drum, reel.parameters.lead_wraps
    full = drum.layer - 1
    off = int(bool(takes_a_wrap_off(parameters, drum.crossover_deg)))
    left = drum.wraps - off - lead
    yield (reel.last.layers, reel.last.wraps), Rule.WRAPS, PracticeSlip.COPIED
    # the crossover forgotten, or made though it was made already or did not apply; the lead likewise; both forgotten
    for change, rule in ((off, Rule.CROSSOVER), (-1, Rule.CROSSOVER), (lead, Rule.LEAD), (-lead, Rule.LEAD)):
        yield _carried(parameters, full, left + change), rule, PracticeSlip.CORRECTION
    yield _carried(parameters, full, drum.wraps), Rule.CROSSOVER, PracticeSlip.CORRECTION
    if right[0] < full:
        # the layer kept, or changed with the capacity of its neighbour
        missing = right[1] - parameters.capacity(right[0] + 1)
        for mistaken in (
            (full, 0),
            (full, abs(left)),
            (full, right[1]),
            (right[0], missing + parameters.capacity(full + 1)),
        ):
            yield mistaken, Rule.STEP_DOWN, PracticeSlip.CARRY
    yield _carried(parameters, full, reel.capacity + 1 - drum.wraps - off - lead), Rule.WRAPS, PracticeSlip.WRONG_FACE
    for layers in range(-MISREAD_LAYERS, MISREAD_LAYERS + 1):
        yield (right[0] + layers, right[1]), Rule.LAYERS, PracticeSlip.SCALE


def _carried(parameters: RuleParameters, layers: int, wraps: int) -> tuple[int, int]:
    """The same number of turns with a part layer of no less than 0 wraps and fewer than all."""
    if wraps < 0 and layers:
        return layers - 1, wraps + parameters.capacity(layers)
    over = wraps - parameters.capacity(layers + 1)
    return (layers + 1, over) if over >= 0 else (layers, wraps)


def _turns(parameters: RuleParameters, count: tuple[int, int]) -> int:
    layers, wraps = count
    return sum(parameters.capacity(layer) for layer in range(1, layers + 1)) + wraps
