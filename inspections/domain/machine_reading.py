"""What a machine shows of its cable, compared with what it should show by its setup values and the winding model.

With x metres out, what is left on the drum is the length of the setup values less x. Both are compared as turns on the
drum, so that layers and wraps and a length are judged by one limit.
"""

from dataclasses import dataclass
from decimal import Decimal

from reels.domain.winding import Drum, count_of_turns, length_m, length_of_turns_m, turns_of, turns_of_length
from reels.errors import OffTheDrum


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineShows:
    """What the machine shows: layers and wraps, or the length on the drum, in metres; and what is out, in metres."""

    layers: int | None = None
    wraps: int | None = None
    length_m: Decimal | None = None
    length_out_m: Decimal = Decimal(0)

    @property
    def is_read(self) -> bool:
        """Whether it shows anything."""
        return self.length_m is not None or self.layers is not None or self.wraps is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """What was to be expected on the drum, and by how many turns what is shown is more; None: no drum could show it."""

    layers: int
    wraps: float
    length_m: float
    more_turns: float | None

    def is_within(self, limit_turns: float) -> bool:
        """Whether the difference is no more than the limit."""
        return self.more_turns is not None and abs(self.more_turns) <= limit_turns


def compared(shown: MachineShows, layers: int, wraps: int, drum: Drum) -> Compared:
    """A reading beside what is expected of setup values. Raises OffTheDrum where less is left than nothing.

    layers, wraps: the setup values. shown: with layers and wraps, or with a length.
    """
    turns = float(turns_of(layers, wraps, drum))
    if shown.length_out_m:
        left_m = float(length_m(layers, wraps, drum)) - float(shown.length_out_m)
        turns = float(turns_of_length(left_m, drum))
    expected_layers, expected_wraps = count_of_turns(turns, drum)
    try:
        more = _turns_shown(shown, drum) - turns
    except OffTheDrum:  # which is a reading all the same, and a wrong one
        more = None
    return Compared(
        layers=int(expected_layers), wraps=float(expected_wraps), length_m=float(length_of_turns_m(turns, drum)),
        more_turns=more,
    )  # fmt: skip


def _turns_shown(shown: MachineShows, drum: Drum) -> float:
    if shown.length_m is not None:
        return float(turns_of_length(float(shown.length_m), drum))
    return float(turns_of(shown.layers or 0, shown.wraps or 0, drum))
