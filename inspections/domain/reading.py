"""What a person reads on a reel, what the counting rules know of its type, and what can be wrong with a reading."""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from inspections.errors import ImpossibleParameters, ImpossibleReading
from reels.domain.words import Graduation, Parity, Side, UnusualRule

FULL_TURN_DEG = 360
HALF_TURN_DEG = 180
LEAST_CAPACITY = 2  # a part layer has at least 1 wrap and fewer than all


class OpenSide(StrEnum):
    """The flange that the part layer has not reached."""

    LEFT = "left"
    RIGHT = "right"
    NONE = "none"  # flush: the top layer reaches both


class Unwind(StrEnum):
    """The way the departure point moves along the drum as cable leaves it."""

    LEFT_TO_RIGHT = "left_to_right"
    RIGHT_TO_LEFT = "right_to_left"

    @classmethod
    def starting_at(cls, side: Side) -> "Unwind":
        """The direction that starts at a flange."""
        return cls.LEFT_TO_RIGHT if side is Side.LEFT else cls.RIGHT_TO_LEFT


class Half(StrEnum):
    """Half turn, counter-clockwise from the scale line as seen from the reference side."""

    FIRST = "first"  # 0° to 180°
    SECOND = "second"  # 180° to 360°
    UNCLEAR = "unclear"  # on the scale line, or it can't be told

    @classmethod
    def at(cls, degrees: float | Decimal, opposite: "Half | None" = None) -> "Half":
        """The half that an angle lies in; unclear on the scale line.

        opposite: the half that exactly 180° goes with, which is the type's matter; the second if left out.
        """
        place = degrees % FULL_TURN_DEG
        if place == HALF_TURN_DEG:
            return opposite or cls.SECOND
        return cls.UNCLEAR if place == 0 else cls.FIRST if place < HALF_TURN_DEG else cls.SECOND

    @property
    def spoken(self) -> str:
        """As people say it."""
        return "on the scale line, or can't be told" if self is Half.UNCLEAR else f"{self} half"

    @classmethod
    def stored(cls, code: str) -> "Half":
        """The half that a stored code means. Histories keep the bytes of older codes: aft was the first half."""
        return cls({"aft": "first", "forward": "second"}.get(code, code))


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleParameters:
    """What the counting rules need to know of a reel type.

    wraps_odd_layer, wraps_even_layer: wraps that a full layer holds, 2 or more.
    max_layers: layers the drum takes, the part layer included, 1 or more.
    lead_wraps: cable between the drum and the stowed body, 0 or more.
    arc_from_deg, arc_to_deg: a crossover strictly between them takes a wrap off; 0 <= from < to <= 360. The arc is one
        half turn, by the winding sense, unless a publication says otherwise; then people key degrees.
    crossover_begins_layer: the crossover's angle is where its layer begins; if not, every count is referred.
    Raises ImpossibleParameters naming the first field that no drum can have.
    """

    anchor_side: Side
    wraps_odd_layer: int
    wraps_even_layer: int
    max_layers: int
    lead_wraps: int = 1
    arc_from_deg: float = 0
    arc_to_deg: float = HALF_TURN_DEG
    unusual: UnusualRule = UnusualRule.HOLD
    graduation: Graduation = Graduation.EVERY
    crossover_begins_layer: bool = True

    def __post_init__(self) -> None:
        least = {
            "wraps_odd_layer": LEAST_CAPACITY,
            "wraps_even_layer": LEAST_CAPACITY,
            "max_layers": 1,
            "lead_wraps": 0,
        }
        for field, lowest in least.items():
            seen = getattr(self, field)
            if seen < lowest:
                raise ImpossibleParameters(field=field, seen=seen, allowed=f"{lowest} or more")
        if not 0 <= self.arc_from_deg < FULL_TURN_DEG:
            raise ImpossibleParameters(field="arc_from_deg", seen=self.arc_from_deg, allowed="0 up to, not with, 360")
        if not self.arc_from_deg < self.arc_to_deg <= FULL_TURN_DEG:
            allowed = f"more than {self.arc_from_deg}, where the arc begins, up to 360"
            raise ImpossibleParameters(field="arc_to_deg", seen=self.arc_to_deg, allowed=allowed)

    @property
    def half_in_arc(self) -> Half | None:
        """The half turn that the arc is; None for an arc that no half turn is, so that degrees have to be keyed."""
        if (self.arc_from_deg, self.arc_to_deg) == (0, HALF_TURN_DEG):
            return Half.FIRST
        return Half.SECOND if (self.arc_from_deg, self.arc_to_deg) == (HALF_TURN_DEG, FULL_TURN_DEG) else None

    @property
    def half_opposite(self) -> Half | None:
        """The half that a crossover exactly opposite the scale line goes with: the one outside the arc."""
        if self.half_in_arc is None:
            return None
        return Half.FIRST if self.half_in_arc is Half.SECOND else Half.SECOND

    def half_at(self, degrees: float) -> Half:
        """The half that a person keys for a crossover at this angle, 0 to 360."""
        return Half.at(degrees, self.half_opposite)

    def capacity(self, layer: int) -> int:
        """Wraps that a layer holds when it is full; layer 1 is next to the core."""
        return self.wraps_odd_layer if Parity.of(layer) is Parity.ODD else self.wraps_even_layer

    def far_side(self, layer: int) -> Side:
        """The flange that a layer runs to."""
        return self.anchor_side.other if Parity.of(layer) is Parity.ODD else self.anchor_side


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyedReading:
    """What one person keyed; None where nothing is keyed yet, or a scale was left out.

    scale_left, scale_right: level of cable at each flange, 0 or more.
    crossover_half or crossover_deg: one of the two; degrees 0 to 360.
    Raises ImpossibleReading for what nobody can see on any reel; everything else is for the rules to judge.
    """

    scale_left: int | None = None
    scale_right: int | None = None
    open_side: OpenSide | None = None
    unwind: Unwind | None = None
    hand_wraps: int | None = None
    gauge_face: Parity | None = None
    gauge_wraps: int | None = None
    crossover_half: Half | None = None
    crossover_deg: float | None = None

    def __post_init__(self) -> None:
        for field in ("scale_left", "scale_right"):
            seen = getattr(self, field)
            if seen is not None and seen < 0:
                raise ImpossibleReading(field=field, seen=seen, allowed="0 or more")
        if self.crossover_deg is None:
            return
        if not 0 <= self.crossover_deg <= FULL_TURN_DEG:
            raise ImpossibleReading(field="crossover_deg", seen=self.crossover_deg, allowed="0 to 360")
        if self.crossover_half is not None:
            raise ImpossibleReading(field="crossover_half", seen=self.crossover_half, allowed="the half or the degrees")

    @property
    def crossover(self) -> Half | float | None:
        """Where the crossover was seen, as it was keyed: the half, or degrees."""
        return self.crossover_deg if self.crossover_half is None else self.crossover_half


class Outcome(StrEnum):
    """What becomes of a reading."""

    ACCEPTED = "accepted"  # worked out
    REREAD = "reread"  # read again
    REFERRED = "referred"  # put before an authorised person


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """Something that keeps a reading from being accepted.

    detail: what was seen, what is allowed and what to do; fields: the reading's fields to look at.
    """

    code: str
    outcome: Outcome
    detail: str
    fields: tuple[str, ...]
