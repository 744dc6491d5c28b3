"""A second, independent model of a drum: laid turn by turn, then looked at. It knows nothing of the counting rules.

A drum wound in parallel. From the inner end outward the cable runs clockwise as seen from the reference side, unless it
is wound the other way. (Clockwise is the path along the cable; the drum, taking cable in, turns the other way.) Each
layer begins at the crossover's angle θ, counter-clockwise from the scale line; there every turn of it steps across, and
there it ends, so a full layer holds a whole number of turns. What is seen is what crosses the scale line; an end that
lies on it counts.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

FULL_TURN_DEG = 360
HALF_TURN_DEG = 180
CLOCKWISE, COUNTER_CLOCKWISE = "clockwise", "counter_clockwise"

Degrees = int | Fraction  # exact


@dataclass(frozen=True)
class Turn:
    """Cable laid once round, or part of the way, from crossover to crossover in one slot of its layer."""

    layer: int
    slot: int  # 0 at the left flange
    sweep: Degrees  # 360 of a whole turn


@dataclass(frozen=True)
class ModelDrum:
    anchor: str
    wraps_odd_layer: int
    wraps_even_layer: int
    crossover_deg: Degrees
    sense: str = CLOCKWISE

    def slots(self, layer: int) -> int:
        return self.wraps_odd_layer if layer % 2 else self.wraps_even_layer

    @property
    def to_line(self) -> Degrees:
        """From the crossover along the cable to the scale line."""
        return self.crossover_deg if self.sense == CLOCKWISE else FULL_TURN_DEG - self.crossover_deg

    def wound(self, cable: Degrees) -> list[Turn]:
        """Lay so much cable, turn after turn, beginning at the anchor side and going back at each flange."""
        laid: list[Turn] = []
        layer, step = 1, 1 if self.anchor == "left" else -1
        slot = 0 if step == 1 else self.slots(layer) - 1
        while cable > 0:
            if not 0 <= slot < self.slots(layer):
                layer, step = layer + 1, -step
                slot = 0 if step == 1 else self.slots(layer) - 1
            laid.append(Turn(layer, slot, min(cable, FULL_TURN_DEG)))
            cable -= FULL_TURN_DEG
            slot += step
        return laid

    def wound_to_line(self, layer: int, wraps: int, further: Degrees = 0) -> list[Turn]:
        """Lay cable until it comes to the scale line so many times in a layer, and so many degrees further."""
        below = sum(self.slots(k) for k in range(1, layer))
        return self.wound((below + wraps - 1) * FULL_TURN_DEG + self.to_line + further)

    # Looking along the scale line

    def on_line(self, laid: Sequence[Turn]) -> list[Turn]:
        return [turn for turn in laid if turn.sweep >= self.to_line]

    def top(self, laid: Sequence[Turn]) -> list[Turn]:
        """The wraps of the topmost layer, as they were laid."""
        seen = self.on_line(laid)
        return [turn for turn in seen if turn.layer == seen[-1].layer]

    def level_at(self, flange: str, laid: Sequence[Turn]) -> int:
        """The topmost layer with a turn right at the flange."""
        at_flange = (t for t in self.on_line(laid) if t.slot == (0 if flange == "left" else self.slots(t.layer) - 1))
        return max((t.layer for t in at_flange), default=0)

    def open_side(self, laid: Sequence[Turn]) -> str:
        left, right = self.level_at("left", laid), self.level_at("right", laid)
        if left == right:
            return "none"
        return "left" if left < right else "right"

    def unwind(self, laid: Sequence[Turn]) -> str:
        """The top turns come off one by one, back to where their layer began."""
        return "right_to_left" if self.top(laid)[0].slot == 0 else "left_to_right"

    def wraps_on_line(self, laid: Sequence[Turn]) -> int:
        return len(self.top(laid))

    def gauge(self, face: str, laid: Sequence[Turn]) -> int:
        """Number at the outermost wrap."""
        return self.number_at(self.top(laid)[-1], face)

    def number_at(self, turn: Turn, face: str) -> int:
        """The even face is numbered from the anchor side, the odd face from the other."""
        from_left = (self.anchor == "left") == (face == "even")
        return turn.slot + 1 if from_left else self.slots(turn.layer) - turn.slot

    def right_face(self, laid: Sequence[Turn]) -> str:
        """The face whose number 1 is at the wrap with which the top layer began."""
        return next(face for face in ("odd", "even") if self.number_at(self.top(laid)[0], face) == 1)

    # The truth

    def turns_on_top(self, laid: Sequence[Turn]) -> Fraction:
        """Turns of the topmost layer that is seen at the line, and of whatever is laid after it."""
        counted = self.top(laid)[0].layer
        return Fraction(sum(turn.sweep for turn in laid if turn.layer >= counted), FULL_TURN_DEG)

    def setup_values(self, laid: Sequence[Turn], lead: int) -> tuple[int, int] | None:
        """Full layers and wraps of the whole turns, a half kept, less the lead; None if that is more than there is."""
        whole = (sum(turn.sweep for turn in laid) + HALF_TURN_DEG) // FULL_TURN_DEG - lead
        return None if whole < 0 else self.as_layers(self.wound(whole * FULL_TURN_DEG))

    def as_layers(self, laid: Sequence[Turn]) -> tuple[int, int]:
        in_layer = [sum(t.layer == layer for t in laid) for layer in range(1, laid[-1].layer + 1)] if laid else []
        full = sum(n == self.slots(layer) for layer, n in enumerate(in_layer, start=1))
        return full, sum(in_layer[full:])
