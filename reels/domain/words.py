"""The trade's small words that reel types, counts and setup values share."""

from collections.abc import Mapping
from decimal import Decimal
from enum import StrEnum
from typing import Any, Self

# What a serial number may be: ASCII, for two people key it alike, and no slash, since it stands in paths.
SERIAL = r"[!-.0-~](?:[ -.0-~]{0,38}[!-.0-~])?"
SERIAL_IN_WORDS = "up to 40 ASCII characters without a slash, and no blank at either end"
USERNAME = r"[-a-zA-Z0-9_.@+]{1,60}"
# As it may stand in a path, where a reel may be from before serials had to be ASCII.
SERIAL_IN_PATH = r"[^/\x00-\x20\x7f](?:[^/\x00-\x1f\x7f]{0,38}[^/\x00-\x20\x7f])?"


def counted(number: int, thing: str, things: str = "") -> str:
    """A number of things in words: 1 layer, 12 layers. things: of several, where an s does not do."""
    return f"{number} {thing}" if number == 1 else f"{number} {things or thing + 's'}"


class ReelEventKind(StrEnum):
    """What can happen to a reel beside a cut or another cable."""

    RESPOOLED = "respooled"
    USED = "used"
    INCIDENT = "incident"
    REVERSAL = "reversal"  # a counter-entry, by which a wrong or doubled one is taken back

    @property
    def spoken(self) -> str:
        """As people say it."""
        return {"respooled": "re-spooled", "reversal": "entry reversed"}.get(self.value, self.value)

    @classmethod
    def happenings(cls) -> "tuple[ReelEventKind, ...]":
        """What is recorded as it happens."""
        return cls.RESPOOLED, cls.USED, cls.INCIDENT


class IncidentKind(StrEnum):
    """Of an incident."""

    JAM = "jam"
    OVERRUN = "overrun"
    DROPPED = "dropped"
    SHOCK = "shock"
    LIGHTNING = "lightning"
    OTHER = "other"


class MoveState(StrEnum):
    """Of a reel that was sent to another site. LATE: under way beyond the usual days of that site."""

    UNDER_WAY = "under_way"
    LATE = "late"
    RECEIVED = "received"
    CALLED_BACK = "called_back"


class CountEffect(StrEnum):
    """What a use on the machine, or an incident, does to a count, as the type says."""

    NOTHING = "nothing"
    ASKS = "asks"
    ENDS = "ends"


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


class LinePlace(StrEnum):
    """Where the scale line of a drum sits, as installed."""

    TOP = "top"
    BOTTOM = "bottom"
    FORWARD = "forward"
    AFT = "aft"

    @property
    def spoken(self) -> str:
        """As people say it: on top, at the bottom, forward or aft."""
        return {"top": "on top", "bottom": "at the bottom"}.get(self.value, self.value)


# Counter-clockwise from the scale line: which way the first half turn lies, then the second. Seen from the right side
# of what carries the machine, forward is to the right; from the left side, to the left.
_HALVES = {
    (LinePlace.TOP, Side.LEFT): ("forward", "aft"),
    (LinePlace.TOP, Side.RIGHT): ("aft", "forward"),
    (LinePlace.BOTTOM, Side.LEFT): ("aft", "forward"),
    (LinePlace.BOTTOM, Side.RIGHT): ("forward", "aft"),
    (LinePlace.FORWARD, Side.LEFT): ("below", "above"),
    (LinePlace.FORWARD, Side.RIGHT): ("above", "below"),
    (LinePlace.AFT, Side.LEFT): ("above", "below"),
    (LinePlace.AFT, Side.RIGHT): ("below", "above"),
}


def where_halves_lie(scale_line_at: LinePlace, reference_side: Side) -> tuple[str, str]:
    """Which way the first half turn lies, and the second: forward, aft, above or below.

    It holds only while the scale line stands where it is said to.
    """
    return _HALVES[scale_line_at, reference_side]


class WindingSense(StrEnum):
    """The way cable runs from its inner end outward, seen from the reference side."""

    CLOCKWISE = "clockwise"
    COUNTER_CLOCKWISE = "counter_clockwise"

    @property
    def arc(self) -> tuple[int, int]:
        """From where to where a crossover takes a wrap off, in degrees from the scale line: one half turn."""
        return (0, 180) if self is WindingSense.CLOCKWISE else (180, 360)

    @property
    def spoken(self) -> str:
        """As people say it."""
        return self.replace("_", "-")

    @classmethod
    def completing(cls, stated: Mapping[str, Any]) -> dict[str, Any]:
        """The winding sense by the arc, or the arc by the winding sense, where only one of them is stated.

        stated: columns of a reel type; None is not stated.
        """
        sense, ends = stated.get("winding_sense"), ("arc_from_deg", "arc_to_deg")
        arc = tuple(stated.get(end) for end in ends)
        if sense is None:
            by_arc = next((each for each in cls if each.arc == arc), None)
            return {"winding_sense": by_arc} if by_arc else {}
        return dict(zip(ends, cls(sense).arc, strict=True)) if arc == (None, None) and sense in set(cls) else {}


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
    IMPORT = "import"  # bring older records in

    @property
    def spoken(self) -> str:
        """As people say it."""
        return {
            "read": "read what its owner may read", "readings": "open counts and post readings",
            "cable-events": "log cuts and replacements", "import": "bring older records in",
        }[self.value]  # fmt: skip


class AskedAt(StrEnum):
    """Where a password was asked for."""

    LOGIN = "login"
    SIGNING = "signing"
    ACCOUNT = "account"  # before a password or a second factor is changed


class LinkPurpose(StrEnum):
    """What a link to a login is good for."""

    FIRST = "first"  # the first administrator of a new service
    SECOND = "second"  # the second one, who waits for nobody
    PASSWORD = "password"  # noqa: S105  # the owner of a login that is there gives it a password


class LockScope(StrEnum):
    """What is locked after too many wrong passwords; the login goes on everywhere else."""

    EVERYWHERE = "everywhere"  # before tries were counted by where they come from
    SESSION = "session"  # one open session
    BROWSER = "browser"  # one user name in one browser that it was used in before
    ADDRESS = "address"  # one user name from one network address, in browsers that it was not used in
    UNKNOWN_BROWSERS = "unknown_browsers"  # one user name in all browsers that it was not used in
    ANY_NAME = "any_name"  # whatever user name, from one network address


LOCKED_IN_WORDS = {
    LockScope.EVERYWHERE: "everywhere",
    LockScope.SESSION: "in one session",
    LockScope.BROWSER: "in one browser",
    LockScope.ADDRESS: "from one address",
    LockScope.UNKNOWN_BROWSERS: "in all browsers that it was not used in",
    LockScope.ANY_NAME: "for all user names, from one address",
}


class LengthUnit(StrEnum):
    """The unit in which somebody reads and types lengths; kept are metres, whatever it is."""

    METRES = "m"
    FEET = "ft"

    @property
    def metres(self) -> Decimal:
        """How many metres one of it is, exactly: the international foot."""
        return Decimal("0.3048") if self is LengthUnit.FEET else Decimal(1)
