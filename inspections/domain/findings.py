"""What is not sound about a reel: where it is looked for, how bad it is, and what its closing does to a count.

A type lists the kinds that its reels are looked over for, each with the least severity that it is recorded with; what
is not listed is "other", which is a stop. A stop holds the reel until an authorised person closes it. Where it lies and
what it looks like may tell what the other of the two has still to read, so that the history tells only a commitment to
it while the count at which it was recorded may still be read.
"""

from collections.abc import Mapping
from enum import StrEnum
from typing import Any

from reels.domain import ledger
from reels.domain.words import Side

OTHER = "other"  # a kind of every part of every type, always a stop


class ReelPart(StrEnum):
    """What is found sound or not, in the order in which it is looked at."""

    CABLE = "cable"
    WINDING = "winding"
    DRUM = "drum"
    END_FITTING = "end_fitting"
    SCALES = "scales"

    @property
    def spoken(self) -> str:
        """What people call it."""
        return {ReelPart.DRUM: "drum and flanges", ReelPart.END_FITTING: "end fitting"}.get(self, self.value)


class Severity(StrEnum):
    """How bad a finding is, the lesser first."""

    WATCH = "watch"  # it comes up at each next preparation
    STOP = "stop"  # it holds the reel

    def is_below(self, least: "Severity") -> bool:
        """Whether it is less than that."""
        order = list(Severity)
        return order.index(self) < order.index(least)


class Remedy(StrEnum):
    """How a finding was closed."""

    SOUND = "sound"
    PUT_RIGHT = "put_right"
    RESPOOLED = "respooled"
    CUT = "cut"
    REPLACED = "replaced"

    @property
    def spoken(self) -> str:
        """What people call it."""
        return {
            Remedy.SOUND: "looked at again and judged sound",
            Remedy.PUT_RIGHT: "put right, the cable left as it was",
            Remedy.RESPOOLED: "the cable was re-spooled",
            Remedy.CUT: "cable was cut off",
            Remedy.REPLACED: "the cable was replaced",
        }[self]

    @property
    def ends_counts(self) -> bool:
        """Whether the cable is no longer wound as it was counted."""
        return self in (Remedy.RESPOOLED, Remedy.CUT, Remedy.REPLACED)


LOGGED = frozenset({Remedy.CUT, Remedy.REPLACED})  # each is the kind of a cable event, which is logged first
DETAILS = ("layer", "side", "visible_wrap", "length_from_end_m", "words")


def details_of(row: Any) -> dict[str, Any]:
    """Where a finding lies and what it looks like, in its one plain form. row: what has all of DETAILS."""
    details: dict[str, Any] = ledger.plain({name: getattr(row, name) for name in DETAILS})
    return details


def commitment(details: Mapping[str, Any], salt: str) -> str:
    """The digest that stands for the details while they are blind."""
    return ledger.digest(ledger.canonical({"finding": details, "salt": salt}))


def place_in_words(layer: int | None, side: str, visible_wrap: int | None, from_end: str) -> str:
    """Where a finding lies, as far as it was said: layer 3, left side, visible wrap 4, 2.5 m from the outer end."""
    stated = (
        f"layer {layer}" if layer is not None else "",
        f"{Side(side)} side" if side else "",
        f"visible wrap {visible_wrap}" if visible_wrap is not None else "",
        f"{from_end} from the outer end" if from_end else "",
    )
    return ", ".join(filter(None, stated))
