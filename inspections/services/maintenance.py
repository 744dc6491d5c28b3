"""What maintenance control records of a reel, and what follows from it: setup values are withdrawn at once."""

from collections.abc import Collection, Iterator
from contextlib import contextmanager
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db import IntegrityError, transaction

from inspections import access
from inspections.domain.act_fields import REMOVAL
from inspections.domain.machine_reading import MachineShows
from inspections.domain.words import Act
from inspections.queries.findings import require_no_stop
from inspections.queries.setup_values import values_in_force
from inspections.services.cuts import check_cut
from inspections.services.lateness import (
    done_since,
    moment_of,
    require_at_hand,
    require_free_since,
    require_held_by,
    require_removable,
)
from inspections.services.life import hold_if_over
from inspections.services.machine_checks import NOTHING_SHOWN, add_check
from inspections.services.opening import require_no_live_count
from inspections.services.safety_notices import let_hold_end
from inspections.services.setup import hold_reel, require_current, require_life, withdraw_values
from reels import access as reel_access
from reels import queries as reel_queries
from reels.domain.words import ReelEventKind
from reels.errors import (
    AlreadyReversed,
    IssuedForAnother,
    MachineNotHeld,
    MachineOccupied,
    OtherSite,
    ReelNotHeld,
    ReelNotInstalled,
    ValueNotTaken,
)
from reels.models import CableEvent, Hold, Installation, Machine, MachineHold, Reel, ReelEvent
from reels.services import reels
from reels.services.events import ReelEventFacts, add_reel_event
from reels.services.history import Actor, ActRecorder, record_act
from reels.services.reels import (
    CableEventFacts,
    add_cable_event,
    require_in_service,
    require_machine_free,
    require_not_held,
    require_off_machine,
    require_taken,
)

MAY_LOG_EVENTS = (Act.MAINTAIN, Act.COUNT, Act.SET)


@transaction.atomic
def log_cable_event(*, serial: str, facts: CableEventFacts, actor: Actor, at: datetime) -> CableEvent:
    """Log a cut or a replacement of the cable. Who may count a reel may log a cut at the bench.

    Raises CutTooLong, and SameCut or UnlikelyCut unless that is among the answers.
    """
    acts = (Act.MAINTAIN, Act.COUNT) if facts.kind == CableEvent.Kind.CUT else (Act.MAINTAIN,)
    with on_reel(serial, f"cable_{facts.kind}", actor, at, *acts) as (act, reel):
        require_in_service(reel)
        check_cut(reel, facts, at)
        event = add_cable_event(act, reel, facts)
        withdraw_values(
            act, reel, f"{event.get_kind_display()} on {event.happened_at:%Y-%m-%d}{_late(act, reel, event)}"
        )
    return event


@transaction.atomic
def reverse_cable_event(*, serial: str, event_id: int, remark: str, actor: Actor, at: datetime) -> CableEvent:
    """Take back a wrong or doubled entry by a counter-entry; both stay."""
    with on_reel(serial, "cable_entry_reversed", actor, at, Act.MAINTAIN) as (act, reel):
        event = reel_access.one(CableEvent.objects.filter(reel=reel), "cable event", pk=event_id)
        if event.kind == CableEvent.Kind.REVERSAL or hasattr(event, "reversed_by"):
            raise AlreadyReversed(event=event.pk)
        counter = act.add(
            CableEvent(reel=reel, kind=CableEvent.Kind.REVERSAL, happened_at=event.happened_at, recorded_at=at,
                       recorded_by=actor.person, document=event.document, remark=remark, reverses=event)
        )  # fmt: skip
        withdraw_values(act, reel, f"the entry of a {event.get_kind_display()} was taken back: {remark}")
        hold_if_over(act, reel)  # the life of the cable before it goes on
    return counter


@transaction.atomic
def log_reel_event(*, serial: str, facts: ReelEventFacts, actor: Actor, at: datetime) -> ReelEvent:
    """Record that a reel was re-spooled or used, or met with an incident. What ends its count withdraws its values."""
    with on_reel(serial, f"reel_{facts.kind}", actor, at, *MAY_LOG_EVENTS) as (act, reel):
        event = add_reel_event(act, reel, facts)
        values = values_in_force(reel) if event.ends_count else None
        late = _late(act, reel, event) if event.ends_count else ""
        if values and values.inspection.done_at <= event.happened_at:
            withdraw_values(act, reel, f"{event.named} on {reel.site.day_of(event.happened_at)}{late}")
        hold_if_over(act, reel)
    return event


@transaction.atomic
def reverse_reel_event(*, serial: str, event_id: int, remark: str, actor: Actor, at: datetime) -> ReelEvent:
    """Take back a wrong or doubled event by a counter-entry; both stay. What it withdrew or held is not put back."""
    with on_reel(serial, "reel_event_reversed", actor, at, Act.MAINTAIN) as (act, reel):
        event = reel_access.one(ReelEvent.objects.filter(reel=reel), "event", pk=event_id)
        if event.kind == ReelEventKind.REVERSAL or hasattr(event, "reversed_by"):
            raise AlreadyReversed(event=event.pk)
        return act.add(
            ReelEvent(reel=reel, kind=ReelEventKind.REVERSAL, happened_at=event.happened_at, recorded_at=at,
                      recorded_by=actor.person, document=event.document, words=remark, reverses=event,
                      ends_count=False)
        )  # fmt: skip


@transaction.atomic
def install(*, serial: str, machine_serial: str, actor: Actor, at: datetime,
            answers: Collection[str] = (), happened_at: datetime | None = None) -> Installation:  # fmt: skip
    """Record that a reel was put into a machine, then or now. Raises IssuedForAnother unless that is among the answers.

    Raises OutOfOrder for a time at which reel or machine was not free, or after which the reel was counted.
    """
    with on_reel(serial, "installed", actor, at, Act.MAINTAIN, Act.SET, machine=machine_serial) as (act, reel):
        machine = reel_access.machine_for_read(machine_serial, actor.person, at)
        require_no_live_count(reel)
        when = moment_of(reel, happened_at, at)
        values = values_in_force(reel)
        if values and values.machine_id != machine.pk:
            IssuedForAnother(in_force=values.count, serial=serial, issued_for=values.machine.serial,
                             machine=machine.serial).unless_answered(answers)  # fmt: skip
            withdraw_values(act, reel, f"the reel was installed in machine {machine.serial} instead")
        elif values:
            require_current(values.inspection, when)
        return _install(act, reel, machine, when)


@transaction.atomic
def remove(*, serial: str, reason: str, actor: Actor, at: datetime,
           cable_went_out: bool | None = None, shown: MachineShows = NOTHING_SHOWN,
           happened_at: datetime | None = None) -> Installation:  # fmt: skip
    """Record that a reel was taken off its machine, then or now; its setup values end. Raises OutOfOrder.

    cable_went_out: while it was installed; None, not known, counts as used. shown: what the machine showed before that;
    too far from what is expected, it holds the reel and the machine.
    """
    with on_reel(serial, "removed", actor, at, Act.MAINTAIN, Act.SET) as (act, reel):
        installation = reel_queries.installation_of(reel)
        if installation is None:
            raise ReelNotInstalled(serial=reel.serial)
        if shown.is_read:
            _add_reading_at_removal(act, reel, shown)
        when = moment_of(reel, happened_at, at)
        require_removable(installation, when)
        act.change(installation, removed_at=when, removed_by=actor.person, removal_recorded_at=at,
                   removal_reason=reason, cable_went_out=cable_went_out)  # fmt: skip
        withdraw_values(act, reel, f"the reel was removed from machine {installation.machine.serial}: {reason}")
    return installation


@transaction.atomic
def place_hold(*, serial: str, reason: str, actor: Actor, at: datetime,
               happened_at: datetime | None = None) -> Hold:  # fmt: skip
    """Hold a reel, since then or now; its setup values end."""
    with on_reel(serial, "held", actor, at, Act.MAINTAIN, Act.VERIFY) as (act, reel):
        require_in_service(reel)
        require_not_held(reel)
        return hold_reel(act, reel, reason, since=moment_of(reel, happened_at, at))


@transaction.atomic
def end_hold(*, serial: str, reason: str, actor: Actor, at: datetime, happened_at: datetime | None = None) -> Hold:
    """Let a held reel go, then or now. A safety notice that found it held holds it from then on.

    Raises OutOfOrder, LifeOver, or StopFindingOpen: whoever closes the finding lets it go.
    """
    with on_reel(serial, "hold_ended", actor, at, *access.MAY_END_HOLDS) as (act, reel):
        hold = reel_queries.hold_on(reel)
        if hold is None:
            raise ReelNotHeld(serial=reel.serial)
        require_no_stop(reel)
        require_life(reel, at)
        when = moment_of(reel, happened_at, at)
        if happened_at:
            require_held_by(reel, hold, when)
        let_hold_end(act, hold, reel, reason, when)
        return hold


@transaction.atomic
def retire(*, serial: str, reason: str, actor: Actor, at: datetime) -> Reel:
    """Take a reel out of service for good."""
    with on_reel(serial, "retired", actor, at, Act.MAINTAIN) as (act, reel):
        require_no_live_count(reel)
        require_in_service(reel)
        require_off_machine(reel)
        require_at_hand(reel, at)
        withdraw_values(act, reel, f"the reel was retired: {reason}")
        return act.change(reel, retired_at=at, retired_reason=reason)


@transaction.atomic
def receive_reel(*, serial: str, type_code: str, site_code: str, received_on: date, cable_length_m: Decimal | None,
                 actor: Actor, at: datetime, numbers: reels.ReelNumbers = reels.NO_NUMBERS) -> Reel:  # fmt: skip
    """A reel that is new to the records, at a site where the actor may maintain reels of its type."""
    reel_type = reel_access.reel_type(type_code)
    site = reel_access.one(reel_access.readable_sites(actor.person, at), "site", code=site_code)
    access.authorisation_for(actor.person, Act.MAINTAIN, Reel(type=reel_type, site=site), at)
    return reels.receive_reel(serial=serial, reel_type=reel_type, site=site, received_on=received_on,
                                      cable_length_m=cable_length_m, actor=actor, at=at, numbers=numbers)  # fmt: skip


def _add_reading_at_removal(act: ActRecorder, reel: Reel, shown: MachineShows) -> None:
    values = values_in_force(reel)
    if values is None or values.confirmed_at is None:
        raise ValueNotTaken(field="layers", seen="a reading", allowed="none, where no confirmed values are in force")
    add_check(act, values, REMOVAL, shown)


@transaction.atomic
def end_machine_hold(*, machine_serial: str, reason: str, actor: Actor, at: datetime) -> MachineHold:
    """Let a held machine go. Raises MachineNotHeld, OnlyInPerson or NotAuthorised.

    It takes an authorisation for the type of the reel that it was held with, at the machine's site.
    """
    access.in_person(actor)
    machine = reel_access.machine_for_read(machine_serial, actor.person, at)
    while hold := reel_queries.hold_on_machine(machine):
        chain = reel_access.lock_of_reel(pk=hold.reel_id)
        if hold == reel_queries.hold_on_machine(machine):
            assert chain is not None, "every reel has its chain"
            break  # else it ended before the lock was had, and another may be of a reel with another chain
    else:
        raise MachineNotHeld(machine=machine.serial)
    access.may_end_machine_hold(actor.person, hold, at)
    with record_act(chain, "machine_hold_ended", actor, at, machine=machine.serial) as act:
        return act.change(hold, ended_at=at, ended_by=actor.person, end_reason=reason)


def _late(act: ActRecorder, reel: Reel, event: CableEvent | ReelEvent) -> str:
    """What was done since something happened that ends counts: told in the act, and in words."""
    since = done_since(reel, event.happened_at)
    if not since:
        return ""
    act.facts["since"] = since
    return f"; recorded on {reel.site.day_of(act.at)}, and since it happened {'; '.join(since)}"


def _install(act: ActRecorder, reel: Reel, machine: Machine, when: datetime) -> Installation:
    require_in_service(reel)
    require_off_machine(reel)
    require_at_hand(reel, when)
    require_not_held(reel)
    require_life(reel, when)
    require_taken(reel, machine)
    require_machine_free(machine)
    if reel.site_id != machine.site_id:
        raise OtherSite(serial=reel.serial, reel_site=reel.site, machine=machine.serial, machine_site=machine.site)
    if when < act.at:
        require_free_since(reel, machine, when)
    new = Installation(reel=reel, machine=machine, installed_at=when, installed_by=act.actor.person, recorded_at=act.at)
    # Another reel, whose chain is not locked here, may be put into the same machine now: only the unique constraint can
    # tell. The savepoint keeps the rest of the transaction usable.
    try:
        with transaction.atomic():
            return act.add(new)
    except IntegrityError as refused:
        other = machine.installations.select_related("reel").filter(removed_at__isnull=True).first()
        raise MachineOccupied(machine=machine.serial, serial=other.reel.serial if other else "another") from refused


@contextmanager
def on_reel(
    serial: str, act_name: str, actor: Actor, at: datetime, *acts: Act, **facts: Any
) -> Iterator[tuple[ActRecorder, Reel]]:
    """The reel locked, the actor authorised by one of the acts, and an entry open."""
    reel = reel_access.reel_for_update(serial, actor.person, at)
    access.any_authorisation_for(actor.person, acts, reel, at)
    with record_act(reel.chain, act_name, actor, at, **facts) as act:
        yield act, reel
