"""The words of practice: the rules a mark belongs to, the slips that explain a wrong one, and why each matters.

The slips are those that the drift model knows of signed counts (drift/records.py), and those that a second reading
catches at the bench before they get that far.
Source: the kinds of slip are our own.
"""

from enum import StrEnum


class Rule(StrEnum):
    """What is looked at before the first reading, and the counting rules, in their order."""

    IDENTITY = "identity"
    CONDITION = "condition"
    LAYERS = "layers"
    PARITY = "parity"
    WRAPS = "wraps"
    FLUSH = "flush"
    CROSSOVER = "crossover"
    LEAD = "lead"
    STEP_DOWN = "step_down"


class PracticeSlip(StrEnum):
    """What explains a wrong field; the first six are those that the drift model knows."""

    ONE_WRAP = "one_wrap"
    CORRECTION = "correction"  # forgotten, or made twice
    SCALE = "scale"
    WRONG_FACE = "wrong_face"
    NEARBY = "nearby"
    COPIED = "copied"
    OPEN_SIDE = "open_side"  # the open side taken for the other, or for where unwinding leads to
    FROM_PAPER = "from_paper"  # a serial that the work order or the machine's label names
    MISREAD = "misread"  # a serial that stands nowhere
    PASSED_OVER = "passed_over"  # what is not sound
    FALSE_ALARM = "false_alarm"  # what is sound, taken for not sound
    SIDES = "sides"  # left and right exchanged throughout
    HALVES = "halves"
    LIMIT = "limit"  # a crossover on the limit taken for one beside it, or the other way round
    CARRY = "carry"  # the step to the layer below, or up to a full one, not made or made wrongly
    LEFT_OUT = "left_out"
    MADE_UP = "made_up"  # a number that nobody could see
    WENT_ON = "went_on"  # worked out what has to be referred
    STOPPED = "stopped"  # referred what the rules settle
    ANYTHING = "anything"


WHY = {
    PracticeSlip.ONE_WRAP: "One wrap is a length of cable that the machine counts on or forgets, each time it runs.",
    PracticeSlip.CORRECTION: "A correction left out or made twice looks like a good count, and no second count of the "
    "wraps will show it.",
    PracticeSlip.SCALE: "One layer is as much cable as all its wraps, the largest mistake that can be made here.",
    PracticeSlip.WRONG_FACE: "The other face counts from the other flange, so it shows the wraps that are missing "
    "and not those that are there.",
    PracticeSlip.NEARBY: "A few wraps off means that the count lost its place; only counting again from the flange "
    "puts that right.",
    PracticeSlip.COPIED: "Last time's numbers hide whatever happened to the cable since, which is what a count is for.",
    PracticeSlip.OPEN_SIDE: "The open side and the unwind direction are the check on the scales; entered to fit, they "
    "check nothing.",
    PracticeSlip.FROM_PAPER: "A serial that is copied agrees with the paper, whatever is on the stand.",
    PracticeSlip.MISREAD: "A serial with one character wrong is another reel's or gauge's, or nobody's.",
    PracticeSlip.PASSED_OVER: "Nobody looks at the reel so closely again before it runs.",
    PracticeSlip.FALSE_ALARM: "A finding that is none holds up a sound reel, and hides the next real one.",
    PracticeSlip.SIDES: "Left and right are those of the reel as installed, looking forward; exchanged, every check "
    "of parity is lost.",
    PracticeSlip.HALVES: "The half decides whether the last turn counts as a whole one, so the wrong half is a wrap "
    "too many or too few.",
    PracticeSlip.LIMIT: "On the limit nobody can tell whether a wrap comes off, and a guess is wrong half of the time.",
    PracticeSlip.CARRY: "Less than no wraps, or all of them, is no part layer; the machine needs the other layer "
    "number too.",
    PracticeSlip.LEFT_OUT: "What is not read cannot be checked against the rest.",
    PracticeSlip.MADE_UP: "A number that was worked out instead of read agrees with everything, right or wrong.",
    PracticeSlip.WENT_ON: "The machine believes the numbers it is given; a reel that does not fit the rules is for an "
    "authorised person.",
    PracticeSlip.STOPPED: "Asking is never wrong at the bench, but here the rules give the answer and the reel would "
    "stand still for nothing.",
    PracticeSlip.ANYTHING: "No ordinary slip gives this; read it again from the start and see where it differs.",
}
