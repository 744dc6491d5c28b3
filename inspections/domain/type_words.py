"""What is said beside a half turn, a gauge's face and a flange scale, so that people find them on a reel of a type.

The names decide, the words beside them only help to look: codes and records hold the names alone.
"""

from inspections.domain.reading import Half, RuleParameters
from reels.domain.reel_figures import DrumSection
from reels.domain.words import Graduation, Parity, Side

_SIDES_OF_THE_DRUM = {"above": "upper", "below": "lower"}


def half_in_words(half: Half, drum: DrumSection) -> str:
    """A half with where it lies while the scale line stands where the type says.

    As in "first half: the aft side of the drum".
    """
    if half is Half.UNCLEAR:
        return half.spoken
    word = drum.half_words[half is Half.SECOND]
    return f"{half.spoken}: the {_SIDES_OF_THE_DRUM.get(word, word)} side of the drum"


def face_in_words(face: Parity, drum: DrumSection) -> str:
    """A face of the wrap gauge with what it looks like, if the type says it."""
    return _marked(face, drum.face_marks)


def scale_in_words(side: Side, rules: RuleParameters, drum: DrumSection) -> str:
    """Which numbers the scale at a flange carries, and what it looks like, if the type says it; else nothing."""
    if rules.graduation is not Graduation.BY_SIDE:
        return ""
    parity = Parity.ODD if side is rules.anchor_side else Parity.EVEN
    return f"It carries the numbers that are {_marked(parity, drum.scale_marks)}."


def where_to_look(rules: RuleParameters, drum: DrumSection) -> str:
    """What whoever looks for the crossover has to know: where the line stands, by what to go, and what is opposite."""
    opposite = rules.half_opposite
    return (
        f"With the scale line {drum.scale_line_at.spoken}, as installed; only there do the words hold. Whoever turns "
        "the drum to look goes by the drawn arrow, from the line."
        + (f" A crossover exactly opposite the scale line goes with the {opposite} half." if opposite else "")
    )


def why_out_of_range(name: str, value: int, rules: RuleParameters) -> str:
    """Why a reel of the type can't show a number that was keyed in a field of the reading; nothing where it can.

    By the type alone: nothing that the other of the two keyed is looked at.
    """
    if name.startswith("scale_") and value > rules.max_layers:
        return f"{value} is more than the {rules.max_layers} layers that the drum takes, the part layer included."
    if name.endswith("_wraps") and value < 1:
        return "A part layer has at least 1 wrap."
    if name.endswith("_wraps") and value > max(rules.wraps_odd_layer, rules.wraps_even_layer):
        odd, even = rules.wraps_odd_layer, rules.wraps_even_layer
        return f"{value} is more than a layer takes: {odd} wraps where its number is odd, {even} where it is even."
    return ""


def _marked(parity: Parity, marks: tuple[str, str]) -> str:
    mark = marks[parity is Parity.EVEN]
    return f"{parity} ({mark})" if mark else parity.value
