"""What is on the stand before a practice reel is read: whose data plate, which wrap gauge, and what is not sound.

It is drawn apart from the drum, so that a seed's drum is the same whatever stands around it.
Source: common practice, no published source; what is seen is made up.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from inspections.domain.findings import ReelPart
from inspections.domain.practice.draws import Difficulty, Draws
from reels.domain.words import Side

ODDS = 4  # one in so many reels that are not plain has something on its stand
NEIGHBOURS = {"0": "8", "8": "0", "1": "7", "7": "1", "3": "5", "5": "3", "2": "9", "9": "2", "4": "6", "6": "4"}


class StandTrap(StrEnum):
    """What is not as the work order has it."""

    ANOTHER_REEL = "another_reel"  # its data plate differs by one digit
    ANOTHER_GAUGE = "another_gauge"  # that of a machine beside this one
    TO_WATCH = "to_watch"  # a finding with which the count goes on
    TO_STOP = "to_stop"  # one that holds the reel


STOPPING = frozenset({StandTrap.ANOTHER_REEL, StandTrap.ANOTHER_GAUGE, StandTrap.TO_STOP})

SOUND = {
    ReelPart.CABLE: "no wire broken, no kink",
    ReelPart.WINDING: "level, wrap beside wrap",
    ReelPart.DRUM: "no crack, flanges straight",
    ReelPart.END_FITTING: "tight, its pin in place",
    ReelPart.SCALES: "firm on both flanges, every number legible",
}
# What is seen when a part is not sound, and may be watched or has to stop the count.
UNSOUND = {
    StandTrap.TO_WATCH: {
        ReelPart.CABLE: "armour rubbed bright along a metre of the outermost wrap, no wire broken",
        ReelPart.DRUM: "paint chipped at the rim of one flange",
        ReelPart.END_FITTING: "rust on the clamp, which is tight",
    },
    StandTrap.TO_STOP: {
        ReelPart.CABLE: "a kink, and beside it two wires of the armour broken",
        ReelPart.DRUM: "one flange cracked from its rim inward",
        ReelPart.END_FITTING: "its pin missing, the cable can be pulled out by hand",
    },
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticeStand:
    """What is on the stand.

    ordered: the serial that the work order names. plate: the one on the reel. listed_gauge: the serial of the machine's
    gauge. gauge: the one on the gauge that lies there. seen: in words, by part. unsound: parts that are not sound.
    either: parts that may be recorded as not sound or left out. trap: what is wrong, if anything.
    """

    ordered: str
    plate: str
    listed_gauge: str
    gauge: str
    seen: Mapping[ReelPart, str]
    unsound: frozenset[ReelPart]
    either: frozenset[ReelPart]
    trap: StandTrap | None

    @property
    def stops(self) -> bool:
        """Whether the count ends before a reading."""
        return self.trap in STOPPING


@dataclass(frozen=True, slots=True, kw_only=True)
class StandSheet:
    """What a trainee entered of it: serials as keyed, and the parts found not sound."""

    serial: str
    gauge_serial: str
    unsound: frozenset[ReelPart]


def practice_stand(
    difficulty: Difficulty, seed: int, *, heaped: tuple[Side, int] | None, worn: Side | None
) -> PracticeStand:
    """The stand of a seed's reel.

    heaped: the flange at which cable stands too high, and by how many layers. worn: the one whose scale can't be read.
    """
    draws = Draws(seed, 1)
    number, machine = f"{draws.below(10_000):04d}", 1 + draws.below(89)
    plate, gauge = f"PR-{number}", f"PG-{machine:02d}"
    trap = None
    if difficulty is not Difficulty.PLAIN and draws.below(ODDS) == 0:
        trap = StandTrap.TO_WATCH if difficulty is Difficulty.USUAL else draws.one_of(tuple(StandTrap))
    seen, unsound = dict(SOUND), set()
    if trap in UNSOUND:
        part = draws.one_of(tuple(UNSOUND[trap]))
        seen[part] = UNSOUND[trap][part]
        unsound.add(part)
    if heaped is not None:
        side, layers = heaped
        seen[ReelPart.WINDING] = f"heaped at the {side} flange, {layers} layer{'s' if layers > 1 else ''} too high"
        unsound.add(ReelPart.WINDING)
    if worn is not None:
        seen[ReelPart.SCALES] = f"firm on both flanges, the {worn} one too worn to be read"
    at = draws.below(len(number))
    other = number[:at] + NEIGHBOURS[number[at]] + number[at + 1 :]
    return PracticeStand(
        ordered=f"PR-{other}" if trap is StandTrap.ANOTHER_REEL else plate,
        plate=plate,
        listed_gauge=f"PG-{machine + 1:02d}" if trap is StandTrap.ANOTHER_GAUGE else gauge,
        gauge=gauge,
        seen=seen,
        unsound=frozenset(unsound),
        either=frozenset() if worn is None else frozenset({ReelPart.SCALES}),
        trap=trap,
    )


def parts_in_words(parts: frozenset[ReelPart]) -> str:
    """Parts as people call them, in the order in which they are looked at; nothing for none."""
    return ", ".join(part.spoken for part in ReelPart if part in parts)
