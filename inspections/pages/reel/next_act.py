"""What somebody may do about a reel now: the one act that waits for them, and all others."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.urls import reverse

from inspections.domain.words import Act, ReelStatus
from inspections.models import SetupValues
from inspections.pages.count.inspection_page import acts_on
from inspections.pages.finding_rows import FindingRow
from inspections.services.findings import MAY_RECORD
from inspections.services.maintenance import MAY_LOG_EVENTS
from reels.models import Person


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """Something that may be done, in words, and the address where it is done."""

    words: str
    address: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """Something that can be done about setup values: in words, at which address, by whom."""

    words: str
    address: str
    by: tuple[Act, ...]
    who: str

    def is_for(self, person: Person, held: frozenset[Act], row: SetupValues) -> bool:
        """Whether somebody with these authorisations may do it; nobody confirms what they set."""
        is_second = self.by != (Act.CONFIRM,) or row.set_by_id != person.pk
        return is_second and bool(held.intersection(self.by))


UNCOUNTABLE = (ReelStatus.RETIRED, ReelStatus.IN_TRANSIT)
_ACTS = (
    ("Issue setup values", "reel-issue", {Act.ISSUE}, "counted"),
    ("Record an installation", "reel-installation", {Act.MAINTAIN, Act.SET}, "off"),
    ("Record a removal", "reel-removal", {Act.MAINTAIN, Act.SET}, "installed"),
    ("Log a cut", "reel-cut", {Act.MAINTAIN, Act.COUNT}, ""),
    ("Log a cable replacement", "reel-replacement", {Act.MAINTAIN}, ""),
    ("Record an event", "reel-event", set(MAY_LOG_EVENTS), ""),
    ("Record a finding", "reel-finding", set(MAY_RECORD), ""),
    ("End the hold", "reel-hold-end", {Act.RELEASE, Act.MAINTAIN}, "held"),
    ("Hold the reel", "reel-hold", {Act.MAINTAIN, Act.VERIFY}, "free"),
    ("Call the reel back", "reel-call-back", {Act.MAINTAIN}, "in transit"),
    ("Send to another site", "reel-move", {Act.MAINTAIN}, "idle"),
    ("Retire the reel", "reel-retirement", {Act.MAINTAIN}, "idle"),
)
# The one that waits, by where the reel stands, where neither a count nor setup values are under way.
_WAITING = {
    ReelStatus.HELD: "End the hold",
    ReelStatus.WITHOUT_VALUES: "Record a removal",
    ReelStatus.COUNTED: "Issue setup values",
    ReelStatus.AWAITING_COUNT: "Begin a count",
}

# What waits in a count, as its own page calls it and as the reel's does; the first of them that is offered.
_IN_COUNT = {
    "Decide on the count": "Decide on the count",
    "Compare and sign": "Compare and sign",
    "Witness": "Witness the count",
    "Worksheet": "Go on with the count",
}


def acts_on_reel(reel: Any, held: frozenset[Act]) -> list[Way]:
    """What somebody with these authorisations may do about the reel now. No query.

    reel: with its status, whether it is held, and whether a stop finding is open.
    """
    if reel.status == ReelStatus.RETIRED:
        return []
    is_off = reel.machine_serial is None
    is_here = reel.status != ReelStatus.IN_TRANSIT
    holds = {
        "": True,
        "counted": is_here and reel.counted_at is not None and not reel.is_held and reel.values_id is None,
        "off": is_here and is_off and not reel.is_held,
        "installed": not is_off,
        "held": reel.is_held and not reel.is_stopped,
        "free": not reel.is_held,
        "idle": is_here and is_off and reel.live_id is None,
        "in transit": not is_here,
    }
    ways = [_way(title, name, reel.serial) for title, name, needs, when in _ACTS if holds[when] and held & needs]
    count = _words_to_count(reel, held)
    return [_way(count, "count-begin", reel.serial), *ways] if count else ways


def _words_to_count(reel: Any, held: frozenset[Act]) -> str:
    """What begins a count of the reel now, or nothing. No query.

    On a machine nothing can be counted, but a count that was made on paper before may be entered late.
    """
    if Act.COUNT not in held or reel.live_id or reel.is_stopped or reel.status in UNCOUNTABLE:
        return ""
    return "Enter a count from paper" if reel.machine_serial else "Begin a count"


def acts_in_count(live: Any, person: Person, held: frozenset[Act], *, is_stopped: bool) -> list[Way]:
    """What waits for somebody in the count that is under way, if any: the first is theirs. No query.

    As the count's own page offers it. live: the inspection with `role` (theirs in it, or none) and `has_signed`.
    """
    if live is None:
        return []
    offered = acts_on(live, person, held, {live.role} - {None}, is_stopped=is_stopped)
    addresses = {each["words"]: each["address"] for each in offered if each["page"] != "result" or not live.has_signed}
    return [Way(words=_IN_COUNT[words], address=addresses[words]) for words in _IN_COUNT if words in addresses]


def step_of(row: SetupValues, *, is_installed: bool) -> Step | None:
    """What comes next for these setup values. is_installed: the reel, in their machine."""
    if row.withdrawn_at or row.confirmed_at:
        return None
    if not is_installed:
        there = f"{reverse('reel-installation', args=[row.reel.serial])}?machine={row.machine.serial}"
        return Step(words=f"Install the reel in {row.machine.serial}", address=there, by=(Act.MAINTAIN, Act.SET),
                    who="maintenance control or a setter")  # fmt: skip
    if row.gauge_returned_at is None:
        return _step(row, "Return the wrap gauge", "setup-gauge", Act.SET, Act.CONFIRM, who="the setter")
    if row.set_at is None:
        return _step(row, "Set the numbers and read them back", "setup-read-back", Act.SET, who="the setter")
    return _step(row, "Confirm what the machine shows", "setup-confirmation", Act.CONFIRM, who="a second person")


def next_of(reel: Any, ways: Iterable[Way], of_count: list[Way], findings: Iterable[FindingRow],
            step: Step | None) -> Way | None:  # fmt: skip
    """The one act that waits for somebody; None if none does.

    ways and of_count: what they may do about the reel, and in its count; findings: as they see them; step: what comes
    next for its values, if that is theirs.
    """
    stops = (_way(f"Close finding {each.row.pk}", "finding-close", each.row.pk) for each in findings if each.may_lower)
    if reel.is_stopped:
        return next(stops, None)
    if of_count:
        return of_count[0]
    if step and not reel.is_held:
        return Way(words=step.words, address=step.address)
    waiting = _WAITING.get(ReelStatus(reel.status))
    return next((each for each in ways if each.words == waiting), None)


def _way(words: str, name: str, of: str | int) -> Way:
    return Way(words=words, address=reverse(name, args=[of]))


def _step(row: SetupValues, words: str, name: str, *by: Act, who: str) -> Step:
    return Step(words=words, address=reverse(name, args=[row.pk]), by=by, who=who)
