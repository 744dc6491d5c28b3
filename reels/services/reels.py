"""What happens to a reel: received, cut, re-cabled, installed, removed, held, moved, retired.

These functions write their rows within an act that is already being recorded (the reel is locked by then). Whole acts,
with who may do them and what follows from them (setup values are withdrawn), are in `inspections.services`.
"""

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db import IntegrityError, transaction

from reels import access, queries
from reels.errors import (
    AlreadyReversed,
    AlreadyThere,
    CutTooLong,
    MachineOccupied,
    OtherSite,
    OutOfTime,
    ReelHeld,
    ReelInstalled,
    ReelNotHeld,
    ReelNotInstalled,
    ReelRetired,
    ValueNotTaken,
)  # fmt: skip
from reels.models import CableEvent, Chain, Hold, Installation, Machine, Reel, ReelType, Site
from reels.services.history import Actor, ActRecorder, record_act


@dataclass(frozen=True, slots=True, kw_only=True)
class CableEventFacts:
    """What is said of a cable event. Lengths in metres; kind: cut or replaced."""

    kind: str
    happened_at: datetime
    length_removed_m: Decimal | None = None
    length_fitted_m: Decimal | None = None
    document: str = ""
    remark: str = ""


@transaction.atomic
def receive_reel(*, serial: str, reel_type: ReelType, site: Site, received_on: date, cable_length_m: Decimal | None,
                 actor: Actor, at: datetime) -> Reel:  # fmt: skip
    """A reel that is new to the records; its history begins here. Raises AlreadyThere for a known serial."""
    name = access.reel_chain(serial)
    if Chain.objects.filter(name=name).exists():
        raise AlreadyThere(what="reel", key=serial)
    if received_on > at.date():
        raise OutOfTime(field="received_on", seen=received_on, earliest="any day", latest=at.date())
    chain = Chain.objects.create(name=name)
    with record_act(chain, "reel_received", actor, at) as act:
        return act.add(
            Reel(serial=serial, type=reel_type, site=site, chain=chain, received_on=received_on,
                 cable_length_m=cable_length_m)
        )  # fmt: skip


def add_cable_event(act: ActRecorder, reel: Reel, facts: CableEventFacts) -> CableEvent:
    """Write down that cable was cut or replaced. Raises OutOfTime, CutTooLong or ValueNotTaken."""
    require_in_service(reel)
    _check_time("happened_at", facts.happened_at, reel, act.at)
    if facts.kind == CableEvent.Kind.CUT:
        _check_cut(reel, facts)
    return act.add(
        CableEvent(reel=reel, kind=facts.kind, length_removed_m=facts.length_removed_m,
                   length_fitted_m=facts.length_fitted_m, happened_at=facts.happened_at, recorded_at=act.at,
                   recorded_by=act.actor.person, document=facts.document, remark=facts.remark)
    )  # fmt: skip


def reverse_cable_event(act: ActRecorder, event: CableEvent, *, remark: str) -> CableEvent:
    """A counter-entry: the event stays in the history and no longer counts. Raises AlreadyReversed."""
    if event.kind == CableEvent.Kind.REVERSAL or hasattr(event, "reversed_by"):
        raise AlreadyReversed(event=event.pk)
    return act.add(
        CableEvent(reel=event.reel, kind=CableEvent.Kind.REVERSAL, happened_at=event.happened_at, recorded_at=act.at,
                   recorded_by=act.actor.person, document=event.document, remark=remark, reverses=event)
    )  # fmt: skip


def install(act: ActRecorder, reel: Reel, machine: Machine) -> Installation:
    """Put a reel into a machine. Raises ReelInstalled, MachineOccupied, OtherSite or ReelHeld."""
    require_in_service(reel)
    require_off_machine(reel)
    require_not_held(reel)
    if reel.site_id != machine.site_id:
        raise OtherSite(serial=reel.serial, reel_site=reel.site, machine=machine.serial, machine_site=machine.site)
    new = Installation(reel=reel, machine=machine, installed_at=act.at, installed_by=act.actor.person)
    try:
        with transaction.atomic():
            return act.add(new)
    except IntegrityError as refused:
        other = queries.installation_of_machine(machine)
        raise MachineOccupied(machine=machine.serial, serial=other.reel.serial if other else "another") from refused


def remove(act: ActRecorder, reel: Reel) -> Installation:
    """Take a reel off its machine. Raises ReelNotInstalled."""
    current = queries.installation_of(reel)
    if current is None:
        raise ReelNotInstalled(serial=reel.serial)
    return act.change(current, removed_at=act.at, removed_by=act.actor.person)


def place_hold(act: ActRecorder, reel: Reel, *, reason: str) -> Hold:
    """Hold a reel. Raises ReelHeld when it is held already."""
    require_in_service(reel)
    require_not_held(reel)
    return act.add(Hold(reel=reel, placed_at=act.at, placed_by=act.actor.person, reason=reason))


def end_hold(act: ActRecorder, reel: Reel, *, reason: str) -> Hold:
    """Let a held reel go. Raises ReelNotHeld."""
    hold = queries.hold_on(reel)
    if hold is None:
        raise ReelNotHeld(serial=reel.serial)
    return act.change(hold, ended_at=act.at, ended_by=act.actor.person, end_reason=reason)


def move(act: ActRecorder, reel: Reel, site: Site) -> Reel:
    """Send a reel to another site. Raises ReelInstalled."""
    require_in_service(reel)
    require_off_machine(reel)
    return act.change(reel, site=site)


def retire(act: ActRecorder, reel: Reel, *, reason: str) -> Reel:
    """Take a reel out of service for good; its records stay. Raises ReelInstalled."""
    require_in_service(reel)
    require_off_machine(reel)
    return act.change(reel, retired_at=act.at, retired_reason=reason)


def require_in_service(reel: Reel) -> None:
    """Raises ReelRetired."""
    if reel.retired_at:
        raise ReelRetired(serial=reel.serial, on=reel.retired_at.date())


def require_off_machine(reel: Reel) -> None:
    """Raises ReelInstalled."""
    if current := queries.installation_of(reel):
        raise ReelInstalled(serial=reel.serial, machine=current.machine.serial)


def require_not_held(reel: Reel) -> None:
    """Raises ReelHeld."""
    if hold := queries.hold_on(reel):
        raise ReelHeld(serial=reel.serial, since=hold.placed_at.date(), reason=hold.reason)


def _check_time(field: str, seen: datetime, reel: Reel, at: datetime) -> None:
    if not (reel.received_on <= seen.date() and seen <= at):
        raise OutOfTime(field=field, seen=seen.isoformat(), earliest=reel.received_on, latest=at.isoformat())


def _check_cut(reel: Reel, facts: CableEventFacts) -> None:
    length = facts.length_removed_m
    if length is None or length <= 0:
        raise ValueNotTaken(field="length_removed_m", seen=length, allowed="more than 0 m")
    most = queries.cable_length_at(reel, facts.happened_at)
    if most is not None and length >= most:
        raise CutTooLong(seen_m=length, serial=reel.serial, most_m=most)
