"""What waits for one person: rows of everything that they may do now, by their authorisations, posting and open work.

A fixed number of queries for a person, whatever the numbers: of each list no more than MOST rows are read, in an order
that an index has, so that neither a fleet nor a history is walked through.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet

from inspections import access
from inspections.access import MAY_END_HOLDS, HeldActs
from inspections.domain import keying
from inspections.domain.findings import Severity
from inspections.domain.keying import KeyedValue
from inspections.domain.words import LIVE, Act, InspectionState, Point, ReelStatus, Role
from inspections.models import (
    DriftFlag,
    Exercise,
    Finding,
    GaugeUse,
    Inspection,
    Keying,
    Participant,
    ReelStatusRow,
    SetupValues,
    SignOff,
    ThirdReading,
    Void,
)
from inspections.queries.keyings import as_keyed
from inspections.queries.practice import open_exercise
from inspections.queries.status import RANK
from inspections.queries.third_readings import awaited_from
from reels import access as reel_access
from reels.models import HistoryEntry, MachineHold, Move, Person, ReelType

MOST = 25  # rows of a list that are read; a page shows some of them, and says how many more there are
RECENT = 8
UNDER_WAY = (ReelStatus.REFERRED, ReelStatus.AWAITING_SIGN_OFF, ReelStatus.COUNT_OPEN)
_RELATED = ("reel__type", "reel__site")


@dataclass(frozen=True, slots=True, kw_only=True)
class WaitingCount:
    """A count under way: by whom, whether a stop finding freezes it, and by whom the next thing is to be keyed.

    roles: the person's own. since: when the last thing was keyed, or it was begun.
    """

    row: Inspection
    by_role: dict[Role, str]
    roles: frozenset[str]
    is_stopped: bool
    is_signed: bool
    awaited: frozenset[Role]
    since: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class WaitingRows:
    """The rows of what waits for somebody, each list at most MOST long. No judgement of who may do what to each."""

    held: HeldActs
    own: list[WaitingCount]
    open_counts: list[WaitingCount]
    referred: list[WaitingCount]
    under_way: list[WaitingCount]
    voids: list[Void]
    third_readings: list[ThirdReading]
    stops: list[Finding]
    values: list[tuple[ReelStatusRow, SetupValues]]
    gauges: list[GaugeUse]
    moves: list[Move]
    holds: list[ReelStatusRow]
    machine_holds: list[MachineHold]
    without_values: list[ReelStatusRow]
    counted: list[ReelStatusRow]
    to_count: list[ReelStatusRow]
    flags: list[DriftFlag]
    flagged: list[ReelStatusRow]
    to_enrol: list[Person]
    rules: list[ReelType]
    exercise: Exercise | None
    last_acts: list[HistoryEntry]


def waiting_for(person: Person, at: datetime) -> WaitingRows:
    """Some thirty queries, and for a person the same number always."""
    sites, held = reel_access.at_readable_sites(person, at), access.held_acts(person, at)
    rows = ReelStatusRow.objects.filter(sites).select_related("type", "site", "machine")

    def standing(status: ReelStatus, *acts: Act) -> list[ReelStatusRow]:
        return _some(rows.filter(held.where(*acts), rank=RANK[status]).order_by("rank", "last_at", "serial"))

    live = rows.filter(rank__in=[RANK[each] for each in UNDER_WAY])
    own, open_counts, referred, under_way = _counts(person, live, rows, held)
    return WaitingRows(
        held=held, own=own, open_counts=open_counts, referred=referred, under_way=under_way,
        voids=_voids(person, at, held), third_readings=awaited_from(person, at)[:MOST],
        stops=_stops(person, at, held), values=_values(rows, held),
        gauges=_gauges(person), moves=_moves(person, at, held),
        holds=[each for each in standing(ReelStatus.HELD, *MAY_END_HOLDS) if not _is_stopped(each)],
        machine_holds=_machine_holds(person, at, held),
        without_values=standing(ReelStatus.WITHOUT_VALUES, Act.MAINTAIN, Act.SET),
        counted=standing(ReelStatus.COUNTED, Act.ISSUE), to_count=standing(ReelStatus.AWAITING_COUNT, Act.COUNT),
        flags=_some(access.readable_flags(person, at).filter(assigned_to=person, closed_at__isnull=True)),
        flagged=_some(rows.filter(held.where(Act.MAINTAIN), is_flagged=True, has_open_flag=False)
                      .order_by("rank", "last_at", "serial")),
        to_enrol=_to_enrol(person), rules=_rules(person), exercise=open_exercise(person),
        last_acts=_last_acts(person),
    )  # fmt: skip


def _last_acts(person: Person) -> list[HistoryEntry]:
    """Without the documents that the service made of them."""
    rows = HistoryEntry.objects.filter(actor=person).exclude(act="archived")
    return list(rows.select_related("chain__reel").order_by("-pk")[:RECENT])


def _some(rows: QuerySet[Any]) -> list[Any]:
    return list(rows[:MOST])


def _is_stopped(row: ReelStatusRow) -> bool:
    """Whether a stop finding holds the reel: then its closing lets the reel go."""
    return any(stops for *_, stops in row.findings)


# Counts ---------------------------------------------------------------------------------------------------------------


def _counts(person: Person, live: QuerySet[ReelStatusRow], rows: QuerySet[ReelStatusRow],
            held: HeldActs) -> list[list[WaitingCount]]:  # fmt: skip
    """One's own, those that are open to others, those referred, and all that are under way. Eight queries."""
    is_own = Exists(Participant.objects.filter(inspection=OuterRef("live_id"), person=person))
    # A reel that somebody holds may have a count of one's own under way.
    own = rows.filter(is_own, rank__in=[RANK[each] for each in (*UNDER_WAY, ReelStatus.HELD)])
    others = live.filter(~is_own)
    lists = [
        _inspections(own),
        _inspections(others.filter(held.where(Act.COUNT, Act.VERIFY), rank=RANK[ReelStatus.COUNT_OPEN])),
        _inspections(others.filter(held.where(Act.RELEASE), rank=RANK[ReelStatus.REFERRED])),
        _inspections(live),
    ]
    known = _with_people(person, {each.pk: each for rows in lists for each in rows}.values())
    return [[known[each.pk] for each in rows] for rows in lists]


def _inspections(rows: QuerySet[ReelStatusRow]) -> list[Inspection]:
    some = rows.order_by("rank", "last_at", "serial").values_list("live_id", flat=True)[:MOST]
    stop = Finding.objects.filter(reel=OuterRef("reel"), severity=Severity.STOP, closed_at__isnull=True)
    return list(
        Inspection.objects.filter(pk__in=some.values("live_id"), state__in=sorted(LIVE))
        .annotate(is_stopped=Exists(stop)).select_related(*_RELATED).order_by("recorded_at", "pk")
    )  # fmt: skip


def _with_people(person: Person, counts: Iterable[Any]) -> dict[int, WaitingCount]:
    """The counts by their ids, with who takes part and what was keyed and signed. Three queries."""
    rows = list(counts)
    ids = [each.pk for each in rows]
    people: dict[int, list[Participant]] = {pk: [] for pk in ids}
    for each in Participant.objects.filter(inspection__in=ids).select_related("person").order_by("pk"):
        people[each.inspection_id].append(each)
    keyed: dict[int, list[Keying]] = {pk: [] for pk in ids}
    # The serial is keyed once a count, the rest in each reading.
    of_now = Q(reading__ended_at__isnull=True) | Q(point=Point.SERIAL)
    for row in Keying.objects.filter(of_now, reading__inspection__in=ids).select_related("reading"):
        keyed[row.reading.inspection_id].append(row)
    signed = set(SignOff.objects.filter(inspection__in=ids, person=person).values_list("inspection", flat=True))
    return {row.pk: _count(row, person, people[row.pk], keyed[row.pk], is_signed=row.pk in signed) for row in rows}


def _count(row: Any, person: Person, people: list[Participant], keyed: list[Keying], *,
           is_signed: bool) -> WaitingCount:  # fmt: skip
    is_open = row.state == InspectionState.OPEN
    values: list[KeyedValue] = [as_keyed(each) for each in keyed]
    return WaitingCount(
        row=row,
        by_role={Role(each.role): each.person.full_name for each in people},
        roles=frozenset(each.role for each in people if each.person_id == person.pk),
        is_stopped=row.is_stopped,
        is_signed=is_signed,
        awaited=frozenset(role for _, role in keying.open_now(values)) if is_open else frozenset(),
        since=max((each.keyed_at for each in keyed), default=row.recorded_at),
    )


def _voids(person: Person, at: datetime, held: HeldActs) -> list[Void]:
    """Those that somebody else asked for and nobody has confirmed."""
    may = held.where(Act.VERIFY, Act.RELEASE, reel_type="inspection__reel__type", site="inspection__reel__site")
    readable = access.readable_inspections(person, at).filter(pk=OuterRef("inspection"))
    rows = Void.objects.filter(may, Exists(readable), confirmed_at__isnull=True).exclude(requested_by=person)
    return _some(rows.select_related("inspection__reel__type", "inspection__reel__site").order_by("requested_at", "pk"))


# Reels, values and gauges ---------------------------------------------------------------------------------------------


def _values(rows: QuerySet[ReelStatusRow], held: HeldActs) -> list[tuple[ReelStatusRow, SetupValues]]:
    """Values in force that are not confirmed, with the rows of their reels. Two queries."""
    ranks = [RANK[ReelStatus.INSTALLED], RANK[ReelStatus.VALUES_ISSUED]]
    may = held.where(Act.SET, Act.CONFIRM, Act.MAINTAIN)
    some = _some(rows.filter(may, rank__in=ranks).order_by("-rank", "last_at", "serial"))
    values = SetupValues.objects.filter(pk__in=[row.values_id for row in some]).select_related("machine", *_RELATED)
    by_id = {each.pk: each for each in values}
    return [(row, by_id[row.values_id]) for row in some if row.values_id in by_id]


def _stops(person: Person, at: datetime, held: HeldActs) -> list[Finding]:
    may = held.where(Act.RELEASE, reel_type="reel__type", site="reel__site")
    rows = access.readable_findings(person, at).filter(may, severity=Severity.STOP, closed_at__isnull=True)
    return _some(rows.exclude(recorded_by=person).order_by("-pk"))


def _gauges(person: Person) -> list[GaugeUse]:
    """Those that the person took, and that are to go back now: a referred count may need its gauge again."""
    still_needed = Q(inspection__state__in=sorted(LIVE - {InspectionState.AWAITING_SIGN_OFF}))
    rows = GaugeUse.objects.filter(taken_by=person, returned_at__isnull=True).exclude(still_needed)
    return _some(rows.select_related("gauge__machine__site", "inspection__reel__site").order_by("taken_at", "pk"))


def _moves(person: Person, at: datetime, held: HeldActs) -> list[Move]:
    """Those to sites where the person may receive reels, the latest first that are late."""
    sites = reel_access.at_readable_sites(person, at, "to_site")
    may = held.where(Act.MAINTAIN, reel_type="reel__type", site="to_site")
    rows = Move.objects.filter(sites, may, ended_at__isnull=True)
    return _some(rows.select_related("reel__type", "from_site", "to_site").order_by("late_at", "pk"))


def _machine_holds(person: Person, at: datetime, held: HeldActs) -> list[MachineHold]:
    sites = reel_access.at_readable_sites(person, at, "machine__site")
    may = held.where(*MAY_END_HOLDS, reel_type="reel__type", site="machine__site")
    rows = MachineHold.objects.filter(sites, may, ended_at__isnull=True)
    return _some(rows.select_related("machine__site", "reel__type").order_by("placed_at", "pk"))


# For administrators ---------------------------------------------------------------------------------------------------


def _to_enrol(person: Person) -> list[Person]:
    """Whose login waits for a second administrator, who gave it no password."""
    if not reel_access.administers(person):
        return []
    rows = reel_access.people(person).filter(is_active=True, enrolled_at__isnull=True)
    return _some(rows.exclude(Q(login_given_by=person) | Q(pk=person.pk)).order_by("created_at", "pk"))


def _rules(person: Person) -> list[ReelType]:
    """The types whose rules are not confirmed yet."""
    if not reel_access.administers(person):
        return []
    return _some(reel_access.reel_types().filter(rules_confirmed_at__isnull=True).order_by("code"))
