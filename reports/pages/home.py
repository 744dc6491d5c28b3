"""Waiting for you: what somebody may do now, most urgent first; what is under way; what they did last."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone

from inspections.access import HeldActs
from inspections.domain.words import InspectionState, Point, ReelStatus, Role
from inspections.models import ReelStatusRow
from inspections.pages.count.inspection_page import acts_on
from inspections.pages.reel.history import entry_in_words
from inspections.pages.reel.next_act import step_of
from inspections.pages.words import STATE
from inspections.queries.currency import currency_in
from inspections.queries.waiting import MOST, WaitingCount, WaitingRows, waiting_for
from inspections.services.evaluation import spoken
from reels.domain.text import set_apart
from reels.models import HistoryEntry, Person, Site
from reels.pages.answers import page, reader, show
from reels.pages.formats import Badge
from reports.pages.set_up import act_on_rules, lines_on_home

SHOWN = 5  # of each list


@dataclass(frozen=True, slots=True, kw_only=True)
class WaitingAct:
    """One thing that waits: its button and where that leads, what it is about and why, since when, on whose clocks."""

    button: str
    address: str
    subject: str
    why: str = ""
    since: datetime | None = None
    zone: ZoneInfo | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class WaitingGroup:
    """Acts of one kind; the rest of them are on the page that `more_at` leads to, which is `more` further ones.

    are_all: whether more is exact; else there are at least so many.
    """

    title: str
    acts: list[WaitingAct]
    more: int = 0
    are_all: bool = True
    more_at: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class UnderWay:
    """A count that is under way."""

    title: str
    address: str
    site: Site
    badge: Badge
    by: str
    since: datetime


@page
def home(request: HttpRequest) -> HttpResponse:
    """A fixed number of queries for a person, whatever the numbers."""
    person, at = reader(request), timezone.now()
    waiting = waiting_for(person, at)
    hidden = {each.row.reel.chain_id for each in (*waiting.own, *waiting.under_way) if each.row.hides_serial}
    shown = {
        "groups": list(_groups(waiting, person, at)),
        "under_way": [_under_way(each) for each in waiting.under_way[:SHOWN]],
        "more_under_way": max(len(waiting.under_way) - SHOWN, 0),
        "last_acts": [_last_act(each, hidden) for each in waiting.last_acts],
    }
    set_up = lines_on_home(person, at)
    about = {"page": shown, "set_up": set_up, "set_up_done": sum(each.is_done for each in set_up), "section": "home"}
    return show(request, "reports/home.html", about)


def _groups(waiting: WaitingRows, person: Person, at: datetime) -> Iterator[WaitingGroup]:
    """Those of which there is any, the most urgent first: somebody stands at the bench and waits for the first."""
    of_counts = dict(_of_counts(waiting, person))
    kinds: tuple[tuple[str, Iterable[WaitingAct], str], ...] = (
        ("Witness now", of_counts["witness"], _list("reels", status=ReelStatus.COUNT_OPEN)),
        ("Your counts", of_counts["count"], _list("reels", status=ReelStatus.COUNT_OPEN)),
        ("To read as a third person", _third_readings(waiting), _list("reels")),
        ("To sign", of_counts["sign"], _list("reels", status=ReelStatus.AWAITING_SIGN_OFF)),
        ("To decide", of_counts["decide"], _list("board", status=ReelStatus.REFERRED)),
        ("Findings that hold a reel", _stops(waiting), _list("findings")),
        ("To set, read back and confirm", _values(waiting, person), _list("board", status=ReelStatus.INSTALLED)),
        ("Voids to confirm", _voids(waiting, person), _list("reels")),
        ("Wrap gauges to return", _gauges(waiting), _list("gauges")),
        ("Installed without values", _removals(waiting), _list("board", status=ReelStatus.WITHOUT_VALUES)),
        ("Holds to end", _holds(waiting), _list("board", status=ReelStatus.HELD)),
        ("On their way to you", _moves(waiting), _list("moves")),
        ("Setup values to issue", _issues(waiting, at), _list("board", status=ReelStatus.COUNTED)),
        ("Drift to look into", _flags(waiting), _list("board", look="open")),
        ("Counts to take over", of_counts["take over"], _list("reels", status=ReelStatus.COUNT_OPEN)),
        ("Reels to count", _to_count(waiting, at), _list("board", status=ReelStatus.AWAITING_COUNT)),
        ("Drift that nobody looks into yet", _flagged(waiting), _list("board", look="flagged")),
        ("Logins to enrol", _to_enrol(waiting), _list("people")),
        ("Rules to confirm", _rules(waiting, person), _list("reel-types")),
        ("Practice", _practice(waiting, person), _list("practice")),
    )  # fmt: skip
    for title, each, more_at in kinds:
        if acts := list(each):
            more = max(len(acts) - SHOWN, 0)
            yield WaitingGroup(title=title, acts=acts[:SHOWN], more=more, are_all=len(acts) < MOST, more_at=more_at)


def _list(page_name: str, **chosen: str) -> str:
    return reverse(page_name) + (f"?{urlencode(chosen)}" if chosen else "")


def _at(site: Site, since: datetime | None) -> dict[str, Any]:
    return {"since": since, "zone": ZoneInfo(site.time_zone)}


# Counts -------------------------------------------------------------------------------------------------------------


@dataclass(slots=True)
class _Counts:
    """The acts on counts that are offered somebody, as the page of each count offers them, by what they are."""

    held: HeldActs
    person: Person
    by_kind: dict[str, list[WaitingAct]] = field(
        default_factory=lambda: {"witness": [], "count": [], "sign": [], "decide": [], "take over": []}
    )

    def offer(self, kind: str, count: WaitingCount, page_name: str, button: str, why: str) -> None:
        """The act of this page, if the count's own page offers it as well."""
        row, site = count.row, count.row.reel.site
        held = self.held.on(row.reel.type_id, site.pk)
        for act in acts_on(row, self.person, held, set(count.roles), is_stopped=count.is_stopped):
            if act["page"] == page_name:
                about = {"subject": f"{row.title} at {site.name}", "why": why, **_at(site, count.since)}
                self.by_kind[kind].append(WaitingAct(button=button, address=act["address"], **about))


def _of_counts(waiting: WaitingRows, person: Person) -> dict[str, list[WaitingAct]]:
    counts = _Counts(waiting.held, person)
    for each in waiting.own:
        _offer_own(counts, each)
    for each in waiting.open_counts:
        _offer_others(counts, each)
    for each in waiting.referred:
        counts.offer("decide", each, "referral", "Decide", "The count is referred.")
    # Who has keyed and waits at the bench comes first.
    counts.by_kind["witness"].sort(key=lambda act: not act.why.endswith("waits for you."))
    return counts.by_kind


def _offer_own(counts: _Counts, count: WaitingCount) -> None:
    if count.row.state == InspectionState.AWAITING_SIGN_OFF and not count.is_signed:
        counts.offer("sign", count, "result", "Compare and sign", "Worked out; your signature is missing.")
    elif Role.VERIFIER in count.roles and Role.VERIFIER in count.awaited:
        _offer_witnessing(counts, count)
    elif Role.TECHNICIAN in count.roles and Role.TECHNICIAN in count.awaited:
        counts.offer("count", count, "worksheet-technician", "Go on with your count", "The next point is yours to key.")


def _offer_witnessing(counts: _Counts, count: WaitingCount) -> None:
    is_waited_for = Role.TECHNICIAN in count.by_role and Role.TECHNICIAN not in count.awaited
    name = set_apart(count.by_role.get(Role.TECHNICIAN, ""))
    why = f"{name} has keyed this point and waits for you." if is_waited_for else "The next point is open to both."
    counts.offer("witness", count, "worksheet-verifier", "Witness this point now", why)


def _offer_others(counts: _Counts, count: WaitingCount) -> None:
    technician = count.by_role.get(Role.TECHNICIAN)
    if technician and Role.VERIFIER not in count.by_role:
        _offer_witnessing(counts, count)
    why = f"{set_apart(technician)} counts it." if technician else "It is opened, and nobody has keyed yet."
    counts.offer("take over", count, "worksheet-technician", "Take over", why)


def _third_readings(waiting: WaitingRows) -> Iterator[WaitingAct]:
    for row in waiting.third_readings:
        inspection = row.reading.inspection
        yield WaitingAct(
            button="Read as third", address=reverse("third-reading", args=[inspection.pk, row.pk]),
            subject=f"{inspection.title} at {inspection.reel.site.name}",
            why=f"{set_apart(row.asked_by.full_name)} asks you to read {spoken(Point(row.point))}.",
            **_at(inspection.reel.site, row.asked_at),
        )  # fmt: skip


def _voids(waiting: WaitingRows, person: Person) -> Iterator[WaitingAct]:
    for void in waiting.voids:
        row = void.inspection
        row.void = void
        held = waiting.held.on(row.reel.type_id, row.reel.site_id)
        for act in acts_on(row, person, held, set(), is_stopped=False):
            if act["page"] == "void":
                yield WaitingAct(
                    button=act["words"], address=act["address"], why=void.reason,
                    subject=f"{row.title}, inspection {row.pk}", **_at(row.reel.site, void.requested_at),
                )  # fmt: skip


# Reels, values and gauges -------------------------------------------------------------------------------------------


def _of_row(row: ReelStatusRow, page_name: str, button: str, why: str = "") -> WaitingAct:
    site = row.site
    assert site, "no reel in transit is in a stock"
    return WaitingAct(button=button, address=reverse(page_name, args=[row.serial]), why=why,
                      subject=f"{row.serial} at {site.name}", **_at(site, row.since))  # fmt: skip


def _stops(waiting: WaitingRows) -> Iterator[WaitingAct]:
    for finding in waiting.stops:
        yield WaitingAct(
            button="Close the finding", address=reverse("finding-close", args=[finding.pk]),
            subject=f"{finding.reel.serial} at {finding.reel.site.name}", why=f"A stop finding: {finding.named}.",
            **_at(finding.reel.site, finding.recorded_at),
        )  # fmt: skip


def _values(waiting: WaitingRows, person: Person) -> Iterator[WaitingAct]:
    for row, values in waiting.values:
        step = step_of(values, is_installed=row.machine_id == values.machine_id)
        if step and step.is_for(person, waiting.held.on(row.type_id, row.site_id), values):
            since = max(filter(None, (row.since, values.gauge_returned_at, values.set_at)))
            yield WaitingAct(
                button=step.words, address=step.address, subject=f"{row.serial} at {values.reel.site.name}",
                why=f"Setup values for {values.machine.serial} in {values.machine.host}.",
                **_at(values.reel.site, since),
            )  # fmt: skip


def _gauges(waiting: WaitingRows) -> Iterator[WaitingAct]:
    for use in waiting.gauges:
        machine = use.gauge.machine
        yield WaitingAct(
            button="Return the gauge", address=reverse("gauge-return", args=[use.inspection_id]),
            subject=f"Wrap gauge {use.gauge.serial}", why=f"You took it; it belongs to machine {machine.serial}.",
            **_at(machine.site, use.taken_at),
        )  # fmt: skip


def _removals(waiting: WaitingRows) -> Iterator[WaitingAct]:
    for row in waiting.without_values:
        yield _of_row(row, "reel-removal", "Record the removal", "No values are in force: it has to be counted again.")


def _holds(waiting: WaitingRows) -> Iterator[WaitingAct]:
    for row in waiting.holds:
        yield _of_row(row, "reel-hold-end", "End the hold", row.hold_why)
    for hold in waiting.machine_holds:
        yield WaitingAct(
            button="End the hold", address=reverse("machine-hold-end", args=[hold.machine.serial]),
            subject=f"Machine {hold.machine.serial} in {hold.machine.host}", why=hold.reason,
            **_at(hold.machine.site, hold.placed_at),
        )  # fmt: skip


def _moves(waiting: WaitingRows) -> Iterator[WaitingAct]:
    for move in waiting.moves:
        yield WaitingAct(
            button="Receive the reel", address=reverse("reel-receipt", args=[move.reel.serial]),
            subject=f"{move.reel.serial} to {move.to_site.name}", why=f"Sent from {move.from_site.name}.",
            **_at(move.to_site, move.sent_at),
        )  # fmt: skip


def _has_lapsed(row: ReelStatusRow, at: datetime) -> bool:
    """Whether the count has lapsed by days, so that nothing can be issued from it and the reel is to be counted."""
    currency = currency_in(row, row.site, row.type.count_days, at) if row.site and row.type else None
    return bool(currency and currency.why)


def _issues(waiting: WaitingRows, at: datetime) -> Iterator[WaitingAct]:
    for row in waiting.counted:
        if not _has_lapsed(row, at):
            yield _of_row(row, "reel-issue", "Issue setup values", "Counted and signed.")


def _to_count(waiting: WaitingRows, at: datetime) -> Iterator[WaitingAct]:
    for row in waiting.to_count:
        yield _of_row(
            row, "count-begin", "Begin a count", row.count_ended_why and f"Its count lapsed: {row.count_ended_why}."
        )


def _flags(waiting: WaitingRows) -> Iterator[WaitingAct]:
    for flag in waiting.flags:
        button, page_name = ("Close the flag", "flag-ending") if flag.finding else ("Record findings", "flag-finding")
        yield WaitingAct(
            button=button, address=reverse(page_name, args=[flag.pk]),
            subject=f"{flag.reel.serial} at {flag.reel.site.name}", why=f"Flag {flag.pk}: {flag.explanation}",
            **_at(flag.reel.site, flag.raised_at),
        )  # fmt: skip


def _flagged(waiting: WaitingRows) -> Iterator[WaitingAct]:
    for row in waiting.flagged:
        yield WaitingAct(button="Look at its drift", address=reverse("reel-drift", args=[row.serial]),
                         subject=f"{row.serial} at {row.site.name if row.site else ''}",
                         why="The drift report flags an interval of it.")  # fmt: skip


# Administration and practice ----------------------------------------------------------------------------------------


def _to_enrol(waiting: WaitingRows) -> Iterator[WaitingAct]:
    for person in waiting.to_enrol:
        yield WaitingAct(button="Enrol", address=reverse("enrolment", args=[person.username]), subject=person.full_name,
                         why="Their login waits for a second administrator.", since=person.created_at)  # fmt: skip


def _rules(waiting: WaitingRows, person: Person) -> Iterator[WaitingAct]:
    for row in waiting.rules:
        if act := act_on_rules(row, person):
            yield WaitingAct(
                button=act.button, address=act.address, subject=f"Reel type {row.code}", why=act.why
            )  # fmt: skip


def _practice(waiting: WaitingRows, person: Person) -> Iterator[WaitingAct]:
    """A practice reel that was begun; a first one for somebody who may do nothing else yet."""
    if waiting.exercise:
        yield WaitingAct(button="Go on with the practice reel", why="You have begun it.",
                         since=waiting.exercise.begun_at, address=reverse("practice-reel", args=[waiting.exercise.pk]),
                         subject=f"Reel type {waiting.exercise.reel_type.code}")  # fmt: skip
    elif not (waiting.held.scopes or person.is_staff):
        yield WaitingAct(button="Practise a count", address=reverse("practice"), subject="A practice reel",
                         why="No record comes of it.")  # fmt: skip


# Below --------------------------------------------------------------------------------------------------------------


def _under_way(count: WaitingCount) -> UnderWay:
    row = count.row
    return UnderWay(
        title=row.title, address=reverse("inspection", args=[row.pk]), site=row.reel.site,
        badge=STATE[InspectionState(row.state)], by=" and ".join(map(set_apart, count.by_role.values())),
        since=count.since,
    )  # fmt: skip


def _last_act(entry: HistoryEntry, hidden: set[int]) -> dict[str, Any]:
    """hidden: the chains of reels whose serial is still to be read off the data plate."""
    in_words = entry_in_words(entry)
    reel = getattr(entry.chain, "reel", None)
    is_shown = reel is not None and entry.chain_id not in hidden
    return {
        "title": in_words.title, "at": entry.at, "subject": reel.serial if reel and is_shown else "",
        "address": reverse("reel", args=[reel.serial]) if reel and is_shown else "",
    }  # fmt: skip
