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

from inspections.domain.reading import (
    FULL_TURN_DEG,
    HALF_TURN_DEG,
    Half,
    OpenSide,
    Outcome,
    Problem,
    Reading,
    RuleParameters,
    Unwind,
)
from reels.domain.words import Graduation, Parity, Side, counted

BOTH_SIDES = (Side.LEFT, Side.RIGHT)
SCALES = ("scale_left", "scale_right")
SCALES_AND_OPEN_SIDE = (*SCALES, "open_side")
HALVES_DEG = {Half.AFT: (0, HALF_TURN_DEG), Half.FORWARD: (HALF_TURN_DEG, FULL_TURN_DEG)}


# What was seen ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Seen:
    """A reading beside the type it is of, with the flanges whose scale was left out."""

    parameters: RuleParameters
    reading: Reading
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
        if self.is_flush and self.scales and self.spread == 0:
            return min(self.scales.values()) or None
        return None

    @property
    def gauge_is_on_the_wrong_face(self) -> bool:
        """Whether the face keyed is not that of the full layers' parity."""
        face, layer = self.reading.gauge_face, self.layer
        return face is not None and layer is not None and face is not Parity.of(layer - 1)

    @property
    def other_face(self) -> str | None:
        """The sum that shows the gauge reading to be the other face's; None if it isn't, or can't be told."""
        hand, gauge, layer = self.reading.hand_wraps, self.reading.gauge_wraps, self.layer
        if hand is None or gauge is None or layer is None:
            return None
        capacity = self.parameters.capacity(layer)
        return f"{capacity} + 1 − {hand} = {gauge}" if capacity + 1 - hand == gauge else None


def not_keyed(reading: Reading) -> list[str]:
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


def said(wraps: int) -> str:
    """Wraps as people say them."""
    return counted(wraps, "wrap")


# Layers -------------------------------------------------------------------------------------------------------------


def _scales_agree(seen: Seen) -> Iterator[Problem]:
    """Rule 1: readings more than 1 apart are uneven winding."""
    if not seen.scales_are_keyed:
        return
    if not seen.scales:
        yield _reread("scales_missing", "Neither scale was read. At least one is needed: read both.", *SCALES)
    elif seen.spread > 1:
        left, right = seen.scales[Side.LEFT], seen.scales[Side.RIGHT]
        yield refer(
            "scales_uneven",
            f"The scales read {left} at the left and {right} at the right, {seen.spread} apart; they may be 1 apart at "
            "most. The cable may be wound unevenly: stop, and put the reel before an authorised person.",
            *SCALES,
        )


def _scales_fit_open_side(seen: Seen) -> Iterator[Problem]:
    """Rule 1: the open side reads the lower; only the higher may be left out."""
    side = seen.open_side
    if side is None or not seen.scales_are_keyed or not seen.scales:
        return
    at_open, at_other = seen.scales.get(side), seen.scales.get(side.other)
    if at_open is None:
        yield _reread(
            "open_scale_missing",
            f"The {side} side is open, so its scale gives the full layers, but it was left out. Read it.",
            f"scale_{side}",
        )
    elif at_open == at_other:
        yield _reread(
            "scales_equal",
            f"Both scales read {at_open}, but the {side} side was keyed as open; an open side reads one less than the "
            "other. Read both scales again; if they are level, no side is open.",
            *SCALES_AND_OPEN_SIDE,
        )
    elif at_other is not None and at_other < at_open:
        yield _reread(
            "scales_lower_on_other_side",
            f"The {side} side was keyed as open, but its scale reads {at_open} and the other {at_other}; the open side "
            "reads lower. Read both scales and find the open side again.",
            *SCALES_AND_OPEN_SIDE,
        )


def _scales_fit_flush(seen: Seen) -> Iterator[Problem]:
    """Rule 4: with no open side the readings are level."""
    if not seen.is_flush or not seen.scales_are_keyed:
        return
    if seen.spread:
        left, right = seen.scales[Side.LEFT], seen.scales[Side.RIGHT]
        yield _reread(
            "scales_not_level",
            f"No side was keyed as open, but the scales read {left} at the left and {right} at the right; with no open "
            "side they read the same. Read both scales again and look for an open side.",
            *SCALES_AND_OPEN_SIDE,
        )
    elif 0 in seen.scales.values():
        yield _reread(
            "flush_without_layers",
            "No side was keyed as open and the scale reads 0, but a drum without a layer has no full top layer; "
            "1 or more is needed. Read both scales again and look for an open side.",
            *SCALES_AND_OPEN_SIDE,
        )


def _drum_takes_the_layers(seen: Seen) -> Iterator[Problem]:
    """Rule 1: the part layer is a layer too."""
    layers = max([*seen.scales.values(), seen.layer or 0])
    if layers > seen.parameters.max_layers:
        yield _reread(
            "too_many_layers",
            f"The scales mean {counted(layers, 'layer')}, the part layer included; this drum takes "
            f"{seen.parameters.max_layers}. Read both scales again.",
            *SCALES,
        )


def _scales_fit_graduation(seen: Seen) -> Iterator[Problem]:
    """Rule 1: a scale graduated by side carries one parity only."""
    if seen.parameters.graduation is Graduation.EVERY:
        return
    for side, level in seen.scales.items():
        marked = Parity.ODD if side is seen.parameters.anchor_side else Parity.EVEN
        if Parity.of(level) is not marked:
            yield _reread(
                "scale_wrong_parity",
                f"The {side} scale was read as {level}; it carries {marked} numbers only. Read it again; leave it out "
                "if the cable is level with none of them.",
                f"scale_{side}",
            )


# Parity -------------------------------------------------------------------------------------------------------------


def _open_side_fits_layers(seen: Seen) -> Iterator[Problem]:
    """Rule 2: the side that the part layer runs to is open."""
    side, layer = seen.open_side, seen.layer
    if side is None or layer is None:
        return
    expected = seen.parameters.far_side(layer)
    if side is not expected:
        yield _reread(
            "open_side_disagrees",
            f"The lower scale reading is {layer - 1}, {Parity.of(layer - 1)}, so the open side should be the "
            f"{expected}; {side} was keyed. Read both scales and find the open side again.",
            *SCALES_AND_OPEN_SIDE,
        )


def _unwind_fits(seen: Seen) -> Iterator[Problem]:
    """Rule 2 and 4: unwinding starts where the counted layer runs to."""
    start, why = seen.open_side, "the open side"
    if seen.is_flush and seen.layer is not None:
        start, why = seen.parameters.far_side(seen.layer), f"the side to which layer {seen.layer}, the top one, runs"
    keyed = seen.reading.unwind
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


def _gauge_face_fits(seen: Seen) -> Iterator[Problem]:
    """Rule 3 and 4: the face is that of the full layers' parity."""
    layer, keyed = seen.layer, seen.reading.gauge_face
    if layer is None or keyed is None or not seen.gauge_is_on_the_wrong_face:
        return
    hint = f" The wrong face counts from the other flange, and that fits: {seen.other_face}." if seen.other_face else ""
    yield _reread(
        "gauge_wrong_face",
        f"With {layer - 1} full layers the wrap gauge is read on its {keyed.other} face; {keyed} was keyed.{hint} "
        f"Lay the gauge on again and read the {keyed.other} face.",
        "gauge_face",
        "gauge_wraps",
    )


# Wraps --------------------------------------------------------------------------------------------------------------


def _hand_in_range(seen: Seen) -> Iterator[Problem]:
    return _in_range(seen, seen.reading.hand_wraps, "hand_wraps", "hand count")


def _gauge_in_range(seen: Seen) -> Iterator[Problem]:
    if seen.reading.gauge_face is None or seen.gauge_is_on_the_wrong_face:
        return iter(())
    return _in_range(seen, seen.reading.gauge_wraps, "gauge_wraps", "gauge reading")


def _in_range(seen: Seen, wraps: int | None, field: str, name: str) -> Iterator[Problem]:
    """Rule 3 and 4: a part layer has some of its wraps, a flush one has all."""
    layer = seen.layer
    if layer is None or wraps is None:
        return
    capacity = seen.parameters.capacity(layer)
    if seen.is_flush and wraps != capacity:
        yield _reread(
            f"{field}_not_full",
            f"The {name} is {wraps}, but with no open side layer {layer} has all its {said(capacity)}. Count and read "
            "again, and look for an open side.",
            field,
        )
    elif not seen.is_flush and not 1 <= wraps < capacity:
        yield _reread(
            f"{field}_out_of_range",
            f"The {name} is {wraps}; the part layer, layer {layer}, has at least 1 wrap and fewer than the {capacity} "
            "of a full one. Count and read again; if the layer is full, no side is open.",
            field,
        )


def _methods_agree(seen: Seen) -> Iterator[Problem]:
    """Rule 3: hand count and gauge reading are equal."""
    hand, gauge = seen.reading.hand_wraps, seen.reading.gauge_wraps
    if hand is None or gauge is None or hand == gauge:
        return
    if seen.gauge_is_on_the_wrong_face and seen.other_face:
        return  # the face explains the difference
    hint = f" The other face would read just that: {seen.other_face}." if seen.other_face else ""
    yield _reread(
        "wraps_differ",
        f"The hand count is {hand} and the gauge reads {gauge}; they must be equal.{hint} Count and read both again.",
        "hand_wraps",
        "gauge_face",
        "gauge_wraps",
    )


# Crossover --------------------------------------------------------------------------------------------------------


def takes_a_wrap_off(seen: Seen) -> bool | None:
    """Whether the crossover is in the type's arc; None if that can't be told, or nothing is keyed."""
    start, end = seen.parameters.arc_from_deg, seen.parameters.arc_to_deg
    deg, half = seen.reading.crossover_deg, seen.reading.crossover_half
    if deg is not None:
        return None if deg in (0, FULL_TURN_DEG, start) else start < deg < end
    if half is None:
        return None
    half_start, half_end = HALVES_DEG[half]
    if start <= half_start and half_end <= end:
        return True
    return False if end <= half_start or half_end <= start else None


def crossover_can_be_told(seen: Seen) -> Iterator[Problem]:
    """Rule 5: a crossover on a limit is referred, and a half that the arc divides is not enough."""
    deg, half = seen.reading.crossover_deg, seen.reading.crossover_half
    if takes_a_wrap_off(seen) is not None:
        return
    if deg is not None:
        what = "on the scale line" if deg in (0, FULL_TURN_DEG) else "where the arc of this type begins"
        yield refer(
            "crossover_on_the_limit",
            f"The crossover is {what}, at {deg:g}°, and there it can't be told whether a wrap is to be "
            "subtracted. Stop, and put the reading before an authorised person.",
            "crossover_deg",
        )
    elif half is not None:
        yield _reread(
            "half_not_enough",
            f"This type subtracts a wrap from {seen.parameters.arc_from_deg:g}° to {seen.parameters.arc_to_deg:g}°, "
            f"and the {half} half lies partly in that. Measure the crossover and key its degrees.",
            "crossover_half",
        )


READING_RULES: tuple[Callable[[Seen], Iterator[Problem]], ...] = (
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
