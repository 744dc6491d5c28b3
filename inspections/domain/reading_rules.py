"""What keeps a reading from being worked out: rules 1 to 5 of the counting rules, one function each.

Layer 1 begins at the anchor side, and the layers alternate. The wraps that are counted lie in one layer, here the
*counted layer* L: the part layer, or, when no side is open (flush), the top layer, worked as the part layer that
happens to have all its wraps. With that, one set of rules serves both:

- there are L − 1 full layers below it, and the wrap gauge is read on the face of their parity;
- an odd L runs away from the anchor side and an even L toward it; the side it runs to is open unless it is full,
  and unwinding starts there;
- it holds the wraps of an odd or an even layer; fewer than all when a side is open, all when it is flush.

Each rule says nothing before what it needs is keyed, so the same rules judge a whole reading and one still being keyed.
Source: common practice, no published source; flush is inferred.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import cast

from inspections.domain.reading import (
    FULL_TURN_DEG,
    Half,
    KeyedReading,
    OpenSide,
    Outcome,
    Problem,
    RuleParameters,
    Unwind,
)
from reels.domain.words import Graduation, Parity, Side, counted

BOTH_SIDES = (Side.LEFT, Side.RIGHT)
SCALES = ("scale_left", "scale_right")
SCALES_AND_OPEN_SIDE = (*SCALES, "open_side")


# What was seen ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Observation:
    """A reading beside the type it is of, with the flanges whose scale was left out."""

    parameters: RuleParameters
    reading: KeyedReading
    left_out: frozenset[Side]

    @property
    def scales(self) -> dict[Side, int]:
        """The scale readings that were made."""
        both = {Side.LEFT: self.reading.scale_left, Side.RIGHT: self.reading.scale_right}
        return {side: level for side, level in both.items() if level is not None}

    @property
    def scales_are_keyed(self) -> bool:
        """Whether each scale was read or left out."""
        return all(side in self.scales or side in self.left_out for side in BOTH_SIDES)

    @property
    def spread(self) -> int:
        """Layers between the two readings; 0 with fewer than two."""
        levels = self.scales.values()
        return max(levels, default=0) - min(levels, default=0)

    @property
    def is_flush(self) -> bool:
        """Whether no side is open."""
        return self.reading.open_side is OpenSide.NONE

    @property
    def open_side(self) -> Side | None:
        """The open flange; None if there is none or it isn't keyed."""
        side = self.reading.open_side
        return None if side is None or side is OpenSide.NONE else Side(side.value)

    @property
    def layer(self) -> int | None:
        """The counted layer: one above the lower reading, or the level of a flush drum; None while it can't be told."""
        if not self.scales_are_keyed or self.spread > 1:
            return None
        if self.open_side is not None:
            return min(self.scales.values()) + 1 if self.open_side in self.scales else None
        levels = set(self.scales.values())
        if self.is_flush and len(levels) == 1:
            return levels.pop() or None
        return None

    @property
    def gauge_is_on_the_wrong_face(self) -> bool:
        """Whether the face keyed has the counted layer's own parity, and so not that of the full layers."""
        return self.layer is not None and self.reading.gauge_face is Parity.of(self.layer)

    @property
    def other_face(self) -> str | None:
        """The sum that shows the gauge reading to be the other face's; None if it isn't, or can't be told."""
        hand, gauge, layer = self.reading.hand_wraps, self.reading.gauge_wraps, self.layer
        if hand is None or layer is None:
            return None
        capacity = self.parameters.capacity(layer)
        return f"{capacity} + 1 − {hand} = {gauge}" if capacity + 1 - hand == gauge else None


def not_keyed(reading: KeyedReading) -> list[str]:
    """Fields still missing from a reading; scales aside, which may be left out."""
    fields = ("open_side", "unwind", "hand_wraps", "gauge_face", "gauge_wraps")
    missing = [field for field in fields if getattr(reading, field) is None]
    if reading.crossover_half is None and reading.crossover_deg is None:
        missing.append("crossover_half")
    return missing


def _reread(code: str, detail: str, *fields: str) -> Problem:
    return Problem(code=code, outcome=Outcome.REREAD, detail=detail, fields=fields)


def refer(code: str, detail: str, *fields: str) -> Problem:
    """Make a problem for an authorised person."""
    return Problem(code=code, outcome=Outcome.REFERRED, detail=detail, fields=fields)


def in_wraps(number: int) -> str:
    """A number of wraps in words."""
    return counted(number, "wrap")


# Layers -------------------------------------------------------------------------------------------------------------


def _scales_agree(observed: Observation) -> Iterator[Problem]:
    """Rule 1: readings more than 1 apart are uneven winding."""
    if not observed.scales_are_keyed:
        return
    if not observed.scales:
        yield _reread("scales_missing", "Neither scale was read. At least one is needed: read both.", *SCALES)
    elif observed.spread > 1:
        left, right = observed.scales[Side.LEFT], observed.scales[Side.RIGHT]
        yield refer(
            "scales_uneven",
            f"The scales read {left} at the left and {right} at the right, {observed.spread} apart; they may be 1 "
            "apart at most. The cable may be wound unevenly: stop, and put the reel before an authorised person.",
            *SCALES,
        )


def _scales_fit_open_side(observed: Observation) -> Iterator[Problem]:
    """Rule 1: the open side reads the lower; only the higher may be left out."""
    side = observed.open_side
    if side is None or not observed.scales_are_keyed or not observed.scales:
        return
    at_open, at_other = observed.scales.get(side), observed.scales.get(side.other)
    if at_open is None:
        yield _reread(
            "open_scale_missing",
            f"The {side} side is open, so its scale gives the full layers, but it was left out. Read it.",
            f"scale_{side}",
        )
    elif at_other is not None and at_other < at_open:
        yield _reread(
            "scales_lower_on_other_side",
            f"The {side} side was keyed as open, but its scale reads {at_open} and the other {at_other}; the open side "
            "reads lower. Read both scales and find the open side again.",
            *SCALES_AND_OPEN_SIDE,
        )
    elif at_open == at_other:
        yield _reread(
            "scales_equal",
            f"Both scales read {at_open}, but the {side} side was keyed as open; an open side reads one less than the "
            "other. Read both scales again; if they are level, no side is open.",
            *SCALES_AND_OPEN_SIDE,
        )


def _scales_fit_flush(observed: Observation) -> Iterator[Problem]:
    """Rule 4: with no open side the readings are level."""
    if not observed.is_flush or not observed.scales_are_keyed:
        return
    if observed.spread:
        left, right = observed.scales[Side.LEFT], observed.scales[Side.RIGHT]
        yield _reread(
            "scales_not_level",
            f"No side was keyed as open, but the scales read {left} at the left and {right} at the right; with no open "
            "side they read the same. Read both scales again and look for an open side.",
            *SCALES_AND_OPEN_SIDE,
        )
    elif 0 in observed.scales.values():
        yield _reread(
            "flush_without_layers",
            "No side was keyed as open and the scale reads 0, but a drum without a layer has no full top layer; "
            "1 or more is needed. Read both scales again and look for an open side.",
            *SCALES_AND_OPEN_SIDE,
        )


def _drum_takes_the_layers(observed: Observation) -> Iterator[Problem]:
    """Rule 1: the part layer is a layer too."""
    layers = max([*observed.scales.values(), observed.layer or 0])
    if layers > observed.parameters.max_layers:
        yield _reread(
            "too_many_layers",
            f"The scales mean {counted(layers, 'layer')}, the part layer included; this drum takes "
            f"{observed.parameters.max_layers}. Read both scales again.",
            *SCALES,
        )


def _scales_fit_graduation(observed: Observation) -> Iterator[Problem]:
    """Rule 1: a scale graduated by side carries one parity only."""
    if observed.parameters.graduation is Graduation.EVERY:
        return
    for side, level in observed.scales.items():
        marked = Parity.ODD if side is observed.parameters.anchor_side else Parity.EVEN
        if Parity.of(level) is not marked:
            yield _reread(
                "scale_wrong_parity",
                f"The {side} scale was read as {level}; it carries {marked} numbers only. Read it again; leave it out "
                "if the cable is level with none of them.",
                f"scale_{side}",
            )


# Parity -------------------------------------------------------------------------------------------------------------


def _open_side_fits_layers(observed: Observation) -> Iterator[Problem]:
    """Rule 2: the side that the part layer runs to is open."""
    side, layer = observed.open_side, observed.layer
    if side is None or layer is None:
        return
    lower, expected = layer - 1, observed.parameters.far_side(layer)
    if side is not expected:
        yield _reread(
            "open_side_disagrees",
            f"The lower scale reading is {lower}, {Parity.of(lower)}, so the open side should be the "
            f"{expected}; {side} was keyed. Read both scales and find the open side again.",
            *SCALES_AND_OPEN_SIDE,
        )


def _unwind_fits(observed: Observation) -> Iterator[Problem]:
    """Rule 2 and 4: unwinding starts where the counted layer runs to."""
    start, why, layer = observed.open_side, "the open side", observed.layer
    if observed.is_flush and layer is not None:
        start, why = observed.parameters.far_side(layer), f"the side to which layer {layer}, the top one, runs"
    keyed = observed.reading.unwind
    if start is None or keyed is None:
        return
    expected = Unwind.starting_at(start)
    if keyed is not expected:
        yield _reread(
            "unwind_disagrees",
            f"Unwinding starts at the {start}, {why}, so it should go {expected.replace('_', ' ')}; "
            f"{keyed.replace('_', ' ')} was keyed. Find the open side and the unwind direction again.",
            "open_side",
            "unwind",
        )


def _gauge_face_fits(observed: Observation) -> Iterator[Problem]:
    """Rule 3 and 4: the face is that of the full layers' parity."""
    layer = observed.layer
    if layer is None or not observed.gauge_is_on_the_wrong_face:
        return
    full_layers, proof = layer - 1, observed.other_face
    face = Parity.of(full_layers)
    hint = f" The wrong face counts from the other flange, and that fits: {proof}." if proof else ""
    yield _reread(
        "gauge_wrong_face",
        f"With {full_layers} full layers the wrap gauge is read on its {face} face; {face.other} was keyed.{hint} "
        f"Lay the gauge on again and read the {face} face.",
        "gauge_face",
        "gauge_wraps",
    )


# Wraps --------------------------------------------------------------------------------------------------------------


def _hand_in_range(observed: Observation) -> Iterator[Problem]:
    return _in_range(observed, observed.reading.hand_wraps, "hand_wraps", "hand count")


def _gauge_in_range(observed: Observation) -> Iterator[Problem]:
    if observed.reading.gauge_face is None or observed.gauge_is_on_the_wrong_face:
        return iter(())
    return _in_range(observed, observed.reading.gauge_wraps, "gauge_wraps", "gauge reading")


def _in_range(observed: Observation, wraps: int | None, field: str, name: str) -> Iterator[Problem]:
    """Rule 3 and 4: a part layer has some of its wraps, a flush one has all."""
    layer = observed.layer
    if layer is None or wraps is None:
        return
    capacity = observed.parameters.capacity(layer)
    if observed.is_flush and wraps != capacity:
        yield _reread(
            f"{field}_not_full",
            f"The {name} is {wraps}, but with no open side layer {layer} has all its {in_wraps(capacity)}. Count and "
            "read again, and look for an open side.",
            field,
        )
    elif not observed.is_flush and not 1 <= wraps < capacity:
        yield _reread(
            f"{field}_out_of_range",
            f"The {name} is {wraps}; the part layer, layer {layer}, has at least 1 wrap and fewer than the {capacity} "
            "of a full one. Count and read again; if the layer is full, no side is open.",
            field,
        )


def _methods_agree(observed: Observation) -> Iterator[Problem]:
    """Rule 3: hand count and gauge reading are equal."""
    hand, gauge = observed.reading.hand_wraps, observed.reading.gauge_wraps
    if hand is None or gauge is None or hand == gauge:
        return
    if observed.gauge_is_on_the_wrong_face and observed.other_face:
        return  # the face explains the difference
    hint = f" The other face would read just that: {observed.other_face}." if observed.other_face else ""
    yield _reread(
        "wraps_differ",
        f"The hand count is {hand} and the gauge reads {gauge}; they must be equal.{hint} Count and read both again.",
        "hand_wraps",
        "gauge_face",
        "gauge_wraps",
    )


# Crossover --------------------------------------------------------------------------------------------------------


def takes_a_wrap_off(parameters: RuleParameters, crossover: Half | float | None) -> bool | None:
    """Whether the crossover is in the type's arc; None if that can't be told, or nothing is keyed.

    crossover: the half, or degrees.
    """
    if isinstance(crossover, Half):
        is_told = parameters.half_in_arc is not None and crossover is not Half.UNCLEAR
        return crossover is parameters.half_in_arc if is_told else None
    # At the scale line a turn ends and the next begins, and a hair's breadth would decide: n − 1 turns or n. At any
    # other end of the arc both roundings give the same, a half up.
    on_the_line = crossover in (None, 0, FULL_TURN_DEG)
    return None if on_the_line else parameters.arc_from_deg < cast(float, crossover) < parameters.arc_to_deg


def crossover_can_be_told(observed: Observation) -> Iterator[Problem]:
    """Rule 5: a crossover on the scale line is referred, and a half is not enough where the arc is no half turn."""
    parameters, deg, half = observed.parameters, observed.reading.crossover_deg, observed.reading.crossover_half
    if deg is None and half is None:
        return
    if not parameters.crossover_begins_layer:
        yield refer(
            "crossover_begins_no_layer",
            "On this type the crossover that is seen need not be where the layer begins, so the turns can't be told "
            "from it. Stop, and put the reading before an authorised person.",
            "crossover_half",
        )
    elif half is Half.UNCLEAR or deg in (0, FULL_TURN_DEG):
        seen = "was keyed as unclear: on the scale line, or it can't be told" if deg is None else (
            f"is on the scale line, at {deg:g}°"
        )  # fmt: skip
        yield refer(
            "crossover_unclear",
            f"The crossover {seen}. So it can't be told whether a wrap is to be subtracted. Stop, and put the reading "
            "before an authorised person.",
            "crossover_half" if deg is None else "crossover_deg",
        )
    elif half is not None and parameters.half_in_arc is None:
        yield _reread(
            "half_not_enough",
            f"This type subtracts a wrap from {parameters.arc_from_deg:g}° to {parameters.arc_to_deg:g}°, which is not "
            f"a half turn, and the {half} half was keyed. Measure the crossover and key its degrees.",
            "crossover_half",
        )


READING_RULES: tuple[Callable[[Observation], Iterator[Problem]], ...] = (
    _scales_agree,
    _scales_fit_open_side,
    _scales_fit_flush,
    _drum_takes_the_layers,
    _scales_fit_graduation,
    _open_side_fits_layers,
    _unwind_fits,
    _hand_in_range,
    _gauge_face_fits,
    _gauge_in_range,
    _methods_agree,
)
