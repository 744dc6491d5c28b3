"""A reel comes into the records, its cable is cut or replaced, and what else may be done with it as it stands.

Who may do it, and what follows from it (setup values are withdrawn), is in `inspections.services.maintenance`.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db import transaction

from reels import access, queries
from reels.domain.act_fields import FieldKind, act_field, answers_field
from reels.errors import (
    AlreadyThere,
    CutTooLong,
    MachineHeld,
    MachineTakesOthers,
    OutOfTime,
    ReelHeld,
    ReelInstalled,
    ReelRetired,
    ValueNotTaken,
)  # fmt: skip
from reels.models import CableEvent, Chain, Machine, Reel, ReelType, Site
from reels.services.history import Actor, ActRecorder, record_act


@dataclass(frozen=True, slots=True, kw_only=True)
class CableEventFacts:
    """What is said of a cable event. Lengths in metres; kind: cut or replaced."""

    kind: str = act_field(FieldKind.WORD, words=CableEvent.Kind.choices[:2])
    happened_at: datetime = act_field(FieldKind.MOMENT, label="Date and time, in the site's time zone")
    length_removed_m: Decimal | None = act_field(
        FieldKind.LENGTH, label="Cable removed", help="Needed for a cut.", default=None
    )
    length_fitted_m: Decimal | None = act_field(FieldKind.LENGTH, label="Cable fitted", default=None)
    cable_serial: str = act_field(
        FieldKind.TEXT, label="Serial or lot of the cable fitted", most=40, default="", help="Of a replacement."
    )
    document: str = act_field(FieldKind.TEXT, label="Work order or document", most=120, default="")
    remark: str = act_field(FieldKind.REMARK, label="Remark", default="")
    answers: Sequence[str] = answers_field()


@dataclass(frozen=True, slots=True, kw_only=True)
class ReelNumbers:
    """What else stands on a reel's plate and its cable's papers; empty where it is not known."""

    part_number: str = ""
    cable_part_number: str = ""
    cable_serial: str = ""


NO_NUMBERS = ReelNumbers()


@transaction.atomic
def receive_reel(*, serial: str, reel_type: ReelType, site: Site, received_on: date, cable_length_m: Decimal | None,
                 actor: Actor, at: datetime, numbers: ReelNumbers = NO_NUMBERS) -> Reel:  # fmt: skip
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
                 cable_length_m=cable_length_m, **asdict(numbers))
        )  # fmt: skip


def add_cable_event(act: ActRecorder, reel: Reel, facts: CableEventFacts) -> CableEvent:
    """Write down that cable was cut or replaced. Raises OutOfTime, CutTooLong or ValueNotTaken."""
    require_in_service(reel)
    require_time("happened_at", facts.happened_at, reel, act.at)
    if facts.kind == CableEvent.Kind.CUT:
        _check_cut(reel, facts)
        if facts.cable_serial:
            raise ValueNotTaken(field="cable_serial", seen=facts.cable_serial, allowed="nothing, of a cut")
    return act.add(
        CableEvent(reel=reel, kind=facts.kind, length_removed_m=facts.length_removed_m,
                   length_fitted_m=facts.length_fitted_m, happened_at=facts.happened_at, recorded_at=act.at,
                   recorded_by=act.actor.person, document=facts.document, remark=facts.remark,
                   cable_serial=facts.cable_serial)
    )  # fmt: skip


def require_in_service(reel: Reel) -> None:
    """Raises ReelRetired."""
    if reel.retired_at:
        raise ReelRetired(serial=reel.serial, on=reel.site.day_of(reel.retired_at))


def require_off_machine(reel: Reel) -> None:
    """Raises ReelInstalled."""
    if current := queries.installation_of(reel):
        raise ReelInstalled(serial=reel.serial, machine=current.machine.serial)


def require_taken(reel: Reel, machine: Machine) -> None:
    """Raises MachineTakesOthers where the machine does not name the reel's type."""
    if reel.type.code not in machine.types:
        takes = f"reels of type {', '.join(machine.types)}" if machine.types else "no reel type yet"
        raise MachineTakesOthers(machine=machine.serial, takes=takes, serial=reel.serial, reel_type=reel.type.code)


def require_machine_free(machine: Machine) -> None:
    """Raises MachineHeld."""
    if hold := queries.hold_on_machine(machine):
        raise MachineHeld(machine=machine.serial, since=hold.placed_at.date(), reason=hold.reason)


def require_not_held(reel: Reel) -> None:
    """Raises ReelHeld."""
    if hold := queries.hold_on(reel):
        raise ReelHeld(serial=reel.serial, since=hold.placed_at.date(), reason=hold.reason)


def require_time(field: str, seen: datetime, reel: Reel, at: datetime) -> None:
    """Raises OutOfTime for a time before the reel was received, or still to come."""
    if not (reel.received_on <= seen.date() and seen <= at):
        raise OutOfTime(field=field, seen=seen.isoformat(), earliest=reel.received_on, latest=at.isoformat())


def _check_cut(reel: Reel, facts: CableEventFacts) -> None:
    length = facts.length_removed_m
    if length is None or length <= 0:
        raise ValueNotTaken(field="length_removed_m", seen=length, allowed="more than 0 m")
    most = queries.cable_length_at(reel, facts.happened_at)
    if most is not None and length >= most:
        raise CutTooLong(seen_m=length, serial=reel.serial, most_m=most)
