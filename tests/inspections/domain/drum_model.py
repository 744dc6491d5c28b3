"""A second, independent model of a drum: laid turn by turn, then looked at. It knows nothing of the counting rules."""

from dataclasses import dataclass
from fractions import Fraction
from math import floor


@dataclass(frozen=True)
class Turn:
    """Cable laid once round, or part of the way: it starts on the scale line in one slot of its layer."""

    layer: int
    slot: int  # 0 at the left flange
    sweep: Fraction  # of a whole turn


@dataclass(frozen=True)
class ModelDrum:
    anchor: str
    wraps_odd_layer: int
    wraps_even_layer: int

    def slots(self, layer: int) -> int:
        return self.wraps_odd_layer if layer % 2 else self.wraps_even_layer

    def wound(self, turns: Fraction) -> list[Turn]:
        """Lay that many turns, one after the other, beginning at the anchor side and going back at each flange."""
        laid: list[Turn] = []
        layer, step = 1, 1 if self.anchor == "left" else -1
        slot = 0 if step == 1 else self.slots(layer) - 1
        while turns > 0:
            if not 0 <= slot < self.slots(layer):
                layer, step = layer + 1, -step
                slot = 0 if step == 1 else self.slots(layer) - 1
            laid.append(Turn(layer, slot, min(turns, Fraction(1))))
            turns -= 1
            slot += step
        return laid

    # Looking at it

    def level_at(self, flange: str, laid: list[Turn]) -> int:
        """The topmost layer with a turn right at the flange."""
        touching = [t.layer for t in laid if t.slot == (0 if flange == "left" else self.slots(t.layer) - 1)]
        return max(touching, default=0)

    def open_side(self, laid: list[Turn]) -> str:
        left, right = self.level_at("left", laid), self.level_at("right", laid)
        if left == right:
            return "none"
        return "left" if left < right else "right"

    def unwind(self, laid: list[Turn]) -> str:
        """The top turns come off one by one, back to where their layer began."""
        top = [t.slot for t in laid if t.layer == laid[-1].layer]
        return "right_to_left" if top[0] == 0 else "left_to_right"

    def wraps_on_line(self, laid: list[Turn]) -> int:
        return sum(t.layer == laid[-1].layer for t in laid)

    def gauge(self, face: str, laid: list[Turn]) -> int:
        """Number at the outermost wrap."""
        return self.number_at(laid[-1], face)

    def number_at(self, turn: Turn, face: str) -> int:
        """The even face is numbered from the anchor side, the odd face from the other."""
        from_left = (self.anchor == "left") == (face == "even")
        return turn.slot + 1 if from_left else self.slots(turn.layer) - turn.slot

    def right_face(self, laid: list[Turn]) -> str:
        """The face whose number 1 is at the wrap with which the top layer began."""
        first = next(t for t in laid if t.layer == laid[-1].layer)
        return next(face for face in ("odd", "even") if self.number_at(first, face) == 1)

    def crossover_deg(self, laid: list[Turn]) -> float:
        return float(laid[-1].sweep * 360)

    # The truth

    def setup_values(self, laid: list[Turn], lead: int) -> tuple[int, int] | None:
        """Full layers and wraps of the whole turns, a half kept, less the lead; None if that is more than there is."""
        top = [t.sweep for t in laid if t.layer == laid[-1].layer]
        whole = len(laid) - len(top) + floor(sum(top) + Fraction(1, 2)) - lead
        return None if whole < 0 else self.as_layers(self.wound(Fraction(whole)))

    def as_layers(self, laid: list[Turn]) -> tuple[int, int]:
        in_layer = [sum(t.layer == layer for t in laid) for layer in range(1, laid[-1].layer + 1)] if laid else []
        full = sum(n == self.slots(layer) for layer, n in enumerate(in_layer, start=1))
        return full, sum(in_layer[full:])
