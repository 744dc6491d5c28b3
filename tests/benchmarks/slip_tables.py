"""What the study of slips prints: a line a kind, and how far its three aims are met."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from scipy.stats import binomtest

ONE, BOTH = "one person", "both people"
SOUND, SUPERSEDED = "sound", "superseded publication named"
WRONG_REEL, REEL_COPIED = "wrong reel on the stand", "wrong reel, its serial copied from the screen"
NOT_FITTING, GAUGE_PAST_DUE = "wrong gauge: does not fit the type", "wrong gauge: past due"
OTHERS_GAUGE, MARKS_DIFFER = "wrong gauge: another machine's", "wrong gauge: end marks do not match"
GAUGE_TURNED, GAUGE_COPIED = "gauge turned, its marks ticked unseen", "gauge of another type, the right serial keyed"
WRONG_GAUGES = (NOT_FITTING, GAUGE_PAST_DUE, OTHERS_GAUGE, MARKS_DIFFER)
HALF_BY_HABIT, HALF_BY_WORDS = "half as another type has it, words unread", "half as another type has it, words read"
STOP_IGNORED, STOP_AS_WATCH = "stop finding recorded, and work goes on", "a stop recorded as a watch"
STALE, COPIED = "stale values set", "read-back copied, machine set wrongly"
AT_THE_MACHINE = (STALE, COPIED)
# The aim: at least 99 % of these before anybody signs. Where a serial is copied instead of read is told apart.
READ_OFF_THE_THING = (WRONG_REEL, *WRONG_GAUGES, GAUGE_TURNED)
STOPS = (STOP_IGNORED, STOP_AS_WATCH)
COPIED_SERIAL = (REEL_COPIED, GAUGE_COPIED)


@dataclass(slots=True)
class SlipCell:
    """All inspections with one kind of slip, made by the same people: who or what caught them, and what got through."""

    caught: Counter[str] = field(default_factory=Counter)
    through: Counter[str] = field(default_factory=Counter)
    caught_above_one: int = 0  # of those caught: how many would have put the numbers off by more than one wrap

    def take_in(self, other: "SlipCell") -> None:
        """Add the inspections of another part of the study."""
        self.caught += other.caught
        self.through += other.through
        self.caught_above_one += other.caught_above_one

    @property
    def number(self) -> int:
        return self.caught.total() + self.through.total()


Table = dict[tuple[str, str], SlipCell]
RIGHT, ONE_OFF, MORE_OFF = "right all the same", "one wrap off", "more than one off"


def table_lines(table: Table) -> list[str]:
    """One line a kind: how many, the share caught, by which check, and what got through."""
    head = f"{'slip':<48}{'made by':<13}{'number':>7}{'caught':>9}   by which check; what got through"
    lines = [head]
    for (kind, who), cell in table.items():
        by = ", ".join(f"{name} {n}" for name, n in cell.caught.most_common())
        through = ", ".join(f"{n} {name}" for name, n in cell.through.most_common())
        share = cell.caught.total() / cell.number
        lines.append(f"{kind:<48}{who:<13}{cell.number:>7}{share:>9.1%}   {by or 'none'}; {through or 'nothing'}")
    return lines


def summary_lines(table: Table) -> list[str]:
    """The three aims, and what is not caught. Limits: of Clopper and Pearson (1934), as scipy has them."""
    at_the_reel = {place: cell for place, cell in table.items() if place[0] not in (*AT_THE_MACHINE, SOUND)}
    alone = [cell for (_, who), cell in at_the_reel.items() if who == ONE]
    sound = table.get((SOUND, ""), SlipCell())
    lines = [
        _share("made by one person alone at a hold point", *_caught(alone)),
        *(
            _share(f"would put the numbers off by more than one wrap, {words}", *_caught_above_one(chosen))
            for words, chosen in (
                ("slips in the count", [*at_the_reel.values()]),
                ("slips at the machine", [cell for (kind, _), cell in table.items() if kind in AT_THE_MACHINE]),
            )
        ),
        *(
            _share(words, *_caught(cells))
            for words, kinds in (
                ("wrong reels and gauges, before signing", READ_OFF_THE_THING),
                ("stop findings", STOPS),
                ("told apart, where a serial is copied and not read", COPIED_SERIAL),
            )
            if (cells := [cell for (kind, _), cell in table.items() if kind in kinds])
        ),
        _share("sound inspections troubled", *_caught([sound])).replace(" caught", ""),
    ]
    for (kind, who), cell in table.items():
        if kind != SOUND and (missed := cell.through[ONE_OFF] + cell.through[MORE_OFF]):
            lines.append(f"not caught: {kind}, {who}: {missed} of {cell.number}")
    return lines


def _caught(chosen: Sequence[SlipCell]) -> tuple[int, int]:
    return sum(cell.caught.total() for cell in chosen), sum(cell.number for cell in chosen)


def _caught_above_one(chosen: Sequence[SlipCell]) -> tuple[int, int]:
    caught = sum(cell.caught_above_one for cell in chosen)
    return caught, caught + sum(cell.through[MORE_OFF] for cell in chosen)


def _share(what: str, number: int, of: int) -> str:
    if not of:
        return f"{what}: none of these"
    limits = binomtest(number, of).proportion_ci(0.95, "exact")
    return f"{what}: {number} of {of} caught, {number / of:.2%} (95 % limits {limits.low:.2%} to {limits.high:.2%})"
