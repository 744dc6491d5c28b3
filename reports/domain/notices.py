"""E-mail notices: what they are for, who wants which, and what they say.

A notice tells where to look and what to do. It carries no count, no setup values and nothing that somebody typed.
"""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum

from reels.domain.text import set_apart


class NoticeKind(StrEnum):
    """What somebody must act on."""

    HOLD = "hold"
    SAFETY_NOTICE = "safety_notice"
    FINDING = "finding"
    WITHDRAWAL = "withdrawal"
    READ_BACK = "read_back"
    LAPSED = "lapsed"
    LIFE = "life"
    FLAG = "flag"
    LATE_MOVE = "late_move"
    AUTHORISATION = "authorisation"


class NoticeState(StrEnum):
    """Where a notice stands. One that stays at `sending` may have gone out or not: nobody sends it again by itself."""

    WAITING = "waiting"
    SENDING = "sending"
    SENT = "sent"


LABELS = {
    NoticeKind.HOLD: "A reel is held",
    NoticeKind.SAFETY_NOTICE: "A safety notice holds reels",
    NoticeKind.FINDING: "A stop finding is recorded",
    NoticeKind.WITHDRAWAL: "Setup values are withdrawn",
    NoticeKind.READ_BACK: "A read-back is refused",
    NoticeKind.LAPSED: "A count lapses while its values are in force",
    NoticeKind.LIFE: "A reel or its cable nears the end of its life",
    NoticeKind.FLAG: "A drift flag is raised",
    NoticeKind.LATE_MOVE: "A reel that was sent is not received",
    NoticeKind.AUTHORISATION: "An authorisation ends within 30 days",
}
WHAT = {  # {0} is the cause
    NoticeKind.HOLD: "reel {0.reel} is held",
    NoticeKind.SAFETY_NOTICE: "safety notice {0.key} holds reels",
    NoticeKind.FINDING: "reel {0.reel} has a stop finding",
    NoticeKind.WITHDRAWAL: "the setup values of reel {0.reel} are withdrawn",
    NoticeKind.READ_BACK: "a read-back for reel {0.reel} is refused",
    NoticeKind.LAPSED: "the count of reel {0.reel} has lapsed",
    NoticeKind.LIFE: "reel {0.reel} or its cable nears the end of its life",
    NoticeKind.FLAG: "a drift flag is raised on reel {0.reel}",
    NoticeKind.LATE_MOVE: "reel {0.reel} was sent to {0.to_name} and is not received",
    NoticeKind.AUTHORISATION: "the authorisation {0.authorisation} ends soon",
}
TO_DO = {
    NoticeKind.HOLD: "The reel's page says why it is held. End the hold there when the reel may be used again. Setup "
    "values that were in force were withdrawn by the hold.",
    NoticeKind.SAFETY_NOTICE: "Its page says why, and which reels it holds. Setup values of these that were in force "
    "were withdrawn. A reel is let go on its own page, or with all others when the notice is lifted.",
    NoticeKind.FINDING: "The reel's page says what was found. The reel is held, and setup values in force were "
    "withdrawn. Somebody authorised to decide looks at it, and closes the finding there or makes it a watch.",
    NoticeKind.WITHDRAWAL: "The reel's page says why. The numbers set on the machine are no longer valid: before the "
    "reel is used, issue new setup values, or count it again first.",
    NoticeKind.READ_BACK: "The machine shows other numbers than were issued. Set the issued values again, and key what "
    "the machine then shows.",
    NoticeKind.LATE_MOVE: "Find out where it is. The site that it came to records on the reel's page that it was "
    "received, and how it was found; the one that sent it calls it back there if it did not leave, or will not arrive.",
    NoticeKind.LAPSED: "The reel's page says why. Setup values from that count are in force; those that were confirmed "
    "before stay. Have the reel removed and counted: nothing else is issued, installed or confirmed from that count.",
    NoticeKind.LIFE: "The reel's page says which soft limit of its type is reached, and at which hard limit the reel "
    "is held. Plan another cable or another reel before that.",
    NoticeKind.FLAG: "Investigate the interval that the flag names, and close the flag with its outcome.",
    NoticeKind.AUTHORISATION: "If it is still needed, ask an administrator to grant another one before that day.",
}
WINDOW = timedelta(days=30)  # causes older than this are not mailed any more; authorisations end within it
FIRST_PAUSE = timedelta(minutes=5)  # a server that greylists takes a mail after a few minutes
LONGEST_PAUSE = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """What a notice is about. key: the id of the hold, the finding, the values and so on."""

    kind: NoticeKind
    key: int
    since: datetime  # at the site's clocks; of an authorisation, when it ends
    site: int | None  # None: every site, of an authorisation
    site_name: str
    also: tuple[int, ...] = ()  # other sites that are told
    to_name: str = ""  # the site that a reel was sent to
    reel: str = ""
    setup_values: int = 0  # the id of those that were withdrawn or read back
    machine: str = ""
    person: int | None = None  # whose authorisation
    authorisation: str = ""  # in words
    by_hold: bool = False  # withdrawn in the act that placed a hold
    by_finding: bool = False  # a hold that a finding placed
    by_notice: bool = False  # a hold that a safety notice placed, or values that this withdrew


@dataclass(frozen=True, slots=True, kw_only=True)
class Reader:
    """Somebody who asked for notices. sites: where they may read; None: everywhere. chosen: kinds, each with a site."""

    person: int
    address: str
    is_administrator: bool
    sites: frozenset[int] | None
    chosen: frozenset[tuple[NoticeKind, int | None]]


def wants(reader: Reader, cause: Cause) -> bool:
    """Whether the person asked to be told of this, and may know it.

    A hold withdraws setup values in the same act, and a stop finding or a safety notice holds the reel: who is told of
    the one is not told of the other as well.
    """
    if any(wants(reader, replace(cause, site=site, also=())) for site in cause.also):
        return True
    if not _may_know(reader, cause) or not _chose(reader, cause.kind, cause.site):
        return False
    told_by = (
        NoticeKind.HOLD if cause.by_hold else None, NoticeKind.FINDING if cause.by_finding else None,
        NoticeKind.SAFETY_NOTICE if cause.by_notice else None,
    )  # fmt: skip
    return not any(kind and _chose(reader, kind, cause.site) for kind in told_by)


def _may_know(reader: Reader, cause: Cause) -> bool:
    if cause.kind is NoticeKind.AUTHORISATION:
        return reader.is_administrator or cause.person == reader.person
    return reader.sites is None or cause.site in reader.sites


def _chose(reader: Reader, kind: NoticeKind, site: int | None) -> bool:
    if site is None:
        return any(chosen is kind for chosen, _ in reader.chosen)
    return (kind, None) in reader.chosen or (kind, site) in reader.chosen


def is_due(tries: int, tried_at: datetime | None, at: datetime) -> bool:
    """Whether a notice that could not be sent is tried again: later each time, and once a day at last."""
    if tried_at is None or tries < 1:
        return True
    pause: timedelta = FIRST_PAUSE * 2 ** min(tries - 1, 10)  # bounded before it overflows
    return at >= tried_at + min(pause, LONGEST_PAUSE)


# What they say ------------------------------------------------------------------------------------------------------


def subject(cause: Cause) -> str:
    """The line that stands in a list of mails."""
    cause = _in_a_sentence(cause)
    return f"Wrapledger: {WHAT[cause.kind].format(cause)} ({cause.site_name})"


def text(cause: Cause, link: str, choices_link: str) -> str:
    """The mail itself. link: to the page where one acts; choices_link: to where one chooses; "" for either: none."""
    cause = _in_a_sentence(cause)
    when = "Ends" if cause.kind is NoticeKind.AUTHORISATION else "Since"
    since = f"{cause.since.day} {cause.since:%B %Y, %H:%M} {cause.since.tzname()}"
    facts = [("Reel", cause.reel), ("Machine", cause.machine), ("Site", cause.site_name), (when, since)]
    what = WHAT[cause.kind].format(cause)
    parts = [
        f"{what[0].upper()}{what[1:]}.",
        "\n".join(f"{f'{name}:':<9}{value}" for name, value in facts if value),
        f"What to do: {TO_DO[cause.kind]}",
        *([link] if link else []),
        "You asked for this mail under “Notices”, beside your login, and can change it there."
        + (f"\n{choices_link}" if choices_link else ""),
    ]
    return "\n\n".join(parts) + "\n"


def _in_a_sentence(cause: Cause) -> Cause:
    return replace(
        cause, site_name=set_apart(cause.site_name), to_name=set_apart(cause.to_name), machine=set_apart(cause.machine)
    )
