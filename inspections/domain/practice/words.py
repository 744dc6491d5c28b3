"""Practice in words: rules, slips and traps as they are named to a trainee, and a field's value as people say it.

A slip that the drift model knows too has its name from there, so that both speak of one thing.
"""

from inspections.domain.drift.records import SLIP_WORDS, Slip
from inspections.domain.practice.draws import Difficulty
from inspections.domain.practice.marking import Value
from inspections.domain.practice.reels import PracticeReel, Trap
from inspections.domain.practice.slips import PracticeSlip, Rule
from inspections.domain.practice.stand import PracticeStand, StandTrap
from inspections.domain.reading import FULL_TURN_DEG, Half
from inspections.domain.type_words import face_in_words, half_in_words
from reels.domain.reel_figures import DrumSection
from reels.domain.words import Parity

RULE_NAMES = {
    Rule.IDENTITY: "Reel and gauge",
    Rule.CONDITION: "Condition",
    Rule.LAYERS: "Layers",
    Rule.PARITY: "Parity",
    Rule.WRAPS: "Wraps, twice",
    Rule.FLUSH: "Flush",
    Rule.CROSSOVER: "Crossover correction",
    Rule.LEAD: "Lead allowance",
    Rule.STEP_DOWN: "Below zero",
}
SLIP_NAMES = {PracticeSlip(slip.value): SLIP_WORDS[slip] for slip in Slip if slip is not Slip.NONE} | {
    PracticeSlip.OPEN_SIDE: "the open side taken for the other one",
    PracticeSlip.FROM_PAPER: "copied from the work order or the machine's label",
    PracticeSlip.MISREAD: "a character misread",
    PracticeSlip.PASSED_OVER: "something not sound passed over",
    PracticeSlip.FALSE_ALARM: "sound taken for not sound",
    PracticeSlip.SIDES: "left and right exchanged throughout",
    PracticeSlip.HALVES: "the other half",
    PracticeSlip.LIMIT: "on the limit taken for beside it, or beside it for on it",
    PracticeSlip.CARRY: "the step to another layer not made, or made wrongly",
    PracticeSlip.LEFT_OUT: "left out what can be read",
    PracticeSlip.MADE_UP: "a number that nobody could see",
    PracticeSlip.WENT_ON: "went on with what has to be referred",
    PracticeSlip.STOPPED: "stopped where the rules give the answer",
}
TRAP_NAMES = {
    Trap.LOOKALIKE_FACES: "Both faces of the gauge read nearly the same.",
    Trap.FLUSH: "The top layer is flush.",
    Trap.STEPS_DOWN: "The corrections reach into the layer below.",
    Trap.NEAR_LIMIT: "The crossover is close to a limit.",
    Trap.ON_LIMIT: "The crossover is right on a limit, where nobody can tell.",
    Trap.WORN_SCALE: "One scale can't be read, and need not be.",
    Trap.UNEVEN: "Cable is heaped at one flange.",
    Trap.BY_SIDE: "Each flange carries numbers of one parity only.",
}
DIFFICULTY_NAMES = {
    Difficulty.PLAIN: "plain: nothing on it invites a slip",
    Difficulty.USUAL: "usual: one thing needs care",
    Difficulty.TRICKY: "tricky: one thing that few people meet",
    Difficulty.TREACHEROUS: "treacherous: two or three things at once",
}
STAND_TRAP_NAMES = {
    StandTrap.ANOTHER_REEL: "The reel on the stand is not the one of the work order.",
    StandTrap.ANOTHER_GAUGE: "The wrap gauge is not the machine's own.",
    StandTrap.TO_WATCH: "Something is to be watched; the count goes on.",
    StandTrap.TO_STOP: "Something is not sound, and stops the count.",
}
FIELD_NAMES = {
    "serial": "Serial of the reel",
    "gauge_serial": "Serial of the wrap gauge",
    "unsound": "Not sound",
    "open_side": "Open side",
    "scale_left": "Left scale",
    "scale_right": "Right scale",
    "unwind": "Unwind direction",
    "hand_wraps": "Wraps counted by hand",
    "gauge_face": "Face of the wrap gauge",
    "gauge_wraps": "Wraps read on the gauge",
    "crossover": "Crossover",
    "refers": "Set, or refer",
    "layers": "Layers to set",
    "wraps": "Wraps to set",
}
NOTHING = {"scale_left": "cannot be read", "scale_right": "cannot be read"}


def value_in_words(field: str, value: Value, drum: DrumSection) -> str:
    """A field's value in words. field: as a mark has it; drum: of the reel's type, for what is said beside a half."""
    if value is None:
        return NOTHING.get(field, "nothing")
    if field == "unsound":
        return f"{value}" or "nothing, all sound"
    if field == "refers":
        return "put it before an authorised person" if value else "set the machine to these"
    if field == "crossover" and not isinstance(value, str):
        return "on the scale line itself" if value in (0, FULL_TURN_DEG) else f"at {value:g}°"
    if field == "crossover":
        return half_in_words(Half(str(value)), drum)
    if field == "gauge_face":
        return face_in_words(Parity(str(value)), drum)
    return f"{value}".replace("_", " ")


def traps_in_words(reel: PracticeReel) -> list[str]:
    """What makes a reel hard, from the stand to the flanges."""
    before = [STAND_TRAP_NAMES[reel.stand.trap]] if reel.stand.trap else []
    return before + [words for trap, words in TRAP_NAMES.items() if trap in reel.traps]


def stand_in_words(stand: PracticeStand) -> list[tuple[str, str]]:
    """What is told and seen on the stand, each with its name; the serials are read off the drawing."""
    papers = [("Reel on the work order", stand.ordered), ("Wrap gauge of the machine", stand.listed_gauge)]
    return papers + [(part.spoken.capitalize(), seen) for part, seen in stand.seen.items()]
