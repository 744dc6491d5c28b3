"""The twenty counts by which the effort is told: which reel, what is read there, and what happens on the way. Pure."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from random import Random
from typing import Any

from inspections.domain.reading import Half, OpenSide, Unwind
from reels.domain.words import Parity, Side

SEED, NUMBER = 20, 20
LEAST_WRAPS, MOST_LAYERS = 2, 18  # the crossover and the lead may take two; a drum of type w28 takes 20 layers
WRAPS_ODD, WRAPS_EVEN = 28, 27  # as type w28 of tests/builders.py, anchored left, has them
DIFFERS_AT = ("scale", "hand_wraps", "gauge_wraps", "crossover_half")  # each once in the twenty
ANOTHER_ORDER = 0.2  # how often a count is by a work order that nobody counted under yet; a guess


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulatedCount:
    """One count. layer: the part layer, of which `wraps` are there.

    differs_at: the field of which the verifier first keys something else, so that both key it again, or none.
    """

    serial: str
    layer: int
    wraps: int
    half: Half
    work_order: str
    differs_at: str = ""
    has_finding: bool = False

    @property
    def open_side(self) -> Side:
        """An odd layer runs away from the anchor side, which is left."""
        return Side.RIGHT if self.layer % 2 else Side.LEFT

    @property
    def read(self) -> dict[str, Any]:
        """What is there, by the fields of a reading."""
        unwind = Unwind.RIGHT_TO_LEFT if self.open_side is Side.RIGHT else Unwind.LEFT_TO_RIGHT
        return {
            "serial": self.serial, "open_side": OpenSide(self.open_side.value), "unwind": unwind,
            f"scale_{self.open_side}": self.layer - 1, f"scale_{self.open_side.other}": self.layer,
            "hand_wraps": self.wraps, "gauge_face": Parity.of(self.layer - 1), "gauge_wraps": self.wraps,
            "crossover_half": self.half,
        }  # fmt: skip

    @property
    def misread(self) -> dict[str, Any]:
        """What the verifier first sees where the two differ: one less, or the other half."""
        match self.differs_at:
            case "":
                return self.read
            case "crossover_half":
                other = next(half for half in (Half.FIRST, Half.SECOND) if half is not self.half)
                return {**self.read, "crossover_half": other}
            case field:
                return {**self.read, field: self.read[field] - 1}


# The worked example of tests/builders.py, first, so that its steps can be told beside the twenty.
EXAMPLE_NUMBER = 101
EXAMPLE = SimulatedCount(serial=f"LW-{EXAMPLE_NUMBER:04}", layer=13, wraps=12, half=Half.FIRST, work_order="WO-7")


def drawn_counts() -> list[SimulatedCount]:
    """The worked example, and nineteen that are drawn: layers, wraps of one and of two digits as often, halves."""
    random = Random(SEED)  # noqa: S311
    counts = [EXAMPLE, *_drawn(random)]
    *differing, found = random.sample(range(1, NUMBER), len(DIFFERS_AT) + 1)
    for place, field in zip(differing, DIFFERS_AT, strict=True):
        scale = f"scale_{random.choice(list(Side))}"
        counts[place] = replace(counts[place], differs_at=scale if field == "scale" else field)
    counts[found] = replace(counts[found], has_finding=True)
    return counts


def _drawn(random: Random) -> Iterator[SimulatedCount]:
    order = 7
    for number in range(EXAMPLE_NUMBER + 1, EXAMPLE_NUMBER + NUMBER):
        layer = random.randint(2, MOST_LAYERS)
        most = (WRAPS_ODD if layer % 2 else WRAPS_EVEN) - 1
        wraps = random.choice((random.randint(LEAST_WRAPS, 9), random.randint(10, most)))
        order += random.random() < ANOTHER_ORDER
        half = random.choice((Half.FIRST, Half.SECOND))
        yield SimulatedCount(serial=f"LW-{number:04}", layer=layer, wraps=wraps, half=half, work_order=f"WO-{order}")
