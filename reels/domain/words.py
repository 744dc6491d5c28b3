"""The trade's small words that reel types, counts and setup values share."""

from decimal import Decimal
from enum import StrEnum
from typing import Self

# What a serial number may be, since it stands in paths: no slash, no control characters, no blank at either end.
SERIAL = r"[^/\x00-\x20\x7f](?:[^/\x00-\x1f\x7f]{0,38}[^/\x00-\x20\x7f])?"


def counted(number: int, thing: str, things: str = "") -> str:
    """A number of things in words: 1 layer, 12 layers. things: of several, where an s does not do."""
    return f"{number} {thing}" if number == 1 else f"{number} {things or thing + 's'}"


class Side(StrEnum):
    """A flange of the drum, as installed, looking forward."""

    LEFT = "left"
    RIGHT = "right"

    @property
    def other(self) -> "Side":
        """The flange across the drum."""
        return Side.RIGHT if self is Side.LEFT else Side.LEFT


class Parity(StrEnum):
    """Odd or even: of a number of layers, and the name of a wrap gauge's face."""

    ODD = "odd"
    EVEN = "even"

    @classmethod
    def of(cls, number: int) -> Self:
        """Parity of a whole number; 0 is even."""
        return cls("odd" if number % 2 else "even")

    @property
    def other(self) -> "Parity":
        """Odd for even, even for odd."""
        return Parity.EVEN if self is Parity.ODD else Parity.ODD


class Graduation(StrEnum):
    """How the flange scales of a reel type are numbered."""

    EVERY = "every"  # every layer at both flanges
    BY_SIDE = "by_side"  # odd layers at the anchor side, even layers at the other


class UnusualRule(StrEnum):
    """What a reel type says of a flush count or one that steps down a layer."""

    HOLD = "hold"  # referred, its numbers only proposed
    ACCEPT = "accept"  # worked out; a publication allows it


class Scope(StrEnum):
    """What a script's token is for. None of them signs, issues or confirms."""

    READ = "read"  # everything its owner may read
    READINGS = "readings"  # open counts and post readings, for the people named
    CABLE_EVENTS = "cable-events"  # log cuts and replacements


class AskedAt(StrEnum):
    """Where a password was asked for."""

    LOGIN = "login"
    SIGNING = "signing"
    ACCOUNT = "account"  # before a password or a second factor is changed


class LengthUnit(StrEnum):
    """The unit in which somebody reads and types lengths; kept are metres, whatever it is."""

    METRES = "m"
    FEET = "ft"

    @property
    def metres(self) -> Decimal:
        """How many metres one of it is, exactly: the international foot."""
        return Decimal("0.3048") if self is LengthUnit.FEET else Decimal(1)
