"""Setup values: issued, set, read back, confirmed, withdrawn."""

from datetime import datetime

from django.db import IntegrityError, transaction

from inspections import access
from inspections.domain.words import Act
from inspections.errors import CountLapsed, NotInForce, NotIssuable, RulesNotConfirmed, SamePerson, StepMissing
from inspections.models import Inspection, ReadBack, SetupValues
from inspections.queries.counts import latest_signed, live_inspection
from inspections.queries.currency import currency_of
from inspections.queries.findings import require_no_stop
from inspections.queries.life import life_on, over
from inspections.queries.setup_values import values_in_force
from inspections.services.gauges import require_home
from inspections.services.lateness import require_at_hand
from reels import access as reel_access
from reels import queries as reel_queries
from reels.domain.type_rules import without_source
from reels.errors import LifeOver
from reels.models import Hold, Machine, MachineHold, Reel, ReelType
from reels.services.history import Actor, ActRecorder, record_act
from reels.services.reels import require_in_service, require_machine_free, require_not_held, require_taken

SETTER, CONFIRMER = "setter", "confirmer"


@transaction.atomic
def issue(*, serial: str, machine_serial: str, actor: Actor, at: datetime) -> SetupValues:
    """Issue the setup values of a reel's latest signed inspection for one machine.

    Raises OnlyInPerson, NotIssuable, StopFindingOpen, ReelHeld, ReelRetired, LifeOver, MachineTakesOthers or
    NotAuthorised.
    """
    access.in_person(actor)
    reel = reel_access.reel_for_update(serial, actor.person, at)
    machine = reel_access.machine_for_read(machine_serial, actor.person, at)
    access.authorisation_for(actor.person, Act.ISSUE, reel, at)
    require_in_service(reel)
    require_at_hand(reel, at)
    require_no_stop(reel)
    require_not_held(reel)
    require_life(reel, at)
    require_taken(reel, machine)
    require_machine_free(machine)
    inspection = _issuable_inspection(reel, machine, at)
    with record_act(reel.chain, "values_issued", actor, at, inspection=inspection.pk, machine=machine.serial) as act:
        return _add_values(act, reel, machine, inspection)


@transaction.atomic
def return_gauge(*, setup_id: int, actor: Actor, at: datetime) -> SetupValues:
    """Confirm that the wrap gauge is back in its place in the machine, and nothing was left behind.

    Raises GaugeIsOut while it is in use for a count.
    """
    access.in_person(actor)
    values = in_force_for_update(setup_id, actor, at)
    access.any_authorisation_for(actor.person, (Act.SET, Act.CONFIRM), values.reel, at)
    _require_installed(values)
    require_home(values.machine)
    with record_act(values.reel.chain, "gauge_returned", actor, at, setup_values=values.pk) as act:
        return act.change(values, gauge_returned_by=actor.person, gauge_returned_at=at)


@transaction.atomic
def key_read_back(*, setup_id: int, layers: int, wraps: int, actor: Actor, at: datetime) -> ReadBack:
    """Keep what the machine shows, as the setter keys it. One that differs is kept too, with `matches` False.

    Raises OnlyInPerson, NotInForce, StepMissing, SamePerson or NotAuthorised.
    """
    access.in_person(actor)
    values = in_force_for_update(setup_id, actor, at)
    access.authorisation_for(actor.person, Act.SET, values.reel, at)
    _require_installed(values)
    if values.gauge_returned_at is None:
        raise StepMissing(missing="put the wrap gauge back in its place and confirm that nothing stays behind")
    if values.confirmed_at:
        raise StepMissing(missing="nothing; these values are confirmed already")
    with record_act(values.reel.chain, "read_back", actor, at, setup_values=values.pk) as act:
        read_back = _add_read_back(act, values, SETTER, layers, wraps)
        if read_back.matches:
            act.change(values, set_by=actor.person, set_at=at)
        elif values.set_at:
            act.change(values, set_by=None, set_at=None)
    return read_back


@transaction.atomic
def confirm(*, setup_id: int, layers: int, wraps: int, actor: Actor, at: datetime) -> ReadBack:
    """A second person keys what the machine shows; if it matches, the values are confirmed. One that differs is kept.

    Raises OnlyInPerson, NotInForce, StepMissing, GaugeIsOut, SamePerson or NotAuthorised.
    """
    access.in_person(actor)
    values = in_force_for_update(setup_id, actor, at)
    access.authorisation_for(actor.person, Act.CONFIRM, values.reel, at)
    if values.set_at is None:
        raise StepMissing(missing="the setter sets the numbers and keys what the machine shows")
    if values.set_by_id == actor.person.pk:
        raise SamePerson(name=actor.person.full_name, done="set these values")
    if values.confirmed_at:
        raise StepMissing(missing="nothing; these values are confirmed already")
    require_home(values.machine)
    require_machine_free(values.machine)
    require_life(values.reel, at)
    require_current(values.inspection, at)
    with record_act(values.reel.chain, "confirmation", actor, at, setup_values=values.pk) as act:
        read_back = _add_read_back(act, values, CONFIRMER, layers, wraps)
        if read_back.matches:
            act.change(values, confirmed_by=actor.person, confirmed_at=at)
        else:  # what the setter read is in doubt now: both read again
            act.change(values, set_by=None, set_at=None)
    return read_back


@transaction.atomic
def withdraw(*, setup_id: int, reason: str, actor: Actor, at: datetime) -> SetupValues:
    """Withdraw setup values by hand."""
    access.in_person(actor)
    values = in_force_for_update(setup_id, actor, at)
    access.authorisation_for(actor.person, Act.ISSUE, values.reel, at)
    with record_act(values.reel.chain, "values_withdrawn", actor, at, setup_values=values.pk) as act:
        withdraw_values(act, values.reel, reason)
    values.refresh_from_db()
    return values


def withdraw_values(act: ActRecorder, reel: Reel, why: str) -> None:
    """Within another act: withdraw what is in force for a reel, if anything is, and tell why."""
    if values := values_in_force(reel):
        act.change(values, withdrawn_at=act.at, withdrawn_by=act.actor.person, withdrawn_why=why)


def hold_machine(act: ActRecorder, machine: Machine, reel: Reel, reason: str) -> None:
    """Within another act of a reel: hold a machine, if it is not held."""
    if reel_queries.hold_on_machine(machine) is None:
        act.add(MachineHold(machine=machine, reel=reel, placed_at=act.at, placed_by=act.actor.person, reason=reason))


def hold_reel(act: ActRecorder, reel: Reel, reason: str, since: datetime | None = None) -> Hold:
    """Within another act: hold a reel that is not held, since then or now; its setup values end."""
    hold = act.add(
        Hold(reel=reel, placed_at=since or act.at, placed_by=act.actor.person, reason=reason, recorded_at=act.at)
    )
    withdraw_values(act, reel, f"the reel is held: {reason}")
    return hold


def require_life(reel: Reel, at: datetime) -> None:
    """Raises LifeOver where the reel's life, or its cable's, has reached a hard limit by then. Two queries, or none."""
    if why := over(life_on(reel, at), at):
        raise LifeOver(serial=reel.serial, why=why)


def require_current(inspection: Inspection, at: datetime) -> None:
    """Raises CountLapsed where something has ended the count by then."""
    currency = currency_of(inspection.reel, inspection.done_at, at)
    if not currency.is_current:
        raise CountLapsed(inspection=inspection.pk, why=currency.why)


def rules_unconfirmed(reel_type: ReelType) -> RulesNotConfirmed | None:
    """Why nothing may be signed or issued by the rules of a type, with what has to be done; or nothing."""
    if reel_type.rules_confirmed_at:
        return None
    is_sourced = not without_source(reel_type.rule_sources)
    first = "" if is_sourced else "An administrator first says for each rule in which publication it is written. "
    todo = f"{first}An administrator who has not given or changed them confirms them, under Documents, Reel types."
    return RulesNotConfirmed(reel_type=reel_type.code, todo=todo)


def _issuable_inspection(reel: Reel, machine: Machine, at: datetime) -> Inspection:
    if refused := rules_unconfirmed(reel.type):
        raise refused
    inspection = latest_signed(reel)
    if inspection is None:
        raise NotIssuable(why=f"Reel {reel.serial} has no signed inspection; an imported count is never a source.")
    require_current(inspection, at)
    if live := live_inspection(reel):
        raise NotIssuable(why=f"Inspection {live.pk} of reel {reel.serial} is under way; finish or cancel it first.")
    installed = reel_queries.installation_of(reel)
    if installed and installed.machine_id != machine.pk:
        raise NotIssuable(why=f"Reel {reel.serial} is in machine {installed.machine.serial}, not in {machine.serial}.")
    if reel.site_id != machine.site_id:
        raise NotIssuable(why=f"Reel {reel.serial} is at {reel.site}, machine {machine.serial} at {machine.site}.")
    return inspection


def _add_values(act: ActRecorder, reel: Reel, machine: Machine, inspection: Inspection) -> SetupValues:
    assert inspection.layers is not None, "a signed inspection has a result"
    assert inspection.wraps is not None, "as above"
    values = SetupValues(
        reel=reel, machine=machine, inspection=inspection, layers=inspection.layers, wraps=inspection.wraps,
        parity=inspection.parity, issued_by=act.actor.person, issued_at=act.at,
    )  # fmt: skip
    # The machine may hold values of another reel, whose chain is not locked here: only the unique constraint can tell.
    # The savepoint keeps the rest of the transaction usable.
    try:
        with transaction.atomic():
            return act.add(values)
    except IntegrityError as refused:
        raise NotIssuable(
            why=f"Values are in force already for reel {reel.serial} or machine {machine.serial}; withdraw them first."
        ) from refused


def in_force_for_update(setup_id: int, actor: Actor, at: datetime) -> SetupValues:
    """Setup values with their reel locked. Raises NotInForce."""
    values = access.setup_values_for_update(setup_id, actor.person, at)
    if values.withdrawn_at:
        raise NotInForce(
            setup_values=values.pk, on=values.reel.site.day_of(values.withdrawn_at), why=values.withdrawn_why
        )
    return values


def _require_installed(values: SetupValues) -> None:
    installed = reel_queries.installation_of(values.reel)
    if installed is None or installed.machine_id != values.machine_id:
        raise StepMissing(missing=f"install reel {values.reel.serial} in machine {values.machine.serial}")


def _add_read_back(act: ActRecorder, values: SetupValues, role: str, layers: int, wraps: int) -> ReadBack:
    matches = (layers, wraps) == (values.layers, values.wraps)
    return act.add(
        ReadBack(setup_values=values, role=role, layers=layers, wraps=wraps, matches=matches,
                 keyed_by=act.actor.person, keyed_at=act.at)
    )  # fmt: skip
